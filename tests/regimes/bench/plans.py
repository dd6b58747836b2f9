"""Does a run take as long as its plan said?

    python -m tests.regimes.bench.plans [--seeds 1..40] [--shipped] [--step] [--jobs 2]

Dry runs of whole programs on the wide tuns of `tests.regimes.wide` (even seeds are the unseen half), or with
`--shipped` of every shipped program on every shipped tun, three truths each. What people take is told apart: the plan
has them answer at once. Per heat path how long the run took over what was planned: heat-up, rises and the whole.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from controller.brewing import heat
from controller.core.nouns import COMES_IN, Phase
from controller.core.procedure.program import BAND_S
from controller.edge.files import config_files, plan_by_name
from controller.plan.plan import Plan, make
from controller.settings.service import Settings
from sim.dryrun import DryRun
from sim.people.manner import PATIENT
from sim.random_setup import RandomSetup
from sim.trace import Passed
from sim.world.true_values import TrueValues
from tests.places import ROOT
from tests.regimes.wide import HALVES, at, brewery, kind, regime, shared

CONFIG = ROOT / "config"
PEOPLE = (Phase.WAITING, Phase.ADDING)
TRUTHS = (1, 2, 3)  # seeds of a shipped tun's truth
BY_HEAT = ("limit", "heater", "program")  # rises that are planned, not what is lost at dough-in and heated again


class Went(NamedTuple):
    """What a run came to, its plan apart; times in s of that run."""

    result: str
    began_s: float
    passed: tuple[Passed, ...]
    people: tuple[float, ...]  # second by second: somebody was waited for, or at work


class Leg(NamedTuple):
    """One step as planned and as it went, s."""

    name: str
    kind: str
    limited_by: str
    planned_s: float  # of the rise
    ran_s: float
    held_s: float  # beyond what was planned to be held


class Run(NamedTuple):
    """One run: planned and taken without what people took, `keep` left out, s."""

    way: str
    name: str
    result: str
    planned_s: float
    ran_s: float
    people_s: float
    legs: tuple[Leg, ...]


def went(settings: Settings, plan: Plan, seed: int, truth: TrueValues | None = None) -> Went:
    """A dry run, and what is asked of it here."""
    ran = DryRun(settings, plan, seed, truth=truth).go()
    people = tuple(row.t_s for row in ran.trace.rows if row.phase in PEOPLE)
    return Went(ran.result, ran.trace.began_s or 0.0, tuple(ran.trace.passed), people)


def told(way: str, name: str, plan: Plan, one: Went) -> Run:
    """What did this run take beside its plan, step by step?"""
    passed = {step.leg: step for step in one.passed if plan.course.legs[step.leg].kind != "keep"}
    last_s = max((step.ended_s for step in passed.values()), default=0.0)
    people = sum(one.began_s <= t_s <= last_s for t_s in one.people)
    away_s = sum(leg.comes.away_s for leg in plan.course.legs)
    legs = []
    for number, step in sorted(passed.items()):
        leg, stage = plan.course.legs[number], plan.stages[number]
        if step.in_band_s is None or leg.kind in COMES_IN:
            continue
        held = 0.0 if leg.kind == "dough_in" else step.ended_s - step.in_band_s - leg.hold_s
        rise_s = step.in_band_s - step.ramp_started_s + (BAND_S if leg.kind == "dough_in" else 0.0)
        legs.append(Leg(leg.name, leg.kind, stage.limited_by, leg.ramp_s, rise_s, held))
    ran_s = last_s - one.began_s - people
    return Run(way, name, one.result, plan.duration_s - away_s, ran_s, people - away_s, tuple(legs))


def setup_of(seed: int) -> RandomSetup:
    """The wide tun of this seed; its file says how fast its brewer mashes in, and its liquor met the cold vessel."""
    setup = brewery("plans", seed)
    rate = max(setup.drawn.grist_kg / PATIENT.pour_s * 60.0, 0.05)
    tun = setup.settings.tun.model_copy(update={"mash_in_rate": rate})
    plan, liquor_c = make(setup.plan.program, tun), setup.truth.liquor_c
    parts = [(plan.liquor_kg * heat.WATER, liquor_c), (setup.truth.spec.metal_j_per_k, tun.room_c)]
    truth = setup.truth._replace(liquor_c=heat.mix_c(parts))
    return setup._replace(settings=setup.settings._replace(tun=tun), plan=plan, truth=truth)


def drawn(seed: int) -> Run:
    """A wide tun with its random program."""
    setup = setup_of(seed)
    return told(kind(seed), str(seed), setup.plan, went(setup.settings, setup.plan, seed, setup.truth))


def shipped(job: tuple[str, str, int]) -> Run | None:
    """A shipped program on a shipped tun; None where it does not fit."""
    program, tun, seed = job
    plan = plan_by_name.look(CONFIG, program, tun)
    if plan.problems:
        return None
    return told(tun, f"{program} {seed}", plan, went(config_files.settings(CONFIG, tun), plan, seed))


def _names(folder: Path) -> list[str]:
    return sorted(path.stem for path in folder.glob("*.toml"))


def _row(word: str, pairs: Sequence[tuple[float, float]]) -> str:
    """Runs or rises of one heat path: ran over planned less 1, in percent."""
    off = [100.0 * (ran / planned - 1.0) for planned, ran in pairs]
    if not off:
        return ""
    apart = at([abs(one) for one in off], 0.95)
    return f"{word:26}{len(off):5}{at(off, 0.5):+9.1f} %{at([abs(one) for one in off], 0.5):9.1f} %{apart:9.1f} %"


def table(runs: Sequence[Run]) -> str:
    """Per heat path: the whole, the heat-up and the rises."""
    lines = [f"{'':26}{'n':>5}{'median':>11}{'|median|':>11}{'|p95|':>11}"]
    for way in (*sorted({run.way for run in runs}), "all"):
        those = [run for run in runs if way in (run.way, "all") and run.result == "complete"]
        legs = [leg for run in those for leg in run.legs]
        heat_up = [(leg.planned_s, leg.ran_s) for leg in legs if leg.kind == "dough_in"]
        rises = [(leg.planned_s, leg.ran_s) for leg in legs if leg.kind != "dough_in" and leg.limited_by in BY_HEAT]
        rows = (("whole", [(run.planned_s, run.ran_s) for run in those]), ("heat-up", heat_up), ("rises", rises))
        lines += [line for word, pairs in rows if (line := _row(f"{way}, {word}", pairs))]
    return "\n".join(lines)


def steps(run: Run) -> str:
    """One run, step by step, min."""
    lines = [f"{run.way} {run.name}: {run.result}, planned {run.planned_s / 60:.1f}, ran {run.ran_s / 60:.1f} min"]
    lines[0] += f", people {run.people_s / 60:.1f}"
    for leg in run.legs:
        lines.append(
            f"   {leg.name:16}{leg.limited_by:8} rise {leg.planned_s / 60:6.1f} -> {leg.ran_s / 60:6.1f}"
            f"   held longer {leg.held_s / 60:5.1f}"
        )
    return "\n".join(lines)


def main(argv: list[str] | None = None) -> int:
    """Run them and print the table of each half."""
    args, seeds = regime(__doc__, argv or sys.argv[1:], shipped=False, step=False)
    if args.shipped:
        tuns, programs = _names(CONFIG / "tuns"), _names(CONFIG / "programs")
        work = [(program, tun, seed) for tun in tuns for program in programs for seed in TRUTHS]
        halves = {"shipped": [run for run in shared(args.jobs, shipped, work) if run is not None]}
    else:
        runs = dict(zip(seeds, shared(args.jobs, drawn, seeds), strict=True))
        halves = {word: [run for seed, run in runs.items() if seed % 2 == bit] for word, bit in HALVES.items()}
    for word, those in halves.items():
        if not those:
            continue
        print(f"{word}, {len(those)} runs\n{table(those)}")
        for run in those if args.step else [run for run in those if run.result != "complete"]:
            print(steps(run))
        print()
    return 0


if __name__ == "__main__":
    sys.exit(main())
