"""Is the evidence good enough for heat?"""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard import plate, requalify
from controller.core.guard.interlock import Finding
from controller.core.guard.registry import BY_ID
from controller.core.guard.senses import NO_TRIP_S
from controller.core.guard.state import GuardState
from controller.core.nouns import Link, Phase, RunState, Switch, Trip
from tests.core.guard.looks import BASE, NOW, OPEN, SEEN, TUN, S, check, duty, report, senses


def having(state: GuardState = OPEN, **changes: Any) -> GuardState:
    """The guard with other evidence, or another word of the heater node."""
    line = {name: changes.pop(name) for name in ("acked_at", "acked_duty", "fault") if name in changes}
    trips = changes.pop("trips", state.trips)
    evidence = state.evidence._replace(**changes)
    return state._replace(evidence=evidence, line=state.line._replace(**line), trips=trips)


UNQUALIFIED = having(qualified=False, from_at=NOW - 20.0)
QUIET: dict[str, Any] = {"quiet_c": 50.0, "quiet_at": NOW}


def kept(name: str, latched: bool) -> Trip:
    return Trip(name, NOW - 100.0, "words", 1.0, 1.0, "s", 1, latched, True)


QUALIFIES: dict[str, tuple[dict[str, Any], dict[str, Any], bool]] = {
    "all good": ({}, {}, True),
    "four readings": ({}, {"seen": SEEN._replace(good_run=4)}, False),
    "five readings": ({}, {"seen": SEEN._replace(good_run=5)}, True),
    "no since": ({}, {"seen": SEEN._replace(good_since=None)}, False),
    "no time": ({}, {"seen": SEEN._replace(at=None)}, False),
    "no value": ({}, {"seen": SEEN._replace(value_c=None)}, False),
    "under four seconds": ({}, {"seen": SEEN._replace(good_since=NOW - 4.4)}, False),
    "four seconds": ({}, {"seen": SEEN._replace(good_since=NOW - 4.5)}, True),
    "readings since the cut": ({"from_at": NOW - 5.0}, {"seen": SEEN._replace(at=NOW - 1.0)}, True),
    "too few since the cut": ({"from_at": NOW - 5.0}, {"seen": SEEN._replace(at=NOW - 1.1)}, False),
    "since the cut": ({"from_at": NOW - 4.9}, {}, False),
    "five since the cut": ({"from_at": NOW - 5.0}, {}, True),
    "doubtful": ({}, {"seen": SEEN._replace(doubtful=True)}, False),
    "no link": ({}, {"link": Link(False, 0.0)}, False),
    "heater silent": ({"acked_at": NOW - 5.1}, {"report": None}, False),
    "heater just heard": ({"acked_at": NOW - 5.0}, {"report": None}, True),
    "heater never heard": ({"acked_at": None}, {"report": None}, False),
    "heater on": ({}, {"report": report(duty=0.1)}, False),
    "heater duty unknown": ({"acked_duty": None}, {"report": None}, False),
    "heater's own fault": ({"fault": "no liquid"}, {"report": None}, False),
    "heater gone": ({}, {"online": False}, False),
    "heater's will unknown": ({}, {"online": None}, True),
    "cooler than it can be": ({"quiet_c": 66.02, "quiet_at": NOW}, {}, False),
    "as cool as it can be": ({"quiet_c": 66.0, "quiet_at": NOW}, {}, True),
    "cooler, but long ago": ({"quiet_c": 66.02, "quiet_at": NOW - 60.0}, {}, True),
    "warmer than it can be": ({"quiet_c": 59.99, "quiet_at": NOW}, {}, False),
    "as warm as it can be": ({"quiet_c": 60.0, "quiet_at": NOW}, {}, True),
    "warmer, latched": (QUIET | {"trips": (kept("G07", True),)}, {}, True),
    "warmer, not latched": (QUIET | {"trips": (kept("G02", False),)}, {}, False),
    "warmer, adding": (QUIET, {"phase": Phase.ADDING}, True),
    "warmer, settling": (QUIET, {"phase": Phase.SETTLING}, True),
    "warmer, idle": (QUIET, {"state": S.IDLE}, True),
    "warmer, held": (QUIET, {"state": S.HELD}, False),
    # 3 K and 19.4 % an hour of what it was over a room of 18 °C: 3.155 K in a minute from 66 °C
    "cooled for a minute": ({"quiet_c": 66.0, "quiet_at": NOW - 60.0}, {"seen": SEEN._replace(value_c=62.85)}, True),
    "cooled too fast": ({"quiet_c": 66.0, "quiet_at": NOW - 60.0}, {"seen": SEEN._replace(value_c=62.83)}, False),
    "at the room's": ({"quiet_c": 18.0, "quiet_at": NOW - 36e3}, {"seen": SEEN._replace(value_c=15.01)}, True),
    "below the room's": ({"quiet_c": 18.0, "quiet_at": NOW - 36e3}, {"seen": SEEN._replace(value_c=14.99)}, False),
}  # fmt: skip


@pytest.mark.parametrize(("state", "sense", "good"), QUALIFIES.values(), ids=list(QUALIFIES))
def test_evidence(state: dict[str, Any], sense: dict[str, Any], good: bool) -> None:
    """What makes the evidence good, one thing at a time from both sides."""
    assert TUN.room_c == 18.0
    assert check(having(UNQUALIFIED, **state), **sense).state.evidence.qualified is good


GAP = having(UNQUALIFIED, in_gap=True, new=2, new_at=NOW - 2.375)
AFTER_A_GAP: dict[str, tuple[dict[str, Any], dict[str, Any], bool]] = {
    "the third, 1.8 s after the first": ({}, {}, True),
    "the third, sooner": ({"new_at": NOW - 2.25}, {}, False),
    "the second": ({"new": 1}, {}, False),
    "bare numbers, the third": ({}, {"seen": SEEN._replace(seq=None)}, False),
    "bare numbers, the fifth": ({"new": 4}, {"seen": SEEN._replace(seq=None)}, True),
    "a tick without a new one": ({}, {"seen": SEEN._replace(fresh=False)}, False),
    "one of before": ({"from_at": NOW - 0.5}, {}, False),
    "and nothing else was lost": ({"in_gap": False, "from_at": NOW - 4.0}, {}, False),
    "doubtful": ({}, {"seen": SEEN._replace(doubtful=True)}, False),
    "heater silent": ({"acked_at": NOW - 5.1}, {"report": None}, False),
    "heater on": ({}, {"report": report(duty=0.1)}, False),
    "elsewhere": (QUIET, {}, False),
}


@pytest.mark.parametrize(("state", "sense", "good"), AFTER_A_GAP.values(), ids=list(AFTER_A_GAP))
def test_evidence_after_a_gap(state: dict[str, Any], sense: dict[str, Any], good: bool) -> None:
    """Three numbered readings, or five bare ones, received after it, 1.8 s from first to last, and the heater off."""
    seen = sense.pop("seen", SEEN._replace(good_run=1, good_since=NOW - 0.5))
    after = check(having(GAP, **state), seen=seen._replace(good_run=1), **sense).state.evidence
    assert after.qualified is good


@pytest.mark.parametrize(("kind", "min_off_s", "rest_s"), [
    ("proportional", 0.0, 0.0), ("proportional", 4.0, 4.0), ("contactor", 4.0, 10.0), ("gas", 4.0, 30.0),
])  # fmt: skip
def test_an_output_rests_before_it_comes_back(kind: str, min_off_s: float, rest_s: float) -> None:
    """Off for the file's time, a contactor for 10 s and a burner for 30 s at least, since the output was last on."""
    heater = TUN.heater.model_copy(update={"kind": kind, "min_off_s": min_off_s})
    state = GAP._replace(plate=plate.of(TUN.model_copy(update={"heater": heater})))
    for off_s, good in ((rest_s, True), (rest_s - 0.1, rest_s == 0.0)):
        after = check(state._replace(line=state.line._replace(on_until=NOW - max(0.0, off_s)))).state
        assert after.evidence.qualified is good


def test_a_gap_has_its_time() -> None:
    """It begins once, lasts until the evidence is good, and another cause has its own; what was lost in a trip is not
    made less by it."""
    first = requalify.gap(OPEN, NOW, "G02").evidence
    assert (first.gaps, first.in_gap, first.qualified, first.from_at) == ((("G02", NOW),), True, False, NOW)
    more = requalify.gap(OPEN._replace(evidence=first), NOW + 5.0, "G02", "G14").evidence
    assert (more.gaps, more.from_at) == ((("G02", NOW), ("G14", NOW + 5.0)), NOW + 5.0)
    assert not requalify.gap(UNQUALIFIED, NOW, "G02").evidence.in_gap
    over = check(OPEN._replace(evidence=more._replace(qualified=True)))
    assert (over.state.evidence.gaps, over.state.evidence.in_gap) == ((), False)
    assert duty(over) == 0.5


def test_which_gaps_are_on() -> None:
    """Findings that name a gap; one that never becomes a trip cuts without a time of its own; the rest are none."""
    row = BY_ID["G02"]
    on = [Finding(row, 1.0, 1.0, gap_s=10.0), Finding(BY_ID["G13"], 1.0, 1.0, gap_s=NO_TRIP_S), Finding(row, 1.0, 1.0)]
    cut = requalify.gaps(OPEN, senses(), on).evidence
    assert (cut.gaps, cut.in_gap, cut.qualified) == ((("G02", NOW),), True, False)
    assert requalify.gaps(OPEN, senses(), on[2:]) is OPEN
    for left in ({"gaps": (("G02", NOW),)}, {"in_gap": True}):
        assert requalify.gaps(having(**left), senses(), []) == OPEN


def test_readings_since_what_was_lost_are_counted() -> None:
    """With when the first of them came; they begin anew when the evidence is lost."""
    first = requalify.gaps(UNQUALIFIED, senses(), [])
    assert (first.evidence.new, first.evidence.new_at) == (1, SEEN.at)
    more = requalify.gaps(first, senses(seen=SEEN._replace(at=NOW)), []).evidence
    assert (more.new, more.new_at) == (2, SEEN.at)
    assert requalify.qualify(having(new=4), senses(seen=SEEN._replace(age_s=10.1))).evidence.new == 0


def test_a_hold_shows_what_is_read_and_what_may_be() -> None:
    """3 K under what was read less the heater's own, and 3 K over it with what is on its way; elsewhere nothing."""
    state = having(quiet_c=63.0, quiet_at=NOW, quiet_own_k=1.0)._replace(heat=OPEN.heat._replace(owed_k=2.0))
    held = requalify.qualify(state, senses(state=S.HELD)).evidence
    assert (held.now_c, held.span_c) == (63.0, (59.0, 68.0))
    assert requalify.qualify(state, senses()) is state


LOST: dict[str, tuple[dict[str, Any], dict[str, Any], bool]] = {
    "fresh": ({}, {"seen": SEEN._replace(age_s=10.0)}, True),
    "gone": ({}, {"seen": SEEN._replace(age_s=10.1)}, False),
    "gone, idle": ({}, {"seen": SEEN._replace(age_s=10.1), "state": S.IDLE}, False),
    "fresh, idle": ({}, {"seen": SEEN._replace(age_s=10.0), "state": S.IDLE}, True),
    "elsewhere, running": (QUIET, {}, True),
    "elsewhere, held": (QUIET, {"state": S.HELD}, False),
    "no value, held": (QUIET, {"state": S.HELD, "seen": SEEN._replace(value_c=None)}, True),
    "where it was, held": (QUIET | {"quiet_c": 63.0}, {"state": S.HELD}, True),
}


@pytest.mark.parametrize(("state", "sense", "stays"), LOST.values(), ids=list(LOST))
def test_evidence_is_lost(state: dict[str, Any], sense: dict[str, Any], stays: bool) -> None:
    """Good evidence ends once the reading is over 10 s old, trip or not; and with no heat once it reads elsewhere."""
    assert requalify.qualify(having(**state), senses(**sense)).evidence.qualified is stays
    assert check(having(**state), **sense).state.evidence.qualified is stays


LACKS: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "nothing": ({}, {}, ""),
    "broker first": ({}, {"link": Link(False, 0.0), "online": False}, "the broker"),
    "node gone": (
        {}, {"online": False, "seen": SEEN._replace(doubtful=True)},
        "the heater node: its presence topic says that it is not there. Start it, or look at its connection",
    ),
    "its own fault": (
        {"fault": "no liquid"}, {},
        "the heater node to be free of its own fault (no liquid). Look at it, and reset it there",
    ),
    "node silent": (
        {"acked_at": None}, {"report": None},
        "the heater node's word that it is off. Look at the node and its connection",
    ),
    "no value": ({}, {"seen": SEEN._replace(value_c=None)}, "5 sound readings in a row. Check the probe"),
    "doubtful": ({}, {"seen": SEEN._replace(doubtful=True)}, "5 sound readings in a row. Check the probe"),
    "four readings": ({}, {"seen": SEEN._replace(good_run=4)}, "5 sound readings in a row. Check the probe"),
    "five readings": ({}, {"seen": SEEN._replace(good_run=5)}, ""),
    "too warm": (
        QUIET, {},
        "a reading that fits: it says 63.0 °C, and was 50.0 °C when last sound. Check the probe; if it is right, clear "
        "what tripped, `hold`, and say what a hand thermometer reads, or what was added: "
        '`restart hand="62 °C"`, or `restart liquor="4 L" liquor_at="12 °C"`',
    ),
}  # fmt: skip


@pytest.mark.parametrize(("state", "sense", "says"), LACKS.values(), ids=list(LACKS))
def test_what_heat_waits_for_is_named(state: dict[str, Any], sense: dict[str, Any], says: str) -> None:
    """The first thing that is missing, in words; where it is just a matter of time, nothing."""
    assert requalify.lacks(having(UNQUALIFIED, **state), senses(**sense)) == says


BEFORE = having(quiet_c=50.0, quiet_at=10.0)
NO_RUN = (S.IDLE, S.STOPPED, S.ABORTED, S.COMPLETE)
LAST_GOOD: list[tuple[GuardState, dict[str, Any], tuple[float | None, float]]] = [
    (BEFORE, {}, (63.0, NOW)),
    (BEFORE, {"state": S.HELD}, (50.0, 10.0)),
    (BEFORE, {"state": S.RESTARTING}, (50.0, 10.0)),
    (BEFORE, {"state": S.PAUSED}, (63.0, NOW)),
    (BEFORE, {"state": S.CHECKING}, (63.0, NOW)),
    (having(BEFORE, qualified=False), {}, (50.0, 10.0)),
    (having(BEFORE, trips=(kept("G02", False),)), {}, (50.0, 10.0)),
    (BEFORE, {"seen": SEEN._replace(value_c=None)}, (50.0, 10.0)),
    *((BEFORE, {"state": state}, (None, NOW)) for state in NO_RUN),
]


@pytest.mark.parametrize(("state", "sense", "expected"), LAST_GOOD)
def test_what_is_compared_with(state: GuardState, sense: dict[str, Any], expected: tuple[float | None, float]) -> None:
    """The reading of the last tick on good evidence, none during a trip; nothing while no run is on; with what a probe
    behind the heater reads of its heat, at 0.7 of the flow."""
    after = requalify.last_good(state, senses(**sense))
    assert (after.quiet_c, after.quiet_at) == expected
    assert after._replace(quiet_c=50.0, quiet_at=10.0) == state.evidence
    own = requalify.last_good(state._replace(heat=state.heat._replace(own_k=1.4)), senses(**sense))
    assert own.quiet_own_k == pytest.approx(2.0 if after.quiet_c == 63.0 else 0.0)


def test_what_is_compared_with_goes_from_tick_to_tick() -> None:
    """It follows the reading, stops at a trip, and is what was read just before; a second trip changes nothing."""
    state = check(BEFORE).state
    assert (state.evidence.quiet_c, state.evidence.quiet_at) == (63.0, NOW)
    cut = check(state, now=NOW + 1.0, late_s=21.0, seen=SEEN._replace(value_c=63.5)).state
    dry = Switch(False, NOW, NOW - 1.0)
    more = check(cut, now=NOW + 2.0, late_s=21.0, level=dry, seen=SEEN._replace(value_c=40.0)).state
    for after, names in ((cut, ["G17"]), (more, ["G17", "G13"])):
        assert [trip.id for trip in after.trips] == names
        assert (after.evidence.quiet_c, after.evidence.quiet_at) == (63.0, NOW)


def test_measured_by_hand_begins_the_evidence_anew() -> None:
    """What was read before is no measure any more, what was measured is; and readings count from now."""
    owing = BEFORE._replace(heat=BEFORE.heat._replace(owed_k=3.0))
    after = requalify.measured(owing, 77.0)
    anew = having(BEFORE, quiet_c=None, quiet_at=77.0, qualified=False, from_at=77.0)
    assert after == anew._replace(past=BEFORE.past.begun_anew())
    own = having(owing, quiet_own_k=1.0, span_c=(50.0, 70.0))
    assert requalify.measured(own, 77.0, 61.0).evidence == anew.evidence._replace(quiet_c=61.0)
    assert RunState.RUNNING is BASE.run.state
