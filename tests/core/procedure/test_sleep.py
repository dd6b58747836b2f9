"""A machine that slept, or stood still: its open run is decided on as after a restart; a stop meanwhile ends it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.core import checkpoint
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.interlocks.g24_keeps_tripping import KeepsTripping
from controller.core.nouns import RunState, Trip
from controller.core.procedure import resume
from controller.core.procedure.run import Run
from controller.core.state import start
from controller.settings.service import Service, Settings
from tests.core.bench import Bench, course, leg, settings, tun
from tests.core.runs import begun, restarted

PLAN = course(leg("beta", 63.0, 3600.0), leg("alpha", 72.0, 3600.0), grist_kg=0)
HOUR = 3600.0


def resting(service: Service | None = None) -> Bench:
    bench = begun(Bench(Settings(tun(), service, "digest") if service else settings(), mash_c=62.9), PLAN)
    bench.run(298)
    assert bench.state.run.progress.counting
    return bench


def sleep(bench: Bench, seconds: float, mash_c: float | None = None, suspended: bool = True) -> None:
    """So long without a tick; the mash is so warm then."""
    bench.now += seconds
    bench.mash_c = bench.mash_c if mash_c is None else mash_c
    bench.extra = {"late_s": seconds} | ({"gap_s": seconds} if suspended else {})
    bench.step()
    bench.extra = {}


def cold(bench: Bench, seconds: int) -> bool:
    before = len(bench.log)
    bench.run(seconds)
    return all(outcome.state.guard.line.duty == 0.0 for outcome in bench.log[before:])


def told(bench: Bench, kind: str) -> list[str]:
    return [event.text for event in bench.events if event.kind == kind]


def test_three_hours_of_sleep_wait_for_a_person() -> None:
    """No heat without an answer, and one is enough; the trip says that the machine slept, and for how long."""
    bench = resting()
    sleep(bench, 3 * HOUR, 60.0)
    assert bench.state.run.state is RunState.CHECKING
    assert cold(bench, 400)
    assert (bench.state.run.state, bench.state.run.hold.by) == (RunState.HELD, "resume")
    assert any("slept, or stood still, for 10801 s (limit 2 s)" in text for text in told(bench, "trip"))
    assert "for which run" in bench.obey("answer", answer="go on here").reason
    assert cold(bench, 60)
    assert "nothing more is needed" in bench.answer(answer="go on here").reason
    bench.until("running", 60)
    bench.run(60)
    assert bench.duty > 0.0


def test_twenty_minutes_of_sleep_go_on_by_themselves() -> None:
    """Within the limit and near where it was: off until three new readings, the gap rule once, run time and rest as
    after a restart."""
    bench = resting()
    run = bench.state.run
    sleep(bench, 1200.0, 62.0)
    assert cold(bench, 3)
    bench.until("running", 30)
    after = bench.state.run
    assert [text for text in told(bench, "resume") if text.startswith("resumed by itself")]
    assert after.progress.credited_s == pytest.approx(run.progress.credited_s + 1201.0, abs=1.0)
    assert (after.leg, after.begun.id) == (run.leg, run.begun.id)
    assert after.begun.at == pytest.approx(run.begun.at + 1201.0, abs=1.0)
    bench.run(60)
    assert bench.duty > 0.0
    assert bench.state.guard.trips == ()


def test_a_fall_over_the_limit_asks_however_short_the_sleep() -> None:
    """Ten minutes, 5.5 K down: a person decides."""
    bench = resting()
    sleep(bench, 600.0, bench.mash_c - 5.5)
    assert cold(bench, 300)
    assert bench.state.run.hold.by == "resume"
    assert "not within 5 K" in told(bench, "resume")[0]


def test_over_four_hours_of_sleep_end_the_run() -> None:
    """As an outage of that length does."""
    bench = resting()
    sleep(bench, 4 * HOUR + 60.0, 50.0)
    assert cold(bench, 300)
    assert bench.state.run.state is RunState.STOPPED


def test_a_gap_of_five_minutes_is_the_guards_alone() -> None:
    """At most 300 s: off for a minute, then on; just over, the run is decided on."""
    bench = resting()
    sleep(bench, resume.GAP_S - 1.0)
    assert bench.state.run.state is RunState.RUNNING
    assert [trip.id for trip in bench.state.guard.trips] == ["G17"]
    bench.until("held", 5)
    bench.until("running", 120)
    bench = resting()
    sleep(bench, resume.GAP_S)
    assert bench.state.run.state is RunState.CHECKING


@pytest.mark.parametrize(("minutes", "seconds", "decided"), [(0, 4.0, False), (0, 6.0, True), (2, 100.0, False)])
def test_a_lower_limit_counts_for_gaps_too(minutes: int, seconds: float, decided: bool) -> None:
    """Where nothing is to be resumed by itself, no gap over 5 s is."""
    bench = resting(Service(resume_minutes=minutes))
    sleep(bench, seconds, 62.5)
    assert (bench.state.pending is not None) is decided
    if decided:
        assert cold(bench, 200)
        assert bench.state.run.hold.by == "resume"


def test_a_stall_without_suspend_counts_as_well() -> None:
    """The clocks agree, but no tick came for an hour: the run waits, and the readings of before count as stale."""
    bench = resting()
    sleep(bench, HOUR, suspended=False)
    assert bench.duty == 0.0
    assert cold(bench, 300)
    assert bench.state.run.hold.by == "resume"


def test_a_paused_run_is_not_kept_at_its_pause_for_ever() -> None:
    """Paused in a ramp, asleep, answered: the target is the step's."""
    bench = begun(Bench(settings(), mash_c=55.0), PLAN)
    bench.run(58)
    bench.order("pause")
    bench.run(5)
    assert bench.state.run.progress.pause_c is not None
    sleep(bench, 1200.0)
    bench.until("resume", 100)
    bench.answer(answer="go on here")
    bench.until("running", 60)
    assert bench.outcome.target.target_c == 63.0 or bench.step().target.target_c == 63.0


def test_nothing_running_sleeps_as_it_likes() -> None:
    """Idle before, idle afterwards, and nothing to decide."""
    bench = Bench(settings())
    bench.until("idle")
    sleep(bench, 9 * HOUR)
    assert (bench.state.run.state, bench.state.pending) == (RunState.IDLE, None)


@pytest.mark.parametrize(("outage_s", "longer_s"), [(60.0, 60.0 + HOUR + 1.0), (None, None)])
def test_asleep_while_checking_the_outage_is_longer(outage_s: float | None, longer_s: float | None) -> None:
    """A minute away, then an hour asleep before it was decided on: that is an outage of an hour; checks begin anew."""
    after = restarted(resting(), outage_s)
    after.run(3)
    sleep(after, HOUR)
    assert after.state.pending is not None
    assert after.state.pending.outage_s == longer_s
    assert after.state.run.state_since == after.now
    assert cold(after, 120)
    assert after.state.run.hold.by == "resume"


@pytest.mark.parametrize("how", ["restart", "sleep"])
@pytest.mark.parametrize(("order", "end"), [("stop", RunState.STOPPED), ("abort", RunState.ABORTED)])
def test_an_order_while_checking_ends_the_open_run(order: str, end: RunState, how: str) -> None:
    """Nothing is pending any more, what is kept is the run itself, ended."""
    bench = resting()
    run_id = bench.state.run.begun.id
    if how == "sleep":
        sleep(bench, 600.0)
    else:
        bench = restarted(bench, 10.0)
    bench.run(3)
    assert bench.obey(order).accepted
    assert bench.state.pending is None
    assert cold(bench, 60)
    kept: dict[str, Any] = checkpoint.keep(bench.state)
    assert (kept["pending"], kept["run"]["state"], kept["run"]["begun"]["id"]) == (False, str(end), run_id)


def _ageless(kept: Any) -> Any:
    """The same without any ages, which go on meanwhile."""
    if not isinstance(kept, dict):
        return kept
    return {key: _ageless(value) for key, value in kept.items() if not key.endswith("_ago_s")}


def test_a_run_not_yet_decided_on_is_kept_as_it_was_found() -> None:
    """The kept record of a process that is checking tells the next one the same run."""
    bench = resting()
    before = checkpoint.keep(bench.state)
    after = restarted(bench, 10.0)
    after.run(3)
    kept = checkpoint.keep(after.state)
    assert kept["pending"] is True
    assert kept["last_c"] == before["last_c"]
    assert _ageless(kept["run"]) == _ageless(before["run"])


TRIP = Trip("G14", 40.0, "broker", 12.0, None, "s", 1, False, True, True)


def kept(**changes: Any) -> dict[str, Any]:
    """A kept record; `changes` are to its guard."""
    state = start(settings(), 100.0, "boot")
    guard = state.guard._replace(
        trips=(TRIP,),
        evidence=state.guard.evidence._replace(off_until=130.0),
        interlocks=(KeepsTripping((10.0, 40.0)), RunTooLong(100.0, 3600.0)),
    )
    whole: dict[str, Any] = json.loads(json.dumps(checkpoint.keep(state._replace(guard=guard))))
    whole["guard"].update(changes)
    return whole


def test_ages_go_on_counting_over_an_outage() -> None:
    """Trips, incidents and the time off are as old as they are, the outage counted where it is known."""
    here = checkpoint.recall(kept(), 1000.0)
    assert here is not None
    assert here.guard.trips == (TRIP._replace(at=940.0),)
    assert here.guard.off_until == 1030.0
    assert here.guard.interlocks == (KeepsTripping((910.0, 940.0)), RunTooLong(100.0, 3600.0))
    later = checkpoint.recall(kept(), 1000.0, 20.0)
    assert later is not None
    assert later.guard.trips == (TRIP._replace(at=920.0),)
    assert later.guard.off_until == 1010.0
    assert later.guard.interlocks == (KeepsTripping((890.0, 920.0)), RunTooLong(100.0, 3600.0))
    known = later.guard._replace(off_until=1040.0)
    begun = start(settings(), 1000.0, "boot", known).guard
    assert (begun.trips, begun.evidence.off_until) == (known.trips, 1040.0)
    assert set(known.interlocks) <= set(begun.interlocks)
    assert start(settings(), 1000.0, "boot", known._replace(off_until=1001.0)).guard.evidence.off_until == 1010.0


def test_a_kept_trip_is_whole_or_the_record_is_none() -> None:
    """An unknown interlock, a missing or odd key and a word for a truth fit nothing; an age below nothing is none."""
    plain = kept()["guard"]["trips"][0]
    for odd in (
        {**plain, "id": "G99"},
        {**plain, "latched": "no"},
        {**plain, "latched": None},
        {**plain, "priority": 1.5},
        {**plain, "more": 1},
        *({k: v for k, v in plain.items() if k != key} for key in plain),
    ):
        assert checkpoint.recall(kept(trips=[odd]), 1000.0) is None
    young = checkpoint.recall(
        kept(trips=[{**plain, "at_ago_s": -50.0}], interlocks=[{"incidents_ago_s": [-50.0]}]), 1000.0
    )
    assert young is not None
    begun = start(settings(), 1000.0, "boot", young.guard).guard
    assert begun.trips[0].at == 1000.0
    assert KeepsTripping((1000.0,)) in begun.interlocks
    assert checkpoint.recall({**kept(), "pending": "perhaps"}, 1000.0) is None


def test_an_empty_run_that_checks_has_nothing_to_break_off() -> None:
    """Stop while checking, with no open run: the run is the empty one."""
    bench = Bench(settings())
    bench.run(3)
    bench.obey("stop")
    assert bench.state.run.course is None
    assert bench.state.run.state in (RunState.STOPPING, RunState.STOPPED)
    assert resume.over_gap(Run(state=RunState.STOPPED), None, None, 900.0, 0.0, 1800.0)[1:] == (None, ())
