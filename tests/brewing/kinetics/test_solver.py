"""Does the fast stepping give what a stiff solver gives, and how much does the length of the step matter?

The equations are written down once more here, from the constants and not from the code under test.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from math import exp, log
from random import Random

import pytest
from scipy.integrate import solve_ivp

from controller.brewing.kinetics.amounts import GAIN_DEXTRIN, GAIN_GLUCOSE, GAIN_MALTOSE, GAIN_MALTOTRIOSE
from controller.brewing.kinetics.constants import CALIBRATED, GAS_J_PER_MOL_K, SHARED
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    Amounts,
    Malt,
    apparent_limit_pct,
    course,
    follow,
    fresh,
    gather,
    spans,
)
from controller.brewing.kinetics.reactions import RELEASE_LAG_S

Knots = Sequence[tuple[float, float]]  # minutes, degC
C = {name: constant.value for name, constant in (SHARED | CALIBRATED).items()}
WET, SMALL = 1.0 - C["dry_share"], C["small_share"]
START = (C["dry_share"], WET * (1.0 - SMALL), WET * SMALL, *(0.0,) * 6, 1.0, 1.0, 1.0, 0.0, 1.0)
POOLS = (
    "dry",
    "starch",
    "small",
    "gel",
    "limit",
    "dextrin",
    "glucose",
    "maltose",
    "maltotriose",
    "alpha",
    "beta",
    "debrancher",
)


def heat(energy: float, celsius: float, reference_c: float) -> float:
    """Arrhenius factor against a reference temperature."""
    return exp(energy / GAS_J_PER_MOL_K * (1.0 / (reference_c + 273.15) - 1.0 / (celsius + 273.15)))


def pasting(celsius: float) -> float:
    """1/s; two lines of ln k joined by a logistic curve."""
    low = log(C["paste_low"]) + C["paste_low_energy"] / GAS_J_PER_MOL_K * (1.0 / 328.15 - 1.0 / (celsius + 273.15))
    high = C["paste_high_factor"] * C["gel_high"]
    high = log(high) - C["gel_high_energy"] / (GAS_J_PER_MOL_K * (celsius + 273.15))
    return exp(low + (high - low) / (1.0 + exp((C["paste_middle"] - celsius) / C["paste_width"])))


def slopes(y: Sequence[float], celsius: float, thick: float) -> list[float]:
    """Time derivatives of pools, enzymes, extract in the liquid and starch in grits, per second."""
    dry, starch, small, gel, limit, dextrin, glucose, maltose, triose, alpha, beta, opener, released, coarse = y
    kelvin = celsius + 273.15
    a, b = alpha * heat(C["alpha_energy"], celsius, 65.0), beta * heat(C["beta_energy"], celsius, 65.0)
    opened = C["debranching"] * heat(C["debranching_energy"], celsius, 60.0) * opener * limit
    lam, odd = C["limit_dextrin_share"], C["maltotriose_of_beta"]
    by_alpha = C["k1_glucose"] + C["k1_maltose"] + C["k1_maltotriose"] + C["k1_dextrin"]
    again = C["k2_glucose"] + C["k2_maltose"] + C["k2_maltotriose"]
    beta_sugar = (1.0 - lam) * C["k1_beta"] * b * gel + C["k2_beta"] * b * dextrin
    sugar = GAIN_GLUCOSE * glucose + GAIN_MALTOSE * maltose + GAIN_MALTOTRIOSE * triose
    extract = 0.165 + 0.62 * (sugar + GAIN_DEXTRIN * (dextrin + limit) + gel)
    later = 100.0 * C["paste_shift"] * (extract / (thick + extract) - extract / (C["paste_reference"] + extract))
    k_large, k_small = pasting(celsius - later), pasting(celsius - later - C["small_later"])
    loss_alpha = C["alpha_loss"] * exp(-C["alpha_loss_energy"] / (GAS_J_PER_MOL_K * kelvin))
    loss_beta = C["beta_loss_scale"] * C["beta_loss"] * exp(-C["beta_loss_energy"] / (GAS_J_PER_MOL_K * kelvin))
    loss_opener = log(2.0) / C["debranching_half_life"] * heat(C["debranching_loss_energy"], celsius, 63.0)
    return [
        -dry / C["wetting_lag"],
        (1.0 - SMALL) * dry / C["wetting_lag"] - k_large * starch,
        SMALL * dry / C["wetting_lag"] - k_small * small,
        k_large * starch + k_small * small - (by_alpha * a + C["k1_beta"] * b) * gel,
        lam * (C["k1_dextrin"] * a + C["k1_beta"] * b) * gel - opened,
        (1.0 - lam) * C["k1_dextrin"] * a * gel + opened - (again * a + C["k2_beta"] * b) * dextrin,
        C["k1_glucose"] * a * gel + C["k2_glucose"] * a * dextrin,
        C["k1_maltose"] * a * gel + C["k2_maltose"] * a * dextrin + (1.0 - odd) * beta_sugar,
        C["k1_maltotriose"] * a * gel + C["k2_maltotriose"] * a * dextrin + odd * beta_sugar,
        -loss_alpha * alpha,
        -loss_beta * beta,
        -loss_opener * opener,
        (extract - released) / RELEASE_LAG_S,
        (dry + starch + small + gel - coarse) * heat(C["alpha_energy"], celsius, 65.0) / C["coarse_lag"],
    ]


def solved(pieces: Sequence[tuple[float, Callable[[float], float]]], method: str, thick: float = 4.0) -> Amounts:
    """The stiff solver's answer; each piece is (seconds, temperature as a function of seconds into the piece)."""
    y: Sequence[float] = START
    for length_s, celsius in pieces:

        def right_side(t: float, at: Sequence[float], celsius: Callable[[float], float] = celsius) -> list[float]:
            return slopes(at, celsius(t), thick)

        answer = solve_ivp(right_side, (0.0, length_s), y, method=method, rtol=1e-8, atol=1e-11)
        assert answer.success
        y = [float(value) for value in answer.y[:, -1]]
    return _amounts(y)


def _amounts(y: Sequence[float]) -> Amounts:
    start = fresh()._replace(dry=y[0], starch=y[1], small=y[2], gel=y[3], limit=y[4], dextrin=y[5])
    start = start._replace(glucose=y[6], maltose=y[7], maltotriose=y[8])
    return start._replace(alpha=y[9], beta=y[10], debrancher=y[11], released=y[12], coarse=y[13])


def lines(knots: Knots) -> list[tuple[float, Callable[[float], float]]]:
    """Straight lines between knots, as the solver wants them."""

    def line(start: float, from_c: float, end: float, to_c: float) -> tuple[float, Callable[[float], float]]:
        return 60.0 * (end - start), lambda t: from_c + (to_c - from_c) * t / (60.0 * (end - start))

    return [line(start, from_c, end, to_c) for (start, from_c), (end, to_c) in pairwise(knots)]


def cut(knots: Knots, piece_s: float) -> list[tuple[float, float]]:
    """The same lines as pieces of steady temperature."""
    pieces: list[tuple[float, float]] = []
    for (start, from_c), (end, to_c) in pairwise(knots):
        count = max(1, round(60.0 * (end - start) / piece_s))
        length = 60.0 * (end - start) / count
        pieces += [(length, from_c + (to_c - from_c) * (n + 0.5) / count) for n in range(count)]
    return pieces


def stepped(knots: Knots, piece_s: float, thick: float = 4.0) -> Amounts:
    """The answer of the code under test."""
    return follow(CALIBRATED_SET, fresh(Malt(liquor_kg_per_kg=thick)), cut(knots, piece_s))


PROGRAMS: dict[str, Knots] = {
    **{f"{celsius} °C": ((0, celsius), (60, celsius)) for celsius in (55, 58, 60, 62, 65, 68, 70, 72, 75, 78, 80)},
    "Congress": ((0, 45), (30, 45), (55, 70), (115, 70)),
    "four rests": ((0, 50), (10, 50), (23, 63), (63, 63), (72, 72), (92, 72), (98, 78), (103, 78)),
    "wheat": ((0, 45), (15, 45), (34, 63), (64, 63), (73, 72), (93, 72), (99, 78), (104, 78)),
    "overshoot": ((0, 66), (10, 66), (14, 76), (24, 66), (60, 66)),
    "power cut": ((0, 63), (20, 63), (100, 58), (106, 64), (130, 64)),
    "hot start": ((0, 80), (6, 68), (60, 68)),
    "falling": ((0, 72), (20, 72), (29, 63), (60, 63)),
    "boiling return": ((0, 52), (15, 52), (17, 64), (57, 64), (59, 73), (79, 73)),
    "past everything": ((0, 40), (60, 100), (70, 100)),
}


@pytest.mark.parametrize("thick", [2.5, 4.0])
@pytest.mark.parametrize("name", PROGRAMS)
def test_agrees_with_a_stiff_solver(name: str, thick: float) -> None:
    """At the stride of a prediction (5 s) every pool, enzyme and limit is that of the stiff solver, thick and thin."""
    want, got = solved(lines(PROGRAMS[name]), "LSODA", thick), stepped(PROGRAMS[name], 5.0, thick)
    assert abs(apparent_limit_pct(got) - apparent_limit_pct(want)) < 0.02
    for pool in (*POOLS, "released", "coarse"):
        assert getattr(got, pool) == pytest.approx(getattr(want, pool), abs=1.5e-3)


def test_agrees_with_a_stiff_solver_on_random_pieces() -> None:
    """On leaping temperatures of 20..95 °C the limit stays within 0.1 points of the stiff solver's."""
    draw = Random(11)
    for _ in range(25):
        pieces = [(draw.uniform(1.0, 60.0), draw.uniform(20.0, 95.0)) for _ in range(5)]
        pieces += [(60.0, draw.uniform(58.0, 74.0)) for _ in range(15)]
        want = solved([(length, lambda t, c=celsius: c) for length, celsius in pieces], "LSODA")  # type: ignore[misc]
        got = follow(CALIBRATED_SET, fresh(), pieces)
        assert abs(apparent_limit_pct(got) - apparent_limit_pct(want)) < 0.1


@pytest.mark.parametrize("name", PROGRAMS)
def test_error_of_the_step(name: str) -> None:
    """Second by second or in pieces of 5 or 10 s, the limit moves by less than 0.2 points on the way and at the end;
    compared at every whole minute after the fifth, with steps of a quarter of a second as the truth.
    """

    def by_minute(piece_s: float) -> dict[int, float]:
        states = course(CALIBRATED_SET, fresh(), cut(PROGRAMS[name], piece_s))
        whole = [state for state in states if abs(state.time_s / 60.0 - round(state.time_s / 60.0)) < 1e-6]
        return {round(state.time_s / 60.0): apparent_limit_pct(state) for state in whole}

    fine = by_minute(0.25)
    for piece_s in (1.0, 5.0, 10.0):
        coarse = by_minute(piece_s)
        assert len(coarse) > 30
        assert max(abs(coarse[minute] - fine[minute]) for minute in coarse if minute >= 5) < 0.2


@pytest.mark.parametrize("celsius", [55.0, 60.0, 65.0, 68.0, 70.0, 72.0, 74.0, 76.0, 78.0, 80.0, 85.0, 90.0])
@pytest.mark.parametrize("dt_s", [1.0, 7.0, 30.0, 60.0])
def test_long_steps_are_split(celsius: float, dt_s: float) -> None:
    """At a steady temperature steps of up to a minute give the limit of quarter-second steps to 0.02 points."""
    fine, coarse = fresh(), fresh()
    fine = follow(CALIBRATED_SET, fine, [(0.25, celsius)] * (4 * 420 * 4))
    coarse = follow(CALIBRATED_SET, coarse, [(dt_s, celsius)] * round(1680.0 / dt_s))
    assert coarse.time_s == pytest.approx(fine.time_s)
    assert abs(apparent_limit_pct(coarse) - apparent_limit_pct(fine)) < 0.02


def test_readings_gathered_or_not() -> None:
    """Averaging a second-by-second record over 5 s, sensor noise included, moves the limit by less than 0.02 points."""
    draw = Random(3)
    record = [(1.0, celsius + draw.gauss(0.0, 0.1)) for _, celsius in cut(PROGRAMS["four rests"], 1.0)]
    whole, gathered = follow(CALIBRATED_SET, fresh(), record), follow(CALIBRATED_SET, fresh(), gather(record))
    assert abs(apparent_limit_pct(whole) - apparent_limit_pct(gathered)) < 0.02
    assert sum(dt_s for dt_s, _ in spans(gather(record))) == pytest.approx(sum(dt_s for dt_s, _ in record))
