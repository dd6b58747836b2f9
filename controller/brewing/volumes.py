"""How much room does it take, and how thick is it?

Kilograms and litres of liquor are kept apart: 60 kg are 60.05 L at 15 °C and 61.45 L at 72.4 °C.
"""

from __future__ import annotations

from controller.brewing.water import density_kg_per_l

DISPLACEMENT_L_PER_KG = 0.67  # room that grist takes in the mash; 0.32 qt/lb (from memory, home texts); seen 0.6..0.75
HELD_BACK_L_PER_KG = 0.96  # liquor that stays in the spent grain; 0.8..1.1 seen (common practice)

LB_KG = 0.45359237  # exact, international yard and pound agreement, 1959
US_QT_L = 0.946352946  # exact, a quarter of 231 cubic inches


def mash_volume_l(liquor_l: float, grist_kg: float, displacement_l_per_kg: float = DISPLACEMENT_L_PER_KG) -> float:
    """How much room does the mash take in the tun, L?

    The displacement stems from warm mash practice, so liquor is put in as metered cold. Keep 5..10 % of the tun free
    for stirring (common practice).
    """
    return liquor_l + displacement_l_per_kg * grist_kg


def grist_kg_for_volume(volume_l: float, thickness_l_per_kg: float) -> float:
    """How much grist makes a mash of this volume at this thickness, kg? Inverse of `mash_volume_l`."""
    return volume_l / (thickness_l_per_kg + DISPLACEMENT_L_PER_KG)


def fill_share(volume_l: float, tun_l: float) -> float:
    """How full is the tun, 0..1 (more than 1 spills)?"""
    return volume_l / tun_l


def thickness_l_per_kg(liquor_l: float, grist_kg: float) -> float:
    """How much liquor stands to a kilogram of grist, L/kg?"""
    return liquor_l / grist_kg


def liquor_volume_l(liquor_kg: float, temperature_c: float) -> float:
    """How many litres does this liquor take at that temperature, L? 0..100 °C. IAPWS SR6-08(2011)."""
    return liquor_kg / density_kg_per_l(temperature_c)


def liquor_kg(volume_l: float, temperature_c: float) -> float:
    """What does liquor metered at that temperature weigh, kg? Inverse of `liquor_volume_l`."""
    return volume_l * density_kg_per_l(temperature_c)


def sparge_l(
    kettle_l: float,
    grist_kg: float,
    mash_liquor_l: float,
    *,
    held_back_l_per_kg: float = HELD_BACK_L_PER_KG,
    dead_space_l: float = 0.0,
) -> float:
    """How much sparge liquor gives the wanted volume in the kettle, L? Negative: the mash liquor alone is too much."""
    return kettle_l + held_back_l_per_kg * grist_kg + dead_space_l - mash_liquor_l


def beside(value: float, limit: float) -> str:
    """How is a figure shown beside the limit it misses? With a decimal, and with more where one does not tell them
    apart: 24.97 beside 25."""
    digits = next((n for n in (1, 2, 3) if float(f"{value:.{n}f}") != limit), 4)
    return f"{value:.{digits}f}"
