"""The guard in the closed loop: each fault is seen in time, just under is quiet, and heat comes back as written."""

from __future__ import annotations

from collections.abc import Callable
from math import inf, nan
from typing import Any

import pytest

from controller.core.nouns import Bad, Disk, Foreign, HeaterReport, Link, Phase, Reading
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import S
from tests.core.guard.rounds import begun, resting, tripped

PLAN = course(leg("beta", 63.0, 3600.0), leg("alpha", 72.0, 1200.0), leg("keep", 78.0, 7200.0, kind="keep"), grist_kg=0)
ONE = course(leg("only", 63.0, 3600.0), grist_kg=0)


def heating() -> Bench:
    bench = begun(PLAN._replace(liquor_capacity_j_per_k=263_900.0), 55.0, "ramping")
    assert bench.duty > 0.0
    return bench


# ---------------------------------------------------------------- each fault in time


def knob(**values: Any) -> Callable[[Bench], None]:
    def turn(bench: Bench) -> None:
        for name, value in values.items():
            setattr(bench, name, value)

    return turn


def held_with(**values: Any) -> Callable[[Bench], None]:
    def turn(bench: Bench) -> None:
        bench.order("hold")
        bench.step()
        knob(**values)(bench)

    return turn


def garbage(bench: Bench) -> None:
    bench.probe = False
    bench.extra = {"mash": tuple(Bad("no number", bench.now) for _ in range(3))}


def between_ticks(bench: Bench) -> None:
    at = bench.now
    hot = (Reading(81.0, at, 10_001), Reading(81.0, at + 1.0, 10_002), Reading(63.0, at + 1.0, 10_003))
    bench.extra = {"mash": hot}


def stranger(bench: Bench) -> None:
    bench.extra = {"link": Link(True, 0.0, foreign=Foreign(0.5, 1, bench.now))}


Begun = Callable[[], Bench]
FAULTS: dict[str, tuple[Begun, Callable[[Bench], None], str, int, int]] = {
    "no reading": (heating, knob(probe=False), "G02", 20, 20),
    **{f"nonsense {value}": (resting, knob(reading_c=value), "G02", 10, 10)
       for value in (-127.0, 150.0, 999.0, nan, inf, -inf)},
    "garbage": (resting, garbage, "G02", 10, 10),
    "a level 8 K up": (resting, knob(offset_k=8.0), "G04", 9, 11),
    "over the program": (lambda: resting(ONE), knob(mash_c=66.3), "G06", 2, 2),
    "hot": (resting, knob(reading_c=80.0), "G07", 2, 2),
    "hot between ticks": (resting, between_ticks, "G07", 1, 1),
    "dead heater": (heating, knob(works=0.0), "G09", 240, 370),
    "welded switch": (resting, held_with(stuck_w=5000.0), "G10", 240, 900),
    "no liquid": (resting, knob(level=False), "G13", 1, 2),
    "heater silent": (resting, knob(heater=False), "G14", 20, 21),
    "heater lies": (resting, held_with(lie=1.0), "G15", 2, 5),
    "no broker": (heating, knob(link=False), "G14", 21, 21),
    "late": (resting, knob(extra={"late_s": 2.1}), "G17", 10, 10),
    "stranger": (resting, stranger, "G19", 1, 1),
}  # fmt: skip


@pytest.mark.parametrize(("begin", "breaks", "which", "least_s", "most_s"), FAULTS.values(), ids=list(FAULTS))
def test_a_fault_is_seen_in_time(
    begin: Begun, breaks: Callable[[Bench], None], which: str, least_s: int, most_s: int
) -> None:
    """So many seconds after it begins heat is off, not sooner and not later; it is the first of its incident."""
    bench = begin()
    breaks(bench)
    seconds = 0
    while not tripped(bench) and seconds <= most_s:
        bench.step()
        seconds += 1
    assert (tripped(bench), bench.duty) == ([which], 0.0)
    assert least_s <= seconds <= most_s
    assert bench.state.guard.trips[0].first_out


CUTS: dict[str, tuple[Callable[[Bench], None], int]] = {
    "no reading": (knob(probe=False), 10),
    "nonsense": (knob(reading_c=-127.0), 3),
    "garbage": (garbage, 1),
    "heater silent": (knob(heater=False), 10),
    "no broker": (knob(link=False), 1),
    "late": (knob(extra={"late_s": 2.1}), 1),
}


@pytest.mark.parametrize(("breaks", "after_s"), CUTS.values(), ids=list(CUTS))
def test_a_gap_cuts_before_it_is_a_trip(breaks: Callable[[Bench], None], after_s: int) -> None:
    """Heat is off after so many seconds, nothing has tripped by then, and the run goes on."""
    bench = heating()
    breaks(bench)
    bench.run(after_s - 1)
    assert bench.duty > 0.0
    bench.step()
    assert (bench.duty, tripped(bench), bench.state.run.state) == (0.0, [], S.RUNNING)


def spiked(bench: Bench) -> None:
    bench.offset_k = 12.0
    bench.step()
    bench.offset_k = 0.0


def answered_late(bench: Bench) -> None:
    seq = bench.state.guard.line.seq
    bench.order("hold")
    bench.step()
    for _ in range(6):
        bench.extra = {"heater": HeaterReport(bench.now + 0.9, "b1", 1, seq, 1.0, 4.0)}
        bench.step()
    bench.extra = {}


def over_for_long(bench: Bench) -> None:
    bench.mash_c = 65.9
    bench.run(20)


def nearly_hot(bench: Bench) -> None:
    bench.reading_c = 79.99
    bench.step()


QUIET: dict[str, tuple[Begun, Callable[[Bench], None]]] = {
    "one spike": (resting, spiked),
    "just under the hard limit": (resting, nearly_hot),
    "2.9 K over the program": (lambda: resting(ONE), over_for_long),
    "two seconds late": (resting, knob(extra={"late_s": 2.0})),
    "a report that answers an earlier command": (heating, answered_late),
}


@pytest.mark.parametrize(("begin", "happens"), QUIET.values(), ids=list(QUIET))
def test_what_trips_nothing(begin: Begun, happens: Callable[[Bench], None]) -> None:
    """One second of a spike, a reading and a delay just under their limits, an old report."""
    bench = begin()
    happens(bench)
    bench.extra, bench.reading_c = bench.extra, None
    bench.run(20 if not bench.extra else 1)
    assert tripped(bench) == []


@pytest.mark.parametrize("value", [80.0, 85.0])
def test_one_hot_reading_cuts_and_does_not_latch(value: float) -> None:
    """The tick of it is OFF; a sensor's power-on value is never taken for a hot mash, however often it comes."""
    bench = heating()
    bench.reading_c = value
    for _ in range(1 if value == 80.0 else 2):
        bench.step()
        assert (bench.duty, tripped(bench)) == (0.0, [])


def test_a_healthy_start_lets_heat_out_and_no_sooner() -> None:
    """Ten seconds of checking, a start, then heat on the first tick that all conditions hold."""
    bench = Bench(settings(), mash_c=61.0)
    bench.until("idle")
    assert bench.now >= 10.25
    assert all(out.command is not None and out.command.duty == 0.0 for out in bench.log)
    bench.start(PLAN)
    bench.run(3)
    assert bench.duty > 0.0


def test_a_late_reading_does_not_let_duty_rise() -> None:
    """From five to ten seconds of silence the duty may fall but not rise, and no lease outlives its reading by more
    than 12 s."""
    bench = heating()
    bench.probe = False
    before_s = []
    for second in range(9):
        before = bench.duty
        bench.step()
        command = bench.outcome.command
        assert command is not None and command.reading_age_s is not None
        assert second < 5 or bench.duty <= before
        assert command.valid_s == min(10.0, 12.0 - command.reading_age_s)
        before_s.append(command.valid_s)
    assert (tripped(bench), before_s[-1] < 10.0) == ([], True)


def test_hard_limit_is_watched_when_idle() -> None:
    """G07 in idle: latched, and a start is refused; its words name value, limit and what to do."""
    bench = Bench(settings(), mash_c=79.0)
    bench.until("idle")
    bench.mash_c = 80.5
    bench.run(3)
    trip = bench.state.guard.trips[0]
    assert "80.5 °C" in trip.text and "80 °C" in trip.text and trip.text.endswith("Do not restart before you know why.")
    bench.start(PLAN)
    bench.step()
    assert not bench.replies[-1].accepted and "G07" in bench.replies[-1].reason


def test_a_stranger_ends_it_for_good() -> None:
    """A foreign command with duty aborts; no order gives heat back in this process; its OFF is noted, no more; a higher
    number silences the loser."""
    bench = resting()
    stranger(bench)
    bench.step()
    bench.extra = {}
    bench.until("aborted", 20)
    bench.run(100)
    assert not bench.clear("G19").accepted
    assert bench.duty == 0.0
    bench = resting()
    bench.extra = {"link": Link(True, 0.0, foreign=Foreign(0.0, None, bench.now))}
    bench.step()
    assert tripped(bench) == []
    assert any("OFF" in note.text for note in bench.state.guard.noted.now)
    bench.extra = {"epoch_seen": 7}
    bench.run(3)
    assert bench.outcome.command is None


# ---------------------------------------------------------------- heat comes back


@pytest.mark.parametrize(("breaks", "mends"), [
    (knob(probe=False), knob(probe=True)), (knob(link=False), knob(link=True)), (knob(heater=False), knob(heater=True)),
])  # fmt: skip
def test_what_ends_by_itself(breaks: Callable[[Bench], None], mends: Callable[[Bench], None]) -> None:
    """A gap of a link that was a trip: the run goes on within seven seconds of its end; heat comes when it is asked."""
    bench = heating()
    breaks(bench)
    bench.run(25)
    assert bench.state.run.state is S.HELD
    mends(bench)
    bench.run(7)
    assert (bench.state.run.state, tripped(bench)) == (S.RUNNING, [])
    bench.run(3)
    assert bench.duty > 0.0


@pytest.mark.parametrize("link", ["probe", "heater"])
def test_gone_for_a_quarter_of_an_hour_asks_and_one_answer_leads_on(link: str) -> None:
    """A link gone for 15 min latches nothing; the run is held with a question, neither time nor a restart answers it,
    and one answer does."""
    bench = resting()
    knob(**{link: False})(bench)
    bench.run(930)
    assert not any(trip.latched for trip in bench.state.guard.trips)
    knob(**{link: True})(bench)
    bench.run(300)
    assert (bench.state.run.state, tripped(bench), bench.duty) == (S.HELD, [], 0.0)
    bench.order("restart")
    bench.step()
    assert not bench.replies[-1].accepted and "no heat for 15 min, since a link was gone" in bench.replies[-1].reason
    assert bench.answer(answer="go on here").accepted
    bench.until("running", 200)


def test_the_third_interruption_waits_for_a_person() -> None:
    """G24: the third self-clearing trip within half an hour waits for a person who has inspected."""
    bench = resting()
    for n in range(3):
        bench.offset_k = -8.0
        bench.run(11)
        bench.offset_k = 0.0
        assert ("G24" in tripped(bench)) is (n == 2)
        bench.until("held", 10)
        if n < 2:
            bench.until("running", 200)
            bench.run(5)
    bench.run(200)
    assert "inspected" in bench.clear("G24").reason


def test_no_heat_after_a_trip_until_it_is_on_disk() -> None:
    """The record of a trip is durable before any later heat."""
    bench = heating()
    bench.extra = {"late_s": 21.0}
    bench.step()
    bench.extra = {"disk": Disk(True, 9, 10)}
    bench.run(200)
    assert bench.duty == 0.0
    bench.extra = {}
    bench.run(30)
    assert bench.duty > 0.0


def test_as_long_as_it_is_there_it_cannot_be_cleared() -> None:
    """In a hold as in a run: refused while the cause is there, accepted a few seconds after it is gone."""
    bench = begun(PLAN, 61.0)
    bench.level = False
    bench.run(70)
    assert tripped(bench) == ["G13"] and bench.state.guard.trips[0].latched
    refused = bench.clear("G13")
    assert not refused.accepted and "G13: its cause is still there" in refused.reason
    bench.level = True
    bench.run(5)
    assert bench.clear("G13").accepted


def test_a_relay_that_is_still_stuck() -> None:
    """A mash that goes on warming keeps G10; after five minutes without a rise it can be cleared."""
    bench = begun(PLAN, 62.9)
    bench.run(200)
    bench.stuck_w = 5000.0
    for _ in range(1500):
        bench.step()
        if bench.state.guard.trips:
            break
    bench.run(70)
    assert "takes 300 s" in bench.clear("G10").reason
    bench.run(300)
    assert not bench.clear("G10").accepted
    bench.stuck_w = 0.0
    bench.run(400)
    assert bench.clear("G10").accepted


def test_a_heater_stuck_on_in_a_dough_in_that_nobody_answers() -> None:
    """From the strike to boiling: the note comes with the reading at the limit, the other at 30 min."""
    bench = Bench(settings(), mash_c=50.0)
    bench.run(20)
    bench.start(course(leg("rest", 63.0, 600.0)))
    bench.until("dough_in")
    bench.answer(answer="begin")
    assert bench.state.run.phase is Phase.ADDING
    began, bench.stuck_w, bench.events = bench.now, 6500.0, []
    hot_at = None
    while bench.now < began + 1801.0:
        bench.step()
        hot_at = bench.now if hot_at is None and bench.mash_c + bench.offset_k >= 80.0 else hot_at
        before = [event.id for event in bench.events if event.kind == "note" and event.id in ("G07", "adding")]
        assert ("G07" in before) == (hot_at is not None)
        assert ("adding" in before) == (bench.now - began >= 1800.0)
    assert (bench.mash_c > 85.0, tripped(bench), bench.duty) == (True, [], 0.0)
