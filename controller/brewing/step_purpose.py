"""Why is this step there? One plain sentence a step.

Limits are handbook figures, good to 1 or 2 K; every handbook gives slightly different ones. Each sentence has its
source beside it.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import NamedTuple

from controller.brewing.source import Source, Sources


class Purpose(NamedTuple):
    """What a step does, and where that is said. `says` may have places: {stay}, {hot}."""

    says: str
    sources: Sources


PALMER = "J. J. Palmer, How to Brew, second hand"
OXFORD = "Oxford Companion to Beer, 2012"
KUNZE = "W. Kunze, Technology Brewing and Malting, second hand"
RITTENAUER = "Rittenauer et al., Foods 2021, 10, 1733"
KETTUNEN = "Kettunen et al. 1996, abstract"
HAMILTON = "Hamilton and Lewis, MBAA Tech. Q. 11, 1974, abstract"
LYONS = "Lyons, MBAA Tech. Q. 15, 1978, abstract"
OSMAN = "Osman et al., J. Inst. Brew. 108, 2002, abstract"
JONES = "Jones and Marinac 2002, abstract"
MULLER = "R. Muller, Brewing Research Foundation, 1990, second hand"
VANBENEDEN = "Vanbeneden et al., Food Chem. 111, 2008"

# From this temperature on, °C, a rest does this.
RESTS: tuple[tuple[float, Purpose], ...] = (
    (
        -273.0,
        Purpose(
            "the grist only soaks here; enzymes work slowly and lactic bacteria may, so that it should be short",
            (Source("common practice"),),
        ),
    ),
    (
        35.0,
        Purpose(
            "beta-glucanase breaks down beta-glucan from the cell walls, best at about 48 °C in a whole mash, so that "
            "the bed stays looser; rye's gum is mostly arabinoxylan, of which less is broken down",
            (Source("published", f"{KETTUNEN}; {OXFORD}"), Source("recalled", "gums of rye, no page found")),
        ),
    ),
    (
        43.0,
        Purpose(
            "beta-glucan is still broken down and ferulic acid comes free, which wheat-beer yeasts turn into clove "
            "aroma",
            (Source("published", VANBENEDEN), Source("recalled", "best at 43 to 45 °C")),
        ),
    ),
    (
        45.5,
        Purpose(
            "proteases and peptidases split protein into food for yeast; on well-modified malt this {stay} foam",
            (Source("published", OSMAN), Source("common practice", f"45 to 55 °C, at most 15 min; {PALMER}")),
        ),
    ),
    (
        55.5,
        Purpose(
            "glucanase and protease fade and starch is hardly open yet: this is a bridge between two windows",
            (Source("published", f"{RITTENAUER}; {LYONS}"),),
        ),
    ),
    (
        60.0,
        Purpose(
            "beta-amylase and limit dextrinase cut what is pasted to maltose, which yeast ferments: a drier beer; malt "
            "starch pastes from 61 °C on",
            (Source("published", f"{HAMILTON}; {RITTENAUER}"), Source("common practice", PALMER)),
        ),
    ),
    (
        66.0,
        Purpose(
            "beta-amylase and alpha-amylase work side by side, beta-amylase not for long: a beer between dry and full",
            (Source("published", MULLER), Source("common practice")),
        ),
    ),
    (
        69.0,
        Purpose(
            "alpha-amylase finishes the starch and leaves dextrins that yeast does not ferment: after a rest at 62 to "
            "64 °C more extract, gone to straight away a wort that ferments less far",
            (Source("published", HAMILTON), Source("common practice", KUNZE)),
        ),
    ),
    (
        74.0,
        Purpose(
            "the last starch is turned while enzymes fade, and the wort thins for run-off",
            (Source("common practice", KUNZE),),
        ),
    ),
    (
        78.1,
        Purpose(
            "enzymes are lost within minutes: starch that is left stays, and husks give off harsh tannin",
            (Source("common practice", KUNZE),),
        ),
    ),
)
_STARTS = [start for start, _ in RESTS]
LONG_PROTEIN_S = 900.0  # 10..15 min (common practice)

# A mash that has been this hot has lost what works in a later rest up to so many °C, and this is true there instead.
SPENT: tuple[tuple[float, float, Purpose], ...] = (
    (
        78.1,
        79.0,
        Purpose(
            "the enzymes were lost at {hot:g} °C before: nothing is converted any more",
            (Source("common practice", KUNZE),),
        ),
    ),
    (
        65.0,
        60.0,
        Purpose(
            "the enzymes of this rest were lost at {hot:g} °C before: it does little now",
            (Source("published", f"{LYONS}; {JONES}"),),
        ),
    ),
    (
        70.0,
        69.0,
        Purpose(
            "most beta-amylase was lost at {hot:g} °C before: alpha-amylase works on alone, and slower than there",
            (Source("published", MULLER), Source("common practice", "gone in 2 to 5 min at 70 to 72 °C")),
        ),
    ),
)
COOL_OUT = Purpose(
    "enzymes are not stopped yet and go on working in the run-off; the wort is a little thinner",
    (Source("published", f"{OXFORD}, temperature-programmed mash"),),
)
OUT = Purpose(
    "alpha-amylase stops soon, beta-amylase went before, so that the wort keeps its make-up; hot wort is thinner and "
    "runs off faster",
    (Source("common practice", KUNZE),),
)
# Sentences of the kinds of step; {c} is its temperature, {then} what follows there.
KINDS: dict[str, Purpose] = {
    "dough_in": Purpose(
        "Grist meets liquor at {c:.1f} °C, hot enough that the mash lands at its first rest.", (Source("arithmetic"),)
    ),
    "infusion": Purpose(
        "Boiling or hot liquor lifts the mash to {c:g} °C and thins it: {then}.", (Source("arithmetic"),)
    ),
    "water_in": Purpose(
        "Water as warm as the mash thins it at {c:g} °C and lifts nothing: {then}.", (Source("arithmetic"),)
    ),
    "cereal": Purpose(
        "A cooker of raw grain, pasted by its boil, joins the mash, which converts its starch: {then}.",
        (Source("common practice", KUNZE),),
    ),
    "decoction": Purpose(
        "Boiling a part of the mash pastes its starch and deepens flavour; its return lifts the mash to {c:g} °C: "
        "{then}.",
        (Source("published", f"{OXFORD}, decoction"),),
    ),
    "keep": Purpose(
        "The mash waits at {c:g} °C, neither cooling nor souring, until somebody takes over.",
        (Source("common practice", "lactic bacteria do not live above some 50 °C"),),
    ),
    "souring": Purpose(
        "{hours} at {c:g} °C: lactic bacteria sour the mash; air is kept out.", (Source("common practice"),)
    ),
}


def reason_for_step(kind: str, temperature_c: float, hold_s: float, hottest_c: float = 0.0) -> str:
    """Why is this step there: which enzymes, and what does it do to the beer? One sentence, °C and s in.

    `hottest_c`: the mash has been so hot before. `kind` is one of dough_in, rest, infusion, water_in,
    decoction, cereal, mash_out, keep, souring; else ValueError.
    """
    temperature_c, hottest_c = round(temperature_c, 1), round(hottest_c, 1)  # as it is shown: 152 °F are 66.7 °C
    does = _purpose(kind, temperature_c, hottest_c)
    stay = "long stay costs" if kind == "rest" and hold_s > LONG_PROTEIN_S else "can cost"
    then = does.says.format(hot=hottest_c, stay=stay)
    if kind in ("rest", "mash_out"):
        return f"{hold_s / 60.0:.0f} min at {temperature_c:g} °C: {then}."
    return KINDS[kind].says.format(c=temperature_c, then=then, hours=_hours(hold_s))


def sources_for_step(kind: str, temperature_c: float, hottest_c: float = 0.0) -> Sources:
    """Where is it said what this step is for?"""
    does = _purpose(kind, round(temperature_c, 1), round(hottest_c, 1))
    return (KINDS[kind].sources if kind in KINDS else ()) + (does.sources if kind not in ALONE else ())


ALONE = ("dough_in", "keep", "souring")  # whose sentence speaks of no window


def _purpose(kind: str, temperature_c: float, hottest_c: float) -> Purpose:
    """What happens at this temperature?"""
    if kind not in KINDS and kind not in ("rest", "mash_out"):
        raise ValueError(f"{kind!r} is no kind of step")
    if kind == "mash_out" and temperature_c <= 78.0:
        return COOL_OUT if temperature_c < 74.0 else OUT
    spent = (does for hot_c, below_c, does in SPENT if hottest_c >= hot_c and temperature_c < below_c)
    return next(spent, RESTS[bisect_right(_STARTS, temperature_c) - 1][1])


def _hours(hold_s: float) -> str:
    return f"{hold_s / 3600.0:.0f} h" if hold_s >= 3600.0 else f"{hold_s / 60.0:.0f} min"
