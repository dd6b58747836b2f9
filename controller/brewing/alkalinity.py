"""What do the salts of the liquor do to the mash, and what do acid and salts change of it?

Only where the chemistry is exact: residual alkalinity, the acid that takes it away, ions from a formula mass. The
pH that a malt makes of it is a band.
"""

from __future__ import annotations

from typing import NamedTuple

# mg of one milliequivalent: half the formula mass of the divalent ions
CALCIUM_MG, MAGNESIUM_MG, BICARBONATE_MG, CARBONATE_MG = 20.04, 12.15, 61.017, 50.04
DH_PER_MEQ = 2.804  # °dH
LOW_K, HIGH_K = 0.015, 0.03  # pH a °dH: Kolbach: 0.03 in cast-out wort (second hand); mashes less
LACTIC_G, LACTIC_PKA = 90.08, 3.86  # g a mol; from memory
WEAK, STRONG = (
    (0.80, 1.187),
    (0.88, 1.206),
)  # mass share and kg/L of lactic acid: memory; a supplier's note
LEAST_BUFFER, MOST_BUFFER = 20.0, 45.0  # mEq a kg of grist and pH unit (by the acid-malt rule, seen; from memory)
GYPSUM = {"calcium": 40.078 / 172.17, "sulfate": 96.06 / 172.17}  # CaSO4·2H2O, by formula mass
CHLORIDE = {"calcium": 40.078 / 147.01, "chloride": 70.906 / 147.01}  # CaCl2·2H2O


class Liquor(NamedTuple):
    """Ions, mg/L."""

    calcium: float
    magnesium: float
    bicarbonate: float


def residual_meq_per_l(liquor: Liquor) -> float:
    """What is left of the alkalinity, mEq/L? Alkalinity - Ca/3.5 - Mg/7 (Kolbach 1953; equation: Palmer, seen)."""
    hardness = liquor.calcium / CALCIUM_MG / 3.5 + liquor.magnesium / MAGNESIUM_MG / 7.0
    return liquor.bicarbonate / BICARBONATE_MG - hardness


def mash_ph(sheet_ph: float, residual_meq: float) -> tuple[float, float]:
    """Between which pH will the mash be, by the mean of the sheets' Congress worts?"""
    low, high = sorted(sheet_ph + k * DH_PER_MEQ * residual_meq for k in (LOW_K, HIGH_K))
    return low, high


def lactic_meq_per_ml(mass_share: float, ph: float = 5.4) -> float:
    """How much acid does a millilitre of lactic acid give at this pH, mEq? Density straight between 80 and 88 %."""
    (weak, light), (strong, heavy) = WEAK, STRONG
    kg_per_l = light + (mass_share - weak) / (strong - weak) * (heavy - light)
    return 1000.0 * kg_per_l * mass_share / LACTIC_G / (1.0 + float(10.0 ** (LACTIC_PKA - ph)))


def mash_acid_meq(grist_kg: float, fall_ph: float) -> tuple[float, float]:
    """How much acid lowers a measured mash pH by so much, mEq: a first portion, and the most without measuring anew?"""
    return LEAST_BUFFER * grist_kg * fall_ph, MOST_BUFFER * grist_kg * fall_ph
