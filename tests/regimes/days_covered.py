"""Do the bands that `dryrun PROGRAM --days N` states hold for days that it has not seen?

    python -m tests.regimes.days_covered --out FILE [--program sandpiper] [--days 1000] [--fresh 1000]
        [--other 200] [--jobs 2]

The 5 and 95 % limits of so many days, as the command states them, of when it is ready, of energy, of the limit of
attenuation and of each rest's true mean; then two shares of days within them. Fresh days are drawn from the same
distributions with another seed: 87 to 93 % should lie within. The others are tuns drawn by another rule, that of the
plain dry run (uniform, see sim/world/true_values.py), with a person of uniform times: 80 % or more should. FILE gets a
line a day, so that a run that was ended goes on where it was. Exit code 1 where a share is outside.
"""

from __future__ import annotations

import functools
import json
import sys
from collections.abc import Iterator
from multiprocessing import get_context
from pathlib import Path
from random import Random
from typing import NamedTuple

from controller.edge.files import config_files, plan_by_name
from controller.plan.plan import Plan
from controller.settings.service import Settings
from sim import days
from sim.days import Day, DayResult
from sim.dryrun import DryRun
from sim.people.manner import Manner
from tests.places import CONFIG
from tests.regimes.command import options

KNOWN_SEED, FRESH_SEED, OTHER_SEED = 1, 2, 3
WITHIN = {"fresh": (0.87, 0.93), "other": (0.80, 1.0)}
ANSWERS_S, POURING_S = (15.0, 120.0), (150.0, 400.0)  # of the other rule's person (own proposal)
Figures = dict[str, float | None]


class Asked(NamedTuple):
    """One day to run: of which kind, the how manieth of how many."""

    kind: str
    number: int
    of: int

    @property
    def name(self) -> str:
        return f"{self.kind} {self.number} of {self.of}"


def figures(result: DayResult) -> Figures:
    """What the bands are of. A day that did not complete lies in none."""
    if result.result != "complete":
        return {}
    means = {f"{name}, mean": mean_c for name, _, mean_c, _ in result.rests}
    return {"ready, s": result.duration_s, "energy, kWh": result.energy_kwh, "limit, %": result.limit_pct, **means}


def by_another_rule(settings: Settings, plan: Plan, number: int) -> DayResult:
    """A day of a tun as the plain dry run draws it, with a person of uniform times."""
    rng, day = Random(f"another rule {number}"), Day(number, number, OTHER_SEED, {})
    manner = Manner(delay_s=rng.uniform(*ANSWERS_S), pour_s=rng.uniform(*POURING_S))
    return days.came_of(plan, day, DryRun(settings, plan, 1_000_000 + number, manner=manner).go())


def one(settings: Settings, plan: Plan, asked: Asked) -> tuple[str, Figures]:
    """That day, run."""
    if asked.kind == "other":
        return asked.name, figures(by_another_rule(settings, plan, asked.number))
    seed = FRESH_SEED if asked.kind == "fresh" else KNOWN_SEED
    day = days.draw(settings, asked.of, seed)[asked.number - 1]
    return asked.name, figures(days.one(settings, plan, day))


def covered(found: dict[str, Figures], known: int, kinds: dict[str, int]) -> Iterator[tuple[str, str, float]]:
    """Which share of the days of each kind lies within the band of the known days, figure by figure?"""
    basis = [found[Asked("known", n, known).name] for n in range(1, known + 1)]
    for name in dict.fromkeys(name for day in basis for name in day):
        values = [value for day in basis if (value := day.get(name)) is not None]
        low, high = days.quantile(values, 0.05), days.quantile(values, 0.95)
        for kind, of in kinds.items():
            there = [found[Asked(kind, n, of).name].get(name) for n in range(1, of + 1)]
            yield kind, name, sum(value is not None and low <= value <= high for value in there) / of


def main(words: list[str]) -> int:
    """0: every share is as stated; 1: one is not, or days are still to run."""
    given = options(__doc__, words, out="", program="sandpiper", days=1000, fresh=1000, other=200, jobs=2)
    kinds = {"fresh": given.fresh, "other": given.other}
    wanted = [Asked(kind, n + 1, of) for kind, of in {"known": given.days, **kinds}.items() for n in range(of)]
    path = Path(given.out)
    lines = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    found: dict[str, Figures] = dict(json.loads(line) for line in lines)
    plan = plan_by_name.load_plan(CONFIG, given.program, None)
    work = functools.partial(one, config_files.settings(CONFIG, plan.tun.name), plan)
    missing = [asked for asked in wanted if asked.name not in found]
    with get_context("spawn").Pool(given.jobs) as pool, path.open("a", encoding="utf-8") as file:
        for name, day in pool.imap_unordered(work, missing):
            found[name] = day
            file.write(json.dumps([name, day]) + "\n")
            file.flush()
    wrong = 0
    for kind, name, share in covered(found, given.days, kinds):
        low, high = WITHIN[kind]
        outside = not low <= share <= high
        wrong += outside
        print(f"{kind:<6} {name:<28} {share:6.1%} within the band{'  OUTSIDE what is stated' if outside else ''}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
