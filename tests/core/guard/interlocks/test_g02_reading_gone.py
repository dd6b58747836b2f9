"""G02: a mash reading that is missing, not proven new, or cannot be true."""

from __future__ import annotations

import copy
from math import inf, nan
from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g02_reading_gone import AWAY, BLIND, COMPARE, ReadingGone
from controller.core.inputs import Presences
from controller.core.nouns import Link, Phase, Presence, Reading, RunState, Trip
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import (
    HEATING,
    NOW,
    OFF,
    SEEN,
    check,
    duty,
    for_long,
    found,
    ids,
    known,
    read,
    senses,
    told,
    trips_in,
)

GONE, ROW = ReadingGone(), ReadingGone.ROW
LATE = "reading is 300 s late by its sender's clock"
NOT_NEW = (
    "Mash readings come, but none known to be fresh for {value:.0f} s (limit {limit:g} s): "
    f"{LATE}. Heat is off. {COMPARE}"
)
OLD = SEEN._replace(age_s=10.1)
UNPROVEN = OLD._replace(text=LATE)


def silent(for_s: float, says: str = "", gap_s: float = 10.0) -> Finding:
    """None for so long: heat is off, and so much later it is a trip."""
    return Finding(ROW, for_s, 10.0, says=says, gap_s=gap_s)


AT_ITS_LIMIT: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "at 10 s": ({"seen": SEEN._replace(age_s=10.0)}, None),
    "over 10 s": ({"seen": OLD, "raw": ()}, silent(10.1)),
    "never": ({"seen": SEEN._replace(age_s=inf), "raw": ()}, silent(86_400.0)),
    "away by its own word": ({"gone": ["mash"]}, silent(0.5, AWAY, 20.0)),
    "old, and others refused": ({"seen": OLD}, silent(10.1)),
    "the line is down": ({"seen": OLD, "link": Link(False, NOW)}, silent(10.1, gap_s=inf)),
    "readings come, not proven new": ({"seen": UNPROVEN}, silent(10.1, NOT_NEW)),
    "none come any more": ({"seen": UNPROVEN, "raw": ()}, silent(10.1)),
    "refused as nonsense": ({"seen": UNPROVEN._replace(refused_run=1)}, silent(10.1)),
    "on another level": ({"seen": UNPROVEN._replace(jump_since=NOW)}, silent(10.1)),
}


@pytest.mark.parametrize(("changes", "expected"), AT_ITS_LIMIT.values(), ids=AT_ITS_LIMIT)
def test_gone(changes: dict[str, Any], expected: Finding | None) -> None:
    """Just at its limit it is quiet, past it not; the sentence says what is known of it."""
    assert found(GONE, **changes) == expected


def test_a_heater_node_without_its_own_thermometer_is_told_as_that() -> None:
    """Heat is off at once, as a gap of a link that is a trip 20 s later, and a missing reading comes before it."""
    blind = known(line=OFF._replace(fault="F", blind=True))
    assert found(GONE, blind) == Finding(ROW, 0.0, 0.0, says=BLIND, gap_s=20.0)
    assert found(GONE, blind, seen=OLD, raw=()) == silent(10.1)
    trip = Trip("G02", NOW, "", 0.0, 0.0, "s", 1, False, True, True)
    assert GONE.still_there(trip, senses(), blind) == found(GONE, blind)


def test_no_number_is_gone() -> None:
    """An age that is no number is none to heat by."""
    finding = found(GONE, seen=SEEN._replace(age_s=nan))
    assert finding is not None and finding.row is ROW


def test_gone_where_heat_may_flow_alone() -> None:
    """Without heat a silent probe is no trip; another probe that is gone is none of the mash's."""
    assert trips_in("G02", for_long("G02"), seen=OLD) == HEATING
    assert trips_in("G02", seen=OLD._replace(refused_run=3)) == HEATING
    assert check(for_long("G02"), seen=OLD).state.trips[0].link
    assert (duty(check(seen=OLD)), ids(check(for_long("G02", since_s=9.9), seen=OLD))) == (0.0, [])
    assert ids(check(for_long("G02", since_s=9.9), seen=OLD, phase=Phase.ARMED)) == []
    assert ids(check(gone=("second", "outlet"))) == []


@pytest.mark.parametrize(
    ("changes", "there"),
    [
        ({"seen": OLD, "raw": ()}, True),
        ({"seen": SEEN._replace(age_s=10.0)}, False),
        ({"gone": ["mash"]}, True),
        ({"seen": UNPROVEN}, False),
        ({"seen": UNPROVEN._replace(refused_run=1)}, True),
        ({"seen": UNPROVEN, "gone": ["mash"]}, False),
    ],
)
def test_gone_keeps_its_trip(changes: dict[str, Any], there: bool) -> None:
    """Heat off, it stays as long as it is missing; readings that come and are not proven new are a person's matter."""
    trip = Trip("G02", NOW - 60.0, "gone", 11.0, 10.0, "s", 1, True, True)
    finding = GONE.still_there(trip, senses(**changes, state=RunState.HELD), known())
    assert (finding is not None) is there


WILD = "The mash readings make no sense{} ({} in a row, limit 3). Heat is off."


def cut(run: int, why: str = "", age_s: float = 0.5, gap_s: float | None = inf) -> Finding:
    """So many refused: heat is off, and it is no trip by itself."""
    return Finding(ROW, age_s, 10.0, says=WILD.format(why, run), gap_s=gap_s)


REFUSED: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "two": ({"refused_run": 2, "refused_since": NOW - 3.9}, None),
    "three": ({"refused_run": 3, "refused_since": NOW}, cut(3)),
    "one, and none for 4 s": ({"refused_run": 1, "refused_since": NOW - 4.0}, cut(1)),
    "none of late": ({"refused_run": 0, "refused_since": NOW - 9.0}, None),
    "all good": ({}, None),
    "none believed for 10 s": ({"refused_run": 3, "age_s": 10.1}, cut(3, age_s=10.1, gap_s=None)),
    "with what came": ({"refused_run": 3, "text": "{x} is no number"}, cut(3, ": (x) is no number")),
}


@pytest.mark.parametrize(("changes", "expected"), REFUSED.values(), ids=REFUSED)
def test_nonsense(changes: dict[str, Any], expected: Finding | None) -> None:
    """Three in a row, or one where none was accepted for 4 s, cut and are told; they are a trip of physics once none
    was believed for 10 s; then silence is silence again."""
    seen = SEEN._replace(**changes)
    assert found(GONE, seen=seen) == expected
    trip = Trip("G02", NOW - 60.0, "nonsense", 3.0, 3.0, "s", 1, True, True)
    assert GONE.still_there(trip, senses(seen=seen), known()) == expected
    says = check(seen=seen)
    assert duty(says) == (0.5 if expected is None else 0.0)
    assert told(says) == ([("G02", 3)] if expected is not None and expected.gap_s else [])
    assert told(check(seen=seen, state=RunState.HELD)) == []
    if changes.get("age_s"):
        assert found(GONE, seen=seen, raw=()) == Finding(ROW, 10.1, 10.0, gap_s=10.0)


def test_three_values_that_cannot_be_true_are_told_in_words() -> None:
    """The note and the trip's sentence have what came, how many and how many are too many."""
    wild = SEEN._replace(refused_run=3, text="999 °C is out of range")
    note = check(seen=wild, raw=read(999.0)).state.noted.now[0]
    assert note.text == f"{WILD.format(': 999 °C is out of range', 3)} {ROW.do}"
    trip = check(seen=wild._replace(age_s=11.0), raw=read(999.0)).state.trips[0]
    assert (trip.text, trip.link) == (f"{WILD.format(': 999 °C is out of range', 3)} {ROW.do}", False)


# ---------------------------------------------------------------- in a run

LATE_S = 300.0


def running() -> Bench:
    """A run that heats, its readings a second apart with stamps that are 0.2 s old."""
    bench = Bench(settings(), mash_c=58.0)
    bench.extra = {"mash": (Reading(58.0, 0.0, 1, 0.2),)}
    say(bench, 20, 0.2)
    bench.start(course(leg("beta", 66.0, 3600.0), grist_kg=0))
    say(bench, 120, 0.2)
    assert bench.duty > 0.0
    return bench


def say(bench: Bench, seconds: int, lag_s: float | None, seq: int | None = None, **changes: Any) -> None:
    """So many seconds with a reading each: its stamp so old, its number the next one or from this one on."""
    for n in range(seconds):
        number = bench.seq + 1 if seq is None else seq + n
        bench.extra = {"mash": (Reading(bench.mash_c, bench.now + 0.8, number, lag_s),), **changes}
        bench.step()


def tripped(bench: Bench) -> list[str]:
    """Which trips are on?"""
    return [trip.id for trip in bench.state.guard.trips]


def runs(bench: Bench) -> bool:
    """Does the run go on with heat, without any trip?"""
    return (bench.state.run.state, tripped(bench)) == (RunState.RUNNING, []) and bench.duty > 0.0


STREAMS: dict[str, tuple[float | None, int | None, Presence | None, list[str]]] = {
    "10 s behind its usual 0.2 s": (10.2, None, None, []),
    "more than that": (10.3, None, None, ["G02"]),
    "started anew, its stamps go on": (0.4, 1, None, []),
    "started anew, 10 s late": (10.2, 1, None, []),
    "started anew, and says that it is there": (None, 1, Presence(True, 0.5), []),
    "started anew, with old stamps, says so or not": (LATE_S, 1, Presence(True, 0.5), ["G02"]),
    "started anew, with a stamp from the future": (-3600.0, 1, None, ["G02"]),
    "started anew, and no sign": (None, 1, None, ["G02"]),
    "started anew, its word is that it is gone": (None, 1, Presence(False, 1e9), ["G02"]),
    "started anew, its word is retained": (None, 1, Presence(True, 1e9, retained=True), ["G02"]),
    "started anew, its word is of before": (None, 1, Presence(True, -200.0), ["G02"]),
}


@pytest.mark.parametrize(("lag_s", "seq", "word", "trip"), STREAMS.values(), ids=STREAMS)
def test_what_is_known_to_be_new(lag_s: float | None, seq: int | None, word: Presence | None, trip: list[str]) -> None:
    """By its stamp or by the node's own fresh word; what is not, is gone; a person's clear and restart take it as it
    is."""
    bench = running()
    word = None if word is None else word._replace(at=bench.now + word.at)
    say(bench, 80, lag_s, seq, there=Presences(mash=word))
    assert tripped(bench) == trip
    if trip:
        assert bench.clear("G02").accepted
        bench.order("restart")
        say(bench, 40, lag_s, 82 if seq is not None else None)
    assert runs(bench)


def test_readings_out_of_a_queue_bring_no_heat_back() -> None:
    """300 s late: no heat after 10 s, G02 after 20 s, for as long as the queue lasts, by then a person's matter; one
    that drains in time gives the heat back by itself."""
    bench = running()
    say(bench, 10, LATE_S)
    assert bench.duty == 0.0
    say(bench, 10, LATE_S)
    for second in range(1180):
        say(bench, 1, LATE_S)
        assert (tripped(bench), bench.duty) == (["G02"], 0.0)
        if second == 110:
            drained = copy.deepcopy(bench)
    trip = bench.state.guard.trips[0]
    assert (trip.link, trip.latched, bench.state.run.hold.by) == (True, False, "resume")
    assert "reading is 300 s late by its sender's clock" in trip.text
    assert "`clear`, `restart`" in trip.text
    say(drained, 30, 0.2)
    assert runs(drained)


def test_a_recording_is_no_restarted_node() -> None:
    """The probe is dead, a recording of earlier in the run is sent: G02 in 20 s, and no heat by it."""
    bench = running()
    say(bench, 25, None, 20)
    for number in range(45, 131):
        say(bench, 1, None, number)
        assert (tripped(bench), bench.duty) == (["G02"], 0.0)
    assert "is older than" in bench.state.guard.trips[0].text


def test_with_no_run_on_a_new_count_is_taken() -> None:
    """Idle: three lower numbers that rise, and a clock that is late for over a minute, are believed as ever."""
    bench = Bench(settings(), mash_c=20.0)
    say(bench, 30, 0.2)
    assert bench.state.run.state is RunState.IDLE
    say(bench, 70, LATE_S, 1)
    assert bench.outcome.seen.seq == 70


def test_a_clear_of_one_of_two_trips_believes_nothing() -> None:
    """While another trip stands, nobody has said that the readings are good; with the last one cleared he has."""
    bench = running()
    say(bench, 80, LATE_S)
    guard = bench.state.guard
    other = guard.trips[0]._replace(id="G05", latched=True)
    guard = guard._replace(trips=(*guard.trips, other), gone=(*guard.gone, ("G05", 0.0)))
    bench.state = bench.state._replace(guard=guard)
    for name, usual_s in (("G05", 0.2), ("G02", None)):
        bench.order("clear", trip=name)
        say(bench, 1, LATE_S)
        assert bench.replies[-1].accepted
        assert bench.state.mash.lag_s == usual_s


def test_gone_by_its_own_word_cuts_at_once() -> None:
    """False takes heat away at once and is a trip 20 s later, in words of its own; a reading later than the word shows
    that the node is back, and three of them give the heat back."""
    bench = running()
    gone = Presence(False, bench.now + 0.9)
    say(bench, 1, 0.2, there=Presences(mash=gone))
    assert (tripped(bench), bench.duty) == ([], 0.0)
    briefly = copy.deepcopy(bench)
    say(briefly, 4, 0.2, there=Presences(mash=gone))
    assert runs(briefly)
    bench.extra = {"mash": (), "there": Presences(mash=gone)}
    bench.run(20)
    assert tripped(bench) == ["G02"]
    text = bench.state.guard.trips[0].text
    assert text.startswith("The mash probe's presence topic says that it is gone; it last read 20 s ago.")
    say(bench, 60, 0.2, there=Presences(mash=gone))
    assert runs(bench)


@pytest.mark.parametrize(
    ("word", "cut_s", "trip_s"), [(Presence(True, 0.0), 10, 20), (Presence(False, 1.0, retained=True), 7, 27)]
)
def test_a_silent_probe_and_its_word(word: Presence, cut_s: int, trip_s: int) -> None:
    """True proves nothing; a retained copy may be of long ago: one that says gone waits 5 s for a reading."""
    bench = running()
    bench.extra = {"mash": (), "there": Presences(mash=word._replace(at=bench.now + word.at))}
    bench.run(cut_s - 1)
    assert bench.duty > 0.0
    bench.run(1)
    assert bench.duty == 0.0
    bench.run(trip_s - cut_s - 1)
    assert tripped(bench) == []
    bench.run(1)
    assert tripped(bench) == ["G02"]


def test_a_reading_settles_a_retained_word() -> None:
    """A copy that says gone is wrong about a probe that speaks."""
    bench = running()
    say(bench, 60, 0.2, there=Presences(mash=Presence(False, bench.now + 0.5, retained=True)))
    assert runs(bench)
