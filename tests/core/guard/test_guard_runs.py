"""The guard from run to run, over a hold and over a restart: what begins anew, and what may not."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard import gate as guard
from controller.core.guard import requalify as evidence
from controller.core.guard import watch_mash, watch_plant
from controller.core.guard.history import Past
from controller.core.guard.kept import Kept
from controller.core.guard.registry import Finding, Memory
from controller.core.nouns import Course, Order, Phase, RunState
from controller.core.procedure import resume
from controller.core.procedure.orders import permissives
from controller.core.state import start
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.test_guard import tripped
from tests.core.guard.test_guard_corners import HELD, NOW, OPEN, SEEN, check, found, hot, kept, senses
from tests.core.guard.test_guard_edges import HISTORY

S = RunState
P = Phase
NO_RUN = (S.IDLE, S.STOPPED, S.ABORTED, S.COMPLETE)
RISING = course(leg("beta", 62.0, 3600.0), leg("alpha", 72.0, 3600.0), grist_kg=0)
FALLING = course(leg("warm", 66.0, 3600.0), leg("cool", 60.0, 3600.0), grist_kg=0)


def resting(plan: Course, start_c: float) -> Bench:
    """A run of this plan, half a minute into its first rest."""
    bench = begun(Bench(settings(), mash_c=start_c), plan)
    bench.until("resting")
    bench.run(30)
    return bench


def begun(bench: Bench, plan: Course) -> Bench:
    bench.until("idle")
    bench.start(plan)
    bench.run(2)
    assert bench.state.run.state is S.RUNNING
    return bench


def ended(bench: Bench) -> Bench:
    """The run is stopped and the tun ready for the next one, in the same process."""
    bench.order("stop")
    bench.until("stopped", 20)
    bench.order("reset")
    bench.step()
    assert bench.state.run.state is S.IDLE
    return bench


def ordered(bench: Bench, *names: str, **args: Any) -> None:
    for name in names:
        bench.order(name, **args)
        bench.run(2)
        assert bench.replies[-1].accepted, bench.replies[-1].reason


def cleared(bench: Bench, trip: str) -> None:
    """A minute later a person clears it and lets the run go on."""
    bench.run(61)
    bench.order("clear", trip=trip)
    bench.step()
    ordered(bench, "restart")
    bench.until("running", 30)


def broker_away(bench: Bench, seconds: int = 5) -> None:
    bench.link = False
    bench.run(seconds)
    bench.link = True
    bench.run(30)


# ---------------------------------------------------------------- from run to run


@pytest.mark.parametrize("state", S)
def test_what_belongs_to_a_run_ends_with_it(state: RunState) -> None:
    """With no run on, every count and judgement of the last one is gone in one tick; in any other state they stay. A
    process that is checking may have a run to go on with."""
    used = OPEN.memory._replace(heat_on_s=500.0, highest_c=72.0, above_armed=False)
    past = Past(HISTORY.lines, fitted=(7,), heat_since=5.0, off_since=3.0, added_at=4.0)
    after = check(OPEN._replace(past=past, longer_s=3600.0, memory=used), state=state, raw=(), highest_c=None).state
    memory = after.memory
    kept_now = (after.past.fitted, after.past.heat_since, after.longer_s, memory.heat_on_s)
    armed = (memory.highest_c, memory.above_armed)
    if state in NO_RUN:
        assert (kept_now, armed, len(after.past.lines)) == (((), None, 0.0, 0.0), (None, True), 0)
    else:
        assert (kept_now, armed, len(after.past.lines)) == (((7,), 5.0, 3600.0, 500.0), (72.0, False), 6)
    assert (after.past.off_since, after.past.added_at) == (3.0, 4.0)


@pytest.mark.parametrize("left", [
    {"past": Past(fitted=(7,))}, {"past": Past(heat_since=5.0)}, {"longer_s": 1.0},
    {"memory": Memory(heat_on_s=1.0)}, {"memory": Memory(highest_c=72.0)}, {"memory": Memory(above_armed=False)},
])  # fmt: skip
def test_each_thing_that_is_left_of_a_run(left: dict[str, Any]) -> None:
    """Any of them alone is seen; where nothing is left nothing is made anew."""
    clean = guard.GuardState()
    assert guard._between_runs(clean._replace(**left), senses(state=S.IDLE)) == clean
    assert guard._between_runs(clean, senses(state=S.IDLE)) is clean


def test_the_last_second_of_heat_is_not_counted_for_the_next_run() -> None:
    """In the tick in which a run ends the heat of the second before is still on the books, for that tick only."""
    after = check(OPEN._replace(duty=0.5), state=S.COMPLETE).state
    assert (after.memory.heat_on_s, after.past.heat_since) == (0.0, None)


def test_a_second_mash_of_the_same_recipe_is_judged_again() -> None:
    """G25 had its say in the first run; the second has half the liquor in, in the same process, and trips."""
    bench = begun(Bench(settings(), mash_c=40.0), RISING)
    bench.run(900)
    assert (tripped(bench), len(bench.state.guard.past.fitted)) == ([], 1)
    bench = ended(bench)
    bench.mash_c, bench.works = 40.0, 2.0
    bench.run(120)
    begun(bench, RISING).run(900)
    assert tripped(bench) == ["G25"]


def test_hot_liquor_filled_for_the_second_mash_is_no_misfit() -> None:
    """The heat of the first run is none by which the filling just before the second could be judged."""
    bench = begun(Bench(settings(), mash_c=40.0), RISING)
    bench.run(900)
    bench = ended(bench)
    for change_k, seconds in ((-0.2, 150), (0.0, 300), (0.2, 125)):
        for _ in range(seconds):
            bench.mash_c += change_k
            bench.step()
    begun(bench, RISING).run(900)
    assert tripped(bench) == []


# ---------------------------------------------------------------- G23


@pytest.mark.parametrize(("had_s", "left_s"), [(57_601.0, 54_001.0), (3600.0, 0.0), (3599.0, 0.0), (3601.0, 1.0)])
def test_clearing_g23_gives_the_heater_an_hour_as_well(had_s: float, left_s: float) -> None:
    """As much as the run gets, and no more than the heater's whole time."""
    state = HELD._replace(
        trips=(kept("G23", NOW - 60.0, True),), gone=(("G23", 0.0),), memory=OPEN.memory._replace(heat_on_s=had_s)
    )
    after = guard.clear(state, Order("clear", NOW, "o", {}, "b", trip="G23"), S.HELD, NOW, 60.0)[0]
    assert (after.memory.heat_on_s, after.longer_s) == (left_s, 3600.0)
    assert after.memory._replace(heat_on_s=had_s) == state.memory


def test_clearing_another_trip_gives_the_heater_no_time() -> None:
    """Only G23 counts it."""
    memory = OPEN.memory._replace(heat_on_s=57_601.0)
    state = HELD._replace(trips=(kept("G09", NOW - 60.0, True),), gone=(("G09", 0.0),), memory=memory)
    after = guard.clear(state, Order("clear", NOW, "o", {}, "b", trip="G09"), S.HELD, NOW, 60.0)[0]
    assert after.memory.heat_on_s == 57_601.0


def test_a_heater_on_for_too_long_gets_an_hour_more_by_a_clear() -> None:
    """Cleared and restarted the run goes on until its heater has been on for an hour more, and then trips again."""
    bench = begun(Bench(settings(), mash_c=40.0), RISING)
    heat_on(bench, 57_590.0)
    bench.until("held", 30)
    assert tripped(bench) == ["G23"]
    cleared(bench, "G23")
    bench.run(60)
    assert tripped(bench) == []
    assert 54_000.0 < bench.state.guard.memory.heat_on_s < 54_100.0
    heat_on(bench, 57_590.0)
    bench.until("held", 30)
    assert tripped(bench) == ["G23"]


def test_heat_of_earlier_runs_is_no_reason_to_stop_this_one() -> None:
    """Sixteen hours of heat in earlier mashes of the same process: the next one begins to count at nothing."""
    bench = begun(Bench(settings(), mash_c=40.0), RISING)
    heat_on(bench, 57_500.0)
    bench = begun(ended(bench), RISING)
    bench.run(200)
    assert tripped(bench) == []
    assert bench.state.guard.memory.heat_on_s <= 202.0


def heat_on(bench: Bench, seconds: float) -> None:
    memory = bench.state.guard.memory._replace(heat_on_s=seconds)
    bench.state = bench.state._replace(guard=bench.state.guard._replace(memory=memory))


def test_the_heater_on_for_just_so_long() -> None:
    """An hour less a second after the clear is quiet, a second more than the hour is not."""
    assert found(watch_plant.duration, Memory(heat_on_s=54_001.0 + 3599.0)) is None
    assert found(watch_plant.duration, Memory(heat_on_s=54_001.0 + 3600.0)) == Finding(
        "G23", 57_601.0, 57_600.0, says=watch_plant.HEATED_LONG
    )


# ---------------------------------------------------------------- G06


@pytest.mark.parametrize(("highest_c", "armed"), [(66.0, True), (65.9, False), (60.0, False), (72.0, True)])
def test_a_target_that_fell_in_a_hold_is_a_fall(highest_c: float, armed: bool) -> None:
    """Held at 66 °C: what the program asks for afterwards is compared with what it asked for before."""
    memory, _ = watch_mash.above(senses(raw=hot(66.0), highest_c=66.0), Memory())
    memory, _ = watch_mash.above(senses(state=S.HELD, highest_c=None, raw=hot(71.0)), memory)
    memory, finding = watch_mash.above(senses(raw=hot(76.0, 76.0, 76.0), highest_c=highest_c), memory)
    assert memory.above_armed is armed
    assert (finding is not None) is armed


@pytest.mark.parametrize(("below_c", "armed"), [(61.5, True), (61.6, False)])
def test_half_the_margin_under_the_limit_arms_after_a_hold(below_c: float, armed: bool) -> None:
    """As after a falling step without a hold: 63 °C less 1.5 K."""
    memory = Memory(highest_c=66.0)
    memory, _ = watch_mash.above(senses(raw=hot(66.0), highest_c=60.0), memory)
    memory, _ = watch_mash.above(senses(raw=hot(below_c), highest_c=60.0), memory)
    assert memory.above_armed is armed
    assert (found(watch_mash.above, memory, raw=hot(63.1, 63.1, 63.1), highest_c=60.0) is not None) is armed


def test_a_new_process_must_first_see_the_mash_below() -> None:
    """Within a run that it goes on with; a run that begins in it is watched from its first reading on."""
    fresh = guard.begin(NOW, 1, 10.0).memory
    assert not fresh.above_armed
    memory, finding = watch_mash.above(senses(raw=hot(64.7, 64.7, 64.7), highest_c=60.0), fresh)
    assert (finding, memory.above_armed) == (None, False)
    memory, _ = watch_mash.above(senses(raw=hot(60.0), highest_c=60.0), memory)
    assert found(watch_mash.above, memory, raw=hot(63.1, 63.1, 63.1), highest_c=60.0) == Finding("G06", 63.1, 63.0)


def test_hold_advance_and_restart_in_a_falling_program() -> None:
    """From 66 to 60 °C while held: no trip while the mash cools, and one once it has been below and is hot again."""
    bench = resting(FALLING, 65.5)
    ordered(bench, "hold", "advance", "restart")
    bench.until("running", 30)
    bench.run(120)
    assert (tripped(bench), round(bench.mash_c)) == ([], 66)
    bench.mash_c = 64.0
    bench.run(10)
    bench.mash_c = 62.5
    bench.run(10)
    bench.mash_c = 61.0
    bench.run(10)
    bench.mash_c = 63.0
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
    bench.state, bench.last = start(bench.settings, bench.now, "again", Kept(epoch=2), pending), None
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
    assert not bench.state.guard.memory.above_armed
    bench = ended(bench)
    bench.mash_c = 70.5
    bench.run(20)
    bench.start(FALLING)
    bench.run(4)
    assert tripped(bench) == ["G06"]


def test_still_too_hot_after_a_clear() -> None:
    """A hold, a clear and a restart do not disarm: as hot as before it cannot be cleared; hot once more it trips again,
    at once."""
    bench = resting(RISING, 61.5)
    for _ in range(15):
        bench.mash_c += 1.0
        bench.step()
    bench.run(3)
    assert tripped(bench) == ["G06"]
    bench.run(61)
    bench.order("clear", trip="G06")
    bench.step()
    assert not bench.replies[-1].accepted and "its cause is still there" in bench.replies[-1].reason
    hot_c = bench.mash_c
    bench.mash_c = 71.0
    bench.run(10)
    cleared(bench, "G06")
    bench.run(20)
    bench.mash_c = hot_c
    bench.run(6)
    assert tripped(bench) == ["G06"]


# ---------------------------------------------------------------- where a mash without heat would be

BEFORE: dict[str, Any] = {"quiet_c": 50.0, "quiet_at": 10.0}


@pytest.mark.parametrize(("changes", "sense", "expected"), [
    ({}, {}, (63.0, NOW)),
    ({"duty": 0.5}, {"state": S.HELD}, (50.0, 10.0)),
    ({}, {"state": S.RESTARTING}, (50.0, 10.0)),
    ({}, {"state": S.PAUSED}, (63.0, NOW)),
    ({}, {"state": S.CHECKING}, (63.0, NOW)),
    ({"qualified": False}, {}, (50.0, 10.0)),
    ({"trips": (kept("G02", 900.0, False),)}, {}, (50.0, 10.0)),
    ({}, {"seen": SEEN._replace(value_c=None)}, (50.0, 10.0)),
    *(({}, {"state": state}, (None, NOW)) for state in NO_RUN),
])  # fmt: skip
def test_what_is_compared_with(
    changes: dict[str, Any], sense: dict[str, Any], expected: tuple[float | None, float]
) -> None:
    """The reading of the last tick on good evidence, none during a trip; nothing while no run is on."""
    assert evidence.last_good(OPEN._replace(**BEFORE)._replace(**changes), senses(**sense)) == expected


def test_what_is_compared_with_goes_from_tick_to_tick() -> None:
    """It follows the reading, stops at a trip, and is what was read just before; a second trip changes nothing."""
    state = check(OPEN._replace(**BEFORE)).state
    assert (state.quiet_c, state.quiet_at) == (63.0, NOW)
    cut = check(state, now=NOW + 1.0, late_s=3.0, seen=SEEN._replace(value_c=63.5)).state
    assert (ids_of(cut), cut.quiet_c, cut.quiet_at) == (["G17"], 63.0, NOW)
    more = check(cut, now=NOW + 2.0, late_s=3.0, level=None, seen=SEEN._replace(value_c=40.0)).state
    assert (ids_of(more), more.quiet_c, more.quiet_at) == (["G17", "G13"], 63.0, NOW)


def ids_of(state: guard.GuardState) -> list[str]:
    return [trip.id for trip in state.trips]


def test_a_trip_before_any_good_evidence() -> None:
    """There the reading at the trip is all there is: the believed one, else the newest well-formed one."""
    state = OPEN._replace(qualified=False, qualify_from=NOW)
    assert check(state, late_s=3.0).state.quiet_c == 63.0
    gone = check(state, seen=SEEN._replace(value_c=None, raw_c=61.0, age_s=11.0)).state
    assert (gone.quiet_c, gone.quiet_at) == (61.0, NOW)


def test_a_trip_long_over_is_no_measure_any_more() -> None:
    """G02 at 50 °C cleared itself; at 62 °C a hold, the broker away for 5 s, a restart: the run goes on."""
    bench = begun(Bench(settings(), mash_c=50.0), RISING)
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


@pytest.mark.parametrize(
    ("fallen_k", "goes_on"), [(2.9, True), (3.5, False), (40.0, False), (-2.9, True), (-3.1, False)]
)
def test_a_reading_that_moved_while_nothing_was_heard(fallen_k: float, goes_on: bool) -> None:
    """Held, the broker away, and then a probe that reads elsewhere: no heat until it reads what a mash would."""
    bench = resting(RISING, 61.5)
    ordered(bench, "hold")
    bench.reading_c = bench.mash_c - fallen_k
    broker_away(bench)
    ordered(bench, "restart")
    bench.run(70)
    assert (bench.state.run.state is S.RUNNING) is goes_on
    assert bool([e for e in bench.events if e.id == "waits" and "a reading that fits" in e.text]) is not goes_on
    if not goes_on:
        assert all(out.command is not None and out.command.duty == 0.0 for out in bench.log[-70:])
        bench.reading_c = None
        bench.until("running", 30)


def test_an_hour_s_hold_cools_a_mash_and_no_more() -> None:
    """It is compared with what it was when held, less what a mash may lose in an hour: cooler by two kelvins it goes
    on, a probe that lies beside the tun gets no heat until a person says that it is right."""
    bench = resting(RISING, 61.5)
    ordered(bench, "hold")
    held_c = bench.mash_c
    bench.run(3600)
    assert bench.state.guard.quiet_c == pytest.approx(held_c, abs=0.1)
    assert held_c - bench.mash_c > 2.0
    bench.reading_c = 21.0
    bench.run(10)
    ordered(bench, "restart")
    bench.run(70)
    assert bench.state.run.state is S.RESTARTING
    waits = [e.text for e in bench.events if e.id == "waits"]
    assert "it says 21.0 °C, and was 61.9 °C" in waits[-1] and "restart measured=true" in waits[-1]
    bench.reading_c = None
    bench.until("running", 30)


def test_a_reading_that_a_person_measured_counts() -> None:
    """Cold liquor in a hold, 12 K: refused as a misfit, until a person says it was measured by hand."""
    bench = resting(RISING, 61.5)
    ordered(bench, "hold")
    bench.run(5)
    bench.mash_c -= 12.0
    bench.run(10)
    ordered(bench, "restart")
    bench.run(70)
    assert bench.state.run.state is S.RESTARTING
    ordered(bench, "hold")
    bench.run(2)
    ordered(bench, "restart", measured="yes")
    bench.run(30)
    assert bench.state.run.state is S.RESTARTING
    ordered(bench, "hold")
    bench.run(2)
    ordered(bench, "restart", measured=True)
    bench.until("running", 30)
    bench.until("resting", 3000)


@pytest.mark.parametrize("fall_k", [6.0, 0.0])
def test_grain_that_goes_in_during_a_hold(fall_k: float) -> None:
    """Dough-in has begun, then a hold and no broker while the grain is poured: what it cools is no misfit."""
    bench = Bench(settings(), mash_c=53.0)
    begun(bench, course(leg("beta", 62.0, 3600.0)))
    bench.until("dough_in")
    bench.answer(answer="begin")
    bench.until("adding", 30)
    ordered(bench, "hold")
    bench.reading_c = bench.mash_c - fall_k
    broker_away(bench)
    ordered(bench, "restart")
    bench.until("running", 60)
    assert bench.state.run.phase is P.ADDING


def test_measured_by_hand_begins_the_evidence_anew() -> None:
    """What was read before is no measure any more, and readings count from now."""
    before = OPEN._replace(**BEFORE)
    assert evidence.measured(before, 77.0) == before._replace(quiet_c=None, qualified=False, qualify_from=77.0)
