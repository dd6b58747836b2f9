"""G02 and G03: a mash reading that is missing, not proven new, or cannot be true."""

from __future__ import annotations

import copy
from math import inf, nan
from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g02_reading_gone import AWAY, COMPARE, ReadingGone, ReadingNonsense
from controller.core.nouns import Presence, Reading, RunState, Trip
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import HEATING, NOW, SEEN, check, found, ids, known, read, senses, trips_in

GONE, ROW = ReadingGone(), ReadingGone.ROW
NONSENSE = ReadingNonsense()
LATE = "reading is 300 s late by its sender's clock"
NOT_NEW = (
    "Mash readings come, but none known to be fresh for {value:.0f} s (limit {limit:g} s): "
    f"{LATE}. Heat is off. {COMPARE}"
)
OLD = SEEN._replace(age_s=10.1)
UNPROVEN = OLD._replace(text=LATE)

AT_ITS_LIMIT: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "at 10 s": ({"seen": SEEN._replace(age_s=10.0)}, None),
    "over 10 s": ({"seen": OLD, "raw": ()}, Finding(ROW, 10.1, 10.0)),
    "never": ({"seen": SEEN._replace(age_s=inf), "raw": ()}, Finding(ROW, 86_400.0, 10.0)),
    "away by its own word": ({"gone": ["mash"]}, Finding(ROW, 0.5, 10.0, says=AWAY)),
    "old, and others refused": ({"seen": OLD}, Finding(ROW, 10.1, 10.0)),
    "readings come, not proven new": ({"seen": UNPROVEN}, Finding(ROW, 10.1, 10.0, says=NOT_NEW)),
    "none come any more": ({"seen": UNPROVEN, "raw": ()}, Finding(ROW, 10.1, 10.0)),
    "refused as nonsense": ({"seen": UNPROVEN._replace(refused_run=1)}, Finding(ROW, 10.1, 10.0)),
    "on another level": ({"seen": UNPROVEN._replace(jump_since=NOW)}, Finding(ROW, 10.1, 10.0)),
}


@pytest.mark.parametrize(("changes", "expected"), AT_ITS_LIMIT.values(), ids=AT_ITS_LIMIT)
def test_gone(changes: dict[str, Any], expected: Finding | None) -> None:
    """Just at its limit it is quiet, past it not; the sentence says what is known of it."""
    assert found(GONE, **changes) == expected


def test_no_number_is_gone() -> None:
    """An age that is no number is none to heat by."""
    finding = found(GONE, seen=SEEN._replace(age_s=nan))
    assert finding is not None and finding.row is ROW


def test_gone_where_heat_may_flow_alone() -> None:
    """Without heat a silent probe is no trip; another probe that is gone is none of the mash's."""
    assert trips_in("G02", seen=OLD) == HEATING
    assert trips_in("G03", seen=SEEN._replace(refused_run=3)) == HEATING
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


REFUSED: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "two": ({"refused_run": 2, "refused_since": NOW - 3.9}, None),
    "three": ({"refused_run": 3, "refused_since": NOW}, Finding(NONSENSE.ROW, 3, 3)),
    "one, and none for 4 s": ({"refused_run": 1, "refused_since": NOW - 4.0}, Finding(NONSENSE.ROW, 1, 3)),
    "none of late": ({"refused_run": 0, "refused_since": NOW - 9.0}, None),
    "all good": ({}, None),
    "gone as well": ({"refused_run": 3, "age_s": 10.1}, None),
    "with what came": (
        {"refused_run": 3, "text": "{x} is no number"},
        Finding(
            NONSENSE.ROW,
            3,
            3,
            says="The mash readings make no sense: (x) is no number "
            "({value:.0f} in a row, limit {limit:g}). Heat is off.",
        ),
    ),
}


@pytest.mark.parametrize(("changes", "expected"), REFUSED.values(), ids=REFUSED)
def test_nonsense(changes: dict[str, Any], expected: Finding | None) -> None:
    """Three in a row, or one where none was accepted for 4 s; one that is gone is told as that alone."""
    seen = SEEN._replace(**changes)
    assert found(NONSENSE, seen=seen) == expected
    trip = Trip("G03", NOW - 60.0, "nonsense", 3.0, 3.0, "readings", 1, True, True)
    assert NONSENSE.still_there(trip, senses(seen=seen), known()) == expected


def test_three_values_that_cannot_be_true_are_told_in_words() -> None:
    """The trip's sentence has what came, how many and how many are too many."""
    trip = check(seen=SEEN._replace(refused_run=3, text="999 °C is out of range"), raw=read(999.0)).state.trips[0]
    assert trip.text.startswith("The mash readings make no sense: 999 °C is out of range (3 in a row, limit 3).")
    assert trip.text.endswith(NONSENSE.ROW.do)


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
    say(bench, 80, lag_s, seq, probe_online=word)
    assert tripped(bench) == trip
    if trip:
        assert bench.clear("G02").accepted
        bench.order("restart")
        say(bench, 40, lag_s, 82 if seq is not None else None)
    assert runs(bench)


def test_readings_out_of_a_queue_bring_no_heat_back() -> None:
    """300 s late: G02 within 10 s, and no heat for as long as the queue lasts, by then a person's matter; one that
    drains in time gives the heat back by itself."""
    bench = running()
    say(bench, 10, LATE_S)
    for second in range(1190):
        say(bench, 1, LATE_S)
        assert (tripped(bench), bench.duty) == (["G02"], 0.0)
        if second == 110:
            drained = copy.deepcopy(bench)
    trip = bench.state.guard.trips[0]
    assert trip.latched
    assert "reading is 300 s late by its sender's clock" in trip.text
    assert "`clear`, `restart`" in trip.text
    say(drained, 30, 0.2)
    assert runs(drained)


def test_a_recording_is_no_restarted_node() -> None:
    """The probe is dead, a recording of earlier in the run is sent: G02 in 10 s, and no heat by it."""
    bench = running()
    say(bench, 15, None, 20)
    for number in range(35, 131):
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


def test_gone_by_its_own_word_trips_at_once() -> None:
    """False is a fault at once, in words of its own; a reading later than the word shows that the node is back."""
    bench = running()
    gone = Presence(False, bench.now + 0.9)
    say(bench, 1, 0.2, probe_online=gone)
    assert tripped(bench) == ["G02"]
    text = bench.state.guard.trips[0].text
    assert text.startswith("The mash probe's presence topic says that it is gone; it last read 0 s ago.")
    say(bench, 100, 0.2, probe_online=gone)
    assert runs(bench)


@pytest.mark.parametrize(
    ("word", "silent_s", "trip"),
    [
        (Presence(True, 0.0), 12, ["G02"]),
        (Presence(False, 1.0, retained=True), 6, []),
        (Presence(False, 1.0, retained=True), 7, ["G02"]),
    ],
)
def test_a_silent_probe_and_its_word(word: Presence, silent_s: int, trip: list[str]) -> None:
    """True proves nothing; a retained copy may be of long ago: one that says gone waits 5 s for a reading."""
    bench = running()
    bench.extra = {"mash": (), "probe_online": word._replace(at=bench.now + word.at)}
    bench.run(silent_s)
    assert tripped(bench) == trip


def test_a_reading_settles_a_retained_word() -> None:
    """A copy that says gone is wrong about a probe that speaks."""
    bench = running()
    say(bench, 60, 0.2, probe_online=Presence(False, bench.now + 0.5, retained=True))
    assert runs(bench)
