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

from controller.brewing.kinetics.amounts import GAIN_DEXTRIN, GAIN_MALTOSE, GAIN_MALTOTRIOSE, pasted
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    DEFAULT_MALT,
    PUBLISHED_SET,
    Amounts,
    Malt,
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
CONGRESS_AT_70_MIN = 55.0
NEVER_S = 1e9  # of a test that does not turn
DENSITY_12_PCT = 1.0484  # kg/L at 20 degC of a 12 % wort: 12 degP is SG 1.0484 in the ASBC table (from memory)
OUTSIDE_PUBLISHED = {"apparent_75", "apparent_80"}  # that set ends at 71 degC
OLD = 31  # points of the first revision; the published set is asked those alone


class Point(NamedTuple):
    """One published point: what is asked, of which mash, what should come out, and where it stands."""

    id: str
    asks: str
    op: str
    expected: float
    tolerance: float
    source: str
    in_fit: str
    knots: tuple[tuple[float, float], ...]
    wetting_s: float | None
    minutes: float
    malt: Malt
    a_c: float
    b_c: float


def _points() -> list[Point]:
    return [
        Point(
            one["id"],
            one["asks"],
            one["op"],
            one["expected"],
            one.get("tolerance", 0.0),
            one["source"],
            one["in_fit"],
            tuple((minute, celsius) for minute, celsius in one.get("knots", ())),
            one.get("wetting_s"),
            one.get("minutes", one.get("at_min", 0.0)),
            Malt(liquor_kg_per_kg=one.get("liquor_kg_per_kg", 4.0)),
            one.get("a_c", 0.0),
            one.get("b_c", 0.0),
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


def _flat(params: Parameters, celsius: float, minutes: float, malt: Malt = DEFAULT_MALT) -> Amounts:
    return follow(params, fresh(malt), _profile([(0.0, celsius), (minutes, celsius)]))


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
        state.small,
        state.gel,
        state.limit,
        state.dextrin,
        state.glucose,
        state.maltose,
        state.maltotriose,
    ]


def _busiest(activity: Callable[[float], float], loss: Callable[[float], float], minutes: float) -> float:
    """At which temperature does an enzyme do most within so many minutes, its loss counted in?"""
    return max((40.0 + 0.25 * n for n in range(180)), key=lambda celsius: _work(activity, loss, minutes, celsius))


def _work(activity: Callable[[float], float], loss: Callable[[float], float], minutes: float, celsius: float) -> float:
    lost = loss(celsius) * minutes * 60.0
    return activity(celsius) * (1.0 - exp(-lost)) / lost


def _beta_on_starch(minutes: float, celsius: float) -> float:
    """Mean activity of beta-amylase times the starch that is pasted in the same time."""
    rate = rates(CALIBRATED_SET, celsius)
    mean = _work(lambda c: rate.beta, lambda c: rate.beta_loss, minutes, celsius)
    return mean * pasted(_flat(CALIBRATED_SET, celsius, minutes))


def _low_rest(c: float) -> float:
    return rates(CALIBRATED_SET, c).low_rest


def _compared(point: Point) -> float:
    """The questions that are asked of two mashes, or of an enzyme at any temperature."""
    scan = [40.0 + 0.25 * n for n in range(161)]
    minutes, thin, thick = point.minutes, Malt(liquor_kg_per_kg=6.0), Malt(liquor_kg_per_kg=2.5)

    def end(malt: Malt) -> Amounts:
        return follow(CALIBRATED_SET, fresh(malt), _profile(point.knots))

    def ends(celsius: float) -> Amounts:
        return _flat(CALIBRATED_SET, celsius, minutes, point.malt)

    def share(celsius: float) -> float:
        return 100.0 * ends(celsius).released / potential(ends(celsius))

    def crushed_min(celsius: float) -> float:
        return (ends(celsius).iodine_s or NEVER_S) / 60.0

    answers: dict[str, Callable[[], float]] = {
        "busiest_glucanase_c": lambda: _busiest(_low_rest, lambda c: rates(CALIBRATED_SET, c).glucanase_loss, minutes),
        "busiest_protease_c": lambda: _busiest(_low_rest, lambda c: rates(CALIBRATED_SET, c).protease_loss, minutes),
        "busiest_beta_on_starch_c": lambda: max(scan, key=lambda c: _beta_on_starch(minutes, c)),
        "beta_on_starch_at_52": lambda: _beta_on_starch(minutes, 52.0) / max(_beta_on_starch(minutes, c) for c in scan),
        "sugar_of_thick_over_thin": lambda: fermentable(end(thick)) / fermentable(end(thin)),
        "maltose_of_thick_over_thin": lambda: _sugars(end(thick))[1] / _sugars(end(thin))[1],
        "extract_points_above_b": lambda: share(point.a_c) - share(point.b_c),
        "iodine_crushed_sooner_min": lambda: crushed_min(point.a_c) - crushed_min(point.b_c),
    }
    return answers[point.asks]()


COMPARED = {
    *("busiest_glucanase_c", "busiest_protease_c", "busiest_beta_on_starch_c", "beta_on_starch_at_52"),
    *("sugar_of_thick_over_thin", "maltose_of_thick_over_thin", "extract_points_above_b"),
    "iodine_crushed_sooner_min",
}


def _saccharified_min(params: Parameters, knots: Knots) -> float:
    """Minutes after the profile first reaches 70 degC until less than 0.5 % of the starch is left."""
    reached = next(minute for minute, celsius in knots if celsius >= 70.0)
    states = course(params, fresh(), _profile(knots))
    return next(state.time_s for state in states if starch_left(state) < 0.005) / 60.0 - reached


def _value(params: Parameters, point: Point) -> float:
    if point.wetting_s is not None:
        params = changed(params, wetting_lag_s=point.wetting_s)
    if point.asks in COMPARED:
        return _compared(point)
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
    states = list(course(params, fresh(point.malt), _profile(point.knots)))
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
        "starch_converted_pct": lambda: 100.0 * (1.0 - starch_left(end)),
        "starch_left_pct": lambda: 100.0 * starch_left(end),
        "glucanase_left_pct": lambda: 100.0 * end.glucanase,
        "protease_left_pct": lambda: 100.0 * end.protease,
        "iodine_fine_min": lambda: (end.fine_s or NEVER_S) / 60.0,
        "iodine_crushed_min": lambda: (end.iodine_s or NEVER_S) / 60.0,
        "iodine_fine_min_after_70": lambda: (end.fine_s or NEVER_S) / 60.0 - CONGRESS_AT_70_MIN,
        "iodine_crushed_min_after_70": lambda: (end.iodine_s or NEVER_S) / 60.0 - CONGRESS_AT_70_MIN,
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
    """The nine numbers that are summed below are the carbohydrate pools and nothing else."""
    assert Amounts._fields[2:11] == (
        *("dry", "starch", "small", "gel", "limit"),
        *("dextrin", "glucose", "maltose", "maltotriose"),
    )


def test_no_point_is_left_out() -> None:
    """All sixty-two published points are run, each with a source and each once; no fit has seen forty of them."""
    assert len(POINTS) == len({point.id for point in POINTS}) == 62
    assert sum(point.in_fit == "no" for point in POINTS) == 40
    assert all(len(point.source) > 10 for point in POINTS)


@pytest.mark.parametrize("point", POINTS, ids=lambda point: point.id)
def test_calibrated_set(point: Point) -> None:
    """The set that is shown to brewers meets every published point within its tolerance."""
    value = _value(CALIBRATED_SET, point)
    assert _met(point, value), f"{value:.4g}, wanted {point.op} {point.expected} ±{point.tolerance}: {point.source}"


@pytest.mark.parametrize(
    "point", [p for p in POINTS[:OLD] if p.id not in KNOWN_MISSES | OUTSIDE_PUBLISHED], ids=lambda point: point.id
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


# Table of the model's own run by an independent solver (isothermal, 60 min; calibrated set): limit and starch left, %,
# minutes until the iodine test of the finest grind and of crushed malt; None: not within the hour.
RUNS: dict[float, dict[float, tuple[float, float, float | None, float | None]]] = {
    4.0: {
        60: (81.9, 15.3, None, None), 61: (82.0, 6.0, None, None), 62: (82.3, 0.0, 24, 46), 63: (82.0, 0.0, 14, 40),
        64: (81.6, 0.0, 13, 38), 65: (81.2, 0.0, 12, 35), 66: (80.8, 0.0, 12, 33), 67: (79.8, 0.0, 11, 32),
        68: (78.0, 0.0, 11, 30), 69: (75.0, 0.0, 11, 28), 70: (71.4, 0.0, 11, 27), 71: (67.3, 0.0, 10, 26),
        72: (62.9, 0.0, 10, 24),
    },
    3.0: {
        60: (81.6, 19.3, None, None), 61: (81.5, 17.2, None, None), 62: (81.4, 12.1, None, None),
        63: (81.5, 2.0, 60, None), 64: (81.6, 0.0, 17, 39), 65: (81.2, 0.0, 14, 36), 68: (77.8, 0.0, 12, 30),
        70: (71.1, 0.0, 11, 27), 72: (62.7, 0.0, 11, 25),
    },
    2.5: {
        60: (80.4, 27.8, None, None), 61: (81.3, 19.5, None, None), 62: (81.2, 17.4, None, None),
        63: (80.9, 12.6, None, None), 64: (80.8, 3.5, None, None), 65: (81.0, 0.0, 20, 39), 68: (77.6, 0.0, 12, 30),
        70: (70.9, 0.0, 12, 27), 72: (62.5, 0.0, 11, 25),
    },
}  # fmt: skip


@pytest.mark.parametrize(("thick", "celsius"), [(thick, celsius) for thick, row in RUNS.items() for celsius in row])
def test_same_figures_as_the_independent_run(thick: float, celsius: float) -> None:
    """Constants and equations were carried over without a slip: limit to 0.1, starch to 0.3, iodine to a minute."""
    limit, starch, fine, crushed = RUNS[thick][celsius]
    end = _flat(CALIBRATED_SET, celsius, 60.0, Malt(liquor_kg_per_kg=thick))
    assert apparent_limit_pct(end) == pytest.approx(limit, abs=0.1)
    assert 100.0 * starch_left(end) == pytest.approx(starch, abs=0.3)
    for seconds, minutes in ((end.fine_s, fine), (end.iodine_s, crushed)):
        assert (seconds is None) == (minutes is None)
        assert minutes is None or seconds is None or seconds / 60.0 == pytest.approx(minutes, abs=1.0)
