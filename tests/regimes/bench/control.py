"""How well does the control loop do on hundreds of random tuns?

    python -m tests.regimes.bench.control --seed 1 [--tuns 200] [--programs 8] [--jobs 2] [--kind coil]
        [--json FILE]

Every tun runs every program under the project's own rooms, once with plate figures and once with what a pulse in strike
water told; the yardsticks (laws a and b, laws.py) and the time-optimal bound run on the same tuns and programs with the
same noise. All figures are judged on the true mean of the mash. The table shows what must and what should be reached.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from math import inf, isinf
from multiprocessing import Pool
from pathlib import Path
from typing import NamedTuple

from controller.core.control.heat_path import heat_path
from controller.plan import feasible
from controller.settings.tun import Tun
from tests.regimes.bench.bound import Bound
from tests.regimes.bench.laws import Rooms, by_hand, by_rule, mistaken
from tests.regimes.bench.loop import TROUBLES, Law, Ramp, Rest, Run, run
from tests.regimes.bench.plants import KINDS, Kind, draw
from tests.regimes.bench.pulse import learn
from tests.regimes.command import options

OURS = ("plate", "learned")  # the project's own rooms
MISTAKEN_PROGRAMS = 3  # as many are enough to see what wrong figures do
FREE = 5.0 / 60.0  # K/s: no limit but the heater's
GENTLE = 1.0 / 60.0


def _program(climb: float, *steps: tuple[float, float]) -> tuple[Rest, ...]:
    return tuple(Rest(c, 60.0 * minutes, climb) for c, minutes in steps)


PROGRAMS = (  # temperatures of brewing practice, rests shortened where only the ramp counts
    _program(FREE, (52, 15), (63, 20), (72, 20)),
    _program(FREE, (62, 20), (72, 15), (78, 15)),
    _program(FREE, (45, 15), (65, 20), (77, 15)),
    _program(GENTLE, (45, 20), (70, 20)),
    _program(FREE, (66, 20), (77, 15)),
    _program(FREE, (50, 15), (63, 20), (72, 15), (78, 15)),
    _program(GENTLE, (63, 20), (72, 20), (76, 15)),
    _program(FREE, (64, 15), (68, 15), (71, 15)),
    _program(FREE, (42, 15), (55, 15), (66, 20)),
    _program(FREE, (57, 15), (60, 15), (78, 15)),
)


class Job(NamedTuple):
    """All of one tun."""

    seed: int
    number: int
    programs: int
    yardsticks: int


class Score(NamedTuple):
    """One row of the table: a law on a class."""

    law: str
    kind: str
    ramps: int
    good: float  # %
    over_p50: float
    over_p95: float
    over_worst: float
    settled_p50: float
    settled_p95: float
    never: float  # %
    rms_p50: float
    rms_p95: float
    outside_p95: float  # min beyond +-0.5 K
    first_over_p95: float
    energy_p95: float
    finished: float  # %


def work(job: Job) -> dict[tuple[str, str], list[Run]]:
    """All runs of one tun, by law and class."""
    plant = draw(job.seed, job.number)
    bound = Bound(plant)
    learned, _ = learn(plant, job.seed)
    runs: dict[tuple[str, str], list[Run]] = {}

    def add(law: str, program: tuple[Rest, ...], make: Callable[[], Law]) -> None:
        runs.setdefault((law, plant.kind), []).append(run(plant, program, make(), bound, job.seed))

    for place, program in enumerate(PROGRAMS[: job.programs]):
        if refused(plant.plate, program):
            continue
        add("plate", program, lambda: Rooms(plant))
        add("learned", program, lambda: Rooms(plant, learned))
        if place < job.yardsticks:
            add("a by hand", program, lambda: by_hand(plant))
            add("b by rule", program, lambda: by_rule(plant, bound))
        if plant.kind == "electric" and place < MISTAKEN_PROGRAMS:
            add("mistaken", program, lambda: Rooms(plant, mistaken(plant, bound, job.seed)))
    if plant.kind == "electric":
        for name, trouble in TROUBLES.items():
            troubled = run(plant, PROGRAMS[0], Rooms(plant), bound, job.seed, trouble)
            runs["after " + name, plant.kind] = [troubled]
    return runs


def refused(plate: Tun, program: tuple[Rest, ...]) -> bool:
    """Would `check` turn this program away on this tun? (Behind the heater the probe swings too much with the relay, or
    comes to the hard limit while the highest target is held.)"""
    swings = heat_path(plate).swing_k(strike=False) > feasible.SWING_K
    return swings or max(rest.target_c for rest in program) >= feasible.held_under_c(plate)


def _share(flags: list[bool]) -> float:
    return 100.0 * sum(flags) / len(flags) if flags else 0.0


def at(values: list[float], percent: float) -> float:
    """A percentile that exists in the data: the smallest value that so many per cent do not exceed."""
    return sorted(values)[min(int(percent / 100.0 * len(values)), len(values) - 1)] if values else 0.0


def score(law: str, kind: str, runs: list[Run]) -> Score:
    """The figures of a law on a class, over all its ramps after the first rest."""
    ramps: list[Ramp] = [r for one in runs for r in one.ramps if not r.first]
    over = [r.overshoot_k for r in ramps]
    settled = [r.settled_s / max(r.bound_s, 1.0) for r in ramps]
    rms = [r.rms_k for r in ramps]
    return Score(
        law=law,
        kind=kind,
        ramps=len(ramps),
        good=_share([r.good for r in ramps]),
        over_p50=at(over, 50),
        over_p95=at(over, 95),
        over_worst=max(over, default=0.0),
        settled_p50=at(settled, 50),
        settled_p95=at(settled, 95),
        never=_share([isinf(r.settled_s) for r in ramps]),
        rms_p50=at(rms, 50),
        rms_p95=at(rms, 95),
        outside_p95=at([r.outside_s / 60.0 for r in ramps], 95),
        first_over_p95=at([one.ramps[0].overshoot_k for one in runs], 95),
        energy_p95=at([one.energy_over_least for one in runs], 95),
        finished=_share([one.finished for one in runs]),
    )


TEXTS = {
    "good": "good ramps, %",
    "over_p95": "overshoot p95, K",
    "over_worst": "overshoot worst, K",
    "settled_p50": "settled over bound, median",
    "settled_p95": "settled over bound, p95",
    "rms_p95": "hold RMS p95, K",
    "never": "never settled, %",
    "outside_p95": "beyond 0.5 K p95, min",
    "first_over_p95": "first rest, overshoot p95, K",
    "energy_p95": "energy over least p95",
    "finished": "programs finished, %",
}
AT_LEAST = ("good", "finished")  # all others: at most
GOALS: list[tuple[str, Kind, dict[str, tuple[float, float]]]] = [  # law, class, what it must and what it should be
    (
        "learned",
        "electric",
        {
            "good": (93, 96),
            "over_p95": (0.30, 0.25),
            "over_worst": (1.0, 0.5),
            "settled_p50": (1.03, 1.01),
            "settled_p95": (1.25, 1.15),
            "rms_p95": (0.15, 0.10),
            "never": (0.5, 0.0),
            "outside_p95": (0.0, 0.0),
            "first_over_p95": (0.40, 0.20),
        },
    ),
    ("plate", "electric", {"good": (80, 90), "over_p95": (0.45, 0.30), "over_worst": (1.5, 0.8), "never": (2.0, 0.5)}),
    ("plate", "behind", {"never": (10, 2), "over_p95": (0.7, 0.35)}),
    ("plate", "coil", {"never": (8, 2.5), "over_p95": (0.6, 0.35)}),
    ("plate", "gas", {"over_p95": (0.65, 0.45), "over_worst": (1.6, 1.3), "never": (5, 1)}),
    ("mistaken", "electric", {"over_p95": (0.60, 0.40), "never": (2, 1)}),
    *((law, kind, {"energy_p95": (1.06, 1.04), "finished": (100, 100)}) for law in OURS for kind in KINDS),
    *(("after " + name, "electric", {"over_worst": (0.6, 0.6)}) for name in TROUBLES),
]


def met(field: str, value: float, limit: float) -> bool:
    """Is this limit kept? Rounded as it is printed."""
    shown = round(value, 3)
    return shown >= limit if field in AT_LEAST else shown <= limit


def _number(value: float) -> str:
    return "never" if value == inf else f"{value:.2f}" if value < 10 else f"{value:.1f}"


def table(scores: list[Score]) -> tuple[str, bool]:
    """Both tables as text, and whether every `must` is met."""
    head = (
        f"{'law':<22}{'class':<10}{'ramps':>6}{'good %':>8}{'overshoot K p50/p95/worst':>28}"
        f"{'settled/bound p50/p95':>24}{'never %':>9}{'RMS K p50/p95':>16}"
    )
    lines = [head]
    for s in scores:
        over = f"{s.over_p50:.2f} / {s.over_p95:.2f} / {s.over_worst:.2f}"
        settled = f"{_number(s.settled_p50)} / {_number(s.settled_p95)}"
        lines.append(
            f"{s.law:<22}{s.kind:<10}{s.ramps:>6}{s.good:>8.1f}{over:>28}{settled:>24}{s.never:>9.1f}"
            f"{f'{s.rms_p50:.2f} / {s.rms_p95:.2f}':>16}"
        )
    lines += ["", f"{'goal':<64}{'found':>8}{'must':>8}{'aim':>8}"]
    found = {(s.law, s.kind): s for s in scores}
    all_met = True
    for law, kind, fields in GOALS:
        for field, (must, aim) in fields.items() if (law, kind) in found else ():
            value = float(getattr(found[law, kind], field))
            good = met(field, value, must)
            all_met = all_met and good
            sign, mark = ">=" if field in AT_LEAST else "<=", "" if good else "  MISSED"
            name = f"{kind}, {law}: {TEXTS[field]}"
            lines.append(f"{name:<64}{_number(value):>8}{sign + f'{must:g}':>8}{f'{aim:g}':>8}{mark}")
    return "\n".join(lines), all_met


def worse_than_hand(jobs: list[Job], results: list[dict[tuple[str, str], list[Run]]]) -> list[str]:
    """Which runs end worse than law a on the same tun and program? Farther from a target at some time after the first
    rest: over it, or in a hold to either side."""
    worse = []
    for job, runs in zip(jobs, results, strict=True):
        for (law, kind), ours in runs.items():
            hands = runs.get(("a by hand", kind), []) if law in OURS else []
            for place, (own, hand) in enumerate(zip(ours, hands, strict=False)):
                own_k, hand_k = (max(max(r.overshoot_k, r.strays_k) for r in one.ramps[1:]) for one in (own, hand))
                if own_k > hand_k:
                    text = f"program {place} {kind} {law}: {own_k:.2f} K, by hand {hand_k:.2f} K"
                    worse.append(f"tun {job.number} {text}")
    return worse


def main(argv: list[str] | None = None) -> int:
    """Run the bench and print the tables; 1 when a `must` is missed."""
    args = options(__doc__, argv, seed=1, tuns=200, programs=8, yardsticks=1, jobs=2, kind=[*KINDS], json=Path())
    began = time.perf_counter()
    plants = [draw(args.seed, n) for n in range(args.tuns)]
    chosen = [plant for plant in plants if plant.kind in args.kind]
    jobs = [Job(args.seed, plant.number, args.programs, args.yardsticks) for plant in chosen]
    results = []
    with Pool(args.jobs) as pool:
        for done, runs in enumerate(pool.imap(work, jobs, chunksize=1), 1):
            results.append(runs)
            if sys.stderr.isatty():
                print(f"\r{done}/{len(jobs)} tuns", end="", file=sys.stderr)
    merged: dict[tuple[str, str], list[Run]] = {}
    for runs in results:
        for key, some in runs.items():
            merged.setdefault(key, []).extend(some)
    order = sorted(merged, key=lambda key: (KINDS.index(key[1]), key[0]))
    scores = [score(*key, merged[key]) for key in order]
    text, all_met = table(scores)
    worse = worse_than_hand(jobs, results)
    away = sum(refused(plant.plate, program) for plant in chosen for program in PROGRAMS[: args.programs])
    print(f"seed {args.seed}, {len(jobs)} tuns x {args.programs} programs, {away} refused by `check`\n\n{text}\n")
    print(f"runs that end worse than by hand: {len(worse)}", *worse[:10], sep="\n  ")
    print(f"{time.perf_counter() - began:.0f} s")
    if args.json.name:
        rows = [s._asdict() for s in scores]
        args.json.write_text(json.dumps({"seed": args.seed, "tuns": args.tuns, "rows": rows}, indent=1))
    return 0 if all_met else 1


if __name__ == "__main__":
    sys.exit(main())
