"""What do gravity, volume and pH say about the wort?

Gravities are specific gravities at 20 °C over water at 20 °C; wort strength is in degrees Plato, % by mass.
"""

from __future__ import annotations

from controller.brewing.water import density_kg_per_l

DENSITY_20_KG_PER_L = 0.9982  # water at 20 °C (IAPWS-95)
PH_PER_K = -0.0078  # straight line through 0.35 lower at 65 °C and 0.45 lower at 78 °C (Briggs, Boulton, Brookes,
# Stevens, Brewing Science and Practice, 2004, second hand); the slope is calculated from 20 °C
ROOM_C = 20.0
SAMPLE_C = (10.0, 40.0)  # where a hydrometer's reading is referred to 20 °C (own proposal)
HOT_WATER_EXTRACT_L = 10.13  # L a kg and excess degree: 50 g in 515 mL, some 8.5 mL of it grains (from memory)


def plato(wort_gravity: float) -> float:
    """What is the extract of a wort of this specific gravity, °P? 1.000..1.130, else ValueError.

    The usual cubic (from memory). Compare 260.4 - 260.4/s (J. Buhl, second hand), within 0.05 °P up to 20 °P.
    """
    if not 0.999 <= wort_gravity <= 1.131:
        raise ValueError(f"specific gravity {wort_gravity} is outside 1.000..1.130")
    return ((135.997 * wort_gravity - 630.272) * wort_gravity + 1111.14) * wort_gravity - 616.868


def gravity(wort_p: float) -> float:
    """What is the specific gravity of a wort of this extract? Inverse of `plato`, by Newton's steps; 0..30 °P."""
    if not 0.0 <= wort_p <= 30.0:
        raise ValueError(f"{wort_p} °P is outside 0..30 °P")
    guess = 260.4 / (260.4 - wort_p)
    for _ in range(4):
        slope = (3.0 * 135.997 * guess - 2.0 * 630.272) * guess + 1111.14
        guess -= (((135.997 * guess - 630.272) * guess + 1111.14) * guess - 616.868 - wort_p) / slope
    return guess


def congress_extract_share(wort_p: float, moisture_share: float) -> float:
    """What share of the malt as it is becomes extract, by the Congress mash, 0..1? EBC 4.5.1 (form from memory).

    E = P (M + 800)/(100 - P) %, with M the moisture in %.
    """
    return wort_p * (100.0 * moisture_share + 800.0) / (100.0 - wort_p) / 100.0


def dry_share(as_is_share: float, moisture_share: float) -> float:
    """What is an extract as is, on dry malt, 0..1?"""
    return as_is_share / (1.0 - moisture_share)


def hot_water_extract_l_deg_per_kg(wort_gravity: float) -> float:
    """What is the hot water extract, L degrees a kg? Constant 65 °C mash, 50 g in 515 mL (EBC 4.6.1; from memory)."""
    return HOT_WATER_EXTRACT_L * 1000.0 * (wort_gravity - 1.0)


def brewhouse_yield_share(volume_l: float, wort_gravity: float, grist_kg: float) -> float:
    """Which share of the grist's mass is in the wort as extract, 0..1? Volume at 20 °C."""
    return volume_l * wort_gravity * DENSITY_20_KG_PER_L * plato(wort_gravity) / 100.0 / grist_kg


def first_wort_p(thickness_l_per_kg: float, moisture_share: float, extract_share: float) -> float:
    """How strong is the first wort when everything has been converted, °P? Mass balance.

    `extract_share`: Congress extract of the malt as it is. Thickness sets first-wort gravity: J. Palmer, MBAA TQ
    54(2) 2017 (abstract seen).
    """
    return 100.0 * extract_share / (thickness_l_per_kg + moisture_share + extract_share)


def conversion_share(
    first_wort: float, thickness_l_per_kg: float, moisture_share: float, extract_share: float
) -> float:
    """Which share of the malt's extract is in solution, 0..1, by the first wort's °P? Inverse of `first_wort_p`."""
    return first_wort * (thickness_l_per_kg + moisture_share) / ((100.0 - first_wort) * extract_share)


def gravity_at_room(reading: float, temperature_c: float) -> float:
    """What would a hydrometer read at 20 °C that reads so much in a sample this warm? 10 to 40 °C, else ValueError.

    Wort is taken to expand like water; that of the glass is left out (0.0005 at 40 °C).
    """
    if not SAMPLE_C[0] <= temperature_c <= SAMPLE_C[1]:
        raise ValueError(f"cool the sample to {SAMPLE_C[0]:g} to {SAMPLE_C[1]:g} °C")
    return reading * density_kg_per_l(ROOM_C) / density_kg_per_l(temperature_c)


def ph_at(ph_room: float, temperature_c: float) -> float:
    """What does a wort of this pH at room temperature (20 °C) read when hot?"""
    return ph_room + PH_PER_K * (temperature_c - ROOM_C)


def ph_at_room(ph: float, temperature_c: float) -> float:
    """What would a sample measured at this temperature read at room temperature (20 °C)?

    A meter's "temperature compensation" corrects the electrode, not this real shift of the wort.
    """
    return ph - PH_PER_K * (temperature_c - ROOM_C)


def left_share(time_s: float, half_life_s: float) -> float:
    """Which share of an enzyme is left after so long, by first-order loss, 0..1? For illustration only.

    Real losses slow down: beta-amylase at 65 °C, 2.5 L/kg, 17 % left after 30 min and 8 % after 60 (Muller 1990,
    second hand), where a half-life of 10 min gives 12.5 % and 1.6 %.
    """
    return float(0.5 ** (time_s / half_life_s))
