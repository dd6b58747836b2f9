"""What goes into the record: what must survive, when it changes."""

from __future__ import annotations

import pytest

from controller.core.state import State, start
from controller.edge.record.recorder import PORTION_S, worth_keeping
from tests.core.bench import settings


def given(seconds: float) -> State:
    """A process that has let out so many seconds of full heat."""
    state = start(settings(), 0.0, "boot")
    guard = state.guard
    return state._replace(guard=guard._replace(past=guard.past._replace(energy_j=seconds * guard.plate.power_w)))


@pytest.mark.parametrize(("before_s", "after_s", "worth"), [(0.0, 9.5, False), (9.5, 10.0, True), (10.0, 19.5, False)])
def test_ten_seconds_of_full_heat_are_worth_a_record(before_s: float, after_s: float, worth: bool) -> None:
    """Less than that is counted as given by the next process anyhow."""
    assert PORTION_S == 10.0
    assert worth_keeping(given(before_s), given(after_s)) is worth
