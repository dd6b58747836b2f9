"""A pause: what is kept, for how long, and what becomes of it when something trips meanwhile."""

from __future__ import annotations

import pytest

from controller.core import checkpoint
from controller.core.nouns import Phase, RunState
from controller.core.procedure import resume
from tests.core.bench import Bench, course, leg, settings
from tests.core.runs import begun, ordered

RESTS = course(leg("beta", 63.0, 600.0), leg("alpha", 72.0, 1200.0), grist_kg=0)


def paused(start_c: float = 62.9, run_s: int = 200) -> Bench:
    bench = begun(Bench(settings(), mash_c=start_c), RESTS)
    bench.run(run_s)
    ordered(bench, "pause")
    bench.until("paused", 5)
    return bench


def state_of(bench: Bench) -> RunState:
    return bench.state.run.state


def test_after_a_trip_a_paused_run_is_paused_again() -> None:
    """The broker away for 25 s: heat off, held, then the pause goes on, and only `resume` ends it."""
    bench = paused()
    bench.link = False
    bench.run(25)
    assert state_of(bench) is RunState.HELD
    bench.link = True
    bench.until("paused", 10)
    bench.run(900)
    assert bench.state.run.state is RunState.PAUSED and bench.state.run.leg == 0
    assert bench.mash_c == pytest.approx(63.0, abs=0.2)
    ordered(bench, "resume")
    bench.run(600)
    assert bench.state.run.leg == 1


def test_a_restart_by_a_person_goes_on() -> None:
    """Paused in a rise at 58 °C, held, restarted: the program goes on to its target, not to where it was paused."""
    bench = paused(55.0)
    assert bench.state.run.progress.pause_c is not None
    ordered(bench, "hold")
    bench.run(5)
    ordered(bench, "restart")
    bench.until("running", 100)
    assert bench.state.run.progress.pause_c is None and not bench.state.run.hold.paused
    bench.run(900)
    assert bench.mash_c == pytest.approx(63.0, abs=0.3)


def test_strike_liquor_is_kept_where_it_was_paused() -> None:
    """At 21 °C on its way to 54 °C."""
    bench = Bench(settings(), mash_c=20.0)
    begun(bench, course(leg("beta", 63.0, 600.0)))
    bench.run(120)
    ordered(bench, "pause")
    at_c = bench.mash_c
    bench.run(1800)
    assert bench.mash_c == pytest.approx(at_c, abs=0.6)
    ordered(bench, "resume")
    bench.run(900)
    assert bench.mash_c > at_c + 5.0


def test_nobody_comes_back_to_a_pause() -> None:
    """After half an hour it is said loudly, once; after two hours heat goes off and waits for a person."""
    bench = paused()
    bench.run(7190)
    assert state_of(bench) is RunState.PAUSED
    told = [e for e in bench.events if e.id == "paused" and e.kind == "note"]
    assert len(told) == 1 and told[0].priority == 1 and "heat goes off after 2 h" in told[0].text
    bench.run(15)
    assert state_of(bench) is RunState.HELD and bench.state.run.hold.by == "person"
    bench.run(300)
    assert bench.duty == 0.0 and state_of(bench) is RunState.HELD


def test_a_second_pause_is_told_anew() -> None:
    """The half hour begins with each pause."""
    bench = paused()
    bench.run(1900)
    ordered(bench, "resume")
    bench.run(5)
    ordered(bench, "pause")
    bench.run(1900)
    assert len([e for e in bench.events if e.id == "paused" and e.kind == "note"]) == 2


def test_a_power_cut_in_a_trip_in_a_pause_asks() -> None:
    """The record knows that a person had paused."""
    bench = paused()
    bench.link = False
    bench.run(25)
    assert bench.state.run.state is RunState.HELD
    back = checkpoint.recall(checkpoint.keep(bench.state), 0.0)
    assert back is not None and back.run.hold.paused
    pending = resume.Pending(back.run, back.last_c, 60.0, True, 1, 1800.0)
    decision = resume.decide(pending, 63.0, 78.0, False)
    assert decision.kind == "ask" and "paused" in decision.text


def test_nobody_answered_and_then_somebody_comes() -> None:
    """Two hours at the strike without an answer: held, heat off; a restart gives the question two more hours."""
    bench = Bench(settings(), mash_c=53.5)
    begun(bench, course(leg("beta", 63.0, 600.0)))
    bench.until("waiting")
    bench.run(7205)
    assert state_of(bench) is RunState.HELD and bench.duty == 0.0
    ordered(bench, "restart")
    bench.until("running", 100)
    bench.run(100)
    assert state_of(bench) is RunState.RUNNING and bench.state.run.prompt is not None
    ordered(bench, "answer", answer="begin")
    assert bench.state.run.phase is Phase.ADDING


def test_two_hours_in_a_pause_do_not_count_for_the_question() -> None:
    """Paused while the strike waits for grain, resumed after an hour and a half: there is time left to answer."""
    bench = Bench(settings(), mash_c=53.5)
    begun(bench, course(leg("beta", 63.0, 600.0)))
    bench.until("waiting")
    bench.run(3600)
    ordered(bench, "pause")
    bench.run(5400)
    ordered(bench, "resume")
    bench.run(60)
    assert bench.state.run.state is RunState.RUNNING
