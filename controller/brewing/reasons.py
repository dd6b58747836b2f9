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
        "beta-glucanase breaks down gums from the cell walls, so that the bed stays loose and the wort runs off freely",
    ),
    (
        43.0,
        "gums are still broken down and ferulic acid comes free, which wheat-beer yeasts turn into clove aroma",
    ),
    (
        45.5,
        "proteases and peptidases split protein into food for yeast; on well-modified malt this {stay} body and foam",
    ),
    (
        55.5,
        "protein is hardly split any more and starch hardly pasted yet: this is a bridge between two windows",
    ),
    (
        60.0,
        "beta-amylase and limit dextrinase cut starch to maltose, which yeast ferments: the longer, the drier the beer",
    ),
    (
        66.0,
        "beta-amylase and alpha-amylase work side by side, beta-amylase not for long: a beer between dry and full",
    ),
    (
        69.0,
        "alpha-amylase finishes the starch; it leaves dextrins that yeast does not ferment, for body and foam",
    ),
    (
        74.0,
        "the last starch is turned while enzymes fade, and the wort thins for run-off",
    ),
    (
        78.1,
        "all enzymes are lost: starch that is left stays, and husks give off harsh tannin",
    ),
)
_STARTS = [start for start, _ in _RESTS]
LONG_PROTEIN_S = 900.0  # 10..15 min (common practice)


def reason_for_step(kind: str, temperature_c: float, hold_s: float) -> str:
    """Why is this step there: which enzymes, and what does it do to the beer? One sentence, °C and s in.

    `kind` is one of dough_in, rest, infusion, decoction, mash_out, keep, souring; else ValueError.
    """
    there = f"{hold_s / 60.0:.0f} min at {temperature_c:g} °C"
    match kind:
        case "dough_in":
            return f"Grist meets liquor at {temperature_c:.1f} °C, hot enough that the mash lands at its first rest."
        case "rest":
            return f"{there}: {_rest(temperature_c, hold_s)}."
        case "infusion":
            return f"Boiling or hot liquor lifts the mash to {temperature_c:g} °C and thins it: {_rest(temperature_c)}."
        case "decoction":
            return (
                f"Boiling a part of the mash pastes its starch and deepens flavour; its return lifts the mash to "
                f"{temperature_c:g} °C: {_rest(temperature_c)}."
            )
        case "mash_out":
            return f"{there}: {_mash_out(temperature_c)}."
        case "keep":
            return f"The mash waits at {temperature_c:g} °C, neither cooling nor souring, until somebody takes over."
        case "souring":
            return f"{_hours(hold_s)} at {temperature_c:g} °C: lactic bacteria sour the mash; air is kept out."
    raise ValueError(f"{kind!r} is no kind of step")


def _rest(temperature_c: float, hold_s: float = 0.0) -> str:
    text = _RESTS[bisect_right(_STARTS, temperature_c) - 1][1]
    return text.format(stay="long stay thins" if hold_s > LONG_PROTEIN_S else "can thin")


def _mash_out(temperature_c: float) -> str:
    if temperature_c < 74.0:
        return "enzymes are not stopped yet and go on working in the run-off; the wort is a little thinner"
    if temperature_c <= 78.0:
        return "beta-amylase stops, so that the wort keeps its make-up, and hot wort is thinner and runs off faster"
    return _rest(temperature_c)


def _hours(hold_s: float) -> str:
    return f"{hold_s / 3600.0:.0f} h" if hold_s >= 3600.0 else f"{hold_s / 60.0:.0f} min"
