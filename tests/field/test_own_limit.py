"""What does the node's own limit do with its thermometer's readings?"""

from __future__ import annotations

import pytest

from controller.field import commands, lease
from controller.field.lease import NodeSettings, NodeState
from tests.field.pins import command

FITTED = NodeSettings(power_w=2400.0, boot="a1", min_off_s=0.0, outlet=True, level=True, flow=True)


def heated(state: NodeState, seq: int, now: float) -> NodeState:
    """The state after a command to heat that was taken, and the beat that follows it."""
    state, why = commands.obey(FITTED, state, command(1.0, seq), now, False)
    assert why is None
    return outlet(state, now, 60.0)[0]


def outlet(state: NodeState, now: float, c: float | None) -> tuple[NodeState, float]:
    return lease.beat(FITTED, state, now, outlet_c=c, level_ok=True, flow_ok=True)


def test_the_outlet_limiter_acts_at_its_limit_and_lets_go_five_kelvin_below() -> None:
    """Off at 85.0 °C and not at 84.9, back on below 80 °C, or below 84 °C with a gap of 1 K; a single
    reading twice within ten minutes latches nothing."""
    state = heated(lease.boot(0.0), 1, 20.0)
    state, output = outlet(state, 21.0, 84.9)
    assert output == 1.0
    state, output = outlet(state, 22.0, 85.0)
    assert (output, state.latched) == (0.0, False)
    assert "85.0 °C, limit 85 °C" in state.fault
    near = lease.beat(FITTED.but(outlet_gap_k=1.0), state, 23.0, outlet_c=83.9, level_ok=True, flow_ok=True)
    state, output = outlet(state, 23.0, 80.0)
    assert (output, near[1]) == (0.0, 1.0)
    state, output = outlet(state, 24.0, 79.9)
    assert (output, state.fault) == (1.0, "")
    state = heated(state, 2, 100.0)
    assert [outlet(state, 101.0, 86.0)[0].latched, outlet(state, 101.0, 99.0)[0].latched] == [False, False]


def hot(state: NodeState, began: float, c: float, for_s: float) -> NodeState:
    """A reading at its beginning, and one so much later."""
    return outlet(outlet(state, began, c)[0], began + for_s, c)[0]


@pytest.mark.parametrize(("for_s", "latches"), [(3.4, False), (3.5, True)])
def test_what_is_hot_for_longer_than_a_reading_latches_at_the_trip_or_the_second_time(
    for_s: float, latches: bool
) -> None:
    """92.0 °C latches and 91.9 °C does not; the second time within ten minutes any latches, after them none."""
    warm = heated(lease.boot(0.0), 1, 20.0)
    assert [hot(warm, 21.0, c, for_s).latched for c in (91.9, 92.0)] == [False, latches]
    once, _ = outlet(hot(warm, 21.0, 86.0, for_s), 30.0, 70.0)
    assert (once.fault, once.latched) == ("", False)
    assert [hot(once, began, 86.0, for_s).latched for began in (617.4, 617.5)] == [latches, False]
    assert outlet(hot(warm, 21.0, 92.0, 3.5), 700.0, 20.0)[0].latched


def test_a_hot_outlet_that_falls_silent_stays_limited() -> None:
    """While the limiter holds, one missing value does not give the heat back."""
    warm = heated(lease.boot(0.0), 1, 20.0)
    state, _ = outlet(warm, 21.0, 86.0)
    state, output = outlet(state, 21.5, None)
    assert (output, state.limiting) == (0.0, True)
    assert outlet(state, 23.0, None)[1] == 0.0


@pytest.mark.parametrize("gone", [None, float("nan"), float("inf")])
def test_a_silent_outlet_thermometer_takes_the_heat_after_a_second(gone: float | None) -> None:
    """Fitted and silent for more than 1 s is a fault; it goes when the thermometer is back."""
    state = heated(lease.boot(0.0), 1, 20.0)
    state, output = outlet(state, 21.0, gone)
    assert output == 1.0
    state, output = outlet(state, 21.1, gone)
    assert (output, state.fault) == (0.0, "the outlet thermometer is silent")
    state, output = outlet(state, 22.0, 70.0)
    assert (output, state.fault) == (1.0, "")
