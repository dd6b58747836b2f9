"""What do the short forms say that brewers carry in their heads?

For comparison only: they leave out the vessel, mostly the slaking heat, and all losses. The full balance is in heat.py.
"""

from __future__ import annotations

from itertools import pairwise

K_US = 0.2  # US qt/lb and °F (J. J. Palmer, How to Brew, second hand): 0.4 over 2.0864 L/kg a qt/lb, rounded up
K_METRIC = 0.41  # L/kg and °C (from memory): 0.2 turned back is 0.417, printed as 0.41, often 0.4
_GRIST_METRIC = 0.4  # grist relative to water
_GRIST_US = 0.2

BARREL_QUARTER = 2.5  # lb of water a lb of malt in the °F form; 360 lb a barrel over 336 lb a quarter is 2.68

# Moisture %, specific heat relative to water, slaking correction in K (Pauls and Whites Brewing Room Book 1984/85, as
# reproduced by Murphy and Son, Appendix 4). At 3 % the table prints 2.3 K; its own 3.5 °F would be 1.9 K.
_STRIKING = (
    (0.0, 0.38, 3.0),
    (1.0, 0.38, 2.8),
    (2.0, 0.39, 2.3),
    (3.0, 0.40, 2.3),
    (4.0, 0.40, 1.5),
    (6.0, 0.41, 1.3),
    (8.0, 0.42, 1.0),
)


def strike(ratio: float, grist: float, mash: float, k: float = K_METRIC) -> float:
    """How hot must the liquor be? T = mash + k/ratio (mash - grist).

    L/kg and °C with `K_METRIC`, US qt/lb and °F with `K_US`; they differ by 2 % of the correction.
    """
    return mash + k / ratio * (mash - grist)


def infusion_kg(grist_kg: float, liquor_kg: float, from_c: float, to_c: float, added_c: float) -> float:
    """How much liquor to add, kg? (to - from)(0.4 grist + liquor)/(added - to); the vessel is left out."""
    return (to_c - from_c) * (_GRIST_METRIC * grist_kg + liquor_kg) / (added_c - to_c)


def infusion_qt(grist_lb: float, liquor_qt: float, from_f: float, to_f: float, added_f: float) -> float:
    """How much liquor to add, US qt? As `infusion_kg`, with 0.2 and °F (J. J. Palmer, How to Brew, second hand)."""
    return (to_f - from_f) * (_GRIST_US * grist_lb + liquor_qt) / (added_f - to_f)


def striking_figures(moisture_percent: float) -> tuple[float, float]:
    """Which specific heat (of water = 1) and slaking correction, K, does the table give? 0..8 %, else ValueError."""
    if not 0.0 <= moisture_percent <= 8.0:
        raise ValueError(f"moisture {moisture_percent} % is outside the table's 0..8 %")
    above = next(pair for pair in pairwise(_STRIKING) if moisture_percent <= pair[1][0])
    (low, s_low, sc_low), (high, s_high, sc_high) = above
    part = (moisture_percent - low) / (high - low)
    return s_low + part * (s_high - s_low), sc_low + part * (sc_high - sc_low)


def initial_heat(specific: float, slaking: float, grist: float, liquor: float, thickness: float) -> float:
    """Where does the mash land, by the traditional British form? (S t + M T)/(S + M) + slaking correction.

    °C with thickness in L/kg, or °F with `BARREL_QUARTER` (then the answer is some 1 °F low: a true
    quarter takes 2.68). Pauls and Whites Brewing Room Book 1984/85.
    """
    return (specific * grist + thickness * liquor) / (specific + thickness) + slaking


def striking_heat(specific: float, slaking: float, grist: float, wanted: float, thickness: float) -> float:
    """How hot must the liquor be, by the traditional British form? Inverse of `initial_heat`."""
    return ((wanted - slaking) * (specific + thickness) - specific * grist) / thickness
