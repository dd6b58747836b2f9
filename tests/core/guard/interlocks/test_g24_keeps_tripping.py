"""G24: what comes back again and again."""

from __future__ import annotations

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g24_keeps_tripping import INSPECT, KeepsTripping
from controller.core.nouns import RunState, Trip
from tests.core.guard.looks import HEATING, NOW, check, having, ids, memory, read, senses

ROW = KeepsTripping.ROW
TWICE = KeepsTripping((NOW - 1799.0, NOW - 100.0))
TRIP = Trip("G08", NOW, "hot", 86.0, 85.0, "°C", 1, latched=False, first_out=True)
HOT = read(86.0)  # at the outlet: a trip that ends by itself

CASES: dict[str, tuple[KeepsTripping, Trip, RunState, KeepsTripping, Finding | None]] = {
    "the third": (TWICE, TRIP, RunState.RUNNING, KeepsTripping(), Finding(ROW, 3.0, 3.0)),
    "the first": (KeepsTripping(), TRIP, RunState.RUNNING, KeepsTripping((NOW,)), None),
    "one of just half an hour ago": (
        KeepsTripping((NOW - 1800.0, NOW - 100.0)), TRIP, RunState.PAUSED, KeepsTripping((NOW - 100.0, NOW)), None,
    ),
    "a second of one outage": (TWICE, TRIP._replace(first_out=False), RunState.RUNNING, TWICE, None),
    "one that a person must clear": (
        TWICE, TRIP._replace(latched=True), RunState.RUNNING, KeepsTripping(), Finding(ROW, 3.0, 3.0),
    ),
    "a gap of a link": (TWICE, TRIP._replace(link=True), RunState.RUNNING, TWICE, None),
    "one without heat": (TWICE, TRIP, RunState.IDLE, TWICE, None),
}  # fmt: skip


@pytest.mark.parametrize(("before", "trip", "state", "after", "expected"), CASES.values(), ids=CASES)
def test_interruptions_of_half_an_hour(
    before: KeepsTripping, trip: Trip, state: RunState, after: KeepsTripping, expected: Finding | None
) -> None:
    """The third first-out trip of a run within 1,800 s; an older one does not count."""
    assert before.tripped(trip, senses(state=state)) == (after, expected)


def test_the_third_interruption_trips_with_it() -> None:
    """Both in one tick, the cause first; the count begins anew."""
    gate = check(having(TWICE), raw_outlet=HOT)
    assert ids(gate) == ["G08", "G24"]
    trip = gate.state.trips[1]
    assert (trip.latched, trip.first_out, trip.value, trip.limit) == (True, False, 3.0, 3.0)
    assert trip.text == f"Interruption number 3 within half an hour (limit 3). Heat is off. {ROW.do}"
    assert memory(gate, KeepsTripping) == KeepsTripping()
    for state in HEATING:
        assert ids(check(having(TWICE), raw_outlet=HOT, state=state)) == ["G08", "G24"]
        assert ids(check(having(TWICE), late_s=21.0, state=state)) == ["G17"]


@pytest.mark.parametrize(
    ("said", "why"), [(True, ""), (None, INSPECT), ("yes", INSPECT), (False, INSPECT), (1, INSPECT)]
)
def test_what_a_person_owes(said: object, why: str) -> None:
    """That the cause was found, as the truth value alone."""
    assert KeepsTripping().why_not_clear(said) == why


def test_they_outlast_the_process() -> None:
    """All of them are kept; one that would lie ahead has happened now."""
    kept = KeepsTripping((NOW - 300.0, NOW, NOW + 5.0))
    assert kept.keep() == kept
    assert kept.recalled(NOW) == KeepsTripping((NOW - 300.0, NOW, NOW))
