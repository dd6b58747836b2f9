"""Does the mash model meet what has been published of mashes? Each point with its source in kinetics_points.json.

Most tolerances were set after first results were known, and `in_fit` says which points the fit has seen: passing is a
regression baseline first. The points that no fit has seen are the ones that count.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from itertools import pairwise
from math import exp
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    PUBLISHED_SET,
    Amounts,
    Parameters,
    apparent_limit_pct,
    course,
    extract,
    fermentable,
    follow,
    fresh,
    potential,
    predict,
    rates,
    starch_left,
)
from controller.brewing.kinetics.rates import changed
from controller.brewing.kinetics.reactions import GAIN_DEXTRIN, GAIN_MALTOSE, GAIN_MALTOTRIOSE

Knots = Sequence[tuple[float, float]]
DATA = json.loads((Path(__file__).parent / "kinetics_points.json").read_text(encoding="utf-8"))
# What the published set is known to get wrong: its beta-amylase dies too soon, its alpha curve peaks too low, and a
# Congress mash, much of it outside 55..71 degC, comes out with too much maltose and too little maltotriose.
KNOWN_MISSES = {
    "apparent_70",
    "beta_left_65_30",
    "beta_left_65_60",
    "alpha_optimum_10min",
    "beta_optimum_10min",
    "ferm_share_of_carbohydrate",
    "maltose_of_sugars",
    "maltotriose_of_sugars",
}
DENSITY_12_PCT = 1.0484  # kg/L at 20 degC of a 12 % wort: 12 degP is SG 1.0484 in the ASBC table (from memory)
OUTSIDE_PUBLISHED = {"apparent_75", "apparent_80"}  # that set ends at 71 degC


class Point(NamedTuple):
    """One published point: what is asked, of which mash, what should come out, and where it stands."""

    id: str
    asks: str
    op: str
    expected: float
    tolerance: float
    source: str
    knots: tuple[tuple[float, float], ...]
    wetting_s: float | None
    minutes: float


def _points() -> list[Point]:
    return [
        Point(
            one["id"],
            one["asks"],
            one["op"],
            one["expected"],
            one.get("tolerance", 0.0),
            one["source"],
            tuple((minute, celsius) for minute, celsius in one.get("knots", ())),
            one.get("wetting_s"),
            one.get("minutes", one.get("at_min", 0.0)),
        )
        for one in DATA["points"]
    ]


POINTS = _points()


def _profile(knots: Knots, piece_s: float = 5.0) -> list[tuple[float, float]]:
    pieces: list[tuple[float, float]] = []
    for (start, from_c), (end, to_c) in pairwise(knots):
        count = round((end - start) * 60.0 / piece_s)
        pieces += [(piece_s, from_c + (to_c - from_c) * (n + 0.5) / count) for n in range(count)]
    return pieces


def _flat(params: Parameters, celsius: float, minutes: float) -> Amounts:
    return follow(params, fresh(), _profile([(0.0, celsius), (minutes, celsius)]))


def _sugars(end: Amounts) -> tuple[float, float, float]:
    """Simple sugars, maltose, maltotriose in g per g malt."""
    malt = end.malt
    maltose = malt.maltose + malt.starch * GAIN_MALTOSE * end.maltose
    maltotriose = malt.starch * GAIN_MALTOTRIOSE * end.maltotriose
    return fermentable(end) - maltose - maltotriose, maltose, maltotriose


def _carbohydrate(end: Amounts) -> float:
    return fermentable(end) + end.malt.starch * GAIN_DEXTRIN * (end.dextrin + end.limit)


def _masses(state: Amounts) -> list[float]:
    return [
        state.dry,
        state.starch,
        state.gel,
        state.limit,
        state.dextrin,
        state.glucose,
        state.maltose,
        state.maltotriose,
    ]


def _busiest(activity: Callable[[float], float], loss: Callable[[float], float], minutes: float) -> float:
    """At which temperature does an enzyme do most within so many minutes, its loss counted in?"""

    def work(celsius: float) -> float:
        lost = loss(celsius) * minutes * 60.0
        return activity(celsius) * (1.0 - exp(-lost)) / lost

    return max((40.0 + 0.25 * n for n in range(180)), key=work)


def _saccharified_min(params: Parameters, knots: Knots) -> float:
    """Minutes after the profile first reaches 70 degC until less than 0.5 % of the starch is left."""
    reached = next(minute for minute, celsius in knots if celsius >= 70.0)
    states = course(params, fresh(), _profile(knots))
    return next(state.time_s for state in states if starch_left(state) < 0.005) / 60.0 - reached


def _value(params: Parameters, point: Point) -> float:
    if point.wetting_s is not None:
        params = changed(params, wetting_lag_s=point.wetting_s)
    match point.asks:
        case "busiest_alpha_c":
            return _busiest(lambda c: rates(params, c).alpha, lambda c: rates(params, c).alpha_loss, point.minutes)
        case "busiest_beta_c":
            return _busiest(lambda c: rates(params, c).beta, lambda c: rates(params, c).beta_loss, point.minutes)
        case "most_sugar_c":
            grid = [56.0 + 0.5 * n for n in range(29)]
            return max(grid, key=lambda celsius: fermentable(_flat(params, celsius, point.minutes)))
        case "min_after_70_c_until_half_a_percent_starch":
            return _saccharified_min(params, point.knots)
        case _:
            return _of_course(params, point)


def _of_course(params: Parameters, point: Point) -> float:
    states = list(course(params, fresh(), _profile(point.knots)))
    if point.asks == "largest_mass_error":
        return max(abs(sum(_masses(state)) - 1.0) for state in states)
    if point.asks == "smallest_amount":
        return min(min(_masses(state)) for state in states)
    if point.minutes:
        states = [state for state in states if state.time_s <= point.minutes * 60.0 + 1e-6]
    return _of_end(params, point.asks, states[-1])


def _of_end(params: Parameters, asks: str, end: Amounts) -> float:
    simple, maltose, maltotriose = _sugars(end)
    sugars = simple + maltose + maltotriose
    answers: dict[str, Callable[[], float]] = {
        "apparent_limit_pct": lambda: apparent_limit_pct(end),
        "sugar_ratio": lambda: fermentable(end) / fermentable(_flat(params, 65.0, 60.0)),
        "beta_left_pct": lambda: 100.0 * end.beta,
        "alpha_left_pct": lambda: 100.0 * end.alpha,
        "extract_in_liquid": lambda: end.released / potential(end),
        "extract_pct": lambda: 100.0 * extract(end),
        "extract_formed_pct": lambda: 100.0 * extract(end) / potential(end),
        "sugar_of_carbohydrate_pct": lambda: 100.0 * sugars / _carbohydrate(end),
        "carbohydrate_of_extract_pct": lambda: 100.0 * _carbohydrate(end) / extract(end),
        "sugar_g_per_l_of_12_pct_wort": lambda: sugars / extract(end) * 0.12 * DENSITY_12_PCT * 1000.0,
        "maltose_of_sugars_pct": lambda: 100.0 * maltose / sugars,
        "maltotriose_of_sugars_pct": lambda: 100.0 * maltotriose / sugars,
        "simple_of_sugars_pct": lambda: 100.0 * simple / sugars,
        "points_above_68_c": lambda: apparent_limit_pct(end) - apparent_limit_pct(_flat(params, 68.0, 60.0)),
    }
    return answers[asks]()


def _met(point: Point, value: float) -> bool:
    if point.op == "above":
        return value > point.expected
    if point.op == "below":
        return value < point.expected
    return abs(value - point.expected) <= point.tolerance


def test_the_pools_are_the_carbohydrate() -> None:
    """The eight numbers that are summed below are the carbohydrate pools and nothing else."""
    assert Amounts._fields[2:10] == (
        *("dry", "starch", "gel", "limit"),
        *("dextrin", "glucose", "maltose", "maltotriose"),
    )


def test_no_point_is_left_out() -> None:
    """All thirty-one published points are run, each with a source and each once."""
    assert len(POINTS) == len({point.id for point in POINTS}) == 31
    assert all(len(point.source) > 10 for point in POINTS)


@pytest.mark.parametrize("point", POINTS, ids=lambda point: point.id)
def test_calibrated_set(point: Point) -> None:
    """The set that is shown to brewers meets every published point within its tolerance."""
    value = _value(CALIBRATED_SET, point)
    assert _met(point, value), f"{value:.4g}, wanted {point.op} {point.expected} ±{point.tolerance}: {point.source}"


@pytest.mark.parametrize(
    "point", [p for p in POINTS if p.id not in KNOWN_MISSES | OUTSIDE_PUBLISHED], ids=lambda point: point.id
)
def test_published_set(point: Point) -> None:
    """The second opinion meets every published point but those named here, in the range it is made for."""
    value = _value(PUBLISHED_SET, point)
    assert _met(point, value), f"{value:.4g}, wanted {point.op} {point.expected} ±{point.tolerance}: {point.source}"


@pytest.mark.parametrize("point", [p for p in POINTS if p.id in KNOWN_MISSES], ids=lambda point: point.id)
def test_published_set_misses(point: Point) -> None:
    """What the second opinion gets wrong is known; if it ever gets it right, the words about it must change."""
    assert not _met(point, _value(PUBLISHED_SET, point))


# Chandrasekhar (as above); MEBAK B-590.12.139: real limit near 66.6 % of a 12 % pale wort, so 82 % apparent at 0.81.
LEVELS = (
    (((0.0, 65.0), (60.0, 65.0)), 82.0),
    (((0.0, 70.0), (60.0, 70.0)), 70.0),
    (((0.0, 75.0), (60.0, 75.0)), 50.0),
    (((0.0, 80.0), (60.0, 80.0)), 30.0),
    (((0.0, 62.0), (40.0, 62.0), (50.0, 72.0), (70.0, 72.0), (76.0, 78.0), (81.0, 78.0)), 82.0),
)


@pytest.mark.parametrize(("knots", "published_pct"), LEVELS)
def test_the_band_covers_what_is_published(knots: Knots, published_pct: float) -> None:
    """Every published attenuation limit lies inside the band that would be shown, with room on both sides."""
    band = predict(_profile(knots)).apparent_limit_pct
    assert band is not None
    assert band.low + 2.0 <= published_pct <= band.high - 2.0


# Table of the model's own first run by an independent solver (isothermal, 60 min; calibrated set), one decimal.
FIRST_RUN = ((60, 82.6), (62, 82.3), (63, 81.9), (64, 81.5), (65, 81.2), (66, 80.7), (67, 79.8), (68, 77.8), (70, 71.1))
FIRST_RUN_HOT = ((72, 62.7), (74, 53.6), (75, 49.1), (80, 30.4))


@pytest.mark.parametrize(("celsius", "apparent_pct"), FIRST_RUN + FIRST_RUN_HOT)
def test_same_figures_as_the_first_run(celsius: float, apparent_pct: float) -> None:
    """Constants and equations were carried over without a slip: every figure agrees to the last digit printed."""
    assert apparent_limit_pct(_flat(CALIBRATED_SET, celsius, 60.0)) == pytest.approx(apparent_pct, abs=0.051)
