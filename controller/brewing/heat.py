"""Where does the heat go? Strike temperature, additions, decoctions, ramps, cooling, energy.

One balance stands behind all of it: what grist, vessel and liquor take up or give off adds up to nothing (first law of
thermodynamics). Masses kg, temperatures °C, heat capacities J/K, powers W, times s.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from math import exp, inf, log
from typing import NamedTuple

from controller.brewing.water import (
    SPECIFIC_HEAT_J_PER_KG_K,
    enthalpy_j_per_kg,
    temperature_of_enthalpy_c,
)

J_PER_KWH = 3.6e6
WATER = SPECIFIC_HEAT_J_PER_KG_K

DRY_GRIST_SHARE = 0.38  # specific heat of bone-dry malt relative to water (Pauls and Whites Brewing Room Book 1984/85)
USUAL_MOISTURE_SHARE = (
    0.02 / 0.62
)  # 3.2 %: makes the grist 0.40 of water, the figure printed for 3 and 4 % (same table)

# Slaking heat, kJ a kg, by moisture %: what the same table's slaking correction comes to at 2.68 L/kg (calculated).
_SLAKING_KJ_PER_KG = ((0.0, 38.0), (2.0, 30.0), (4.0, 19.0), (6.0, 17.0), (8.0, 13.0))


def grist_specific_heat_j_per_kg_k(moisture_share: float = USUAL_MOISTURE_SHARE) -> float:
    """How much heat warms a kilogram of grist by one kelvin, J/(kg K)? `moisture_share` 0..1, else ValueError.

    Mixture of dry malt (0.38 of water) and water. Agrees within 0.01 with the table in the Pauls and Whites Brewing
    Room Book 1984/85. Another line in print, 1.651 + 4.116 M (Bala and Woods, from memory), lies 8 % higher at 4 %.
    """
    if not 0.0 <= moisture_share <= 1.0:
        raise ValueError(f"moisture {moisture_share} is not a share of 0..1")
    return ((1.0 - moisture_share) * DRY_GRIST_SHARE + moisture_share) * WATER


def slaking_j_per_kg(moisture_share: float) -> float:
    """How much heat does a kilogram of malt set free when wetted, J/kg? Drier malt sets free more.

    Interpolated in what the slaking correction of the Pauls and Whites Brewing Room Book 1984/85 comes to; good to
    about a third. Heat balances here leave it out unless told otherwise.
    """
    percent = 100.0 * moisture_share
    for (low, at_low), (high, at_high) in pairwise(_SLAKING_KJ_PER_KG):
        if percent <= high:
            part = (max(percent, low) - low) / (high - low)
            return 1000.0 * (at_low + part * (at_high - at_low))
    return 1000.0 * _SLAKING_KJ_PER_KG[-1][1]


def mash_j_per_k(
    grist_kg: float, liquor_kg: float, metal_j_per_k: float = 0.0, moisture_share: float = USUAL_MOISTURE_SHARE
) -> float:
    """How much heat warms the mash (and the vessel, where given) by one kelvin, J/K?"""
    return grist_kg * grist_specific_heat_j_per_kg_k(moisture_share) + liquor_kg * WATER + metal_j_per_k


def vessel_j_per_k(water_kg: float, hot_c: float, end_c: float, vessel_c: float) -> float:
    """What is the vessel's heat capacity, J/K, by the water test?

    Hot water at `hot_c` into the vessel at `vessel_c` ends at `end_c`. Raises ValueError where the end does not lie
    between the two.
    """
    if not min(hot_c, vessel_c) < end_c < max(hot_c, vessel_c):
        raise ValueError(f"the end, {end_c} °C, does not lie between vessel {vessel_c} °C and water {hot_c} °C")
    return water_kg * WATER * (hot_c - end_c) / (end_c - vessel_c)


# ---------------------------------------------------------------- strike


class StrikeParts(NamedTuple):
    """By how much must the liquor be hotter than the mash, K, and for the sake of what?"""

    grist_k: float
    vessel_k: float  # 0 where the liquor is heated in the tun: vessel and liquor are warmed together
    slaking_k: float  # negative: wetting sets heat free
    lid_k: float = 0.0  # what the open lid takes while the grain goes in


def strike_parts(
    grist_kg: float,
    grist_c: float,
    liquor_kg: float,
    mash_c: float,
    *,
    metal_j_per_k: float,
    metal_c: float | None = None,
    moisture_share: float = USUAL_MOISTURE_SHARE,
    slaking_j_per_kg: float = 0.0,
) -> StrikeParts:
    """What makes up the strike temperature, so that the mash lands at `mash_c`? What it is over that, K, in parts.

    `metal_c` None: the liquor is heated in the tun itself, so the vessel is as hot as the liquor and helps. Else the
    liquor comes from elsewhere into a vessel at `metal_c`. To mix up the two costs 2 to 3 K. Losses are left out.
    Heat balance, first law; compare R. Barth, Strike Water Temperature, MBAA TQ 61(1) 2024 (abstract seen).
    Raises ValueError without liquor.
    """
    if not liquor_kg > 0.0:
        raise ValueError(f"liquor {liquor_kg} kg: there must be some")
    own = liquor_kg * WATER + (metal_j_per_k if metal_c is None else 0.0)
    grist = grist_kg * grist_specific_heat_j_per_kg_k(moisture_share) * (mash_c - grist_c)
    vessel = 0.0 if metal_c is None else metal_j_per_k * (mash_c - metal_c)
    return StrikeParts(grist / own, vessel / own, -grist_kg * slaking_j_per_kg / own)


def landing_c(
    grist_kg: float,
    grist_c: float,
    liquor_kg: float,
    liquor_c: float,
    *,
    metal_j_per_k: float,
    metal_c: float | None = None,
    moisture_share: float = USUAL_MOISTURE_SHARE,
    slaking_j_per_kg: float = 0.0,
) -> float:
    """Where does the mash land, °C, with liquor this hot? Inverse of `strike_parts`, same arguments."""
    grist = grist_kg * grist_specific_heat_j_per_kg_k(moisture_share)
    liquor = liquor_kg * WATER
    vessel_c = liquor_c if metal_c is None else metal_c
    total = grist * grist_c + liquor * liquor_c + metal_j_per_k * vessel_c + grist_kg * slaking_j_per_kg
    return total / (grist + liquor + metal_j_per_k)


# ---------------------------------------------------------------- additions


def addition_kg(capacity_j_per_k: float, from_c: float, to_c: float, liquor_c: float) -> float:
    """How much hot (or cold) liquor brings the mash to `to_c`, kg?

    Serves infusions and the cold correction of an overshoot alike; `capacity_j_per_k` is mash and vessel. Raises
    ValueError where liquor of that temperature cannot do it.
    """
    if (to_c - from_c) * (liquor_c - to_c) < 0.0 or liquor_c == to_c:
        raise ValueError(f"liquor at {liquor_c} °C cannot bring a mash from {from_c} to {to_c} °C")
    return capacity_j_per_k * (to_c - from_c) / (WATER * (liquor_c - to_c))


def mixed_with_liquor_c(capacity_j_per_k: float, mash_c: float, liquor_kg: float, liquor_c: float) -> float:
    """Where does the mash land, °C, when so much liquor is added? Inverse of `addition_kg`."""
    liquor = liquor_kg * WATER
    return (capacity_j_per_k * mash_c + liquor * liquor_c) / (capacity_j_per_k + liquor)


def decoction_share(
    from_c: float, to_c: float, return_c: float, *, mash_j_per_k: float = 1.0, metal_j_per_k: float = 0.0
) -> float:
    """Which share of the mash, as thick as the mash itself, must be pulled and come back at `return_c`, 0..1?

    Take `return_c` 5 to 10 K below the boil (from memory). Raises ValueError unless from <= to < return.
    """
    if not from_c <= to_c < return_c:
        raise ValueError(f"a decoction back at {return_c} °C cannot bring a mash from {from_c} to {to_c} °C")
    return (to_c - from_c) / (return_c - from_c) * (mash_j_per_k + metal_j_per_k) / mash_j_per_k


def thick_pull_kg(
    capacity_j_per_k: float,
    from_c: float,
    to_c: float,
    return_c: float,
    *,
    pull_l_per_kg: float,
    moisture_share: float = USUAL_MOISTURE_SHARE,
) -> float:
    """How much mash of another thickness must be pulled, kg? A thick pull carries less heat a kg than the mash.

    `pull_l_per_kg`: kg of liquor to a kg of grist in the pull; `capacity_j_per_k`: mash, and the vessel where counted.
    """
    share = decoction_share(from_c, to_c, return_c)
    grist = grist_specific_heat_j_per_kg_k(moisture_share)
    per_kg = (grist + pull_l_per_kg * WATER) / (1.0 + pull_l_per_kg)
    return capacity_j_per_k * share / per_kg


def mix_c(parts: Iterable[tuple[float, float]]) -> float:
    """Where do things poured together land, °C? `parts`: heat capacity J/K (or kg, where all are liquor) and °C."""
    known = list(parts)
    total = sum(size for size, _ in known)
    if not total > 0.0:
        raise ValueError("nothing to mix")
    return sum(size * at_c for size, at_c in known) / total


def mix_liquor_c(parts: Iterable[tuple[float, float]]) -> float:
    """Where do portions of liquor (kg, °C) land, °C, with water's true heat content (IAPWS SR6-08)?"""
    return temperature_of_enthalpy_c(mix_c((kg, enthalpy_j_per_kg(at_c)) for kg, at_c in parts))


def blend_kg(total_kg: float, wanted_c: float, hot_c: float, cold_c: float) -> tuple[float, float]:
    """How much hot and how much cold liquor make `total_kg` at `wanted_c`, kg? ValueError where it cannot be."""
    if not cold_c <= wanted_c <= hot_c or hot_c == cold_c:
        raise ValueError(f"{wanted_c} °C does not lie between {cold_c} and {hot_c} °C")
    hot_kg = total_kg * (wanted_c - cold_c) / (hot_c - cold_c)
    return hot_kg, total_kg - hot_kg


# ---------------------------------------------------------------- ramps and cooling


def power_for_climb_w(
    capacity_j_per_k: float, climb_k_per_s: float, loss_w_per_k: float, room_c: float, at_c: float
) -> float:
    """How much power keeps up this climb at `at_c`, W? Warming plus loss to the room."""
    return capacity_j_per_k * climb_k_per_s + loss_w_per_k * (at_c - room_c)


def climb_k_per_s(capacity_j_per_k: float, power_w: float, loss_w_per_k: float, room_c: float, at_c: float) -> float:
    """How fast does it climb at `at_c` with this power, K/s? Negative where the loss is greater."""
    return (power_w - loss_w_per_k * (at_c - room_c)) / capacity_j_per_k


def ramp_time_s(
    capacity_j_per_k: float, power_w: float, loss_w_per_k: float, room_c: float, from_c: float, to_c: float
) -> float:
    """How long does the climb take at constant power, s? Infinite where the power never gets there; 0 if already there.

    Exact: t = C/UA ln[(T_end - from)/(T_end - to)], T_end = room + P/UA, where it would settle for good.
    """
    if to_c <= from_c:
        return 0.0
    if climb_k_per_s(capacity_j_per_k, power_w, loss_w_per_k, room_c, to_c) <= 0.0:
        return inf
    if loss_w_per_k == 0.0:
        return capacity_j_per_k * (to_c - from_c) / power_w
    end_c = room_c + power_w / loss_w_per_k
    return capacity_j_per_k / loss_w_per_k * log((end_c - from_c) / (end_c - to_c))


def limited_ramp_s(
    capacity_j_per_k: float,
    power_w: float,
    loss_w_per_k: float,
    room_c: float,
    from_c: float,
    to_c: float,
    limit_k_per_s: float,
) -> float:
    """How long does the climb take when it may go no faster than `limit_k_per_s`, s? Infinite where unreachable.

    Straight up to the temperature from which the heater alone sets the pace, then at constant power.
    """
    if to_c <= from_c:
        return 0.0
    spare_w = power_w - capacity_j_per_k * limit_k_per_s
    pace_c = room_c + spare_w / loss_w_per_k if loss_w_per_k > 0.0 else (inf if spare_w >= 0.0 else -inf)
    meet_c = min(max(pace_c, from_c), to_c)
    full_s = ramp_time_s(capacity_j_per_k, power_w, loss_w_per_k, room_c, meet_c, to_c)
    return (meet_c - from_c) / limit_k_per_s + full_s


def cooled_c(capacity_j_per_k: float, loss_w_per_k: float, room_c: float, from_c: float, time_s: float) -> float:
    """Where has it cooled to after so long without heat, °C? Newton's law of cooling."""
    return room_c + (from_c - room_c) * exp(-time_s * loss_w_per_k / capacity_j_per_k)


def cooling_time_s(capacity_j_per_k: float, loss_w_per_k: float, room_c: float, from_c: float, to_c: float) -> float:
    """How long until it has cooled to `to_c`, s? Infinite where it never does. Inverse of `cooled_c`."""
    if to_c >= from_c:
        return 0.0
    if to_c <= room_c or loss_w_per_k == 0.0:
        return inf
    return capacity_j_per_k / loss_w_per_k * log((from_c - room_c) / (to_c - room_c))


# ---------------------------------------------------------------- energy


def warming_kwh(capacity_j_per_k: float, from_c: float, to_c: float) -> float:
    """How much energy does the warming take, kWh? Losses apart."""
    return capacity_j_per_k * (to_c - from_c) / J_PER_KWH


def loss_kwh(loss_w_per_k: float, room_c: float, mean_c: float, time_s: float) -> float:
    """How much energy goes to the room in that time, kWh?"""
    return loss_w_per_k * (mean_c - room_c) * time_s / J_PER_KWH


def liquor_kwh(liquor_kg: float, from_c: float, to_c: float) -> float:
    """How much energy does heating liquor take, kWh, with water's true heat content (IAPWS SR6-08)?"""
    return liquor_kg * (enthalpy_j_per_kg(to_c) - enthalpy_j_per_kg(from_c)) / J_PER_KWH


def time_for_energy_s(energy_kwh: float, power_w: float, efficiency: float = 1.0) -> float:
    """How long does the heater need for so much energy, s? Infinite without power.

    Efficiency: electric, immersed or jacket 0.9..0.98; gas under a pot 0.3..0.5 (common practice).
    """
    if power_w * efficiency <= 0.0:
        return inf
    return energy_kwh * J_PER_KWH / (power_w * efficiency)


def cost(energy_kwh: float, price_per_kwh: float, efficiency: float = 1.0) -> float:
    """What does it cost, in the currency of the price?"""
    return energy_kwh * price_per_kwh / efficiency
