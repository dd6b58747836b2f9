"""How well does the loop do on tuns that nobody had in mind, a half of them never seen before?

    python -m tests.regimes.bench.fair [--tuns 6] [--way coil] [--unseen] [--against REVISION] [--law plate] [--jobs 2]
    python -m tests.regimes.bench.fair --law plate --told loss,rate,flow,lag,bed

Per way of the heat so many tuns of `fair_tun.py`, each with one program of three rests after its strike liquor was
heated; judged on the true mean of the mash. Laws on the same tuns, programs and noise: a hand-tuned simple-pid, the
project's rooms by the plate and with a water run's figures, an oracle that is told everything, and with `--against`
the rooms as they were at that revision; `--told` tells them some true figures (told.py). While something is tuned
only the seen half may be looked at; `--unseen` prints both.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from math import inf, isinf
from multiprocessing import Pool
from random import Random
from typing import NamedTuple

from controller.commissioning.learn import Identified, by_file, identify
from controller.core.control import on_off
from controller.core.control.heat_path import heat_path
from controller.core.nouns import Demand, Measurement, Target
from controller.settings.tun import Learned, Tun
from tests.places import ROOT
from tests.regimes.bench.control import at
from tests.regimes.bench.fair_site import FREE, World, tun_file, water_run
from tests.regimes.bench.fair_tun import WATER, WAYS, FairTun, Made, Way, draw
from tests.regimes.bench.laws import HAND_KI, HAND_KP, Rooms, Step
from tests.regimes.bench.loop import BAND_K, Law, Ramp, Rest, judge
from tests.regimes.bench.told import TOLD, Plate, ToldRooms
from tests.regimes.command import options

SEEN, UNSEEN = 11, 12  # seeds
LAWS = ("by hand", "plate", "learned", "oracle")
STRIKE_K, STRIKE_S = 12.0, 3600.0  # strike liquor is heated by so much before dough-in, for so long at the most
GENTLE = 1.0 / 60.0  # K/s: a usual limit; FREE is none but the heater's
PROGRAMS = (
    ((52.0, 900.0), (63.0, 1200.0), (72.0, 1200.0)),
    ((62.0, 900.0), (68.0, 1200.0), (74.0, 1200.0)),
    ((45.0, 900.0), (65.0, 1200.0), (72.0, 1200.0)),
    ((64.0, 900.0), (67.0, 1200.0), (73.0, 1200.0)),
)


class Outcome(NamedTuple):
    """What came of one law on one tun."""

    law: str
    way: str
    number: int
    ramps: tuple[Ramp, ...]  # those after the first rest
    finished: bool


class Oracle:
    """A loop that is told the true state and figures, bound only by the heater's own switching."""

    def __init__(self, tun: FairTun, plate: Tun) -> None:
        self.tun, self.switching, self.on_off = tun, heat_path(plate).switching, on_off.START
        self.goal_c, self.climbed_c = 0.0, 0.0

    def duty(self, target: Target, seen: Measurement, dt: float) -> float:
        """One tick: loss and slope are made up, what is missing of the end is given within 20 s; a bath leads by what
        its coil needs to carry the heat on."""
        if target.heat != "hold" or target.target_c is None:
            self.goal_c = 0.0
            return 0.0
        tun, made = self.tun, self.tun.made
        if self.goal_c != target.target_c:
            self.goal_c, self.climbed_c = target.target_c, tun.ends_c
        before = self.climbed_c
        self.climbed_c = min(before + target.climb_k_per_s, self.goal_c, max(before, tun.ends_c + 0.5))
        slope = self.climbed_c - before
        missing = self.climbed_c - tun.ends_c
        if made.bath_j_per_k > 0.0:
            carried = made.takes * tun.share * made.flow_kg_per_s * WATER
            wanted_w = tun.contents * ((self.climbed_c - tun.mean_c) / 60.0 + slope) + tun.lost_w(tun.mean_c)
            missing = tun.mean_c + wanted_w / carried - tun.bath_c
        rate = made.power_w / (made.bath_j_per_k or tun.all_j_per_k)
        asked = tun.lost_w(tun.mean_c) / made.power_w + slope * tun.all_j_per_k / made.power_w + missing / (20.0 * rate)
        self.on_off, given = on_off.modulate(self.switching, Demand(asked, ""), self.on_off, dt)
        return given

    def mash_c(self, seen: Measurement) -> float | None:
        """The truth."""
        return self.tun.mean_c


def bound_s(world: World, to_c: float, climb_k_per_s: float) -> float:
    """Shortest time from here until the mean is within 0.3 K of `to_c` without ever passing it by more: full power, one
    switch to nothing, by bisection on copies of the tun; the loss is made up all the while."""
    if to_c - world.tun.mean_c <= BAND_K:
        return 0.0
    made = world.made
    hold = world.tun.lost_w(0.5 * (to_c + world.tun.mean_c)) / made.power_w
    most = min(1.0, climb_k_per_s * world.tun.all_j_per_k / made.power_w + hold)
    low, high, best_s = 0, 14400, inf
    while high - low > 1:
        middle = (low + high) // 2
        passed, came_s = _switched(world, to_c, most, hold, middle)
        if passed:
            high = middle
        else:
            low, best_s = middle, min(best_s, came_s)
    return best_s


def _switched(world: World, to_c: float, most: float, hold: float, after_s: int) -> tuple[bool, float]:
    """With heat on for so long: does the mean pass the band, and when does it come into it?"""
    tun, came_s = copied(world.tun), inf
    for i in range(after_s + 1800):
        tun.second(most if i < after_s else hold)
        off = tun.mean_c - to_c
        if off > BAND_K:
            return True, came_s
        if off >= -BAND_K and came_s == inf:
            came_s = i + 1.0
        if i > after_s and came_s < inf and i - after_s > 900:
            break
    return False, came_s


def copied(tun: FairTun) -> FairTun:
    """The same tun once more."""
    other = FairTun.__new__(FairTun)
    other.__dict__.update({k: list(v) if isinstance(v, list) else v for k, v in tun.__dict__.items()})
    return other


def learn(made: Made, plate: Tun) -> Learned | None:
    """What a water run tells; None: refused, the plate stays."""
    found = identify(water_run(made, plate).trace, by_file(plate, made.liquor_kg * WATER + plate.metal_j_per_k))
    if not isinstance(found, Identified):
        return None
    told = {k: v for k, v in found._asdict().items() if k in Learned.model_fields}
    return Learned(**told, on="2026-01-01")


def law_of(name: str, world: World, plate: Tun) -> Law:
    """A law by its name."""
    if name == "oracle":
        return Oracle(world.tun, plate)
    if name.startswith(TOLD):
        return ToldRooms(world, plate, name.removeprefix(TOLD).split(","))
    if name == "by hand":
        return Step(Plate(plate), HAND_KP, HAND_KI)  # type: ignore[arg-type]
    return Rooms(Plate(plate), learn(world.made, plate) if name == "learned" else None)  # type: ignore[arg-type]


def run(made: Made, number: int, seed: int, name: str, trouble: str = "") -> Outcome:
    """Strike liquor, dough-in, three rests."""
    rng = Random(f"run/{seed}/{number}/{made.way}")
    program = rng.choice(PROGRAMS)
    climb = rng.choice((FREE, FREE, GENTLE))
    plate, first_c = tun_file(made), program[0][0]
    strike_c = first_c + 4.0
    world = World(made, FairTun(made, strike_c - STRIKE_K, plain=True), rng)
    law, landed_c = law_of(name, world, plate), first_c + rng.uniform(-1.6, 0.3)
    liquor_j = made.liquor_kg * WATER + plate.metal_j_per_k
    mash_j = (made.liquor_kg + 0.4 * made.grist_kg) * WATER + plate.metal_j_per_k
    duty = _strike(world, law, Target("hold", strike_c, FREE, 1, liquor_j, strike=True))
    world.tun.dough_in(landed_c)
    for _ in range(360):
        duty = law.duty(Target("blocked", first_c, FREE, 1, mash_j), world.second(duty), 1.0)
    ramps, finished = [], True
    for key, (target_c, hold_s) in enumerate(program):
        rest = Rest(target_c, hold_s, climb)
        best_s = bound_s(world, target_c, climb)
        if trouble == "slow pump" and key == 1:
            world.tun.flow = 0.4
        trace, duty, done = _rest(world, law, Target("hold", target_c, climb, key + 2, mash_j), rest, best_s, duty)
        ramps.append(judge(trace, rest, best_s, key == 0, max(target_c, trace[0]) if key == 0 else target_c))
        finished = finished and done
    return Outcome(name, made.way, number, tuple(ramps[1:]), finished)


def _strike(world: World, law: Law, target: Target) -> float:
    """Strike liquor up to its temperature, and five minutes there."""
    duty, there_s = 0.0, 0.0
    while world.t < STRIKE_S and there_s < 300.0:
        seen = world.second(duty)
        duty = law.duty(target, seen, 1.0)
        at_c = law.mash_c(seen)
        there_s += at_c is not None and target.target_c is not None and abs(at_c - target.target_c) < 0.5
    return duty


def _rest(
    world: World, law: Law, target: Target, rest: Rest, best_s: float, duty: float
) -> tuple[list[float], float, bool]:
    """The true mean, second by second, until the rest has had its time."""
    trace, banded, credit, began = [], 0.0, 0.0, world.t
    wanted = best_s + rest.hold_s
    while world.t - began < (wanted if credit >= rest.hold_s else 3.0 * wanted):
        seen = world.second(duty)
        duty = law.duty(target, seen, 1.0)
        trace.append(world.tun.mean_c)
        mash_c = law.mash_c(seen)
        off = abs((mash_c if mash_c is not None else -99.0) - rest.target_c)
        banded = banded + 1.0 if off <= 0.5 else 0.0
        credit += 1.0 if (credit > 0.0 and off <= 1.0) or banded >= 60.0 else 0.0
    return trace[: int(wanted)], duty, credit >= rest.hold_s


class Job(NamedTuple):
    """One tun under some laws."""

    seed: int
    way: Way
    number: int
    laws: tuple[str, ...]
    trouble: str


def work(job: Job) -> list[Outcome]:
    """All laws on one tun."""
    made = draw(job.seed, job.number, job.way)
    return [run(made, job.number, job.seed, law, job.trouble) for law in job.laws]


def table(outcomes: list[Outcome], verbose: bool = False) -> str:
    """The figures by way of the heat and law."""
    lines = [
        f"{'way':<18}{'law':<10}{'ramps':>6}{'good %':>8}{'over K p50/p95/worst':>24}{'late s p50/p95':>16}"
        f"{'settled/bound':>16}{'never %':>9}{'RMS p95':>9}{'finished':>10}"
    ]
    keys = dict.fromkeys((o.way, o.law) for o in outcomes)
    for way, law in sorted(keys, key=lambda key: (WAYS.index(key[0]), key[1])):
        those = [o for o in outcomes if (o.way, o.law) == (way, law)]
        ramps = [r for o in those for r in o.ramps]
        over, late = [r.overshoot_k for r in ramps], [r.settled_s - r.bound_s for r in ramps]
        ratio = [r.settled_s / max(r.bound_s, 1.0) for r in ramps]
        lines.append(
            f"{way:<18}{law:<10}{len(ramps):>6}{100 * sum(r.good for r in ramps) / len(ramps):>8.0f}"
            f"{f'{at(over, 50):.2f} / {at(over, 95):.2f} / {max(over):.2f}':>24}"
            f"{f'{at(late, 50):.0f} / {at(late, 95):.0f}':>16}{f'{at(ratio, 50):.2f} / {at(ratio, 95):.2f}':>16}"
            f"{100 * sum(isinf(r.settled_s) for r in ramps) / len(ramps):>9.0f}"
            f"{at([r.rms_k for r in ramps], 95):>9.2f}{100 * sum(o.finished for o in those) / len(those):>10.0f}"
        )
        if verbose:
            for o in those:
                lines.append(
                    f"   {o.number:>3} "
                    + "  ".join(
                        f"{'good' if r.good else 'BAD '} over {r.overshoot_k:.2f} late {r.settled_s - r.bound_s:.0f}"
                        f" of {r.bound_s:.0f} rms {r.rms_k:.2f}"
                        for r in o.ramps
                    )
                )
    return "\n".join(lines)


def former(revision: str, argv: list[str]) -> list[Outcome]:
    """The rooms of that revision on the same tuns, by a bench that finds them in front of today's."""
    with tempfile.TemporaryDirectory() as folder:
        packed = subprocess.run(["git", "archive", revision, "controller"], cwd=ROOT, capture_output=True, check=True)
        subprocess.run(["tar", "-x", "-C", folder], input=packed.stdout, check=True)
        told = subprocess.run(
            [sys.executable, "-P", "-m", "tests.regimes.bench.fair", "--law", "plate", "--json", *argv],
            cwd=ROOT, env={**os.environ, "PYTHONPATH": f"{folder}:{ROOT}"}, capture_output=True, check=True, text=True,
        )  # fmt: skip
    rows = json.loads(told.stdout)
    return [Outcome("before", way, n, tuple(Ramp(*r) for r in ramps), done) for _, way, n, ramps, done in rows]


def main(argv: list[str] | None = None) -> int:
    """Run the bench and print the table of each half."""
    args = options(
        __doc__, argv, tuns=6, first=0, way=[*WAYS], unseen=False, against="", law=[*LAWS], jobs=1, trouble="",
        json=False, verbose=False, seed=0, told="",
    )  # fmt: skip
    laws = (*args.law, TOLD + args.told) if args.told else tuple(args.law)
    for seed in [args.seed] if args.seed else (SEEN, UNSEEN) if args.unseen else (SEEN,):
        numbers = range(args.first, args.first + args.tuns)
        jobs = [Job(seed, way, n, laws, args.trouble) for way in args.way for n in numbers]
        with Pool(args.jobs) as pool:
            outcomes = [o for some in pool.imap(work, jobs, chunksize=1) for o in some]
        if args.json:
            print(json.dumps(outcomes))
            return 0
        if args.against:
            shared = ["--seed", str(seed), "--tuns", str(args.tuns), "--first", str(args.first)]
            ways = [word for way in args.way for word in ("--way", way)]
            outcomes += former(args.against, [*shared, "--jobs", str(args.jobs), *ways])
        half = "unseen" if seed == UNSEEN else "seen"
        print(f"the {half} half, {args.tuns} tuns a way\n{table(outcomes, args.verbose)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
