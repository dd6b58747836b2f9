"""Does a mash finish on an ordinary bad day, with nobody there to clear anything?

    python -m tests.regimes.bad_days [--seeds 1..40] [--only "wifi probe"] [--pairs 10] [--jobs 2] [--out FILE]

Random tuns of every heat path, wider than their plates (wide.py), x whole programs x one condition a line, or two with
`--pairs` or `--only "wifi probe + wind"`. People answer what is asked, and look after no trip. A line prints: mashes,
simulated hours, how many finished, minutes longer than on a good day of the same seed (median), the hottest that the
true mash was over the highest target, commands with power that rested on no fresh reading, mashes in which a rest was
credited more time than the true mash was there, by how much longer than a gap of a link heat was kept away that was
asked for (p95, worst, how many over the bound; of gaps that came at nearly full heat), and trips by id (L: latched). A
mash that did not finish is named with the line that plays it again. Where full heat warms the true mash at its hottest
step by less than half of what the plate's would, the plate does not allow the program and G11 is right: left out, and
listed.
"""

from __future__ import annotations

import json
import statistics
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

from controller.core.state import Outcome
from sim.dryrun import DryRun, Ran
from sim.people.manner import Manner
from sim.random_setup import RandomSetup
from sim.world.faults import Fault
from sim.world.true_values import TrueValues
from tests.regimes import wide
from tests.regimes.bad_conditions import CONDITIONS, Condition

NOBODY_CLEARS = Manner(starts=200, boil_s=300.0)
FULL, STEEP_S = 0.9, 30.0  # a gap at nearly full heat, for so long before: what it cost can be seen
NEAR_K = 2.5  # time is credited rightly in which the true mean was so near, K over the step's tolerance
SLACK_S = 75.0  # give or take the first minute
ALLOWS = 0.5  # of the plate's net heat: with less G11 is right, by the ruling
BACK_S, BACK_SLOW_S = 20.0, 30.0  # heat may be away for so much longer than its gap, by the ruling
LINKS = frozenset({"broker_gone", "probe_unplugged", "heater_silent", "heater_deaf"})


# ---------------------------------------------------------------- one mash


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
    credited_wrong: tuple[str, ...]
    away_s: tuple[float, ...]  # heat that was asked for, longer than its gap
    bound_s: float  # and how much longer it may be
    last: str  # what stood when it did not finish
    left_out: bool  # and the plate does not allow it


Job = tuple[str, int]  # condition or `one + another`, seed


@lru_cache(maxsize=4)
def _fitting(name: str, seed: int) -> RandomSetup:
    """The first wide tun of this seed, else of a later one of its half, on which these conditions can be: some
    heat paths have no pump."""
    parts = [CONDITIONS[part] for part in name.split(" + ")]
    for again in range(200):
        setup = wide.brewery("bad days" + "'" * again, seed + 2 * again)
        if all(part.fits(setup) for part in parts):
            return setup
    raise RuntimeError(f"no tun fits {name}, seed {seed}")


GOOD_S: dict[tuple[int, str], float | None] = {}  # the same tun on the same program needs one good day


def _good_s(setup: RandomSetup, seed: int) -> float | None:
    """How long does the same mash take on a good day, s? None where it does not finish then either."""
    key = seed, f"{setup.settings.tun.model_dump_json()} {setup.plan.duration_s} {setup.truth}"
    if key not in GOOD_S:
        ran, _ = _run(setup, seed, Condition())
        GOOD_S[key] = ran.duration_s if ran.result == "complete" else None
    return GOOD_S[key]


def one(job: Job) -> Mash:
    """One mash of this seed under these conditions, beside its good day."""
    name, seed = job
    setup = _fitting(name, seed)
    rng = Random(f"{name} {seed}")
    day, faults = Condition(), list[Fault]()
    truth, manner = setup.truth, NOBODY_CLEARS
    for part in (CONDITIONS[part] for part in name.split(" + ")):
        faults += part.faults(rng, setup.plan.duration_s)
        truth, manner = part.truth(rng, truth), part.manner(rng, manner)
    day = Condition(lambda *_: faults, lambda *_: truth, lambda *_: manner)
    ran, withheld = _run(setup, seed, day)
    good_s = _good_s(setup, seed)
    done = ran.result == "complete"
    return Mash(
        seed=seed,
        path=setup.drawn.kind,
        result=ran.result,
        hours=ran.ended_s / 3600.0,
        longer_min=(ran.duration_s - good_s) / 60.0 if done and good_s is not None else None,
        trips=tuple(trip["id"] + ("L" if trip["latched"] else "") for trip in ran.trace.trips),
        over_k=max(row.mash_c for row in ran.trace.rows) - max(leg.target_c for leg in setup.plan.course.legs),
        blind=ran.heat_without_evidence,
        credited_wrong=tuple(_too_much(setup, ran)),
        away_s=tuple(_away(ran, withheld, faults)),
        bound_s=_bound_s(setup, faults),
        last="" if done else (ran.trace.trips[-1]["text"] if ran.trace.trips else "no trip"),
        left_out=not done and not _allows(setup, truth, faults),
    )


class Watched(DryRun):
    """A dry run that remembers in which seconds heat was asked for and none let out."""

    def __init__(self, *args: Any, **changes: Any) -> None:
        self.withheld: list[bool] = []
        super().__init__(*args, **changes)

    def _row(self, outcome: Outcome, now: float) -> None:
        super()._row(outcome, now)
        self.withheld.append(outcome.demand.duty > 0.0 and outcome.state.guard.line.duty <= 0.0)


def _run(setup: RandomSetup, seed: int, day: Condition) -> tuple[Ran, list[bool]]:
    rng = Random(0)
    machine = Watched(
        setup.settings,
        setup.plan,
        seed,
        day.faults(rng, 0.0),
        manner=day.manner(rng, NOBODY_CLEARS),
        truth=day.truth(rng, setup.truth),
    )
    return machine.go(longest_s=3.0 * setup.plan.duration_s + 4 * 3600.0), machine.withheld


def _allows(setup: RandomSetup, truth: TrueValues, faults: Iterable[Fault]) -> bool:
    """Does full heat warm the true mash at its hottest step by half of what the plate's would, or more?"""
    tun, spec, top_c = setup.settings.tun, truth.spec, max(leg.target_c for leg in setup.plan.course.legs)
    mains = min((fault.value for fault in faults if fault.kind == "mains_power"), default=1.0)
    plate_w = tun.heater.power_w * tun.heater.efficiency * tun.heater.duty_cap - tun.loss_w_per_k * (top_c - tun.room_c)
    return spec.power_w * mains - spec.loss_w_per_k * (top_c - truth.room_c) >= ALLOWS * plate_w


def _too_much(setup: RandomSetup, ran: Ran) -> Iterator[str]:
    """In which rests was more time credited than the true mash was there, the gap rule's time left out?"""
    by_rule_s = sum(happened.value or 0.0 for happened in ran.trace.happenings if happened.id == "gap rule")
    for passed in ran.trace.passed:
        leg = setup.plan.course.legs[passed.leg]
        rows = [r for r in ran.trace.rows if r.step == passed.leg and passed.ramp_started_s <= r.t_s <= passed.ended_s]
        there_s = sum(abs(row.mash_c - leg.target_c) <= leg.tolerance_k + NEAR_K for row in rows)
        if leg.kind in ("rest", "mash_out") and passed.credited_s > there_s + SLACK_S + by_rule_s:
            yield f"{leg.name}: {passed.credited_s:.0f} s, {there_s} s there"


def _away(ran: Ran, withheld: list[bool], faults: Iterable[Fault]) -> Iterator[float]:
    """By how much longer than each gap of a link, which came at nearly full heat, was heat kept away that was asked
    for, s? What the loop or a switch's own window does not ask for is no loss."""
    rows = ran.trace.rows
    if not rows:
        return
    spans = sorted({(fault.at_s, fault.until_s) for fault in faults if fault.kind in LINKS and fault.until_s < 1e9})
    for begin_s, end_s in _merged(spans):
        at = round(begin_s - rows[0].t_s)
        before = rows[max(0, at - int(STEEP_S)) : at]
        if len(before) < STEEP_S or statistics.fmean(row.duty for row in before) < FULL:
            continue
        later = list(zip(rows[at + 1 :], withheld[at + 1 :], strict=True))
        lost = next((row.t_s for row, kept in later if kept), None)
        if lost is None or lost > end_s + 15.0:  # bridged: heat was never kept away
            yield begin_s - end_s
            continue
        back = next((row.t_s for row, _ in later if row.t_s >= lost and row.duty > 0.0), None)
        if back is not None:
            last = max(row.t_s for row, kept in later if kept and row.t_s < back)
            yield round(last + 1.0 - end_s, 1)


def _bound_s(setup: RandomSetup, faults: Iterable[Fault]) -> float:
    """So much longer than its gap may heat be away, s: more where readings come every 3 s or a contact has to rest."""
    rests = setup.settings.tun.heater.kind in ("contactor", "gas")
    return BACK_SLOW_S if rests or any(fault.kind == "probe_slow" for fault in faults) else BACK_S


def _merged(spans: Iterable[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """Spans that touch are one."""
    held: tuple[float, float] | None = None
    for begin, end in spans:
        if held is not None and begin <= held[1] + STEEP_S:
            held = held[0], max(held[1], end)
            continue
        if held is not None:
            yield held
        held = begin, end
    if held is not None:
        yield held


# ---------------------------------------------------------------- what is printed


def line(name: str, mashes: list[Mash]) -> str:
    """One condition, in a line."""
    out = sum(mash.left_out for mash in mashes)
    done = [mash for mash in mashes if mash.result == "complete"]
    longer = [mash.longer_min for mash in done if mash.longer_min is not None]
    trips = Counter(trip for mash in mashes for trip in mash.trips)
    away = [s for mash in mashes for s in mash.away_s]
    late = sum(s > mash.bound_s for mash in mashes for s in mash.away_s)
    gap = f"  back {wide.at(away, 0.95):+.0f}/{max(away):+.0f} s of {len(away)}, late {late}" if away else ""
    return (
        f"{name:<36} {len(mashes):3} mashes {sum(m.hours for m in mashes):6.1f} h  finished {len(done):3}  "
        f"{f'left out {out}  ' if out else ''}"
        f"{f'{statistics.median(longer):+.1f} min' if longer else '-':>9}  "
        f"over {max(m.over_k for m in mashes):+.2f} K  blind {sum(m.blind for m in mashes)}  "
        f"credit wrong {sum(bool(m.credited_wrong) for m in mashes)}{gap}  "
        f"trips: {' '.join(f'{trip} x{count}' for trip, count in sorted(trips.items())) or 'none'}"
    )


def said(name: str, mashes: list[Mash]) -> Iterator[str]:
    """The line of each half, and of each mash that went wrong the line that plays it again."""
    for half, bit in wide.HALVES.items():
        if some := [mash for mash in mashes if mash.seed & 1 == bit]:
            yield line(name if bit else f"  {half}", some)
    for mash in mashes:
        if mash.result != "complete" or mash.credited_wrong or mash.blind:
            again = f'python -m tests.regimes.bad_days --jobs 1 --only "{name}" --seeds {mash.seed}'
            why = "; ".join((mash.last, *mash.credited_wrong))[:160]
            yield f"    {'left out' if mash.left_out else mash.result} ({mash.path}): {again}   # {why}"


def chosen(only: str, pairs: int) -> list[str]:
    """Which lines are wanted: by name or by how the name begins, by comma; pairs as named, or drawn by a seed."""
    wanted = [word.strip() for word in only.split(",") if word.strip()]
    found = [name for name in CONDITIONS if not wanted or name in wanted]
    if wanted and not found:
        found = [name for name in CONDITIONS if name.startswith(tuple(wanted))]  # `none` is the beginning of none
    rng, names = Random("pairs of bad days"), [name for name in CONDITIONS if name != "good day"]
    drawn = (" + ".join(rng.sample(names, 2)) for _ in range(pairs))
    return [*found, *(word for word in wanted if " + " in word), *drawn]


def main(words: list[str]) -> int:
    """0 when every mash finished, 1 when one did not."""
    args, seeds = wide.regime(__doc__, words, only="", pairs=0)
    jobs = [(name, seed) for name in chosen(args.only, args.pairs) for seed in seeds]
    total: list[Mash] = []
    found = zip((name for name, _ in jobs), wide.shared(args.jobs, one, jobs), strict=True)
    for name, group in groupby(found, key=lambda pair: pair[0]):
        mashes = [mash for _, mash in group]
        total += mashes
        print("\n".join(said(name, mashes)), flush=True)
        if args.out:
            _keep(Path(args.out), name, mashes)
    out = sum(mash.left_out for mash in total)
    lost = sum(mash.result != "complete" for mash in total) - out
    hours = sum(mash.hours for mash in total)
    print(f"{len(total)} mashes, {hours:.0f} h, {lost} did not finish, {out} more left out")
    return 1 if lost else 0


def _keep(path: Path, name: str, mashes: list[Mash]) -> None:
    """Every mash as a JSON line."""
    lines: list[dict[str, Any]] = [{"condition": name, **mash._asdict()} for mash in mashes]
    with path.open("a", encoding="utf-8") as file:
        file.writelines(json.dumps(each) + "\n" for each in lines)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
