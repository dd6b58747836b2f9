"""Does a mash finish on an ordinary bad day, with nobody there to clear anything?

    python -m tests.regimes.bad_days [--seeds 1..40] [--only wifi_all,flicker] [--pairs 10] [--jobs 2] [--out FILE]

Random tuns of every heat path x whole programs x one condition a line; people answer what is asked, and look after no
trip. A line prints: mashes, simulated hours, how many finished, minutes longer than on a good day of the same seed
(median), trips by id, the hottest that the true mash was over the highest target, and commands with power that rested
on no fresh reading. Each mash that did not finish is named with its seed. Seeds are cut in two halves, printed apart:
the second is for the eyes of the last run. Every figure is a measurement of this run.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from random import Random
from typing import NamedTuple

from sim.dryrun import DryRun, Ran
from sim.people.manner import Manner
from sim.random_setup import RandomSetup, random_brewery
from sim.world.faults import Fault

Draw = Callable[[Random, float], list[Fault]]  # of the run's length, s
NOBODY_CLEARS = Manner(starts=200, boil_s=300.0)


def _times(rng: Random, within_s: float, an_hour: float) -> Iterator[float]:
    """So many random moments an hour."""
    at = rng.expovariate(an_hour / 3600.0)
    while at < within_s:
        yield round(at, 1)
        at += rng.expovariate(an_hour / 3600.0)


def gaps(*kinds: str) -> Draw:
    """These faults together, for 2 to 15 s, 1 to 10 times an hour."""

    def draw(rng: Random, within_s: float) -> list[Fault]:
        an_hour = rng.uniform(1.0, 10.0)
        return [
            Fault(kind, at, for_s)
            for at in _times(rng, within_s, an_hour)
            for for_s in (round(rng.uniform(2.0, 15.0), 1),)
            for kind in kinds
        ]

    return draw


def often(kind: str, an_hour: float, for_s: tuple[float, float], value: tuple[float, float] = (0.0, 0.0)) -> Draw:
    """This fault, so often, for so long, of a value between these."""

    def draw(rng: Random, within_s: float) -> list[Fault]:
        return [
            Fault(kind, at, round(rng.uniform(*for_s), 1), round(rng.uniform(*value), 3))
            for at in _times(rng, within_s, an_hour)
        ]

    return draw


def times(count: int, kind: str, for_s: tuple[float, float], value: tuple[float, float] = (0.0, 0.0)) -> Draw:
    """This fault so many times in the run."""

    def draw(rng: Random, within_s: float) -> list[Fault]:
        return [
            Fault(
                kind, round(rng.uniform(0.1, 0.9) * within_s, 1), round(rng.uniform(*for_s), 1),
                round(rng.uniform(*value), 3),
            )
            for _ in range(count)
        ]  # fmt: skip

    return draw


def throughout(kind: str, low: float, high: float) -> Draw:
    """This fault all the time, of a value between these."""
    return lambda rng, within_s: [Fault(kind, 0.0, 1e12, round(rng.uniform(low, high), 3))]


CONDITIONS: dict[str, Draw] = {
    "good day": lambda rng, within_s: [],
    "wifi, all nodes": gaps("broker_gone"),
    "wifi, probe": gaps("probe_unplugged"),
    "wifi, heater": gaps("heater_silent", "heater_deaf"),
    "broker restarted 3 times": times(3, "broker_gone", (3.0, 12.0)),
    "broker 1 to 9 s late": times(3, "delay", (60.0, 300.0), (1.0, 9.0)),
    "readings every 3 s": throughout("probe_slow", 3.0, 3.0),
    "5 % of all lost": throughout("lost", 0.05, 0.05),
    "one wild sample in 10 min": often("probe_spike", 6.0, (0.6, 0.6), (-40.0, 40.0)),
    "level flickers": often("level_lost", 4.0, (0.5, 0.9)),
    "flow flickers": often("flow_lost", 4.0, (0.5, 0.9)),
    "clock set by an hour": times(2, "clock_jump", (1800.0, 3600.0), (-3600.0, 3600.0)),
    "process frozen 2 to 20 s": times(4, "loop_stall", (0.5, 0.5), (2.0, 20.0)),
    "disk full for a minute": times(2, "disk_bad", (60.0, 60.0)),
    "mains at 85 to 110 %": throughout("mains_power", 0.85, 1.1),
    "lid off 5 min in 15": lambda rng, within_s: [
        Fault("lid_open", at, 300.0) for at in map(float, range(300, int(within_s), 900))
    ],
    "pump at 35 to 50 %": throughout("pump_slow", 0.35, 0.5),
    "grist 15 % off": throughout("grist_share", 0.85, 1.15),
    "liquor 15 % off": throughout("liquor_share", 0.85, 1.15),
    "people answer after 15 to 40 min": lambda rng, within_s: [
        Fault("person_away", at, rng.uniform(900.0, 2400.0)) for at in map(float, range(600, int(within_s), 3600))
    ],
}


class Mash(NamedTuple):
    """What came of one mash."""

    seed: int
    path: str
    result: str
    hours: float
    longer_min: float | None  # than on a good day of the same seed; None: one of the two did not finish
    trips: tuple[str, ...]
    over_k: float
    blind: int


def one(job: tuple[str, tuple[str, ...], int]) -> Mash:
    """One mash of this seed under these conditions, beside its good day."""
    name, parts, seed = job
    brewery = random_brewery(Random(f"bad days {seed}"))
    rng = Random(f"{name} {seed}")
    faults = [fault for part in parts for fault in CONDITIONS[part](rng, brewery.plan.duration_s)]
    ran, good = _run(brewery, seed, faults), _run(brewery, seed, []) if faults else None
    highest_c = max(leg.target_c for leg in brewery.plan.course.legs)
    both = good is not None and ran.result == good.result == "complete"
    return Mash(
        seed=seed,
        path=brewery.drawn.kind,
        result=ran.result,
        hours=ran.ended_s / 3600.0,
        longer_min=(ran.duration_s - good.duration_s) / 60.0 if good is not None and both else None,
        trips=tuple(trip["id"] for trip in ran.trace.trips),
        over_k=max(row.mash_c for row in ran.trace.rows) - highest_c,
        blind=ran.heat_without_evidence,
    )


def _run(brewery: RandomSetup, seed: int, faults: list[Fault]) -> Ran:
    machine = DryRun(brewery.settings, brewery.plan, seed, faults, manner=NOBODY_CLEARS, truth=brewery.truth)
    return machine.go(longest_s=3.0 * brewery.plan.duration_s + 2 * 3600.0)


def line(name: str, mashes: list[Mash]) -> str:
    """One condition, in a line."""
    done = [mash for mash in mashes if mash.result == "complete"]
    longer = [mash.longer_min for mash in done if mash.longer_min is not None]
    trips = Counter(trip for mash in mashes for trip in mash.trips)
    told = " ".join(f"{trip} x{count}" for trip, count in sorted(trips.items())) or "none"
    late = f"{statistics.median(longer):+.1f} min" if longer else "-"
    lost = " ".join(f"{mash.seed}({mash.path}, {mash.result})" for mash in mashes if mash.result != "complete")
    return (
        f"{name:<40} {len(mashes):3} mashes {sum(m.hours for m in mashes):6.1f} h  finished {len(done):3}  {late:>10}  "
        f"over {max(m.over_k for m in mashes):+.2f} K  blind {sum(m.blind for m in mashes)}  trips: {told}"
        + (f"  NOT: {lost}" if lost else "")
    )


def _pairs(count: int) -> list[tuple[str, tuple[str, ...]]]:
    names = [name for name in CONDITIONS if name != "good day"]
    rng = Random("pairs of bad days")
    drawn = [tuple(rng.sample(names, 2)) for _ in range(count)]
    return [(" + ".join(pair), pair) for pair in drawn]


def main(argv: list[str]) -> int:
    """0 when every mash finished, 1 when one did not."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--seeds", default="1..40")
    parser.add_argument("--only", default="", help="conditions that begin with these words, by comma")
    parser.add_argument("--pairs", type=int, default=0, help="so many pairs of conditions, drawn by seed, on top")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path, help="every mash as a JSON line")
    args = parser.parse_args(argv)
    first, _, last = args.seeds.partition("..")
    seeds, wanted = range(int(first), int(last or first) + 1), [w.strip() for w in args.only.split(",") if w.strip()]
    chosen = [(name, (name,)) for name in CONDITIONS if not wanted or any(name.startswith(w) for w in wanted)]
    lost = 0
    with ProcessPoolExecutor(args.jobs) as pool:
        for name, parts in [*chosen, *_pairs(args.pairs)]:
            mashes = list(pool.map(one, [(name, parts, seed) for seed in seeds]))
            lost += sum(mash.result != "complete" for mash in mashes)
            half = len(mashes) // 2
            for label, some in ((name, mashes[:half]), ("  unseen half", mashes[half:])):
                if some:
                    print(line(label, some), flush=True)
            if args.out is not None:
                with args.out.open("a", encoding="utf-8") as file:
                    file.writelines(json.dumps({"condition": name, **mash._asdict()}) + "\n" for mash in mashes)
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
