"""The resume table and the kept record: every line of the table, both sides of every limit."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.core import checkpoint
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.registry import ALL
from controller.core.nouns import Phase, RunState
from controller.core.procedure import resume
from controller.core.procedure.run import Beginning, Hold, Progress, Run
from tests.core.bench import Bench, course, leg, settings
from tests.core.runs import begun, restarted

REST = leg("beta", 63.0, 2400.0)


def open_run(**changes: object) -> Run:
    plan = course(REST, leg("alpha", 72.0, 1200.0), grist_kg=0)
    base = Run(state=RunState.RUNNING, course=plan, begun=Beginning("r1"), phase=Phase.RESTING, grain_in=True)
    return base._replace(progress=Progress(1000.0))._replace(**changes)  # type: ignore[arg-type]


def decide(now_c: float | None = 62.5, latched: bool = False, **changes: Any) -> resume.Decision:
    pending = resume.Pending(open_run(), 63.0, 60.0, True, 1, 1800.0)._replace(**changes)
    return resume.decide(pending, now_c, 78.0, latched)


@pytest.mark.parametrize(
    ("outage", "kind"),
    [(1.0, "resume"), (1799.0, "resume"), (1801.0, "ask"), (14340.0, "ask"), (14460.0, "ended"), (108_000.0, "ended")],
)
def test_length_of_the_outage(outage: float, kind: str) -> None:
    """Up to 30 min by itself, to 4 h a person is asked, beyond it is over."""
    assert decide(outage_s=outage).kind == kind


@pytest.mark.parametrize(
    ("now_c", "kind"), [(58.1, "resume"), (57.9, "ask"), (67.9, "resume"), (68.1, "ask"), (None, "ask")]
)
def test_fall_of_the_mash(now_c: float | None, kind: str) -> None:
    """Within 5 K of the last temperature; unknown asks."""
    assert decide(now_c).kind == kind


@pytest.mark.parametrize(
    ("changes", "kind"),
    [
        ({"outage_s": None}, "ask"),
        ({"same": False}, "ask"),
        ({"restarts": 3}, "ask"),
        ({"restarts": 2}, "resume"),
        ({"run": open_run(state=RunState.PAUSED)}, "ask"),
        ({"run": open_run(state=RunState.HELD, hold=Hold("person"))}, "ask"),
        ({"run": open_run(state=RunState.HELD, hold=Hold("trip"))}, "resume"),
        ({"run": open_run(phase=Phase.ARMED)}, "ask"),
        ({"now_c": 78.0, "last_c": 77.0}, "ask"),
        ({"latched": True}, "ask"),
    ],
)
def test_whatever_is_doubtful_asks(changes: dict[str, Any], kind: str) -> None:
    """Unknown outage, changed configuration, third restart, a person's hold, a delayed start, ceiling, latched trip."""
    assert decide(**changes).kind == kind


def kept_bench() -> Bench:
    bench = begun(Bench(settings(), mash_c=62.8), course(REST, leg("keep", 72.0, 3600.0, kind="keep"), grist_kg=0))
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
    assert all(o.state.guard.line.duty == 0.0 for o in after.log)
    after.durable = True
    after.run(60)
    assert any(o.state.guard.line.duty > 0.0 for o in after.log)


def test_long_outage_asks_and_one_answer_goes_on() -> None:
    """One clear question; nothing else gives heat, and its answer alone does, once it is on disk."""
    after = restarted(kept_bench(), 2280.0, 61.6)
    after.until("resume", 60)
    prompt = after.state.run.prompt
    assert prompt is not None
    assert "38.0 min" in prompt.text
    assert prompt.answers == ("go on here", "repeat this rest", "next rest", "end")
    assert not after.obey("restart").accepted
    assert "residual-current device" in prompt.text
    after.durable = False
    after.answer(answer="go on here")
    after.run(120)
    assert after.duty == 0.0
    after.durable = True
    after.run(60)
    assert after.duty > 0.0
    assert any(e.kind == "resume" and e.id == "gap rule" for e in after.events)


@pytest.mark.parametrize(("answer", "leg_now"), [("repeat this rest", 0), ("next rest", 1), ("end", 0)])
def test_other_choices(answer: str, leg_now: int) -> None:
    """Repeat makes the rest longer by what it had; next goes one step on; end ends cold; credited time never falls."""
    bench = kept_bench()
    had = bench.state.run.progress.credited_s
    after = restarted(bench, 2280.0, 61.6)
    after.until("resume", 60)
    after.answer(answer=answer)
    run = after.state.run
    assert run.leg == leg_now
    if answer == "end":
        after.until("stopped", 20)
        assert after.duty == 0.0
    elif leg_now == 0:
        assert run.course is not None
        assert run.course.legs[0].hold_s == pytest.approx(2400.0 + had)
        assert run.progress.credited_s == had


def test_latched_trip_survives_the_restart() -> None:
    """A hard limit trip is still there after a restart and keeps the heat off until clear and restart."""
    bench = kept_bench()
    bench.reading_c = 80.5
    bench.run(5)
    bench.reading_c = None
    after = restarted(bench, 60.0, 62.3)
    after.run(300)
    assert [t.id for t in after.state.guard.trips] == ["G07"]
    assert all(o.state.guard.line.duty == 0.0 for o in after.log)


LONG = RunTooLong(heat_on_s=50_000.0, longer_s=9.0 * 3600.0)


def of_g23(bench: Bench) -> RunTooLong:
    return next(each for each in bench.state.guard.interlocks if isinstance(each, RunTooLong))


def test_what_g23_counts_and_what_a_person_gave_survive_the_restart() -> None:
    """A run over its limit for which a person gave an hour: neither is lost with the power, nor the heater's count."""
    bench = kept_bench()
    guard = bench.state.guard
    bench.state = bench.state._replace(
        run=bench.state.run._replace(begun=Beginning("r", excluded_s=-9.0 * 3600.0)),  # as if it had run for nine hours
        guard=guard._replace(interlocks=tuple(LONG if i == RunTooLong() else i for i in ALL)),
    )
    after = restarted(bench, 60.0, 62.3)
    after.until("running", 100)
    after.run(60)
    assert after.state.guard.trips == ()
    assert of_g23(after).longer_s == LONG.longer_s
    assert LONG.heat_on_s < of_g23(after).heat_on_s < LONG.heat_on_s + 200.0
    after.order("stop")
    after.until("stopped", 30)
    after.run(2)
    assert of_g23(after) == RunTooLong()
