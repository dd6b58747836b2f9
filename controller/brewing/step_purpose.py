"""Why is this step there? One plain sentence a step.

Limits are handbook figures, good to 1 or 2 K; every handbook gives slightly different ones. Windows after a course
table drawn from J. J. Palmer (second hand), the Oxford Companion to Beer (2012), W. Kunze (second hand) and common
practice.
"""

from __future__ import annotations

from bisect import bisect_right

# From this temperature on, °C, a rest does this. Sources: 35..45 beta-glucanase, 45..55 proteases (course table after
# Palmer; Oxford Companion); 43..45 ferulic acid (figures from memory); 57.5 starch begins to paste (Rittenauer et al.,
# Foods 2021, 10, 1733); 60..66 beta-amylase and limit dextrinase (Palmer, second hand); 70..75 alpha-amylase, lost
# above 78 (common practice; Kunze, second hand).
_RESTS: tuple[tuple[float, str], ...] = (
    (
        -273.0,
        "the grist only soaks here; enzymes work slowly and lactic bacteria may, so that it should be short",
    ),
    (
        35.0,
        "beta-glucanase breaks down beta-glucan from the cell walls, best at about 48 °C in a whole mash, so that the "
        "bed stays looser; rye's gum is mostly arabinoxylan, of which less is broken down",
    ),
    (
        43.0,
        "beta-glucan is still broken down and ferulic acid comes free, which wheat-beer yeasts turn into clove aroma",
    ),
    (
        45.5,
        "proteases and peptidases split protein into food for yeast; on well-modified malt this {stay} foam",
    ),
    (
        55.5,
        "glucanase and protease fade and starch is hardly open yet: this is a bridge between two windows",
    ),
    (
        60.0,
        "beta-amylase and limit dextrinase cut what is pasted to maltose, which yeast ferments: a drier beer; malt "
        "starch pastes from 61 °C on",
    ),
    (
        66.0,
        "beta-amylase and alpha-amylase work side by side, beta-amylase not for long: a beer between dry and full",
    ),
    (
        69.0,
        "alpha-amylase finishes the starch and leaves dextrins that yeast does not ferment: after a rest at 62 to "
        "64 °C more extract, gone to straight away a wort that ferments less far",
    ),
    (
        74.0,
        "the last starch is turned while enzymes fade, and the wort thins for run-off",
    ),
    (
        78.1,
        "enzymes are lost within minutes: starch that is left stays, and husks give off harsh tannin",
    ),
)
_STARTS = [start for start, _ in _RESTS]
LONG_PROTEIN_S = 900.0  # 10..15 min (common practice)

# A mash that has been this hot has lost what works in a later rest up to so many °C, and this is true there instead.
# Beta-glucanase is gone soon at 65 (Otles, web page), proteases above 55..60 (from memory) and quickly at 72 (Jones and
# Marinac 2002, abstract); beta-amylase above 68, in 2 to 5 min at 70..72 (common practice; own model).
_SPENT: tuple[tuple[float, float, str], ...] = (
    (78.1, 79.0, "the enzymes were lost at {hot:g} °C before: nothing is converted any more"),
    (65.0, 60.0, "the enzymes of this rest were lost at {hot:g} °C before: it does little now"),
    (
        70.0,
        69.0,
        "most beta-amylase was lost at {hot:g} °C before: alpha-amylase works on alone, and slower than there",
    ),
)


def reason_for_step(kind: str, temperature_c: float, hold_s: float, hottest_c: float = 0.0) -> str:
    """Why is this step there: which enzymes, and what does it do to the beer? One sentence, °C and s in.

    `hottest_c`: the mash has been so hot before. `kind` is one of dough_in, rest, infusion, decoction,
    mash_out, keep, souring; else ValueError.
    """
    temperature_c, hottest_c = round(temperature_c, 1), round(hottest_c, 1)  # as it is shown: 152 °F are 66.7 °C
    there = f"{hold_s / 60.0:.0f} min at {temperature_c:g} °C"
    match kind:
        case "dough_in":
            return f"Grist meets liquor at {temperature_c:.1f} °C, hot enough that the mash lands at its first rest."
        case "rest":
            return f"{there}: {_rest(temperature_c, hold_s, hottest_c)}."
        case "infusion":
            then = _rest(temperature_c, 0.0, hottest_c)
            return f"Boiling or hot liquor lifts the mash to {temperature_c:g} °C and thins it: {then}."
        case "decoction":
            return (
                f"Boiling a part of the mash pastes its starch and deepens flavour; its return lifts the mash to "
                f"{temperature_c:g} °C: {_rest(temperature_c, 0.0, hottest_c)}."
            )
        case "mash_out":
            return f"{there}: {_mash_out(temperature_c)}."
        case "keep":
            return f"The mash waits at {temperature_c:g} °C, neither cooling nor souring, until somebody takes over."
        case "souring":
            return f"{_hours(hold_s)} at {temperature_c:g} °C: lactic bacteria sour the mash; air is kept out."
    raise ValueError(f"{kind!r} is no kind of step")


def _rest(temperature_c: float, hold_s: float = 0.0, hottest_c: float = 0.0) -> str:
    for hot_c, below_c, instead in _SPENT:
        if hottest_c >= hot_c and temperature_c < below_c:
            return instead.format(hot=hottest_c)
    text = _RESTS[bisect_right(_STARTS, temperature_c) - 1][1]
    return text.format(stay="long stay costs" if hold_s > LONG_PROTEIN_S else "can cost")


def _mash_out(temperature_c: float) -> str:
    if temperature_c < 74.0:
        return "enzymes are not stopped yet and go on working in the run-off; the wort is a little thinner"
    if temperature_c <= 78.0:
        return (
            "alpha-amylase stops soon, beta-amylase went before, so that the wort keeps its make-up; hot wort is "
            "thinner and runs off faster"
        )
    return _rest(temperature_c)


def _hours(hold_s: float) -> str:
    return f"{hold_s / 3600.0:.0f} h" if hold_s >= 3600.0 else f"{hold_s / 60.0:.0f} min"
