"""What do the enzymes do to the starch in the next few seconds?

The scheme: starch is wetted, gelatinises, and is cut by alpha- and beta-amylase into glucose, maltose, maltotriose,
dextrin and limit dextrin; dextrin is cut further; limit dextrinase opens limit dextrin. Structure after Brandam et al.,
Biochem. Eng. J. 13 (2003) 43-52. Amounts are grams of anhydroglucose per gram of the malt's starch and always sum to 1.

Every first-order loss is an exact exponential of its mean rate over the step. What leaves one pool enters the next as
an even inflow over the step. So nothing can go negative, mass is kept, and no step is too long to be stable; steps are
split where enzymes die faster than the step can follow.
"""

from __future__ import annotations

from math import expm1
from typing import NamedTuple

from controller.brewing.kinetics.amounts import IODINE_STARCH, Amounts, extract, starch_left
from controller.brewing.kinetics.constants import CALIBRATED, SHARED
from controller.brewing.kinetics.rates import VALID_C, Parameters, Rates, rates

LONGEST_S = 10.0  # a longer step is split; the error left is measured in tests/brewing/kinetics/test_model.py
SHORTEST_S = 0.05  # never split finer: above 90 degC enzymes are gone within it
LOSS_A_SPLIT = 0.1  # split so that no more than this share of an enzyme's first activity is lost in one go
RELEASE_LAG_S = SHARED["release_lag"].value
PASTE_REFERENCE = CALIBRATED["paste_reference"].value
OPEN_C = 61.0  # from here on small granules paste within an hour (kinetics of this set)
THICKNESS = (2.5, 6.0)  # kg/kg: the shift of pasting is bounded to the range of its data (De Schepper, Courtin 2022)


def step(
    params: Parameters, state: Amounts, temperature_c: float, dt_s: float, longest_s: float = LONGEST_S
) -> Amounts:
    """What is the mash `dt_s` later, having been at `temperature_c` (degC, mean over the step) all the while?

    Any length of step and any temperature will do; the temperature is bounded to 0..100 degC. Steps of 1..60 s at
    a steady temperature differ by less than 0.02 points of apparent limit. `longest_s`: a search may take longer steps.
    """
    rate, left = rates(params, temperature_c), dt_s
    while left > 0.0:
        pace = rate.beta_loss * state.beta + rate.alpha_loss * state.alpha
        span = min(left, longest_s, max(SHORTEST_S, LOSS_A_SPLIT / pace) if pace > 0.0 else longest_s)
        state = _advance(params, rate, state, span)
        left -= span
    return state


def _fade(x: float) -> tuple[float, float]:
    """What is left after x = rate * time, and the mean over that time? Both relative to the start, both within 0..1."""
    lost = expm1(-x)
    return 1.0 + lost, -lost / x if x > 1e-3 else 1.0 - x * (0.5 - x / 6.0)


class _Enzymes(NamedTuple):
    alpha: float
    beta: float
    debrancher: float
    glucanase: float
    protease: float
    by_alpha: float  # mean activity over the step
    by_beta: float
    by_debrancher: float
    glucanase_min: float
    protease_min: float


class _Carbohydrate(NamedTuple):
    dry: float
    starch: float
    small: float
    gel: float
    limit: float
    dextrin: float
    glucose: float
    maltose: float
    maltotriose: float
    cut: float


def _enzymes(rate: Rates, s: Amounts, h: float) -> _Enzymes:
    """Exact losses, and the mean activity of each enzyme while the step lasts."""
    alpha, alpha_mean = _fade(rate.alpha_loss * h)
    beta, beta_mean = _fade(rate.beta_loss * h)
    debrancher, debrancher_mean = _fade(rate.debrancher_loss * h)
    glucanase, glucanase_mean = _fade(rate.glucanase_loss * h)
    protease, protease_mean = _fade(rate.protease_loss * h)
    work = rate.low_rest * h / 60.0
    return _Enzymes(
        s.alpha * alpha,
        s.beta * beta,
        s.debrancher * debrancher,
        s.glucanase * glucanase,
        s.protease * protease,
        rate.alpha * s.alpha * alpha_mean,
        rate.beta * s.beta * beta_mean,
        rate.debranching * s.debrancher * debrancher_mean,
        s.glucanase_min + work * s.glucanase * glucanase_mean,
        s.protease_min + work * s.protease * protease_mean,
    )


def paste_shift_k(p: Parameters, s: Amounts) -> float:
    """By how much later does starch paste for what is dissolved already, K? 0 at the laboratory's thickness."""
    thick = s.malt.liquor_kg_per_kg
    if thick is None or p.paste_shift == 0.0:
        return 0.0
    formed, thick = extract(s), min(THICKNESS[1], max(THICKNESS[0], thick))
    return 100.0 * p.paste_shift * (formed / (thick + formed) - formed / (PASTE_REFERENCE + formed))


def _pasted(p: Parameters, rate: Rates, s: Amounts, h: float) -> tuple[float, float, float, float]:
    """Wetting and pasting: what stays dry, unpasted large and small, and what has swollen?"""
    keep, _ = _fade(rate.wetting * h)
    dry = s.dry * keep
    wetted, at_c = s.dry - dry, rate.celsius - paste_shift_k(p, s)
    keep, mean = _fade(p.pasting(at_c) * h)
    large = s.starch * keep + (1.0 - p.small_share) * wetted * mean
    keep, mean = _fade(p.pasting(at_c - p.small_later_k) * h)
    small = s.small * keep + p.small_share * wetted * mean
    return dry, large, small, s.starch + s.small + wetted - large - small


def _carbohydrate(p: Parameters, rate: Rates, s: Amounts, e: _Enzymes, h: float) -> _Carbohydrate:
    """Pool after pool: what stays, what leaves, and into what it turns."""
    dry, large, small, swollen = _pasted(p, rate, s, h)

    k1g, k1m, k1t, k1d, k1b = p.k1
    alpha_rate, beta_rate = (k1g + k1m + k1t + k1d) * e.by_alpha, k1b * e.by_beta
    keep, mean = _fade((alpha_rate + beta_rate) * h)
    gel = s.gel * keep + swollen * mean
    cut = s.gel + swollen - gel
    per_rate = cut / (alpha_rate + beta_rate) if alpha_rate + beta_rate > 0.0 else 0.0
    a, b = per_rate * e.by_alpha, per_rate * beta_rate
    share = _limit_share(p, s)

    into_limit = share * (k1d * a + b)
    keep, mean = _fade(e.by_debrancher * h)
    limit = s.limit * keep + into_limit * mean

    k2g, k2m, k2t, k2b = p.k2
    alpha_rate, beta_rate = (k2g + k2m + k2t) * e.by_alpha, k2b * e.by_beta
    into_dextrin = (1.0 - share) * k1d * a + (s.limit + into_limit - limit)
    keep, mean = _fade((alpha_rate + beta_rate) * h)
    dextrin = s.dextrin * keep + into_dextrin * mean
    cut_again = s.dextrin + into_dextrin - dextrin
    per_rate = cut_again / (alpha_rate + beta_rate) if alpha_rate + beta_rate > 0.0 else 0.0
    a2, by_beta = per_rate * e.by_alpha, (1.0 - share) * b + per_rate * beta_rate
    odd = p.maltotriose_of_beta * by_beta
    glucose = s.glucose + k1g * a + k2g * a2
    maltose = s.maltose + k1m * a + k2m * a2 + (by_beta - odd)
    maltotriose = s.maltotriose + k1t * a + k2t * a2 + odd
    return _Carbohydrate(dry, large, small, gel, limit, dextrin, glucose, maltose, maltotriose, cut + cut_again)


def _limit_share(p: Parameters, s: Amounts) -> float:
    """How much of what is cut stays behind as limit dextrin? The malt's own figure, where the set knows any."""
    if s.malt.limit_dextrin_share is None or p.limit_dextrin_share <= 0.0:
        return p.limit_dextrin_share
    return s.malt.limit_dextrin_share


def _advance(p: Parameters, rate: Rates, s: Amounts, h: float) -> Amounts:
    e = _enzymes(rate, s, h)
    c = _carbohydrate(p, rate, s, e, h)
    before, left_before = extract(s), starch_left(s)
    left = c.dry + c.starch + c.small + c.gel
    warm, hot = rate.celsius >= VALID_C[0], rate.celsius > VALID_C[1] and left_before >= IODINE_STARCH
    after = Amounts(
        s.malt,
        s.time_s + h,
        *c[:9],
        *e[:5],
        e.glucanase_min,
        e.protease_min,
        s.released,
        _lagging(s.coarse, left_before, left, rate.coarse * h),
        s.cut + c.cut,
        s.cut_outside + c.cut if rate.outside else s.cut_outside,
        s.doubt + rate.doubt * c.cut,
        s.cool_s if warm else s.cool_s + h,
        s.hot_s + h if hot else s.hot_s,
        s.open_s + h if rate.celsius >= OPEN_C else s.open_s,
        s.fine_s,
        s.iodine_s,
        s.boiled,
        s.away,
    )
    released = _lagging(s.released, before, extract(after), h / RELEASE_LAG_S)
    return _iodine(Amounts(*after[:18], released, *after[19:]), left)


def _lagging(value: float, before: float, after: float, x: float) -> float:
    """What runs after something else: where is it, x = rate * time later?"""
    keep, _ = _fade(x)
    return value * keep + 0.5 * (before + after) * (1.0 - keep)


def _iodine(s: Amounts, left: float) -> Amounts:
    """Has the test of the finest grind turned, has that of crushed malt?"""
    if s.iodine_s is not None or left >= IODINE_STARCH:
        return s
    fine_s = s.time_s if s.fine_s is None else s.fine_s
    return s._replace(fine_s=fine_s, iodine_s=s.time_s if s.coarse < IODINE_STARCH else None)
