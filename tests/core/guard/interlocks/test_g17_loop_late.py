"""G17: a tick that came late."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g17_loop_late import SLEPT, LoopLate
from controller.core.nouns import Trip
from tests.core.guard.looks import BASE, HEATING, NOW, check, duty, found, ids, known, senses, trips_in, watch

LATE, ROW = LoopLate(), LoopLate.ROW

CASES: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "at 2 s": ({"late_s": 2.0}, None),
    "over": ({"late_s": 2.125}, Finding(ROW, 2.125, 2.0, gap_s=inf)),
    "it slept for just 5 s": ({"late_s": 5.0, "gap_s": 5.0}, Finding(ROW, 5.0, 2.0, gap_s=inf)),
    "it slept": ({"late_s": 5.0, "gap_s": 5.125}, Finding(ROW, 5.125, 2.0, says=SLEPT, gap_s=inf)),
    "it slept for over 20 s": ({"late_s": 20.125}, Finding(ROW, 20.125, 2.0, gap_s=0.0)),
    "it slept, and the tick came in time": ({"late_s": 2.0, "gap_s": 9.0}, None),
}


@pytest.mark.parametrize(("changes", "expected"), CASES.values(), ids=CASES)
def test_late(changes: dict[str, Any], expected: Finding | None) -> None:
    """Just at its limit it is quiet, just past it is not; a machine that slept is told as that."""
    assert found(LATE, **changes) == expected


def test_many_together_are_a_trip() -> None:
    """Over 20 s of standstills within five minutes trip, at 20 s they do not; after the trip they count anew."""
    for at, trips in ((NOW - 299.9, True), (NOW - 300.0, False)):
        before = LoopLate(((at, 15.0), (NOW - 60.0, 2.5)))
        after, finding = watch(before, late_s=3.0)
        assert finding == Finding(ROW, 3.0, 2.0, gap_s=0.0 if trips else inf)
        assert (NOW, 3.0) in after.stalls and (len(after.stalls) == 3) is trips
    edge, finding = watch(LoopLate(((NOW - 60.0, 17.0),)), late_s=3.0)
    assert finding is not None and finding.gap_s == inf
    trip = Trip("G17", NOW, "late", 3.0, 2.0, "s", 2, latched=False, first_out=True)
    assert edge.tripped(trip, BASE) == (LATE, None)
    assert edge.tripped(trip._replace(id="G13"), BASE) == (edge, None)
    assert before.still_there(trip, senses(late_s=3.0), known()) is not None


def test_where_heat_may_flow_alone() -> None:
    """Without heat nobody is late; with it one stall cuts and is no trip, a long one is one that ends by itself."""
    assert trips_in("G17", late_s=21.0) == HEATING
    cut = check(late_s=3.0)
    assert (duty(cut), ids(cut)) == (0.0, [])
    trip = check(late_s=21.0).state.trips[0]
    assert (trip.latched, trip.unit, trip.link) == (False, "s", True)
    assert trip.text == f"The controller stalled for 21.0 s (limit 2 s). Heat waits for new readings. {ROW.do}"
