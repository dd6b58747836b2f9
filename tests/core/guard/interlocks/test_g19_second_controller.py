"""G19: two controllers on one heater."""

from __future__ import annotations

from math import nan
from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g19_second_controller import OBEYED, OUTBID, SecondController
from controller.core.nouns import Foreign, Link, RunState
from tests.core.guard.looks import NOW, check, duty, found, told, trips_in

ALONE, ROW = SecondController(), SecondController.ROW


def stranger(share: float) -> Link:
    """Somebody else sent this on the heater topic."""
    return Link(True, 0.0, foreign=Foreign(share, 1, NOW))


CASES: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "our own number": ({"epoch_seen": 1}, None),
    "a lower one": ({"epoch_seen": 0}, None),
    "a higher one": ({"epoch_seen": 2}, Finding(ROW, 2.0, 1.0, says=OUTBID, unit="")),
    "a higher one, with power": ({"epoch_seen": 2, "link": stranger(0.5)}, Finding(ROW, 2.0, 1.0, says=OUTBID)),
    "power": ({"link": stranger(0.1)}, Finding(ROW, 0.1, 0.0)),
    "off": ({"link": stranger(0.0)}, None),
}


@pytest.mark.parametrize(("changes", "expected"), CASES.values(), ids=CASES)
def test_somebody_else(changes: dict[str, Any], expected: Finding | None) -> None:
    """A higher number, or power from a stranger; an OFF is obeyed and no more."""
    assert found(ALONE, **changes) == expected


def test_power_that_is_no_number_is_power() -> None:
    """Nobody knows what the heater makes of it."""
    assert found(ALONE, link=stranger(nan)) is not None


def test_in_every_state_but_one() -> None:
    """Idle, held or aborted as well: two of them are wrong with no run on, too; while checking this process takes its
    own number, above every owner heard of."""
    others = set(RunState) - {RunState.CHECKING}
    assert trips_in("G19", link=stranger(0.5)) == others
    assert trips_in("G19", epoch_seen=2) == others
    assert check(state=RunState.CHECKING, epoch_seen=2).state.epoch == 3


def test_it_takes_the_tun() -> None:
    """A stranger's power is answered by OFF, and this process is lost; a higher number by OFF once, then silence."""
    gate = check(link=stranger(1.0))
    assert (duty(gate), gate.state.lost, gate.state.trips[0].latched) == (0.0, True, True)
    lost = check(epoch_seen=2)
    assert (duty(lost), lost.state.lost, check(lost.state, epoch_seen=2).command) == (0.0, True, None)
    assert lost.state.trips[0].text == f"{OUTBID.format(value=2, limit=1)} {ROW.do}"


@pytest.mark.parametrize(("share", "said"), [(0.0, [("G19", 3)]), (0.5, []), (None, [])])
def test_a_strangers_off_is_noted(share: float | None, said: list[tuple[str, int]]) -> None:
    """It takes no heat by itself; power is a trip and no note."""
    gate = check() if share is None else check(link=stranger(share))
    assert told(gate) == said
    assert [note.text for note in gate.state.noted.now] == [OBEYED] * len(said)
    assert (duty(gate) > 0.0) is (share != 0.5)
