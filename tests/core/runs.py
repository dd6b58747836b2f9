"""Runs on the bench, brought to where a test begins."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from controller.core import checkpoint
from controller.core.nouns import Course, Phase, RunState
from controller.core.procedure import resume
from controller.core.state import start
from tests.core.bench import Bench, course, leg, settings

TWO_RESTS_AND_KEEP = course(
    leg("beta", 63.0, 3600.0), leg("alpha", 72.0, 1200.0), leg("keep", 76.0, 7200.0, kind="keep"), grist_kg=0
)
REST = leg("beta", 63.0, 2400.0)
SETTLED_REST = leg("protein", 50.0, 300.0)
SETTLED = course(SETTLED_REST, leg("maltose", 63.0, 600.0), leg("keep", 63.0, 3600.0, kind="keep"))


def begun(bench: Bench, plan: Course) -> Bench:
    """Is the run of this plan under way?"""
    bench.until("idle")
    bench.start(plan)
    bench.run(2)
    assert bench.state.run.state is RunState.RUNNING
    return bench


def in_a_rest() -> Bench:
    """What is a run that has had five minutes of its rest?"""
    bench = begun(Bench(settings(), mash_c=62.8), course(REST, leg("keep", 72.0, 3600.0, kind="keep"), grist_kg=0))
    bench.until("resting")
    bench.run(300)
    return bench


def restarted(bench: Bench, outage_s: float | None, now_c: float | None = None) -> Bench:
    """What is the next process after so long an outage, its mash so warm, with what this one kept through JSON?"""
    kept = checkpoint.recall(json.loads(json.dumps(checkpoint.keep(bench.state))), 0.25)
    assert kept is not None
    after = Bench(settings(), mash_c=bench.mash_c if now_c is None else now_c)
    pending = resume.Pending(kept.run, kept.last_c, outage_s, True, 1, 1800.0)
    after.state = start(after.settings, 0.25, "again", kept.guard, pending)
    return after


def ordered(bench: Bench, *names: str, **args: Any) -> None:
    """Are these orders, one after the other, taken?"""
    for name in names:
        bench.order(name, **args)
        bench.run(2)
        assert bench.replies[-1].accepted, bench.replies[-1].reason


@cache
def heating() -> Bench:
    """What is a run in its first ramp with the heater on? To be copied, not stepped."""
    bench = begun(Bench(settings(), mash_c=55.0), TWO_RESTS_AND_KEEP)
    bench.until("ramping")
    bench.run(40)
    assert bench.duty > 0.0
    return bench


def settled(mash_c: float, over_at: float | None = None) -> Bench:
    """What is a mash that has landed at mash_c, one second after it has settled?"""
    bench = Bench(settings(), mash_c=53.8)
    bench.until("idle")
    bench.start(SETTLED)
    bench.until("dough_in")
    bench.answer()
    bench.mash_c = mash_c
    bench.until("grain_in")
    bench.run(60)
    bench.answer()
    bench.until("settling")
    for _ in range(400):
        bench.mash_c = mash_c
        bench.step()
        if bench.state.run.phase is not Phase.SETTLING or (over_at and bench.state.run.offer):
            break
    return bench
