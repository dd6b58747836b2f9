"""What does a part of the mash that is boiled apart carry, and where does the mash land with it?

Heat balances (first law) of decoctions, thick, thin and with what boils off, and of a cooker that joins the mash.
Masses kg, temperatures °C, heat capacities J/K, powers W, times s.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.brewing import heat, volumes, water, wort

VAPOUR_J_PER_KG = 2.257e6  # to boil water off (from memory)
DRY_J_PER_KG_K = heat.DRY_GRIST_SHARE * heat.WATER  # extract keeps the dry grain's (own proposal)
CARRY_S = 300.0  # to draw it off, and again to bring it back (own proposal)


class Heated(NamedTuple):
    """A rest of what is in the kettle; at the boil where no temperature is given."""

    temperature_c: float | None
    time_s: float


def thick_j_per_kg_k(pull_kg_per_kg: float, moisture_share: float = heat.USUAL_MOISTURE_SHARE) -> float:
    """How much heat warms a kilogram of mash of this thickness by one kelvin, J/(kg K)?"""
    return (heat.grist_specific_heat_j_per_kg_k(moisture_share) + pull_kg_per_kg * heat.WATER) / (1.0 + pull_kg_per_kg)


def thin_j_per_kg_k(gravity_p: float) -> float:
    """How much heat warms a kilogram of the liquid alone by one kelvin, J/(kg K)? By its gravity in °P."""
    extract = gravity_p / 100.0
    return (1.0 - extract) * heat.WATER + extract * DRY_J_PER_KG_K


def mass_kg(
    capacity_j_per_k: float, from_c: float, to_c: float, back_c: float, per_kg: float, boil_off_kg: float = 0.0
) -> float:
    """How much must be pulled, kg, for the mash to land at `to_c`? `from_c`: of the main mash when it comes back.

    Raises ValueError unless from <= to < back.
    """
    if not from_c <= to_c < back_c:
        raise ValueError(f"a decoction back at {back_c} °C cannot bring a mash from {from_c} to {to_c} °C")
    boiled = boil_off_kg * heat.WATER * (back_c - to_c)
    return (capacity_j_per_k * (to_c - from_c) + boiled) / (per_kg * (back_c - from_c))


def volume_l(pull_kg: float, pull_kg_per_kg: float) -> float:
    """How many litres is a pull of this thickness? A bucket measures litres."""
    return pull_kg * (pull_kg_per_kg + volumes.DISPLACEMENT_L_PER_KG) / (1.0 + pull_kg_per_kg)


def kg_of_volume(litres: float, pull_kg_per_kg: float) -> float:
    """How heavy is a pull of so many litres? Inverse of `volume_l`."""
    return litres * (1.0 + pull_kg_per_kg) / (pull_kg_per_kg + volumes.DISPLACEMENT_L_PER_KG)


def kettle_s(
    capacity_j_per_k: float, from_c: float, rests: Sequence[Heated], power_w: float, altitude_m: float
) -> float:
    """How long is it in the kettle, s: every rise at this power, every rest?"""
    total, now_c = 0.0, from_c
    for rest in rests:
        to_c = water.boiling_c(altitude_m) if rest.temperature_c is None else rest.temperature_c
        total += capacity_j_per_k * max(0.0, to_c - now_c) / power_w + rest.time_s
        now_c = to_c
    return total


def boiled_off_kg(rests: Sequence[Heated], power_w: float) -> float:
    """How much boils off at most, kg? All of the power through all of the boil."""
    return power_w * sum(rest.time_s for rest in rests if rest.temperature_c is None) / VAPOUR_J_PER_KG


def thin_volume_l(liquid_kg: float, gravity_p: float) -> float:
    """How many litres is this much of the liquid alone, at 20 °C?"""
    return liquid_kg / (wort.DENSITY_20_KG_PER_L * wort.gravity(min(30.0, gravity_p)))
