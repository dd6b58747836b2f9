"""Which interlock has taken the heat away, and when is it given back?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.core.guard import trips
from controller.core.guard.gate import Gate
from controller.core.guard.history import History, Line
from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g06_above_program import AboveProgram
from controller.core.guard.interlocks.g10_heat_not_asked_for import HeatNotAskedFor
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.interlocks.g24_keeps_tripping import KeepsTripping
from controller.core.guard.registry import ALL
from controller.core.guard.state import GuardState
from controller.core.nouns import Event, Link, Order, RunState, Switch, Trip
from tests.core.guard.looks import BLOCKED, NOW, OPEN, SEEN, S, check, duty, for_long, having, ids, memory, read

GONE, DRY = SEEN._replace(age_s=11.0), Switch(False, NOW, NOW - 1.0)


def kept(name: str, at: float, latched: bool, **changes: Any) -> Trip:
    return Trip(name, at, "words", 1.0, 1.0, "s", 1, latched, True)._replace(**changes)


def said(out: Gate) -> list[tuple[str, str]]:
    """What became of trips in this tick."""
    return [(event.kind, event.id) for event in out.events if event.kind != "note"]


# ---------------------------------------------------------------- findings become trips


def test_a_trip_in_full() -> None:
    """What a trip leaves behind: the trip, one event, a minute of OFF, new evidence, something for the disk; what
    is remembered of the mash stays; the same cause in the next tick adds nothing."""
    before = OPEN._replace(past=History(lines=(Line(NOW - 5.0, 60.0, 0.0),), next_at=NOW + 5.0))
    out = check(before, level=Switch(False, NOW - 1.0, NOW - 2.0))
    words = "The level switch says: no liquid at the heater. Heat is off. Check level, valves, pump and bed. "
    words += "Lost flow is tried again by itself once; the next time it waits for you."
    assert out.state.trips == (Trip("G13", NOW, words, 1.0, 10.0, "s", 1, True, True),)
    assert out.events == (Event("trip", "G13", words, 1.0, 10.0, "s", True, True, 1, False),)
    evidence = out.state.evidence
    assert (evidence.off_until, evidence.qualified, evidence.from_at) == (NOW + 60.0, False, NOW)
    assert (evidence.quiet_c, evidence.quiet_at) == (63.0, NOW)
    assert (out.state.need_durable, out.state.past.lines, out.state.lost) == (True, before.past.lines, False)
    assert memory(out, KeepsTripping).incidents == (NOW,)
    again = check(out.state, now=NOW + 1.0, level=Switch(False, NOW, NOW - 1.0))
    assert (again.events, again.state.trips) == ((), out.state.trips)


@pytest.mark.parametrize(("changes", "latched"), [
    ({"raw": read(81.0, 82.0)}, True), ({"late_s": 21.0}, False), ({"flow": DRY}, False),
    ({"level": DRY}, True), ({"raw_outlet": read(93.0)}, False), ({"raw_outlet": read(86.0)}, False),
])  # fmt: skip
def test_what_latches(changes: dict[str, Any], latched: bool) -> None:
    """By the table where the interlock does not say; by the interlock where it does."""
    out = check(**changes)
    assert (out.state.trips[0].latched, out.events[0].latched) == (latched, latched)


def test_the_most_urgent_of_one_tick_is_first() -> None:
    """Two in one tick: the one with the higher priority is marked first-out, the other is not; nor is a later one."""
    out = check(late_s=21.0, level=Switch(False, NOW, NOW - 1.0))
    assert [(trip.id, trip.first_out) for trip in out.state.trips] == [("G13", True), ("G17", False)]
    later = check(check(for_long("G02", "G14"), report=None, seen=GONE).state, now=NOW + 20.0, report=None, seen=GONE)
    assert [(trip.id, trip.first_out) for trip in later.state.trips] == [("G02", True), ("G14", False)]


def test_a_longer_wait_stays() -> None:
    """A minute of OFF from a trip does not shorten what was longer."""
    long = OPEN._replace(evidence=OPEN.evidence._replace(off_until=NOW + 500.0))
    assert check(long, level=Switch(False, NOW, NOW - 1.0)).state.evidence.off_until == NOW + 500.0


@pytest.mark.parametrize(
    ("seen", "quiet_c"), [(SEEN._replace(value_c=None, raw_c=61.0, age_s=11.0), 61.0), (GONE, 63.0)]
)
def test_where_the_mash_was_when_heat_was_cut(seen: Any, quiet_c: float) -> None:
    """Before any good evidence the reading at the trip tells: the believed one, else the newest well-formed one; what
    was read on good evidence stays."""
    before = for_long("G02")
    after = check(before, seen=seen).state.evidence
    assert (after.quiet_c, after.quiet_at) == (quiet_c, NOW)
    known = before._replace(evidence=before.evidence._replace(quiet_c=50.0, quiet_at=7.0))
    after = check(known, seen=seen).state.evidence
    assert (after.quiet_c, after.quiet_at) == (50.0, 7.0)


def test_a_trip_that_takes_the_tun() -> None:
    """G19 ends it for good; what was lost before stays lost with any other trip."""
    assert check(epoch_seen=2).state.lost
    assert check(OPEN._replace(lost=True), late_s=21.0).state.lost


# ---------------------------------------------------------------- G24 counts them


def counted(*incidents: float) -> GuardState:
    return having(KeepsTripping(incidents=incidents))


def test_the_third_interruption_of_half_an_hour() -> None:
    """The third first-out, self-clearing trip of a run within 1,800 s becomes G24; an older one does not count."""
    out = check(counted(NOW - 1799.0, NOW - 100.0), raw_outlet=read(86.0))
    assert [(trip.id, trip.value, trip.first_out) for trip in out.state.trips] == [
        ("G08", 86.0, True),
        ("G24", 3.0, False),
    ]
    assert said(out) == [("trip", "G08"), ("trip", "G24")]
    assert memory(out, KeepsTripping).incidents == ()
    out = check(counted(NOW - 1800.0, NOW - 100.0), raw_outlet=read(86.0))
    assert ids(out) == ["G08"]
    assert memory(out, KeepsTripping).incidents == (NOW - 100.0, NOW)


@pytest.mark.parametrize(
    ("changes", "names", "counted_after"),
    [
        ({"level": DRY}, ["G13", "G24"], ()),
        ({"state": S.IDLE, "raw_outlet": read(86.0)}, ["G08"], (NOW - 300.0, NOW - 100.0)),
    ],
)
def test_latched_ones_count_and_idle_ones_do_not(
    changes: dict[str, Any], names: list[str], counted_after: tuple[float, ...]
) -> None:
    """A cause that comes back after a person's clear is not found; what happens without a run interrupts none."""
    out = check(counted(NOW - 300.0, NOW - 100.0), **changes)
    assert ids(out) == names
    assert memory(out, KeepsTripping).incidents == counted_after


def test_a_second_trip_of_one_incident_is_no_new_one() -> None:
    """However many interlocks it trips."""
    one = check(raw_outlet=read(86.0))
    two = check(one.state, now=NOW + 1.0, flow=Switch(False, NOW, NOW - 1.0))
    assert ids(two) == ["G08", "G13"]
    assert memory(two, KeepsTripping).incidents == (NOW,)


def test_a_gap_of_a_link_in_full() -> None:
    """A trip once it has lasted: no minute of OFF, what is remembered of the mash stays, and it counts for nothing; an
    event says so."""
    before = for_long("G13")._replace(past=History(lines=(Line(NOW - 5.0, 60.0, 0.0),), next_at=NOW + 5.0))
    out = check(before, level=None)
    assert [(trip.id, trip.link, trip.latched) for trip in out.state.trips] == [("G13", True, False)]
    assert [(event.id, event.link) for event in out.events] == [("G13", True)]
    assert (out.state.evidence.off_until, len(out.state.past.lines)) == (0.0, 1)
    assert (memory(out, KeepsTripping).incidents, out.state.need_durable) == ((), True)
    since = check(for_long("G13", since_s=9.9), level=None)
    assert (ids(since), duty(since)) == ([], 0.0)


@pytest.mark.parametrize(("up_s", "tripped"), [(9.9, []), (10.0, ["G13"])])
def test_what_was_silent_while_our_own_line_was_down(up_s: float, tripped: list[str]) -> None:
    """It is a trip 10 s after the line came up, however long it had been silent: nobody could be heard before."""
    up = Link(True, NOW - up_s)
    before = for_long("G13", since_s=60.0)._replace(link_since=up.since)
    assert ids(check(before, level=None, link=up)) == tripped


def test_a_silence_that_turns_out_to_be_a_fault() -> None:
    """A switch that was silent speaks again and says no: it trips as that, told anew, and waits for a person."""
    mute = check(for_long("G13"), level=None).state
    dry = check(mute, now=NOW + 1.0, level=Switch(False, NOW + 1.0, NOW))
    assert [(trip.id, trip.link, trip.latched, trip.first_out) for trip in dry.state.trips] == [
        ("G13", False, True, True)
    ]
    assert said(dry) == [("trip", "G13")]
    assert dry.state.evidence.off_until == NOW + 61.0


# ---------------------------------------------------------------- worse, and long


def test_a_trip_that_gets_worse_waits_for_a_person() -> None:
    """An outlet at 86 °C ends by itself; at 93 °C it latches, with the new figure, and is told in other words."""
    mild = check(raw_outlet=read(86.0))
    assert [(trip.id, trip.latched) for trip in mild.state.trips] == [("G08", False)]
    over_mash = mild.state.trips[0]._replace(limit=12.0, text="20 K over the mash")  # another cause of the same trip
    began = mild.state._replace(trips=(over_mash,), need_durable=False)
    assert check(began, now=NOW + 1.0, raw_outlet=read(86.5)).state.trips == (over_mash,)
    once = check(began, now=NOW + 1.0, raw_outlet=read(93.0)).state
    worse = check(once, now=NOW + 2.0, raw_outlet=read(93.0))
    trip = worse.state.trips[0]
    assert (trip.latched, trip.value, trip.limit, worse.state.need_durable) == (True, 93.0, 85.0, True)
    assert "93.0 °C" in trip.text
    text = f"{trip.text} It now waits for a person"
    assert worse.events == (Event("latched", "G08", text, 93.0, 85.0, "°C", False, True, 1),)
    assert said(check(worse.state, now=NOW + 2.0, raw_outlet=read(94.0))) == []


@pytest.mark.parametrize(("at", "latches"), [(NOW - 900.0, False), (NOW - 900.1, True)])
def test_a_long_trip_waits_for_a_person(at: float, latches: bool) -> None:
    """A self-clearing trip over 900 s old latches, with an event; at 900 s it does not; latched ones stay silent."""
    state = OPEN._replace(trips=(kept("G02", at, False), kept("G09", NOW - 2000.0, True)))
    out = check(state, seen=GONE)
    assert [trip.latched for trip in out.state.trips] == [latches, True]
    told = Event("latched", "G02", "G02 lasted over 15 min; it now waits for a person", latched=True, priority=2)
    assert [event for event in out.events if event.kind != "note"] == ([told] if latches else [])
    assert out.state.need_durable is latches


# ---------------------------------------------------------------- what ends by itself

OVER = OPEN._replace(trips=(kept("G02", NOW - 70.0, False),), gone=(("G02", NOW - 60.0),))


def evidence(state: GuardState = OVER, **changes: Any) -> GuardState:
    return state._replace(evidence=state.evidence._replace(**changes))


ENDS: dict[str, tuple[GuardState, dict[str, Any], bool]] = {
    "all well": (OVER, {}, True),
    "at the second": (evidence(off_until=NOW), {}, True),
    "too soon": (evidence(off_until=NOW + 0.01), {}, False),
    "no evidence": (evidence(qualified=False, from_at=NOW - 1.0), {}, False),
    "no evidence, adding": (evidence(qualified=False, from_at=NOW - 1.0), {"target": BLOCKED}, True),
    "cause there": (OVER, {"seen": GONE}, False),
    "gone in this tick": (OVER._replace(gone=()), {}, True),
    "latched": (OVER._replace(trips=(kept("G02", NOW - 70.0, True),)), {}, False),
}


@pytest.mark.parametrize(("state", "sense", "over"), ENDS.values(), ids=list(ENDS))
def test_trips_that_end_by_themselves(state: GuardState, sense: dict[str, Any], over: bool) -> None:
    """Cause gone, a minute over, evidence good: over, with an event; each of the three alone does not do."""
    out = check(state, **sense)
    told = Event("cleared", "G02", "G02 (reading gone) is over", latched=False)
    assert out.events[: 1 if over else 0] == ((told,) if over else ())
    assert ids(out) == ([] if over else ["G02"])
    assert duty(out) == (0.5 if over and "target" not in sense else 0.0)


def test_of_two_trips_one_may_end() -> None:
    """The one whose cause is gone ends, the latched one stays."""
    out = check(OVER._replace(trips=(*OVER.trips, kept("G09", NOW - 70.0, True))))
    assert (ids(out), said(out)) == (["G09"], [("cleared", "G02")])


def test_gone_counts_from_the_first_tick_without_the_cause() -> None:
    """Cause back: forgotten; gone on: the time stays."""
    out = check(OPEN._replace(trips=(kept("G13", NOW - 5.0, True),)))
    assert out.state.gone == (("G13", NOW),)
    seen = SEEN._replace(at=NOW + 4.5)
    later = check(out.state, now=NOW + 5.0, seen=seen, level=Switch(True, NOW + 4), flow=Switch(True, NOW + 4))
    assert later.state.gone == (("G13", NOW),)
    assert check(later.state, level=None).state.gone == ()


# ---------------------------------------------------------------- clear

TWO = OPEN._replace(
    trips=(kept("G09", NOW - 60.0, True), kept("G24", NOW - 60.0, True)),
    gone=(("G09", 0.0), ("G24", 0.0)),
    evidence=OPEN.evidence._replace(quiet_c=50.0),
)


def clear(state: GuardState, trip: str = "G09", /, **args: Any) -> tuple[GuardState, bool, str]:
    order = Order("clear", NOW, "o", args, "brewer", trip=trip or None)
    after, reply, event = trips.clear(state, order, S.HELD, NOW, 60.0)
    assert (reply.order, reply.state, reply.id) == ("clear", S.HELD, "o")
    told = Event("cleared", trip or "G09", reply.reason, latched=False, data={"by": "brewer"})
    assert event == (told if reply.accepted else None)
    assert reply.accepted or after is state
    return after, reply.accepted, reply.reason


@pytest.mark.parametrize(("changes", "stays"), [({}, False), ({"gap_s": 5.0}, True), ({"cut_only": True}, True)])
def test_what_a_silence_makes_way_for(changes: dict[str, Any], stays: bool) -> None:
    """The gap of a link makes way for the fault itself, not for another gap or a mere cut; a fault's own trip stays."""
    finding = Finding(HeatNotAskedFor.ROW, 1.0, 1.0)._replace(**changes)
    silent = OPEN._replace(trips=(kept("G10", 0.0, False)._replace(link=True),))
    fault = OPEN._replace(trips=(kept("G10", 0.0, False),))
    assert (trips._no_gap_any_more(silent, [finding]).trips == silent.trips) is stays
    assert trips._no_gap_any_more(fault, [finding]) is fault


def test_clear_takes_one_trip() -> None:
    """The named one goes, the other stays, evidence starts anew, the disk must know; what the reading is compared with
    stays, for a look is no measurement, and after a doubt of the probe a hand reading is owed."""
    after, done, why = clear(TWO)
    assert (done, why) == (True, "G09 cleared by brewer; heat stays off until `restart`")
    assert [trip.id for trip in after.trips] == ["G24"]
    assert (after.evidence.qualified, after.evidence.from_at, after.need_durable) == (False, NOW, True)
    assert (after.evidence.quiet_c, after.hand_for) == (50.0, "G09")
    assert clear(TWO, "", trip="G09")[1]
    inspected = clear(TWO, "G24", inspected=True)[0]
    assert (inspected.hand_for, inspected.heat, after.heat) == ("", TWO.heat, TWO.heat.on_trial())
    mild = TWO._replace(trips=(kept("G09", NOW - 60.0, False), TWO.trips[1]))
    assert clear(mild)[0].evidence.quiet_c == 50.0


REFUSED: dict[str, tuple[GuardState, str, dict[str, Any], str]] = {
    "another": (TWO, "G13", {}, "G13 is not active; active: G09, G24"),
    "none named": (TWO, "", {}, "no trip is named; active: G09, G24"),
    "none active": (OPEN, "", {}, "no trip is active"),
    "that one is not": (OPEN, "G09", {}, "no trip is active"),
    "lost": (TWO._replace(lost=True), "G09", {},
             "another controller owns this tun; stop one of the two and start this service anew"),
    "cause there": (TWO._replace(gone=()), "G09", {}, "G09: its cause is still there. words"),
    "it may still warm": (TWO._replace(trips=(kept("G10", 0.0, True),)), "G10", {},
                          f"G10: its cause is still there. words{HeatNotAskedFor.LATE}"),
    "too soon": (TWO._replace(trips=(kept("G09", NOW - 59.0, True),)), "G09", {},
                 "G09: 59 s ago; look first, clear after 60 s"),
    "not inspected": (TWO, "G24", {},
                      "G24: three interruptions; say inspected=true once you have found the cause"),
    "not quite": (TWO, "G24", {"inspected": "yes"},
                  "G24: three interruptions; say inspected=true once you have found the cause"),
    "not ours": (TWO._replace(interlocks=(), gone=()), "G09", {}, "G09: its cause is still there. words"),
}  # fmt: skip


@pytest.mark.parametrize(("state", "trip", "args", "why"), REFUSED.values(), ids=list(REFUSED))
def test_clear_refused(state: GuardState, trip: str, args: dict[str, Any], why: str) -> None:
    """Not named, another one, lost, cause present, too soon, not inspected: each with its own sentence, and nothing is
    changed."""
    assert clear(state, trip, **args)[1:] == (False, why)


def test_clear_of_what_was_inspected() -> None:
    """With the word that the cause was found it goes."""
    assert clear(TWO, "G24", inspected=True)[1]


@pytest.mark.parametrize(("name", "had_s", "heat_on_s", "longer_s"), [
    ("G23", 57_601.0, 54_001.0, 5400.0), ("G23", 3600.0, 0.0, 5400.0), ("G23", 3599.0, 0.0, 5400.0),
    ("G23", 3601.0, 1.0, 5400.0), ("G09", 57_601.0, 57_601.0, 1800.0),
])  # fmt: skip
def test_clearing_g23_alone_gives_more_time(name: str, had_s: float, heat_on_s: float, longer_s: float) -> None:
    """An hour on top of what was given before, for the run that lasted too long, and for its heater, no more than its
    whole time; nothing for any other trip; nobody else's memory changes."""
    state = having(RunTooLong(heat_on_s=had_s, longer_s=1800.0), having(HeatNotAskedFor(alarm=True), TWO))
    state = state._replace(trips=(kept(name, NOW - 60.0, True),), gone=((name, 0.0),))
    after = clear(state, name)[0]
    assert after.interlocks == having(RunTooLong(heat_on_s=heat_on_s, longer_s=longer_s), state).interlocks


@pytest.mark.parametrize("state", RunState)
def test_what_belongs_to_a_run_ends_with_it(state: RunState) -> None:
    """With no run on, what G23 counts and was given begins anew; in any other state it stays, and counts the heat that
    left in the tick before while heat may flow."""
    used = having(RunTooLong(heat_on_s=500.0, longer_s=3600.0), having(KeepsTripping(incidents=(NOW,))))
    out = check(used._replace(line=used.line._replace(duty=0.5)), state=state, raw=())
    run = memory(out, RunTooLong)
    if state in (S.IDLE, S.STOPPED, S.ABORTED, S.COMPLETE):
        assert run == RunTooLong()
    else:
        heat = 1.0 if state in (S.RUNNING, S.PAUSING, S.PAUSED) else 0.0
        assert run == RunTooLong(heat_on_s=500.0 + heat, longer_s=3600.0)
    assert memory(out, KeepsTripping).incidents == (NOW,)


def test_nothing_is_made_anew_where_nothing_is_left() -> None:
    """In idle the same objects stay from tick to tick."""
    first = check(state=S.IDLE, outlet=None)
    second = check(first.state, now=NOW + 1.0, state=S.IDLE, outlet=None)
    assert all(a is b for a, b in zip(first.state.interlocks, second.state.interlocks, strict=True))
    armed = replace(AboveProgram(), armed=True)
    assert first.state.interlocks == tuple(armed if isinstance(one, AboveProgram) else one for one in ALL)
