"""Does a program keep to the habits of the trade for its aim?"""

from __future__ import annotations

from controller.brewing.advice.plan_facts import STARCH_HIGH_C, STARCH_LOW_C, aim_of
from controller.brewing.compose.rest_search import Found

# The first starch rest of an aim in words, and the mean of a balanced one (common practice: dry 62-64, balanced 65-68,
# full 68-70 degC).
FIRST_C = {"dry": (0.0, 64.5), "balanced": (0.0, 68.5), "full": (67.0, 100.0)}
BALANCED_C = (64.5, 68.5)


def unusual(wanted: str | float, one: Found) -> bool:
    """Does this program work against the habits of the trade for its aim (common practice, as the advice has them)?

    Dry: at least 40 min at 60..66 degC in all, starting no hotter. Full: no more than 20 min at 60..65 degC. An aim in
    words also has its window: limits less than 3 points apart are equal to the model, temperatures are not.
    """
    aim = wanted if isinstance(wanted, str) else aim_of(wanted / 100.0)
    if isinstance(wanted, str) and _beside_its_window(wanted, one):
        return True
    if aim == "dry":
        return _between_s(one, 60.0, 66.0) < 2400.0
    return aim == "full" and _between_s(one, 60.0, 65.0) > 1200.0


def _beside_its_window(aim: str, one: Found) -> bool:
    rests = [leg for leg in one.legs if STARCH_LOW_C <= leg.temperature_c < STARCH_HIGH_C]
    mean_c = sum(leg.temperature_c * leg.hold_s for leg in rests) / sum(leg.hold_s for leg in rests)
    low_c, high_c = FIRST_C[aim]
    if aim == "balanced":
        return not BALANCED_C[0] <= mean_c <= BALANCED_C[1]
    return not low_c <= rests[0].temperature_c <= high_c


def _between_s(one: Found, low_c: float, high_c: float) -> float:
    """How long is the mash within these bounds, rises counted, s?"""
    spent_s, before_c = 0.0, one.legs[0].temperature_c
    for leg in one.legs:
        inside_k = min(leg.temperature_c, high_c) - max(before_c, low_c)
        spent_s += leg.ramp_s * max(0.0, inside_k) / max(leg.temperature_c - before_c, 1e-9)
        spent_s += leg.hold_s if low_c <= leg.temperature_c <= high_c else 0.0
        before_c = leg.temperature_c
    return spent_s
