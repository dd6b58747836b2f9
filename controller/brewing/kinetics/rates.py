"""How fast does everything in the mash go at one temperature?

Two parameter sets run on one set of equations. `CALIBRATED_SET` (smooth activities, limit dextrin; fitted to published
fermentabilities) is meant for 55..80 degC and for every figure that is shown. `PUBLISHED_SET` (scheme and constants of
Brandam et al. 2003 as far as they are known) is meant for 58..71 degC and serves as a second opinion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from itertools import pairwise
from math import exp, log
from typing import NamedTuple

from controller.brewing.kinetics.constants import (
    ALPHA_POLYNOMIAL,
    CALIBRATED,
    GAS_J_PER_MOL_K,
    PUBLISHED,
    SHARED,
    ZERO_K,
)

VALID_C = (55.0, 80.0)  # outside, the calibrated set has no data behind it
PUBLISHED_VALID_C = (
    58.0,
    71.0,
)  # below, its pasting is refuted (Rittenauer 2021); above, it has no alpha-amylase
BAND = ((55.0, 8.0), (60.0, 6.0), (68.0, 6.0), (70.0, 10.0), (75.0, 10.0), (80.0, 12.0))  # degC, points; see half_band


@dataclass(frozen=True, slots=True, eq=False)
class Parameters:
    """One set of rate constants. Compared by identity, so that rates can be remembered per set."""

    name: str
    pasting: Callable[[float], float]  # 1/s at degC
    alpha_activity: Callable[[float], float]  # of T in K
    beta_activity: Callable[[float], float]
    k1: tuple[float, float, float, float, float]  # 1/s: glucose, maltose, maltotriose, dextrin by alpha; all by beta
    k2: tuple[float, float, float, float]  # 1/s: glucose, maltose, maltotriose by alpha; all by beta
    maltotriose_of_beta: float
    limit_dextrin_share: float
    debranching_per_s: float  # at 60 degC
    beta_loss_scale: float
    valid_c: tuple[float, float]
    small_share: float = 0.0  # of the granules
    small_later_k: float = 0.0  # so much hotter do they paste
    paste_shift: float = 0.0  # K later for each g of extract in 100 g
    wetting_lag_s: float = SHARED["wetting_lag"].value

    def __reduce__(self) -> tuple[Callable[[str, dict[str, float]], Parameters], tuple[str, dict[str, float]]]:
        """What goes to another process? Name and numbers: the functions are there already."""
        held = {field.name: getattr(self, field.name) for field in fields(self)}
        return _named, (self.name, {name: value for name, value in held.items() if isinstance(value, float)})


class Rates(NamedTuple):
    """Everything that depends on temperature alone, 1/s or relative to the reference temperature."""

    celsius: float
    wetting: float
    coarse: float  # starch inside coarse grits
    alpha_loss: float
    beta_loss: float
    debrancher_loss: float
    glucanase_loss: float
    protease_loss: float
    alpha: float
    beta: float
    debranching: float
    low_rest: float
    doubt: float
    outside: bool


def _arrhenius(energy: float, at_c: float) -> Callable[[float], float]:
    """How much faster than at the reference temperature, for an energy in J/mol?"""
    slope, reference = energy / GAS_J_PER_MOL_K, 1.0 / (at_c + ZERO_K)
    return lambda kelvin: exp(slope * (reference - 1.0 / kelvin))


def _beta_lines(kelvin: float) -> float:
    """Activity of beta-amylase in the published set: two lines, not below 0."""
    p = PUBLISHED
    rising = p["beta_rise"].value * kelvin + p["beta_rise_0"].value
    falling = p["beta_fall"].value * kelvin + p["beta_fall_0"].value
    return max(0.0, min(rising, falling))


def _alpha_curve(kelvin: float) -> float:
    """Activity of alpha-amylase in the published set; the polynomial is never read outside its range."""
    low, high = PUBLISHED["alpha_low"].value + ZERO_K, PUBLISHED["alpha_high"].value + ZERO_K
    if kelvin > high:
        return 0.0
    kelvin, value = max(kelvin, low), 0.0
    for coefficient in ALPHA_POLYNOMIAL:
        value = value * kelvin + coefficient
    return max(0.0, value)


def _straight(factor: float, energy: float, celsius: float) -> float:
    """One straight line of ln k over 1/T."""
    return log(factor) - energy / (GAS_J_PER_MOL_K * (celsius + ZERO_K))


def _own_pasting() -> Callable[[float], float]:
    """How fast does wetted starch paste in the calibrated set, 1/s at degC? Two lines, blended around 58 degC."""
    c, p = {name: constant.value for name, constant in CALIBRATED.items()}, SHARED
    low = log(c["paste_low"]) + c["paste_low_energy"] / (GAS_J_PER_MOL_K * (55.0 + ZERO_K))
    low_k, high_k = c["paste_low_energy"] / GAS_J_PER_MOL_K, p["gel_high_energy"].value / GAS_J_PER_MOL_K
    high = log(c["paste_high_factor"] * p["gel_high"].value)
    middle, width = c["paste_middle"], c["paste_width"]

    def pasting(celsius: float) -> float:
        per_kelvin = 1.0 / (celsius + ZERO_K)
        slow, fast = low - low_k * per_kelvin, high - high_k * per_kelvin
        return exp(slow + (fast - slow) / (1.0 + exp((middle - celsius) / width)))

    return pasting


def _published_pasting(celsius: float) -> float:
    """The same in the published set: one line below the break, another from there on."""
    p, where = SHARED, "low" if celsius < SHARED["gel_break"].value else "high"
    return exp(_straight(p[f"gel_{where}"].value, p[f"gel_{where}_energy"].value, celsius))


def _calibrated() -> Parameters:
    c = {name: constant.value for name, constant in CALIBRATED.items()}
    return Parameters(
        name="calibrated",
        pasting=_own_pasting(),
        alpha_activity=_arrhenius(c["alpha_energy"], 65.0),
        beta_activity=_arrhenius(c["beta_energy"], 65.0),
        k1=(c["k1_glucose"], c["k1_maltose"], c["k1_maltotriose"], c["k1_dextrin"], c["k1_beta"]),
        k2=(c["k2_glucose"], c["k2_maltose"], c["k2_maltotriose"], c["k2_beta"]),
        maltotriose_of_beta=c["maltotriose_of_beta"],
        limit_dextrin_share=c["limit_dextrin_share"],
        debranching_per_s=c["debranching"],
        beta_loss_scale=c["beta_loss_scale"],
        valid_c=VALID_C,
        small_share=c["small_share"],
        small_later_k=c["small_later"],
        paste_shift=c["paste_shift"],
    )


def _published() -> Parameters:
    c = {name: constant.value for name, constant in PUBLISHED.items()}
    by_alpha, by_beta = c["alpha_scale"], c["alpha_scale"] * c["beta_per_alpha"]
    k1 = [c[f"k1_{name}"] * by_alpha for name in ("glucose", "maltose", "maltotriose", "dextrin")]
    k2 = [c[f"k2_{name}"] * by_alpha for name in ("glucose", "maltose", "maltotriose")]
    return Parameters(
        name="published",
        pasting=_published_pasting,
        alpha_activity=_alpha_curve,
        beta_activity=_beta_lines,
        k1=(k1[0], k1[1], k1[2], k1[3], c["k1_beta"] * by_beta),
        k2=(k2[0], k2[1], k2[2], c["k2_beta"] * by_beta),
        maltotriose_of_beta=0.0,
        limit_dextrin_share=0.0,
        debranching_per_s=0.0,
        beta_loss_scale=1.0,
        valid_c=PUBLISHED_VALID_C,
    )


CALIBRATED_SET = _calibrated()
PUBLISHED_SET = _published()


def changed(params: Parameters, **fields: float) -> Parameters:
    """What is the same set with some numbers replaced? For fits, and for questions of sensitivity."""
    return replace(params, **fields)  # type: ignore[arg-type]


def _named(name: str, numbers: dict[str, float]) -> Parameters:
    return changed({one.name: one for one in (CALIBRATED_SET, PUBLISHED_SET)}[name], **numbers)


def _loss(half_life_s: float, at_c: float, energy: float, kelvin: float) -> float:
    """First-order loss, 1/s, from a half-life at a reference temperature."""
    return log(2.0) / half_life_s * _arrhenius(energy, at_c)(kelvin)


def half_band(celsius: float) -> float:
    """How wide is the display band, in points of apparent limit, for starch cut at this temperature?

    6 points at 60..68 degC and 10 at 70..75: judgement, from the gap between the two sets and from the errors of a
    model fitted to its own malt (Koljonen et al. 1995, abstract). 8 below 60, where conversion is likely overstated.
    Growing to 12 from 75 to 80 degC, where one second-hand source and one parameter set are all there is.
    """
    if celsius <= BAND[0][0]:
        return BAND[0][1]
    for (low_c, low), (high_c, high) in pairwise(BAND):
        if celsius <= high_c:
            return low + (high - low) * (celsius - low_c) / (high_c - low_c)
    return BAND[-1][1]


@lru_cache(maxsize=4096)
def rates(params: Parameters, temperature_c: float) -> Rates:
    """How fast does everything go at this temperature? Bounded to 0..100 degC; not a number counts as 0 degC."""
    celsius = min(100.0, max(0.0, temperature_c))
    kelvin = celsius + ZERO_K
    p, c, rt = SHARED, CALIBRATED, GAS_J_PER_MOL_K * kelvin
    return Rates(
        celsius=celsius,
        wetting=1.0 / params.wetting_lag_s if params.wetting_lag_s > 0.0 else 1e6,
        coarse=_arrhenius(c["alpha_energy"].value, 65.0)(kelvin) / c["coarse_lag"].value,
        alpha_loss=p["alpha_loss"].value * exp(-p["alpha_loss_energy"].value / rt),
        beta_loss=params.beta_loss_scale * p["beta_loss"].value * exp(-p["beta_loss_energy"].value / rt),
        debrancher_loss=_loss(c["debranching_half_life"].value, 63.0, c["debranching_loss_energy"].value, kelvin),
        glucanase_loss=_loss(p["glucanase_half_life"].value, 60.0, p["glucanase_loss_energy"].value, kelvin),
        protease_loss=_loss(p["protease_half_life"].value, 65.0, p["protease_loss_energy"].value, kelvin),
        alpha=params.alpha_activity(kelvin),
        beta=params.beta_activity(kelvin),
        debranching=params.debranching_per_s * _arrhenius(c["debranching_energy"].value, 60.0)(kelvin),
        low_rest=2.0 ** ((celsius - p["low_rest_reference"].value) / p["low_rest_doubling"].value),
        doubt=half_band(celsius),
        outside=not params.valid_c[0] <= celsius <= params.valid_c[1],
    )
