"""What is in the mash at one moment, and what can be read off it?

Amounts are grams of anhydroglucose per gram of the malt's starch; the carbohydrate pools always sum to 1. What the malt
brings, how thick the mash is and what else is known of it travel with the amounts, for every figure rests on them.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.brewing.kinetics.constants import CALIBRATED, MALT, SHARED

GAIN_GLUCOSE, GAIN_MALTOSE = SHARED["gain_glucose"].value, SHARED["gain_maltose"].value
GAIN_MALTOTRIOSE, GAIN_DEXTRIN = SHARED["gain_maltotriose"].value, SHARED["gain_dextrin"].value
GAIN_STARCH = SHARED["gain_starch"].value
REAL_PER_APPARENT = SHARED["real_per_apparent"].value
SMALL_SHARE = CALIBRATED["small_share"].value
IODINE_STARCH = CALIBRATED["iodine_starch"].value


class Known(NamedTuple):
    """What is known of a mash beside temperature, malt figures and thickness. It widens or withholds; see `trust`."""

    pale_share: float = 1.0  # pale barley malt of the starch-bearing grist, other mashing malts counted half
    raw_share: float = 0.0  # raw grain that pastes above mash temperature, neither boiled nor flaked
    under_modified: bool = False
    fine_coarse_share: float | None = None  # of the extract, by the malt sheet
    low_rest_enzyme: bool = False  # glucanase is added
    starch_enzyme: bool = False  # an enzyme that cuts starch is added
    mash_ph: float | None = None  # referred to room temperature
    unboiled: bool = False  # a wash: its enzymes go on in fermentation
    cooked_apart: bool = False  # a cooker of raw grain joins the mash
    fine_grind: bool = False  # a laboratory's: nothing waits in coarse parts


class Malt(NamedTuple):
    """What is mashed: g per g dry matter, how thick, what else is known.

    `limit_dextrin_share` None takes the parameter set's own; `liquor_kg_per_kg` None: nobody knows. It changes with
    every infusion; unless said it is the laboratory's, for which the pasting curve stands.
    """

    starch: float = MALT["starch"].value
    monosaccharides: float = MALT["monosaccharides"].value
    sucrose: float = MALT["sucrose"].value
    maltose: float = MALT["maltose"].value
    other_solubles: float = MALT["other_solubles"].value
    limit_dextrin_share: float | None = None
    liquor_kg_per_kg: float | None = CALIBRATED["paste_reference"].value
    known: Known = Known()


DEFAULT_MALT = Malt()


class Amounts(NamedTuple):
    """The mash at one moment: carbohydrate shares (sum 1), enzyme shares (1 = as doughed in), sums over time."""

    malt: Malt
    time_s: float  # since dough-in
    dry: float  # starch not wetted yet
    starch: float  # wetted, large granules
    small: float  # wetted, small granules
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
    coarse: float  # starch left inside coarse grits, for the iodine test alone
    cut: float  # starch and dextrin cut so far, a sum of shares
    cut_outside: float  # of that, outside the temperatures the model was made for
    doubt: float  # half-width of the display band, summed over what was cut
    cool_s: float  # time below 55 degC
    hot_s: float  # time beyond 80 degC while starch was left
    open_s: float  # time at 61 degC and more
    fine_s: float | None  # when the iodine test of the finest grind is expected to turn negative
    iodine_s: float | None  # when that of crushed malt is
    boiled: bool = False  # a part of the mash has been boiled
    away: Away | None = None  # the part of the mash that is being boiled


class Away(NamedTuple):
    """A part of the mash that was pulled: what it was then, how warm, and its share of the grist and of the liquor."""

    amounts: Amounts
    temperature_c: float
    grist_share: float
    liquor_share: float
    liquor_kg_per_kg: float = 0.0  # that goes with it, to a kg of the whole grist


def fresh(malt: Malt = DEFAULT_MALT) -> Amounts:
    """What is the mash at the moment of dough-in? Hardly anything wetted, every enzyme whole."""
    dry = SHARED["dry_share"].value
    wet = 1.0 - dry
    carbohydrate = (dry, wet * (1.0 - SMALL_SHARE), wet * SMALL_SHARE, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    enzymes = (1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0)
    return Amounts(malt, 0.0, *carbohydrate, *enzymes, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, None, None)


def thickness(state: Amounts, liquor_kg_per_kg: float | None) -> Amounts:
    """What is the mash with so much liquor to a kg of grist from now on?"""
    return state._replace(malt=state.malt._replace(liquor_kg_per_kg=liquor_kg_per_kg))


def starch_left(s: Amounts) -> float:
    """Which share of the starch is not cut yet, 0..1?"""
    return s.dry + s.starch + s.small + s.gel


def pasted(s: Amounts) -> float:
    """Which share of the starch is open to the amylases, or was, 0..1?"""
    return max(0.0, 1.0 - s.dry - s.starch - s.small)


def fermentable(s: Amounts) -> float:
    """How much fermentable sugar is there, g per g dry matter? Mono-, di- and trisaccharides, the malt's own too."""
    formed = GAIN_GLUCOSE * s.glucose + GAIN_MALTOSE * s.maltose + GAIN_MALTOTRIOSE * s.maltotriose
    return s.malt.monosaccharides + s.malt.sucrose + s.malt.maltose + s.malt.starch * formed


def extract(s: Amounts) -> float:
    """How much extract is formed, g per g dry matter? Sugar, dextrin, dissolved starch, other solubles.

    What is in the liquid of a tun lags behind: `released`.
    """
    return fermentable(s) + s.malt.starch * (GAIN_DEXTRIN * (s.dextrin + s.limit) + s.gel) + s.malt.other_solubles


def potential(s: Amounts) -> float:
    """How much extract would there be, g per g dry matter, if all the starch that is left were cut as well?"""
    left = GAIN_STARCH * (s.dry + s.starch + s.small) + (GAIN_STARCH - 1.0) * s.gel
    return extract(s) + s.malt.starch * left


def real_limit_pct(s: Amounts) -> float:
    """What is the real attenuation limit of the wort, %, if the mash is stopped now?"""
    return 100.0 * fermentable(s) / extract(s)


def apparent_limit_pct(s: Amounts) -> float:
    """What is the apparent attenuation limit, %, if the mash is stopped now? The real one by Balling's factor."""
    return real_limit_pct(s) / REAL_PER_APPARENT
