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

from controller.brewing.kinetics.constants import MALT, SHARED
from controller.brewing.kinetics.rates import Parameters, Rates, rates

LONGEST_S = 10.0  # a longer step is split; the error left is measured in tests/brewing/kinetics/test_model.py
SHORTEST_S = 0.05  # never split finer: above 90 degC enzymes are gone within it
LOSS_A_SPLIT = 0.1  # split so that no more than this share of an enzyme's first activity is lost in one go
GAIN_GLUCOSE, GAIN_MALTOSE = SHARED["gain_glucose"].value, SHARED["gain_maltose"].value
GAIN_MALTOTRIOSE, GAIN_DEXTRIN = SHARED["gain_maltotriose"].value, SHARED["gain_dextrin"].value
GAIN_STARCH = SHARED["gain_starch"].value
RELEASE_LAG_S = SHARED["release_lag"].value
REAL_PER_APPARENT = SHARED["real_per_apparent"].value
IODINE_STARCH = 0.02  # starch left when the test is expected to turn; rests on one mash (see "release_lag")
IODINE_RELEASED = 0.90  # and as much of the extract is in the liquid


class Malt(NamedTuple):
    """What the malt brings, in g per g dry matter; `limit_dextrin_share` None takes the parameter set's own."""

    starch: float = MALT["starch"].value
    monosaccharides: float = MALT["monosaccharides"].value
    sucrose: float = MALT["sucrose"].value
    maltose: float = MALT["maltose"].value
    other_solubles: float = MALT["other_solubles"].value
    limit_dextrin_share: float | None = None


DEFAULT_MALT = Malt()


class Amounts(NamedTuple):
    """The mash at one moment: carbohydrate shares (sum 1), enzyme shares (1 = as doughed in), sums over time."""

    malt: Malt
    time_s: float  # since dough-in
    dry: float  # starch not wetted yet
    starch: float  # wetted
    gel: float  # gelatinised
    limit: float  # limit dextrin
    dextrin: float
    glucose: float
    maltose: float
    maltotriose: float
    alpha: float
    beta: float
    debrancher: float  # limit dextrinase
    glucanase: float
    protease: float
    glucanase_min: float  # work done, in minutes of fresh enzyme at 45 degC
    protease_min: float
    released: float  # extract in the liquid, g per g dry matter
    cut: float  # starch and dextrin cut so far, a sum of shares
    cut_outside: float  # of that, outside the temperatures the model was made for
    doubt: float  # half-width of the display band, summed over what was cut
    iodine_s: float | None  # when the iodine test is expected to turn negative


def fresh(malt: Malt = DEFAULT_MALT) -> Amounts:
    """What is the mash at the moment of dough-in? Hardly anything wetted, every enzyme whole."""
    dry = SHARED["dry_share"].value
    carbohydrate = (dry, 1.0 - dry, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    return Amounts(malt, 0.0, *carbohydrate, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, None)


def step(params: Parameters, state: Amounts, temperature_c: float, dt_s: float) -> Amounts:
    """What is the mash `dt_s` later, having been at `temperature_c` (degC, mean over the step) all the while?

    Any length of step and any temperature will do; the temperature is bounded to 0..100 degC. Steps of 1..60 s at
    a steady temperature differ by less than 0.02 points of apparent limit.
    """
    rate, left = rates(params, temperature_c), dt_s
    while left > 0.0:
        pace = rate.beta_loss * state.beta + rate.alpha_loss * state.alpha
        span = min(left, LONGEST_S, max(SHORTEST_S, LOSS_A_SPLIT / pace) if pace > 0.0 else LONGEST_S)
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


def _carbohydrate(p: Parameters, rate: Rates, s: Amounts, e: _Enzymes, h: float) -> _Carbohydrate:
    """Pool after pool: what stays, what leaves, and into what it turns."""
    keep, _ = _fade(rate.wetting * h)
    dry = s.dry * keep
    wetted = s.dry - dry
    keep, mean = _fade(rate.gel * h)
    starch = s.starch * keep + wetted * mean
    swollen = s.starch + wetted - starch

    k1g, k1m, k1t, k1d, k1b = p.k1
    alpha_rate, beta_rate = (k1g + k1m + k1t + k1d) * e.by_alpha, k1b * e.by_beta
    keep, mean = _fade((alpha_rate + beta_rate) * h)
    gel = s.gel * keep + swollen * mean
    cut = s.gel + swollen - gel
    per_rate = cut / (alpha_rate + beta_rate) if alpha_rate + beta_rate > 0.0 else 0.0
    a, b = per_rate * e.by_alpha, per_rate * beta_rate
    share = _limit_share(p, s.malt)

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
    return _Carbohydrate(dry, starch, gel, limit, dextrin, glucose, maltose, maltotriose, cut + cut_again)


def _limit_share(p: Parameters, malt: Malt) -> float:
    """How much of what is cut stays behind as limit dextrin? The malt's own figure, where the set knows any."""
    if malt.limit_dextrin_share is None or p.limit_dextrin_share <= 0.0:
        return p.limit_dextrin_share
    return malt.limit_dextrin_share


def _advance(p: Parameters, rate: Rates, s: Amounts, h: float) -> Amounts:
    e = _enzymes(rate, s, h)
    c = _carbohydrate(p, rate, s, e, h)
    formed = extract_of(s.malt, c)
    keep, _ = _fade(h / RELEASE_LAG_S)
    before = extract_of(s.malt, s)
    released = s.released * keep + 0.5 * (before + formed) * (1.0 - keep)
    after = Amounts(
        s.malt,
        s.time_s + h,
        *c[:8],
        *e[:5],
        e.glucanase_min,
        e.protease_min,
        released,
        s.cut + c.cut,
        s.cut_outside + c.cut if rate.outside else s.cut_outside,
        s.doubt + rate.doubt * c.cut,
        s.iodine_s,
    )
    if s.iodine_s is None and starch_left(after) < IODINE_STARCH and released >= IODINE_RELEASED * potential(after):
        return after._replace(iodine_s=after.time_s)
    return after


# ---------------------------------------------------------------- what can be read off it


def starch_left(s: Amounts) -> float:
    """Which share of the starch is not cut yet, 0..1?"""
    return s.dry + s.starch + s.gel


def fermentable(s: Amounts) -> float:
    """How much fermentable sugar is there, g per g dry matter? Mono-, di- and trisaccharides, the malt's own too."""
    return _sugar(s.malt, s)


def extract(s: Amounts) -> float:
    """How much extract is formed, g per g dry matter? What is in the liquid of a tun lags behind: `released`."""
    return extract_of(s.malt, s)


def _sugar(m: Malt, c: Amounts | _Carbohydrate) -> float:
    formed = GAIN_GLUCOSE * c.glucose + GAIN_MALTOSE * c.maltose + GAIN_MALTOTRIOSE * c.maltotriose
    return m.monosaccharides + m.sucrose + m.maltose + m.starch * formed


def extract_of(m: Malt, c: Amounts | _Carbohydrate) -> float:
    """How much extract do these pools make, g per g dry matter? Sugar, dextrin, dissolved starch, other solubles."""
    return _sugar(m, c) + m.starch * (GAIN_DEXTRIN * (c.dextrin + c.limit) + c.gel) + m.other_solubles


def potential(s: Amounts) -> float:
    """How much extract would there be, g per g dry matter, if all the starch that is left were cut as well?"""
    left = GAIN_STARCH * (s.dry + s.starch) + (GAIN_STARCH - 1.0) * s.gel
    return extract(s) + s.malt.starch * left


def real_limit_pct(s: Amounts) -> float:
    """What is the real attenuation limit of the wort, %, if the mash is stopped now?"""
    return 100.0 * fermentable(s) / extract(s)


def apparent_limit_pct(s: Amounts) -> float:
    """What is the apparent attenuation limit, %, if the mash is stopped now? The real one by Balling's factor."""
    return real_limit_pct(s) / REAL_PER_APPARENT
