"""Where does the estimate end: which figure is wider, which is withheld, and in which words?

Thresholds are judgement unless a source is named. Of several rules only the largest addition to the half-width and the
largest lowering of the low end count. Shares of enzymes and the starch left are always shown.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil, floor
from typing import Literal, NamedTuple

from controller.brewing.kinetics.amounts import (
    REAL_PER_APPARENT,
    Amounts,
    Known,
    apparent_limit_pct,
    potential,
    real_limit_pct,
    starch_left,
)

What = Literal["limit", "extract", "iodine", "glucanase"]
ALL: tuple[What, ...] = ("limit", "extract", "iodine")
NOT_LIMIT: tuple[What, ...] = ("extract", "iodine")

LITTLE_CUT = 0.05  # nothing is said of the wort before so much of the starch is cut
STARCH_SHOWN = 0.05  # more than this left at the end is said
THICK, THICKEST, THINNEST = 3.0, 2.5, 6.0  # kg/kg; the data end at 2.5 and 6 (De Schepper, Courtin 2022, abstract)
SAME = 1e-6  # kg/kg: sums of parts are equal within it
PALE_MOSTLY, PALE_LEAST, RAW_MOST = 0.90, 0.70, 0.05
PH = (5.2, 5.8)
SOURING_S = 3.0 * 3600.0
HOT_S = 300.0
OPEN_S = 600.0  # a rest of so long at 61 degC and more opens the small granules too
EXTRACT_HALF, EXTRACT_HALF_COOL, EXTRACT_WHOLE = 7.0, 12.0, 95.0  # points; spread of 24 refits
BOILED_HALF = 10.0


class Band(NamedTuple):
    """A figure in % with the range it is shown with."""

    low: float
    mid: float
    high: float


class Rule(NamedTuple):
    """What one condition does to the figures, and its words."""

    words: str
    wider: float = 0.0  # points on both sides
    lower: float = 0.0  # points at the low end
    withheld: tuple[What, ...] = ()
    at_most: bool = False  # the extract is no more than so much


class Verdict(NamedTuple):
    """What may be shown of a mash."""

    apparent: Band | None
    real: Band | None
    extract: Band | None
    extract_at_most: bool
    fine_s: float | None
    iodine_s: float | None
    withheld: tuple[dict[str, str], ...]
    widened: tuple[str, ...]


def judged(state: Amounts) -> Verdict:
    """What may be shown of this mash, how wide, and which words belong to it?"""
    rules = list(_rules(state))
    hidden: dict[What, str] = {}
    for rule in rules:
        for what in rule.withheld:
            hidden.setdefault(what, rule.words)
    apparent, real = (None, None) if "limit" in hidden else _limits(state, rules)
    crushed = state.iodine_s if "iodine" not in hidden else None
    late = state.malt.known.under_modified  # its coarse parts open later than those of the one mash this rests on
    return Verdict(
        apparent=apparent,
        real=real,
        extract=None if "extract" in hidden else _extract(state),
        extract_at_most=any(rule.at_most for rule in rules),
        fine_s=None if "iodine" in hidden else state.fine_s,
        iodine_s=None if late else crushed,
        withheld=tuple({"what": what, "why": why} for what, why in hidden.items()),
        widened=tuple(dict.fromkeys(rule.words for rule in rules if not set(ALL) <= set(rule.withheld))),
    )


def _rules(s: Amounts) -> Iterator[Rule]:
    """Which conditions hold?"""
    if 1.0 - starch_left(s) < LITTLE_CUT:
        yield Rule("too little is pasted below 58 °C", withheld=ALL)
    elif s.cut_outside > 0.5 * s.cut:
        yield Rule("outside the temperatures the model has data for, 55 to 80 °C", withheld=ALL)
    elif starch_left(s) > STARCH_SHOWN:
        left = f"{100.0 * starch_left(s):.0f} % of the starch is still left"
        yield Rule(f"{left}; the limit is that of what is converted")
    yield from _by_thickness(s.malt.liquor_kg_per_kg)
    yield from _by_grist(s.malt.known)
    if s.boiled or s.away is not None:
        yield Rule("part of the mash is boiled; its path is assumed", withheld=NOT_LIMIT)
    if s.cool_s >= SOURING_S:
        yield Rule("bacteria change the wort in hours below 55 °C", wider=4.0, withheld=NOT_LIMIT)
    if s.hot_s > HOT_S:
        yield Rule("alpha-amylase is gone before the starch", withheld=("iodine",))


def _by_thickness(thick: float | None) -> Iterator[Rule]:
    if thick is None:
        yield Rule("thickness not given", wider=2.0, withheld=("extract",))
    elif not THICKEST - SAME <= thick <= THINNEST + SAME:
        words = f"{thick:.1f} kg/kg is outside the thickness of the data (2.5 to 6)"
        yield Rule(words, wider=5.0, lower=4.0 if thick < THICKEST else 0.0, withheld=("extract",))
    elif thick < THICK - SAME:
        yield Rule("thick mashes give less sugar than estimated (De Schepper, Courtin 2022)", lower=4.0)


def _by_grist(known: Known) -> Iterator[Rule]:
    if known.starch_enzyme:
        yield Rule("added enzymes are outside the model", withheld=ALL)
    if known.unboiled:
        words = "the limit is that of boiled wort; in an unboiled wash enzymes go on, so it ferments further"
        yield Rule(words, withheld=("limit",))
    if known.cooked_apart:
        yield Rule("a cereal mash joins: what was cooked apart is not followed", withheld=ALL)
    if known.fine_grind:
        yield Rule("finely ground for the laboratory", withheld=("iodine",))
    if known.low_rest_enzyme:
        yield Rule("glucanase is added", withheld=("glucanase",))
    other = f"{100.0 * (1.0 - known.pale_share):.0f} % of the grist counts as other than pale barley malt"
    if known.pale_share < PALE_LEAST:
        yield Rule(f"{other}: the model is made for pale barley malt; compare by the enzymes", withheld=ALL)
    elif known.pale_share <= PALE_MOSTLY:
        yield Rule(other, wider=4.0, withheld=("iodine",), at_most=True)
    if known.raw_share > RAW_MOST:
        words = f"{100.0 * known.raw_share:.0f} % is raw grain that pastes above 65 °C: its starch stays locked"
        yield Rule(words, wider=4.0, withheld=NOT_LIMIT)
    if known.under_modified:
        hidden: tuple[What, ...] = ("extract",) if known.fine_coarse_share is None else ()
        yield Rule("under-modified malt gives up its starch later", lower=3.0, withheld=hidden, at_most=not hidden)
    if known.mash_ph is not None and not PH[0] <= known.mash_ph <= PH[1]:
        yield Rule(f"a pH of {known.mash_ph:.1f} is not in the estimate", wider=3.0)


def _limits(s: Amounts, rules: list[Rule]) -> tuple[Band, Band]:
    """Apparent and real limit with the display band, opened outwards to whole percents."""
    mid, half = apparent_limit_pct(s), s.doubt / s.cut + max((rule.wider for rule in rules), default=0.0)
    half = max(half, BOILED_HALF) if s.boiled or s.away is not None else half
    lower = max((rule.lower for rule in rules), default=0.0)
    low, high = float(max(0, floor(mid - half - lower))), float(min(100, ceil(mid + half)))
    real = Band(float(floor(low * REAL_PER_APPARENT)), real_limit_pct(s), float(ceil(high * REAL_PER_APPARENT)))
    return Band(low, mid, high), real


def _extract(s: Amounts) -> Band:
    """Extract in the liquid, % of what the malt holds; by the sheet's fine-coarse difference less of it is reached."""
    coarse = s.malt.known.fine_coarse_share or 0.0
    mid = 100.0 * s.released / potential(s) * (1.0 - coarse)
    half = EXTRACT_HALF if s.open_s >= OPEN_S else EXTRACT_HALF_COOL
    return Band(max(0.0, floor(mid - half)), mid, min(100.0, ceil(mid + half)))
