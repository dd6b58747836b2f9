"""How would this program go on many days that differ as days do?

A day is a dry run whose tun, room, goods and people are drawn around the tun file. The draws fill the space (a Latin
hypercube: of N days each N-th part of every distribution is used once) and hang on seed, number of days and day alone,
so that any number of processes gives the same days.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from random import Random
from statistics import NormalDist
from typing import Any, NamedTuple

from controller.plan.plan import Plan
from controller.settings.service import Settings
from controller.settings.tun import Tun
from sim import true_wort
from sim.dryrun import DryRun, Ran
from sim.people.manner import Manner
from sim.world.faults import Fault
from sim.world.true_values import TrueValues, of_tun

ENDS_U = 0.005  # of each distribution the outermost half per cent at either end is left out
FAN_S = 60.0  # the curves of the days are kept a point a minute
FOR_GOOD_S = 1e6
IN_BAND_K = 0.5  # a rest whose true mean is so near its target was kept (half of the shipped tolerance of 1.0 K)


class Factor(NamedTuple):
    """What differs from day to day, and how far: normal, or the logarithm normal where `ratio`."""

    name: str
    what: str
    middle: float
    sd: float
    ratio: bool = False

    def at(self, u: float) -> float:
        """The value below which the share u of all days lies."""
        z = NormalDist().inv_cdf(min(1.0 - ENDS_U, max(ENDS_U, u)))
        return self.middle * math.exp(self.sd * z) if self.ratio else self.middle + self.sd * z


def factors(settings: Settings) -> tuple[Factor, ...]:
    """The distributions around this tun file. Own proposal where nothing else is said; what a water run has measured is
    drawn as narrowly as it was found."""
    learned = settings.learned
    power_sd = 0.04 if learned is None else max(0.01, learned.power_sd / learned.power_w)
    return (
        Factor("room", "room, °C", settings.tun.room_c, 3.0),
        Factor("liquor", "liquor as it comes, K off the program's", 0.0, 2.0),
        Factor("grist", "grain, °C", 18.0, 3.0),
        Factor("moisture", "moisture of the grain, share", 0.045, 0.007),
        Factor("mains", "mains voltage over nominal", 1.0, 0.025),  # EN 50160: within 10 %; most of the time much less
        Factor("power", "heater's power over the file's", 1.0, power_sd),
        Factor("loss", "loss over the file's", 1.15, 0.30, ratio=True),
        Factor("lag", "lag of probe, mixing and heater over the usual", 1.0, 0.20, ratio=True),
        Factor("error", "error of the probe, K", 0.0, 0.10),
        Factor("water", "liquor in the tun over what was meant", 1.0, 0.015),
        Factor("grain", "grain over what was meant", 1.0, 0.010),
        Factor("answers", "seconds until a question is answered", 45.0, 0.60, ratio=True),
        Factor("pouring", "seconds to pour the grain", 240.0, 0.25, ratio=True),
    )


class Day(NamedTuple):
    """One day's draw: which of how many, and the value of each factor."""

    number: int  # from 1
    of: int
    seed: int
    values: Mapping[str, float]


class DayResult(NamedTuple):
    """What came of a day. Temperatures are the mash's true ones, °C; times s, energy kWh."""

    day: Day
    result: str
    duration_s: float
    energy_kwh: float
    limit_pct: float | None  # apparent limit of attenuation that the estimate gives for the true temperatures
    rests: tuple[tuple[str, float, float | None, float | None], ...]  # name, target, mean, most over it
    trips: tuple[tuple[str, float], ...]
    curve_c: tuple[float, ...]  # a point a minute from the start of the run on


def draw(settings: Settings, days: int, seed: int) -> list[Day]:
    """So many days, in order."""
    columns = {}
    for factor in factors(settings):
        rng = Random(f"days {seed} {days} {factor.name}")
        places = list(range(days))
        rng.shuffle(places)
        columns[factor.name] = [factor.at((place + rng.random()) / days) for place in places]
    return [Day(n + 1, days, seed, {name: column[n] for name, column in columns.items()}) for n in range(days)]


def machine(settings: Settings, plan: Plan, day: Day) -> DryRun:
    """The dry run of a day, ready to go."""
    drawn = day.values
    faults = [
        Fault(kind, 0.0, FOR_GOOD_S, drawn[name])
        for kind, name in (("liquor_share", "water"), ("grist_share", "grain"))
    ]
    manner = Manner(delay_s=drawn["answers"], pour_s=drawn["pouring"])
    truth = _truth(settings.tun, plan, day)
    return DryRun(settings, plan, 10_000 * day.seed + day.number, faults, manner=manner, truth=truth)


def _truth(tun: Tun, plan: Plan, day: Day) -> TrueValues:
    """The tun of that day: as any behind this file, but power, loss, lags, room and goods as drawn."""
    drawn = day.values
    usual = of_tun(tun, Random(f"tun {day.seed} {day.number}"), plan.program.liquor.temperature_c + drawn["liquor"])
    spec, lag = usual.spec, drawn["lag"]
    spec = replace(
        spec,
        power_w=tun.heater.power_w * tun.heater.efficiency * drawn["power"] * drawn["mains"] ** 2,
        loss_w_per_k=tun.loss_w_per_k * drawn["loss"],
        mixing_s=spec.mixing_s * lag,
        heater_j_per_k=spec.heater_j_per_k * max(1.0, lag),
    )
    senses = [
        (role, sense._replace(lag_s=max(1.0, sense.lag_s * lag), error_k=drawn["error"] if role == "mash" else 0.0))
        for role, sense in usual.senses
    ]
    return usual._replace(
        spec=spec,
        senses=tuple(senses),
        room_c=drawn["room"],
        grist_c=drawn["grist"],
        grist_moisture=drawn["moisture"],
    )


def one(settings: Settings, plan: Plan, day: Day) -> DayResult:
    """That day from its start to its end."""
    return came_of(plan, day, machine(settings, plan, day).go())


def came_of(plan: Plan, day: Day, ran: Ran) -> DayResult:
    """What is kept of a day that was run?"""
    began = ran.trace.began_s
    curve = [row.mash_c for row in ran.trace.rows if began is not None and row.t_s >= began]
    estimate = true_wort.follow(plan.course, ran.trace).prediction
    limit = (estimate or {}).get("apparent_limit_pct")
    return DayResult(
        day,
        ran.result,
        ran.duration_s,
        ran.energy_kwh,
        limit["mid"] if limit else None,
        _rests(plan, ran),
        tuple((trip["id"], trip["at_s"]) for trip in ran.trace.trips),
        tuple(round(c, 2) for c in curve[:: int(FAN_S)]),
    )


def _rests(plan: Plan, ran: Ran) -> tuple[tuple[str, float, float | None, float | None], ...]:
    steps = [step for step in ran.trace.steps(plan.course) if step["kind"] == "rest"]
    return tuple((step["name"], step["target_c"], step["mean_c"], step["overshoot_c"]) for step in steps)


# ---------------------------------------------------------------- what they come to together


def quantile(values: Sequence[float], share: float) -> float:
    """The value below which this share lies, straight between neighbours (Hyndman and Fan 1996, type 7)."""
    ordered = sorted(values)
    at = share * (len(ordered) - 1)
    low = math.floor(at)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (at - low) * (ordered[high] - ordered[low])


def span(values: Iterable[float | None], digits: int) -> dict[str, float] | None:
    """Median and the 5 and 95 % limits of what is known."""
    known = [value for value in values if value is not None]
    if not known:
        return None
    return {name: round(quantile(known, at), digits) for name, at in (("p5", 0.05), ("p50", 0.5), ("p95", 0.95))}


def shares(results: Sequence[DayResult], values: Sequence[float | None]) -> dict[str, float]:
    """Which share of the variance goes back to which factor? The squared correlation with each, largest first; below
    one in the sum, for what acts together or by chance belongs to none. Empty where nothing varies."""
    pairs = [(result, value) for result, value in zip(results, values, strict=True) if value is not None]
    found = {}
    if len(pairs) >= 10 and len({value for _, value in pairs}) > 1:
        for name in pairs[0][0].day.values:
            column = [result.day.values[name] for result, _ in pairs]
            if len(set(column)) > 1:
                found[name] = round(statistics.correlation(column, [value for _, value in pairs]) ** 2, 3)
    return dict(sorted(found.items(), key=lambda pair: -pair[1]))


def summary(plan: Plan, results: Sequence[DayResult]) -> dict[str, Any]:
    """The days in one object. Bands are of the days that completed; the others are listed with their trips."""
    done = [result for result in results if result.result == "complete"]
    duration = [result.duration_s for result in done]
    limits = [result.limit_pct for result in done]
    names = [(n, *rest[:2]) for n, rest in enumerate(done[0].rests)] if done else []
    rests = [_rest(name, target_c, [result.rests[n] for result in done]) for n, name, target_c in names]
    trips: dict[str, int] = {}
    for result in results:
        for name in dict.fromkeys(name for name, _ in result.trips):
            trips[name] = trips.get(name, 0) + 1
    return {
        "program": plan.program.name,
        "tun": plan.tun.name,
        "days": len(results),
        "complete": len(done),
        "duration_s": span(duration, 0),
        "energy_kwh": span([result.energy_kwh for result in done], 2),
        "apparent_limit_pct": span(limits, 1),
        "rests": rests,
        "days_with_trip": trips,
        "ended_otherwise": [
            {"day": r.day.number, "result": r.result, "trips": [n for n, _ in r.trips]}
            for r in results
            if r.result != "complete"
        ],
        "variance_of_duration": shares(done, duration),
        "variance_of_limit": shares(done, limits),
    }


def _rest(name: str, target_c: float, found: Sequence[tuple[str, float, float | None, float | None]]) -> dict[str, Any]:
    """A rest over all days: its true mean, the worst rise over it, and the share of days that kept it."""
    means = [mean for _, _, mean, _ in found]
    kept = [mean for mean in means if mean is not None and abs(mean - target_c) <= IN_BAND_K]
    return {
        "name": name,
        "target_c": target_c,
        "mean_c": span(means, 2),
        "most_over_k": max((over for *_, over in found if over is not None), default=None),
        "kept_share": round(len(kept) / len(found), 3),
    }


def fan(results: Sequence[DayResult]) -> list[tuple[float, float, float, float]]:
    """A row a minute, while at least half of the days still run: time s, and 5, 50 and 95 % of the true mash, °C."""
    curves = [result.curve_c for result in results if result.result == "complete"]
    rows = []
    for minute in range(max(map(len, curves), default=0)):
        there = [curve[minute] for curve in curves if len(curve) > minute]
        if 2 * len(there) < len(curves):
            break
        rows.append((minute * FAN_S, quantile(there, 0.05), quantile(there, 0.5), quantile(there, 0.95)))
    return rows
