"""Which rest program would give the wort I want, on this tun, within my limits?

A search over programs of one to three starch rests, and a choice along the trade-off of time against fermentability:
close ones, a simpler one where there is, short ones, and one that is steady against a probe that is off. What each is
called follows from the figures shown. Programs against the habits of the trade are left out where others fit.
Same question, same answer. Nothing is proposed that `judge` finds a problem with.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from controller.brewing.compose.habits import FIRST_C, unusual
from controller.brewing.compose.proposal import Proposal, ProposedRest, day_points, points_per_k, proposal
from controller.brewing.compose.rest_search import Bounds, Each, Found, SearchedRest, Task, TunFigures, search
from controller.brewing.kinetics.calibration import Implausible
from controller.brewing.kinetics.model import CALIBRATED_SET, DEFAULT_MALT, Malt, Parameters, apparent_limit_pct
from controller.brewing.kinetics.what_if import Rest, predict_rests

__all__ = [
    "USUAL_BOUNDS",
    "Answer",
    "Bounds",
    "Proposal",
    "ProposedRest",
    "TunFigures",
    "Wish",
    "compose",
    "target_pct",
]

AIM_C = {"dry": 63.0, "balanced": 66.5, "full": 69.0}  # common practice: 62-64 dry, 65-68 balanced, 68-70 full
AIM_MIN = 60.0
USUAL_BOUNDS = Bounds()
WANTED_PCT = (40.0, 95.0)  # an apparent limit outside is a slip of the pen
CLOSE_POINTS = 1.0
NEAR_POINTS = 1.5
EQUAL_POINTS = 3.0  # closer limits are no different to the model
PRICES_POINTS = (2.5, 5.0)  # how much further from the wish a shorter program may go
STEADY_POOL = 12  # so many close ones are asked how they take a wrong probe
MASH_OUT_C, MASH_OUT_S = 77.0, 600.0  # common practice: 76-78 degC, 5-10 min
LEAST_MASH_OUT_C = 75.0
LOW_REST_C = (35.0, 58.0)  # beta-glucan and protein rests (common practice: 38-45 and 45-55 degC)
MOST_JUDGED = 8  # a judge may run a whole mash: so many at most
TRIES_A_ROLE = 2  # where a proposal is found wanting, the next best of its kind at other temperatures, so often


class Wish(NamedTuple):
    """What is wanted: an aim in words, or an apparent attenuation limit in %."""

    aim: str | float
    mash_out: bool = True
    low_rest: tuple[float, float] | None = None  # degC, s: a beta-glucan or protein rest before


Refusal = tuple[tuple[ProposedRest, ...], tuple[str, ...]]  # a program and what the judge found wrong with it


class Answer(NamedTuple):
    """The proposals, the first being the closest, and what there is to say of the search."""

    target_pct: float
    proposals: tuple[Proposal, ...]
    tried: int  # programs that come within 1.5 points
    refused: tuple[Refusal, ...]  # found wanting by the judge, and why
    notes: tuple[str, ...]
    out_of_reach: str = ""  # how far the nearest one misses, and why; empty where one comes near


Judge = Callable[[Sequence[ProposedRest]], Sequence[str]]
Progress = Callable[[float, str], None]


def target_pct(aim: str | float, malt: Malt = DEFAULT_MALT, params: Parameters = CALIBRATED_SET) -> float:
    """Which apparent attenuation limit, %, does an aim mean with this malt?

    In words: what an hour at the temperature the trade uses for it would give. Raises Implausible.
    """
    problems = _aim_problems(aim)
    if problems:
        raise Implausible(*problems)
    if isinstance(aim, str):
        return apparent_limit_pct(predict_rests([Rest(aim, AIM_C[aim], 60.0 * AIM_MIN)], malt, params).end)
    return aim


def _aim_problems(aim: str | float) -> list[str]:
    if isinstance(aim, str):
        wanted = f"{', '.join(AIM_C)} or an apparent attenuation limit in %"
        return [] if aim in AIM_C else [f"aim: found {aim!r}, wanted {wanted}"]
    if WANTED_PCT[0] <= aim <= WANTED_PCT[1]:
        return []
    return [f"apparent attenuation limit: found {aim:g} %, wanted {WANTED_PCT[0]:g} to {WANTED_PCT[1]:g} %"]


def compose(
    wish: Wish,
    tun: TunFigures,
    bounds: Bounds = USUAL_BOUNDS,
    malt: Malt = DEFAULT_MALT,
    params: Parameters = CALIBRATED_SET,
    progress: Progress | None = None,
    judge: Judge | None = None,
    each: Each = map,
) -> Answer:
    """Programs for a wanted wort, each with its reasons; the first is the closest.

    `judge` gets the steps of a proposal and returns what is wrong with them; a proposal with problems is dropped for
    the next best. `each`: as in `search`. Raises Implausible where wish or bounds make no sense.
    """
    _sensible(wish, bounds, tun)
    tell: Progress = progress or (lambda share, text: None)
    target = target_pct(wish.aim, malt, params)
    mash_out = _mash_out(wish, tun)
    task = Task(tun, bounds, malt, params, wish.low_rest, mash_out)
    found, usual = _found(wish, task, lambda share: tell(0.7 * share, "trying programs"), each)
    if not found:
        tell(1.0, "done")
        return Answer(target, (), 0, (), _why_none(task, each))
    table = _Table(task, target, judge)
    kinds = _kinds(task, target, usual or found)
    for number, kind in enumerate(kinds):
        tell(0.7 + 0.3 * number / len(kinds), f"judging: {kind.name}")
        table.fill(kind)
    tell(1.0, "done")
    chosen, refused = called(tuple(table.chosen.values())), tuple(table.refused.values())
    near = sum(abs(one.limit_pct - target) <= NEAR_POINTS for one in found)
    notes = _notes(wish, target, mash_out, chosen, len(refused))
    return Answer(target, chosen, near, refused, notes, _out_of_reach(target, chosen))


def _found(wish: Wish, task: Task, tell: Callable[[float], None], each: Each) -> tuple[list[Found], list[Found]]:
    """All programs, and those that keep to the habits of the trade; of an aim in words only where it begins, unless
    nothing is found there."""
    window = FIRST_C[wish.aim] if isinstance(wish.aim, str) else task.first_c
    for within in dict.fromkeys((window, task.first_c)):
        found = search(task._replace(first_c=within), tell if within is window else None, each)
        usual = [one for one in found if not unusual(wish.aim, one)]
        if usual:
            break
    return found, usual


def _sensible(wish: Wish, bounds: Bounds, tun: TunFigures) -> None:
    problems = _aim_problems(wish.aim)
    if not 30.0 <= bounds.longest_min <= 480.0:
        problems.append(f"longest time: found {bounds.longest_min:g} min, wanted 30 to 480 min")
    if bounds.most_kwh is not None and not bounds.most_kwh > 0.0:
        problems.append(f"most energy: found {bounds.most_kwh:g} kWh, wanted more than 0")
    if not 1 <= bounds.most_rests <= 3:
        problems.append(f"most rests: found {bounds.most_rests}, wanted 1 to 3")
    if not tun.capacity_j_per_k > 0.0:
        problems.append(f"heat capacity of the mash: found {tun.capacity_j_per_k:g} J/K, wanted more than 0")
    if not tun.climb_c_per_min > 0.0:
        problems.append(f"climb: found {tun.climb_c_per_min:g} K/min, wanted more than 0")
    if wish.low_rest is not None and not LOW_REST_C[0] <= wish.low_rest[0] <= LOW_REST_C[1]:
        wanted = f"{LOW_REST_C[0]:g} to {LOW_REST_C[1]:g} °C"
        problems.append(f"low rest: found {wish.low_rest[0]:g} °C, wanted {wanted}")
    if problems:
        raise Implausible(*problems)


def _mash_out(wish: Wish, tun: TunFigures) -> tuple[float, float] | None:
    celsius = min(MASH_OUT_C, tun.hottest_c)
    return (celsius, MASH_OUT_S) if wish.mash_out and celsius >= LEAST_MASH_OUT_C else None


# ---------------------------------------------------------------- the choice


class _Kind(NamedTuple):
    """One place along the trade-off: what is looked for and who stands for it, best first."""

    name: str
    ranked: Iterable[Found]


class _Table:
    """Proposals as they are judged: who is in, who was refused, and how often the judge was asked."""

    def __init__(self, task: Task, target: float, judge: Judge | None) -> None:
        self.task, self.target, self.judge = task, target, judge
        self.chosen: dict[tuple[SearchedRest, ...], Proposal] = {}
        self.refused: dict[tuple[SearchedRest, ...], Refusal] = {}

    def fill(self, kind: _Kind) -> None:
        """The best of a kind that the judge lets through, unless it stands here already."""
        tries, spoiled = 0, {_temperatures(legs) for legs in self.refused}
        for one in kind.ranked:
            asked = len(self.chosen) + len(self.refused)
            if one.legs in self.chosen or tries == TRIES_A_ROLE or asked == MOST_JUDGED:
                return
            if _temperatures(one.legs) in spoiled:
                continue
            tries += 1
            if self._accepted(one):
                return
            spoiled.add(_temperatures(one.legs))

    def _accepted(self, one: Found) -> bool:
        one_more = proposal(self.task, self.target, one)
        problems = tuple(self.judge(one_more.steps)) if self.judge is not None else ()
        if problems:
            self.refused[one.legs] = (one_more.steps, problems)
        else:
            self.chosen[one.legs] = one_more
        return not problems


def _temperatures(legs: Sequence[SearchedRest]) -> tuple[float, ...]:
    return tuple(leg.temperature_c for leg in legs)


def _kinds(task: Task, target: float, found: Sequence[Found]) -> list[_Kind]:
    def miss(one: Found) -> float:
        return abs(one.limit_pct - target)

    by_miss = sorted(found, key=lambda one: (round(2.0 * miss(one)), one.duration_s, one.legs))
    best = miss(by_miss[0])

    def within(points: float) -> list[Found]:
        return [one for one in found if miss(one) <= best + points]

    def quick(ones: Iterable[Found]) -> list[Found]:
        return sorted(ones, key=lambda one: (one.duration_s, round(miss(one), 1), one.legs))

    steady = {one.legs: points_per_k(task, one.legs) for one in by_miss[:STEADY_POOL]}

    def on_a_day(one: Found) -> float:
        return day_points(one.limit_pct - target, steady[one.legs])

    by_day = sorted(by_miss[:STEADY_POOL], key=lambda one: (round(2.0 * on_a_day(one)), one.duration_s, one.legs))
    held = [one for one in by_miss[:STEADY_POOL] if miss(one) <= best + CLOSE_POINTS]
    simple = sorted(
        within(NEAR_POINTS), key=lambda one: (len(one.legs), round(2.0 * miss(one)), one.duration_s, one.legs)
    )
    simpler = [_Kind("simple", simple)] if len(simple[0].legs) < len(by_miss[0].legs) else []
    shorter = [_Kind("shorter", quick(within(points))) for points in PRICES_POINTS]
    return [
        _Kind("close", [*by_day, *by_miss[STEADY_POOL:]]),
        *simpler,
        _Kind("short and close", quick(within(CLOSE_POINTS))),
        _Kind("steady", sorted(held, key=lambda one: (round(abs(steady[one.legs]), 2), one.duration_s, one.legs))),
        *shorter,
    ]


def called(chosen: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """The proposals, the closest on nine days of ten first, each called by what its figures, rounded as they are shown,
    say among them."""
    ranked = sorted(chosen, key=lambda one: (round(one.day_points, 1), round(one.duration_min), len(one.steps)))
    best = {
        "shortest": min(ranked, key=lambda one: round(one.duration_min), default=None),
        "steadiest": min(ranked, key=lambda one: round(abs(one.points_per_k), 1), default=None),
        "simplest": min(ranked, key=lambda one: len(one.steps), default=None),
    }
    if len({len(one.steps) for one in ranked}) == 1:
        del best["simplest"]
    return tuple(
        one._replace(role=_role(one, ranked[0], [name for name, holder in best.items() if holder is one]))
        for one in ranked
    )


def _role(one: Proposal, closest: Proposal, best: Sequence[str]) -> str:
    if one is closest:
        return ", ".join(["closest", *best])
    sooner = round(closest.duration_min) - round(one.duration_min)
    names = list(best) or [f"{sooner} min shorter than the closest" if sooner > 0 else "another way"]
    return f"{', '.join(names)}, {abs(one.miss_points):.1f} points off"


# ---------------------------------------------------------------- what there is to say


def _notes(
    wish: Wish,
    target: float,
    mash_out: tuple[float, float] | None,
    chosen: Sequence[Proposal],
    refused: int,
) -> tuple[str, ...]:
    notes = []
    if isinstance(wish.aim, str):
        meant = f"as {AIM_MIN:.0f} min at {AIM_C[wish.aim]:g} °C would give with this malt"
        notes.append(f"'{wish.aim}' is taken as an apparent limit of {target:.0f} %, {meant}")
    if wish.mash_out and mash_out is None:
        notes.append(f"no mash-out: the tun allows no target of {LEAST_MASH_OUT_C:.0f} °C or more")
    if not chosen:
        notes.append(f"all {refused} programs that were judged had problems; see each")
    limits = [one.limit_pct for one in chosen]
    if len(limits) > 1 and max(limits) - min(limits) < EQUAL_POINTS:
        notes.append("no program is told apart from these by the estimate: they are less than 3 points apart")
    return tuple(notes)


def _out_of_reach(target: float, chosen: Sequence[Proposal]) -> str:
    """How far does the nearest one miss, and why? Empty where one comes near."""
    if not chosen or abs(chosen[0].miss_points) <= NEAR_POINTS:
        return ""
    nearest = chosen[0]
    why = (
        "what is cut beside a branch stays as limit dextrin, whatever the program"
        if nearest.limit_pct < target
        else "less would need a hotter or shorter rest than these limits allow"
    )
    missed = f"none comes nearer than {abs(nearest.miss_points):.1f} points, {nearest.limit_pct:.0f} %"
    return f"{target:.0f} % is out of reach within these limits: {missed}; {why}"


def _why_none(task: Task, each: Each) -> tuple[str, ...]:
    """Nothing fits: what would the least demanding programs take?"""
    free = search(task._replace(bounds=Bounds(longest_min=480.0, most_rests=task.bounds.most_rests)), None, each)
    if not free:
        what = f"power {task.tun.power_w:.0f} W, no target above {task.tun.hottest_c:g} °C"
        return (f"no program converts the starch on this tun at any length: {what}; check the tun's figures",)
    shortest = min(one.duration_s for one in free) / 60.0
    least = min(one.energy_kwh for one in free)
    limits = f"{task.bounds.longest_min:.0f} min"
    if task.bounds.most_kwh is not None:
        limits += f" and {task.bounds.most_kwh:g} kWh"
    needed = f"the shortest that converts takes {shortest:.0f} min, the thriftiest {least:.2f} kWh"
    return (f"no program fits {limits}: {needed}; allow more",)
