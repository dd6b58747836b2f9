"""How are the figures of the wort said, in check, dry run, live and report alike?

From the prediction as its document holds it, whole percents, each with its range and each rule's words once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from controller.brewing.kinetics.trust import EXTRACT_WHOLE, STARCH_SHOWN

Said = Mapping[str, Any]


def wort_words(prediction: Said) -> list[str]:
    """What is said of the wort, a sentence each: limit, extract, iodine, and where the figures end."""
    return [limit(prediction), f"Extract: {extract(prediction)}.", f"Iodine: {iodine(prediction)}.", *ends(prediction)]


def limit(prediction: Said) -> str:
    """The attenuation limits."""
    apparent, real = prediction["apparent_limit_pct"], prediction["real_limit_pct"]
    if apparent is None or real is None:
        return f"No figure of the limit: {why(prediction, 'limit')}."
    return f"Apparent attenuation limit {band(apparent)}, real {band(real)}."


def band(figure: Mapping[str, float]) -> str:
    """A figure with its range."""
    return f"{figure['mid']:.0f} % ({figure['low']:.0f} to {figure['high']:.0f} %)"


def extract(prediction: Said) -> str:
    """How much of what the malt holds is in the liquid?"""
    figure = prediction.get("extract_pct")
    if figure is None:
        return f"no figure: {why(prediction, 'extract')}"
    most = "at most " if prediction.get("extract_at_most") else ""
    if figure["mid"] >= EXTRACT_WHOLE:
        share = f"at most {figure['mid']:.0f} %" if most else f"{EXTRACT_WHOLE:.0f} % or more"
        return f"{share} of what the malt holds by its sheet"
    between = f"between {figure['low']:.0f} and {min(99.0, figure['high']):.0f} %"
    return f"{most}{figure['mid']:.0f} % of what the malt holds by its sheet, {between}"


def iodine(prediction: Said) -> str:
    """When is the test expected to turn? A span, from the finest grind to crushed malt."""
    if any(one["what"] == "iodine" for one in prediction.get("withheld", ())):
        return f"no figure: {why(prediction, 'iodine')}; a real iodine test decides"
    fine, crushed = prediction.get("iodine_fine_min"), prediction["iodine_negative_min"]
    if fine is None and crushed is None:
        left = prediction["starch_left_pct"]
        more = f": {left:.0f} % of the starch left" if left > 100.0 * STARCH_SHOWN else ""
        return f"not negative by the end{more}"
    if crushed is None:
        return f"negative after {fine:.0f} min at the earliest; a real test decides"
    first = crushed if fine is None else fine
    return f"negative between {first:.0f} and {crushed:.0f} min after dough-in, by the crush; a real test decides"


def why(prediction: Said, what: str) -> str:
    """Why is this figure withheld?"""
    return next((one["why"] for one in prediction.get("withheld", ()) if one["what"] == what), "none is known")


def ends(prediction: Said) -> Iterator[str]:
    """Where do the figures that are shown end? A sentence a rule, those that are told as a reason left out."""
    told = {one["why"] for one in prediction.get("withheld", ())}
    yield from (f"{words[:1].upper()}{words[1:]}." for words in prediction.get("widened", ()) if words not in told)
