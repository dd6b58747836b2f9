"""G23: a run, or its heat, that lasts far longer than planned."""

from __future__ import annotations

from math import nan

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g23_run_too_long import HEATED_LONG, RunTooLong
from controller.core.nouns import RunState
from tests.core.guard.looks import HEATING, HOT, NOW, OFF, check, found, having, known, memory, trips_in, watch

FRESH, ROW = RunTooLong(), RunTooLong.ROW
LONG = Finding(ROW, 57_601.0, 57_600.0, says=HEATED_LONG)

CASES: dict[str, tuple[RunTooLong, float, Finding | None]] = {
    "twice its plan and half an hour": (FRESH, 9000.0, None),
    "longer": (FRESH, 9000.125, Finding(ROW, 9000.125, 9000.0)),
    "an hour more was given": (RunTooLong(longer_s=3600.0), 12_600.0, None),
    "and is over": (RunTooLong(longer_s=3600.0), 12_600.125, Finding(ROW, 9000.125, 9000.0)),
    "heated for 16 h": (RunTooLong(heat_on_s=57_600.0), 600.0, None),
    "heated longer": (RunTooLong(heat_on_s=57_601.0), 600.0, LONG),
    "both": (RunTooLong(heat_on_s=57_601.0), 9001.0, Finding(ROW, 9001.0, 9000.0)),
}


@pytest.mark.parametrize(("before", "run_s", "expected"), CASES.values(), ids=CASES)
def test_too_long(before: RunTooLong, run_s: float, expected: Finding | None) -> None:
    """Just at its limit it is quiet, just past it is not; what a person gave on top of it counts."""
    assert found(before, run_s=run_s) == expected


def test_no_number_is_too_long() -> None:
    """Of the run as of its heat."""
    assert found(FRESH, run_s=nan) is not None
    assert found(RunTooLong(heat_on_s=nan)) is not None


@pytest.mark.parametrize(("duty", "dt", "heat_on_s"), [(0.001, 1.0, 8.0), (1.0, 2.5, 9.5), (0.0, 1.0, 7.0)])
def test_the_time_with_heat_on_counts(duty: float, dt: float, heat_on_s: float) -> None:
    """However little heat was let out since the last tick."""
    after, _ = watch(RunTooLong(heat_on_s=7.0), known(line=HOT._replace(duty=duty)), dt=dt)
    assert after.heat_on_s == heat_on_s


def test_heat_is_told_a_tick_after_it_was_too_much() -> None:
    """The second over sixteen hours is counted in one tick and told in the next."""
    counted, finding = watch(RunTooLong(heat_on_s=57_600.0), known(line=HOT))
    assert (counted.heat_on_s, finding) == (57_601.0, None)
    assert found(counted, known(line=OFF)) == LONG


def test_where_heat_may_flow_alone() -> None:
    """Without heat nothing is too long; with it a latched trip."""
    assert trips_in("G23", run_s=1e5) == HEATING
    trip = check(run_s=1e5).state.trips[0]
    assert (trip.latched, trip.priority) == (True, 2)
    assert trip.text == (f"The run has lasted 100000 s; by its plan it should end within 9000 s. Heat is off. {ROW.do}")


@pytest.mark.parametrize(("heat_on_s", "left_s"), [(57_601.0, 54_001.0), (100.0, 0.0)])
def test_a_clear_of_it_gives_an_hour_more_to_both(heat_on_s: float, left_s: float) -> None:
    """On top of what was given before, and off the time with heat on, which never gets below zero."""
    assert RunTooLong(heat_on_s, 1800.0).cleared() == RunTooLong(left_s, 5400.0)


@pytest.mark.parametrize("before", [RunTooLong(heat_on_s=9.0), RunTooLong(longer_s=9.0), FRESH])
def test_each_run_has_its_own_time(before: RunTooLong) -> None:
    """With none on, both begin anew; in a hold, neither."""
    assert before.next_run() == RunTooLong() == RunTooLong(0.0, 0.0)
    assert memory(check(having(before), state=RunState.HELD), RunTooLong) == before


def test_it_outlasts_the_process() -> None:
    """What the run had of heat, and what a person gave it, counts on after a restart."""
    kept = RunTooLong(heat_on_s=9.0, longer_s=3600.0)
    assert (kept.keep(), kept.recalled(NOW)) == (kept, kept)
