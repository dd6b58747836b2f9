"""Is liquid over the heater, is flow proven: one question for all who ask."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from controller.core.guard import liquid
from controller.core.nouns import Instant, Switch
from controller.settings.tun import Tun
from tests.core.guard.looks import NOW, TUN

PLAIN = TUN.model_copy(update={"level": None, "flow": None})
PATIENT = TUN.model_copy(update={"guard": TUN.guard.model_copy(update={"switch_gone_s": 20.0})})


@pytest.mark.parametrize("asked", [liquid.wet, liquid.flows])
@pytest.mark.parametrize(
    ("tun", "switch", "yes"),
    [
        (TUN, Switch(True, NOW), True),
        (TUN, Switch(False, NOW), False),
        (TUN, Switch(True, NOW - 10.0), True),
        (TUN, Switch(True, NOW - 10.125), False),
        (TUN, None, False),
        (PATIENT, Switch(True, NOW - 20.0), True),
        (PATIENT, Switch(True, NOW - 20.125), False),
        (PLAIN, None, True),
        (PLAIN, Switch(False, NOW), True),
    ],
)
def test_the_switch_says_so_and_lately(
    asked: Callable[[Tun, Switch | None, Instant], bool], tun: Tun, switch: Switch | None, yes: bool
) -> None:
    """Its word holds for as long as the tun file says, the last moment included; a tun without one is well."""
    assert asked(tun, switch, NOW) is yes


def test_each_by_its_own_switch() -> None:
    """A tun with a level switch alone needs no flow, and the other way round."""
    level = TUN.model_copy(update={"flow": None})
    assert (liquid.wet(level, None, NOW), liquid.flows(level, None, NOW)) == (False, True)
    flow = TUN.model_copy(update={"level": None})
    assert (liquid.wet(flow, None, NOW), liquid.flows(flow, None, NOW)) == (True, False)
