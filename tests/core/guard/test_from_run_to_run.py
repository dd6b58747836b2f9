"""The guard from run to run, over a hold and over a restart: what begins anew, and what may not."""

from __future__ import annotations

import json

import pytest

from controller.core import checkpoint
from controller.core.guard.heat_account import UNRECORDED_S
from controller.core.guard.interlocks.g06_above_program import AboveProgram
from controller.core.guard.interlocks.g12_heat_ledger import HeatLedger
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.interlocks.g25_does_not_fit import DoesNotFit
from controller.core.guard.kept import NOTHING
from controller.core.nouns import Phase
from controller.core.procedure import resume
from controller.core.procedure.orders import permissives
from controller.core.procedure.run import Beginning
from controller.core.state import start
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import S
from tests.core.guard.rounds import (
    FALLING,
    RISING,
    begun,
    broker_away,
    ended,
    goes_on,
    remembered,
    resting,
    tripped,
    with_memory,
)
from tests.core.runs import ordered

# ---------------------------------------------------------------- from run to run


def test_a_second_mash_of_the_same_recipe_is_judged_again() -> None:
    """The first run fits; the second has half the liquor in, in the same process, and trips."""
    bench = begun(RISING, 40.0)
    bench.run(900)
    assert (tripped(bench), remembered(bench, DoesNotFit).told) == ([], ())
    bench = ended(bench)
    bench.mash_c, bench.works = 40.0, 2.0
    bench.run(120)
    begun(RISING, 40.0, bench=bench).run(900)
    assert tripped(bench) == ["G25"]


def test_hot_liquor_filled_for_the_second_mash_is_no_misfit() -> None:
    """The heat of the first run is none by which the filling just before the second could be judged."""
    bench = begun(RISING, 40.0)
    bench.run(900)
    bench = ended(bench)
    for change_k, seconds in ((-0.2, 150), (0.0, 300), (0.2, 125)):
        for _ in range(seconds):
            bench.mash_c += change_k
            bench.step()
    begun(RISING, 40.0, bench=bench).run(900)
    assert tripped(bench) == []


def test_a_heater_on_for_too_long_gets_an_hour_more_by_a_clear() -> None:
    """Cleared and restarted the run goes on until its heater has been on for an hour more, and then trips again."""
    bench = begun(RISING, 40.0)
    for _ in range(2):
        with_memory(bench, RunTooLong(heat_on_s=57_590.0))
        bench.until("held", 30)
        assert tripped(bench) == ["G23"]
        goes_on(bench, "G23")
        bench.run(60)
        assert tripped(bench) == []
        assert 54_000.0 < remembered(bench, RunTooLong).heat_on_s < 54_100.0


def test_a_run_that_was_too_long_gets_an_hour_more_by_a_clear() -> None:
    """G23: cleared and restarted it does not trip again at once."""
    bench = resting()
    bench.state = bench.state._replace(run=bench.state.run._replace(begun=Beginning("r", bench.now - 1e5)))
    bench.step()
    assert tripped(bench) == ["G23"]
    bench.state = bench.state._replace(run=bench.state.run._replace(begun=Beginning("r", bench.now - 13_500)))
    goes_on(bench, "G23")
    bench.run(30)
    assert tripped(bench) == []


def test_heat_of_earlier_runs_is_no_reason_to_stop_this_one() -> None:
    """Sixteen hours of heat in earlier mashes of the same process: the next one begins to count at nothing."""
    bench = begun(RISING, 40.0)
    with_memory(bench, RunTooLong(heat_on_s=57_500.0))
    bench = begun(RISING, 40.0, bench=ended(bench))
    bench.run(200)
    assert tripped(bench) == []
    assert remembered(bench, RunTooLong).heat_on_s <= 202.0


# ---------------------------------------------------------------- G06 over holds, restarts and starts


def test_hold_advance_and_restart_in_a_falling_program() -> None:
    """From 66 to 60 °C while held: no trip while the mash cools, and one once it has been below and is hot again."""
    bench = resting(FALLING, 65.5)
    ordered(bench, "hold", "advance", "restart")
    bench.until("running", 30)
    bench.run(120)
    assert (tripped(bench), round(bench.mash_c)) == ([], 66)
    for mash_c in (64.0, 62.5, 61.0, 63.0):
        bench.mash_c = mash_c
        bench.run(10)
    assert tripped(bench) == []
    bench.mash_c = 63.8
    bench.run(4)
    assert tripped(bench) == ["G06"]


def test_a_process_that_begins_in_the_fall_trips_nothing() -> None:
    """The run resumes by itself at 66 °C in its step of 60; heat stays off all the time, the mash cools."""
    bench = resting(FALLING, 65.5)
    ordered(bench, "advance")
    pending = resume.Pending(bench.state.run, bench.mash_c, 30.0, True, 1, 1800.0)
    bench.state, bench.last = start(bench.settings, bench.now, "again", NOTHING._replace(epoch=2), pending), None
    bench.until("running", 60)
    bench.run(300)
    assert (tripped(bench), bench.state.run.leg) == ([], 1)
    assert {out.command.duty for out in bench.log[-300:] if out.command is not None} == {0.0}


@pytest.mark.parametrize(("over_k", "trips"), [(2.9, []), (3.1, ["G06"]), (4.0, ["G06"]), (6.0, ["G06"])])
def test_too_hot_for_all_of_the_program_at_its_start(
    over_k: float, trips: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Were it not refused, G06 alone would take the heat within 3 s of the start, and latch."""
    monkeypatch.setattr(permissives, "_too_hot", lambda facts, order: [])
    bench = Bench(settings(), mash_c=72.0 + over_k + 0.02)
    bench.until("idle")
    bench.start(RISING)
    bench.run(4)
    assert tripped(bench) == trips
    assert all(out.command is not None and out.command.duty == 0.0 for out in bench.log)


def test_too_hot_at_the_start_of_the_second_run_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """A falling program has left the watch unarmed; the next run begins with it armed."""
    monkeypatch.setattr(permissives, "_too_hot", lambda facts, order: [])
    bench = resting(FALLING, 65.5)
    ordered(bench, "advance")
    assert not remembered(bench, AboveProgram).armed
    bench = ended(bench)
    bench.mash_c = 70.5
    bench.run(20)
    bench.start(FALLING)
    bench.run(4)
    assert tripped(bench) == ["G06"]


def test_still_too_hot_after_a_clear() -> None:
    """A hold, a clear and a restart do not disarm: as hot as before it cannot be cleared; hot once more it trips again,
    at once."""
    bench = resting(RISING)
    for _ in range(15):
        bench.mash_c += 1.0
        bench.step()
    bench.run(3)
    assert tripped(bench) == ["G06"]
    bench.run(61)
    assert "its cause is still there" in bench.clear("G06").reason
    hot_c, bench.mash_c = bench.mash_c, 71.0
    bench.run(10)
    goes_on(bench, "G06")
    bench.run(20)
    bench.mash_c = hot_c
    bench.run(6)
    assert tripped(bench) == ["G06"]


# ---------------------------------------------------------------- over a restart of the process


def test_what_was_seen_of_the_mash_outlives_the_process() -> None:
    """Energy, temperatures, account, ledger and verdicts come back from plain values ten minutes old, with the lease
    and the time between two records as full heat; a gap is no rise and no fall."""
    bench = begun(RISING, 40.0)
    bench.run(900)
    with_memory(bench, HeatLedger(base=bench.state.guard.past.lines[3], in_a_row=2, upto=bench.now, lost_j=7.0))
    with_memory(bench, DoesNotFit(told=(7,)))
    before = bench.state
    said = json.loads(json.dumps(checkpoint.keep(before)))
    found = checkpoint.recall(said, 5000.0, 600.0)
    assert found is not None
    begins = start(settings(), 5000.0, "later", found.guard).guard
    lines, was = begins.past.lines, before.guard.past.lines
    moved_s = 5000.0 - 600.0 - bench.now
    assert lines[-1].at - was[-1].at == pytest.approx(moved_s)
    assert [line.temperature_c for line in lines[:-6:-1]] == pytest.approx(
        [line.temperature_c for line in was[:-6:-1]], abs=0.05
    )
    unrecorded_s = settings().tun.heater.lease_s + UNRECORDED_S
    assert begins.past.energy_j - before.guard.past.energy_j == pytest.approx(unrecorded_s * begins.plate.power_w)
    assert begins.heat == before.guard.heat.recalled(unrecorded_s)._replace(
        read_at=begins.heat.read_at, last_c=begins.heat.last_c
    )
    verdicts = {type(each): each for each in begins.interlocks}
    assert verdicts[DoesNotFit] == remembered(bench, DoesNotFit) != DoesNotFit()
    ledger = verdicts[HeatLedger]
    assert isinstance(ledger, HeatLedger) and ledger.base is not None
    assert (ledger.in_a_row, ledger.lost_j) == (2, 7.0)
    assert ledger.upto == pytest.approx(5000.0 - 600.0)


# ---------------------------------------------------------------- where a mash without heat would be


def test_a_mash_that_lies_elsewhere_after_a_clear_is_taken_as_it_is() -> None:
    """The reading at the cut is no measure once a person has cleared: a false low one does not trap the run."""
    bench = resting()
    bench.reading_c = 54.0
    bench.run(6)
    bench.level = False
    bench.run(2)
    bench.level, bench.reading_c = True, None
    bench.run(70)
    for trip in bench.state.guard.trips:
        bench.order("clear", trip=trip.id)
    bench.step()
    bench.order("restart")
    bench.until("running", 300)
    bench.run(5)
    assert tripped(bench) == []


def test_a_trip_long_over_is_no_measure_any_more() -> None:
    """G02 at 50 °C cleared itself; at 62 °C a hold, the broker away for 5 s, a restart: the run goes on."""
    bench = begun(RISING, 50.0)
    bench.probe = False
    bench.until("held", 30)
    assert tripped(bench) == ["G02"]
    bench.probe = True
    bench.until("running", 200)
    bench.until("resting")
    bench.run(30)
    assert round(bench.mash_c) == 62
    ordered(bench, "hold")
    broker_away(bench)
    ordered(bench, "restart")
    bench.until("running", 30)
    assert tripped(bench) == []


@pytest.mark.parametrize(("fallen_k", "on"), [(2.9, True), (3.5, False), (40.0, False), (-2.9, True), (-3.1, False)])
def test_a_reading_that_moved_while_nothing_was_heard(fallen_k: float, on: bool) -> None:
    """Held, the broker away, and then a probe that reads elsewhere: no heat until it reads what a mash would."""
    bench = resting(RISING)
    ordered(bench, "hold")
    bench.reading_c = bench.mash_c - fallen_k
    broker_away(bench)
    bench.order("restart")
    bench.run(70)
    assert (bench.state.run.state is S.RUNNING) is on
    assert ("when last sound; say what a hand thermometer reads" in bench.replies[-1].reason) is not on
    if not on:
        assert all(out.command is not None and out.command.duty == 0.0 for out in bench.log[-70:])
        bench.reading_c = None
        bench.run(10)
        ordered(bench, "restart")
        bench.until("running", 30)


def test_an_hour_s_hold_cools_a_mash_and_no_more() -> None:
    """It is compared with what it was when held, less what a mash may lose in an hour: cooler by two kelvins it goes
    on, a probe that lies beside the tun gets no heat until a person says that it is right."""
    bench = resting(RISING)
    ordered(bench, "hold")
    held_c = bench.mash_c
    bench.run(3600)
    assert bench.state.guard.evidence.quiet_c == pytest.approx(held_c, abs=0.1)
    assert held_c - bench.mash_c > 2.0
    bench.reading_c = 21.0
    bench.run(10)
    bench.order("restart")
    bench.run(2)
    assert bench.state.run.state is S.HELD
    assert "the probe reads 21.0 °C, and was 61.9 °C when last sound" in bench.replies[-1].reason
    bench.reading_c = None
    bench.run(10)
    ordered(bench, "restart")
    bench.until("running", 30)


def test_a_reading_that_a_person_measured_counts() -> None:
    """Cold liquor in a hold, 12 K: refused as a misfit, until a person has measured it and says that it was added; then
    one small pulse shows that the probe feels the mash."""
    bench = resting(RISING)
    ordered(bench, "hold")
    bench.run(5)
    bench.mash_c -= 12.0
    bench.run(10)
    for args in ({}, {"hand_c": bench.mash_c}, {"hand_c": bench.mash_c + 5.0, "added": True}):
        bench.order("restart", **args)
        bench.run(2)
        assert (bench.state.run.state, bench.replies[-1].accepted) == (S.HELD, False)
    ordered(bench, "restart", hand_c=bench.mash_c, added=True)
    bench.until("running", 30)
    bench.until("resting", 3000)


@pytest.mark.parametrize("fall_k", [6.0, 0.0])
def test_grain_that_goes_in_during_a_hold(fall_k: float) -> None:
    """Dough-in has begun, then a hold and no broker while the grain is poured: what it cools is no misfit."""
    bench = begun(course(leg("beta", 62.0, 3600.0)), 53.0)
    bench.until("dough_in")
    bench.answer(answer="begin")
    bench.until("adding", 30)
    ordered(bench, "hold")
    bench.reading_c = bench.mash_c - fall_k
    broker_away(bench)
    ordered(bench, "restart")
    bench.until("running", 60)
    assert bench.state.run.phase is Phase.ADDING
    assert bench.state.run.state is S.RUNNING
