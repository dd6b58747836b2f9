"""The resume table and the kept record: every line of the table, both sides of every limit."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.core import checkpoint
from controller.core.nouns import Phase, RunState
from controller.core.procedure import resume
from controller.core.procedure.run import Progress, Run
from controller.core.state import start
from tests.core.bench import Bench, course, leg, settings

REST = leg("beta", 63.0, 2400.0)
LOW = leg("low", 45.0, 900.0)


def open_run(target: int = 0, credited: float = 1000.0, **changes: object) -> Run:
    plan = course(REST, LOW, leg("alpha", 72.0, 1200.0), grist_kg=0)
    run = Run(
        state=RunState.RUNNING,
        course=plan,
        run_id="r1",
        leg=target,
        phase=Phase.RESTING,
        progress=Progress(credited),
        grain_in=True,
    )
    return run._replace(**changes)  # type: ignore[arg-type]


def decide(outage_s: float | None = 60.0, now_c: float | None = 62.5, **changes: object) -> resume.Decision:
    run = changes.pop("run", open_run())
    pending = resume.Pending(run, 63.0, outage_s, True, 1, 1800.0)._replace(**changes)  # type: ignore[arg-type]
    return resume.decide(pending, now_c, 78.0, False)


@pytest.mark.parametrize(
    ("outage", "kind"),
    [(1.0, "resume"), (1799.0, "resume"), (1801.0, "ask"), (14340.0, "ask"), (14460.0, "ended"), (108_000.0, "ended")],
)
def test_length_of_the_outage(outage: float, kind: str) -> None:
    """Up to 30 min by itself, to 4 h a person is asked, beyond it is over."""
    assert decide(outage).kind == kind


@pytest.mark.parametrize(
    ("now_c", "kind"), [(58.1, "resume"), (57.9, "ask"), (67.9, "resume"), (68.1, "ask"), (None, "ask")]
)
def test_fall_of_the_mash(now_c: float | None, kind: str) -> None:
    """Within 5 K of the last temperature; unknown asks."""
    assert decide(now_c=now_c).kind == kind


def test_whatever_is_doubtful_asks() -> None:
    """Unknown outage, changed configuration, third restart, ceiling, a person's hold and a delayed start all ask."""
    assert decide(None).kind == "ask"
    assert decide(same=False).kind == "ask"
    assert decide(restarts=3).kind == "ask"
    assert decide(restarts=2).kind == "resume"
    assert decide(run=open_run(state=RunState.PAUSED)).kind == "ask"
    assert decide(run=open_run(state=RunState.HELD, held_by="person")).kind == "ask"
    assert decide(run=open_run(state=RunState.HELD, held_by="trip")).kind == "resume"
    assert decide(run=open_run(phase=Phase.ARMED)).kind == "ask"
    assert decide(now_c=78.0, last_c=77.0).kind == "ask"
    pending = resume.Pending(open_run(), 63.0, 60.0, True, 1, 1800.0)
    assert resume.decide(pending, 62.5, 78.0, True).kind == "ask"


@pytest.mark.parametrize(
    ("target", "now_c", "credit", "iodine"),
    [
        (0, 60.0, 600.0, False),
        (0, 59.9, 300.0, True),
        (0, 57.0, 300.0, True),
        (0, 56.9, 0.0, False),
        (1, 44.0, 600.0, False),
    ],
)
def test_gap_rule(target: int, now_c: float, credit: float, iodine: bool) -> None:
    """A starch rest counts in full from 60 °C, half from 57 °C, not below; a low rest counts in full."""
    run = open_run(target, credited=100.0)
    decision = resume.decide(resume.Pending(run, now_c, 600.0, True, 1, 1800.0), now_c, 78.0, False)
    assert (decision.credit_s, decision.iodine) == (credit, iodine)


def test_gap_never_credits_beyond_the_plan() -> None:
    """A rest of 2,400 s with 2,200 s earned gains at most 200 s."""
    decision = decide(600.0, run=open_run(credited=2200.0))
    assert decision.credit_s == 200.0


def test_no_gap_credit_in_a_ramp() -> None:
    """An outage in a ramp earns nothing."""
    assert decide(600.0, run=open_run(phase=Phase.RAMPING)).credit_s == 0.0


def kept_bench() -> Bench:
    bench = Bench(settings(), mash_c=62.8)
    bench.until("idle")
    bench.start(course(REST, leg("keep", 72.0, 3600.0, kind="keep"), grist_kg=0))
    bench.until("resting")
    bench.run(300)
    return bench


def test_the_record_survives_json() -> None:
    """What was kept comes back equal in everything that matters."""
    bench = kept_bench()
    back = checkpoint.recall(json.loads(json.dumps(checkpoint.keep(bench.state))), 5.0)
    assert back is not None
    run = bench.state.run
    assert back.run.course == run.course
    assert (back.run.leg, back.run.phase, back.run.progress.credited_s) == (run.leg, run.phase, run.progress.credited_s)
    assert back.guard.epoch == bench.state.guard.epoch
    assert back.last_c == pytest.approx(bench.mash_c, abs=0.1)


def test_a_damaged_record_gives_none() -> None:
    """Whatever key is missing or wrong, the answer is None and never an exception."""
    whole: dict[str, Any] = checkpoint.keep(kept_bench().state)
    assert checkpoint.recall(whole, 0.0) is not None
    assert checkpoint.recall({**whole, "format": checkpoint.FORMAT - 1}, 0.0) is None
    for key in whole:
        assert checkpoint.recall({k: v for k, v in whole.items() if k != key}, 0.0) is None
    for part in ("run", "guard"):
        for key in whole[part]:
            broken = {**whole, part: {k: v for k, v in whole[part].items() if k != key}}
            assert checkpoint.recall(broken, 0.0) is None
    assert checkpoint.recall({**whole, "run": {**whole["run"], "leg": 99}}, 0.0) is None
    assert checkpoint.recall({**whole, "run": {**whole["run"], "state": "dreaming"}}, 0.0) is None


def restarted(bench: Bench, outage_s: float | None, now_c: float) -> Bench:
    back = checkpoint.recall(json.loads(json.dumps(checkpoint.keep(bench.state))), 0.25)
    assert back is not None
    after = Bench(settings(), mash_c=now_c)
    pending = resume.Pending(back.run, back.last_c, outage_s, True, 1, 1800.0)
    after.state = start(after.settings, 0.25, "boot2", back.guard, pending)
    return after


def test_short_outage_resumes_the_same_rest_and_completes() -> None:
    """After ten minutes without power the rest goes on, the gap counted once, nothing skipped."""
    bench = kept_bench()
    before = bench.state.run.progress.credited_s
    after = restarted(bench, 600.0, 62.3)
    after.until("running", 100)
    assert [e.id for e in after.events if e.kind == "resume"] == ["resume", "gap rule"]
    assert after.state.run.progress.credited_s == pytest.approx(before + 600.0, abs=1.5)
    after.until("take_over")
    assert next(e for e in after.events if e.kind == "step done").data["credited_s"] >= 2400.0


def test_no_heat_before_the_decision_is_on_disk() -> None:
    """The resume decision is durable before the first heat."""
    after = restarted(kept_bench(), 60.0, 62.3)
    after.durable = False
    after.run(200)
    assert all(o.state.guard.duty == 0.0 for o in after.log)
    after.durable = True
    after.run(60)
    assert any(o.state.guard.duty > 0.0 for o in after.log)


def test_long_outage_asks_and_needs_answer_and_restart() -> None:
    """One clear question; the answer alone gives no heat, the restart after it does."""
    after = restarted(kept_bench(), 2280.0, 61.6)
    after.until("resume", 60)
    prompt = after.state.run.prompt
    assert prompt is not None
    assert "38.0 min" in prompt.text
    assert prompt.answers == ("go on here", "repeat this rest", "next rest", "end")
    after.order("restart")
    after.step()
    assert not after.replies[-1].accepted
    after.answer(answer="go on here")
    after.run(120)
    assert after.duty == 0.0
    after.order("restart")
    after.until("running", 60)
    assert any(e.kind == "resume" and e.id == "gap rule" for e in after.events)


@pytest.mark.parametrize(("answer", "leg_now"), [("repeat this rest", 0), ("next rest", 1)])
def test_other_choices(answer: str, leg_now: int) -> None:
    """Repeat makes the rest longer by what it had; next goes one step on; credited time never falls."""
    bench = kept_bench()
    had = bench.state.run.progress.credited_s
    after = restarted(bench, 2280.0, 61.6)
    after.until("resume", 60)
    after.answer(answer=answer)
    run = after.state.run
    assert run.leg == leg_now
    if leg_now == 0:
        assert run.course is not None
        assert run.course.legs[0].hold_s == pytest.approx(2400.0 + had)
        assert run.progress.credited_s == had


def test_end_stops() -> None:
    """The choice `end` ends the run cold."""
    after = restarted(kept_bench(), 2280.0, 61.6)
    after.until("resume", 60)
    after.answer(answer="end")
    after.until("stopped", 20)
    assert after.duty == 0.0


def test_latched_trip_survives_the_restart() -> None:
    """A hard limit trip is still there after a restart and keeps the heat off until clear and restart."""
    bench = kept_bench()
    bench.reading_c = 80.5
    bench.run(5)
    bench.reading_c = None
    after = restarted(bench, 60.0, 62.3)
    after.run(300)
    assert [t.id for t in after.state.guard.trips] == ["G07"]
    assert all(o.state.guard.duty == 0.0 for o in after.log)


def test_what_g23_counts_and_what_a_person_gave_survive_the_restart() -> None:
    """A run over its limit for which a person gave an hour: neither is lost with the power, nor the heater's count."""
    bench = kept_bench()
    guard = bench.state.guard
    bench.state = bench.state._replace(
        run=bench.state.run._replace(excluded_s=-9.0 * 3600.0),  # as if it had run for nine hours
        guard=guard._replace(longer_s=9.0 * 3600.0, memory=guard.memory._replace(heat_on_s=50_000.0)),
    )
    after = restarted(bench, 60.0, 62.3)
    after.until("running", 100)
    after.run(60)
    assert after.state.guard.trips == ()
    assert after.state.guard.longer_s == 9.0 * 3600.0
    assert 50_000.0 < after.state.guard.memory.heat_on_s < 50_200.0
    after.order("stop")
    after.until("stopped", 30)
    after.run(2)
    assert (after.state.guard.longer_s, after.state.guard.memory.heat_on_s) == (0.0, 0.0)
