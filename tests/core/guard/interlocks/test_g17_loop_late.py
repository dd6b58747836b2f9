"""G17: a tick that came late."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g17_loop_late import SLEPT, LoopLate
from tests.core.guard.looks import HEATING, check, found, trips_in

LATE, ROW = LoopLate(), LoopLate.ROW

CASES: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "at 2 s": ({"late_s": 2.0}, None),
    "over": ({"late_s": 2.125}, Finding(ROW, 2.125, 2.0)),
    "it slept for just 5 s": ({"late_s": 5.0, "gap_s": 5.0}, Finding(ROW, 5.0, 2.0)),
    "it slept": ({"late_s": 5.0, "gap_s": 5.125}, Finding(ROW, 5.125, 2.0, says=SLEPT)),
    "it slept, and the tick came in time": ({"late_s": 2.0, "gap_s": 9.0}, None),
}


@pytest.mark.parametrize(("changes", "expected"), CASES.values(), ids=CASES)
def test_late(changes: dict[str, Any], expected: Finding | None) -> None:
    """Just at its limit it is quiet, just past it is not; a machine that slept is told as that."""
    assert found(LATE, **changes) == expected


def test_where_heat_may_flow_alone() -> None:
    """Without heat nobody is late; with it a trip that ends by itself."""
    assert trips_in("G17", late_s=3.0) == HEATING
    trip = check(late_s=3.0).state.trips[0]
    assert (trip.latched, trip.unit) == (False, "s")
    assert trip.text == f"The controller stalled for 3.0 s (limit 2 s). Heat is off for a minute. {ROW.do}"
