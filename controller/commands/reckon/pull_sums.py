"""The sums of a pull that is away: what happens to it in its kettle, where the mash lands when it is back."""

from __future__ import annotations

from collections.abc import Iterator

from controller.brewing import heat, pull, water
from controller.brewing.kinetics.decoction import THICK_PULL
from controller.commands.reckon.sums import (
    ALTITUDE,
    GRIST,
    LIQUOR,
    POWER,
    VESSEL,
    Answer,
    Input,
    Sum,
    Values,
    gravity,
    mass,
    temperature,
)
from controller.settings.table import Quantity

_PULL = Input("thickness", Quantity("thickness", 0.5, 10), THICK_PULL, note="of the pull")


def _returned(v: Values) -> Iterator[Answer]:
    pulled = v["pull"] * pull.thick_j_per_kg_k(v["thickness"])
    rest = heat.mash_j_per_k(v["grist"], v["liquor"], v["vessel"]) - pulled
    yield Answer("the mash lands at", "temperature", heat.mix_c([(rest, v["from"]), (pulled, v["back"])]))
    yield Answer("heat capacity left in the tun", "capacity", rest)


def _thin(v: Values) -> Iterator[Answer]:
    """Liquid alone, c = (1 - P/100) c_w + P/100 of the dry grain's."""
    per_kg = pull.thin_j_per_kg_k(v["wort"])
    capacity = heat.mash_j_per_k(v["grist"], v["liquor"], v["vessel"])
    kg = pull.mass_kg(capacity, v["from"], v["to"], v["back"], per_kg)
    yield Answer("pull of thin mash", "mass", kg)
    yield Answer("specific heat, kJ/(kg K)", "number", per_kg / 1000.0)


def _kettle(v: Values) -> Iterator[Answer]:
    capacity, boils_c = v["pull"] * pull.thick_j_per_kg_k(v["thickness"]), water.boiling_c(altitude_m=v["altitude"])
    up_s = capacity * (v["rest_at"] - v["from"]) / v["power"]
    on_s = capacity * (boils_c - v["rest_at"]) / v["power"]
    yield Answer("to its rest", "duration", up_s)
    yield Answer("from there to the boil", "duration", on_s)
    yield Answer("away in all", "duration", up_s + v["rest"] + on_s + v["boil"] + v["carried"])
    yield Answer("boils off at most", "mass", v["power"] * v["boil"] / pull.VAPOUR_J_PER_KG)


def _lasting(key: str, default_s: float) -> Input:
    return Input(key, Quantity("duration", 0, 86_400), default_s)


_MASH = (GRIST, LIQUOR, VESSEL)

PULL = (
    Sum(
        "returned",
        "Where does the mash land when a pull is back?",
        (*_MASH, mass("pull"), _PULL, temperature("from", note="of the main mash by then"), temperature("back", 95.0)),
        _returned,
        'grist="20 kg" liquor="60 kg" vessel="12.5 kJ/K" pull="25.2 kg" from="51 °C"',
    ),
    Sum(
        "thin-pull",
        "How much of the liquid alone must be pulled and boiled?",
        (*_MASH, temperature("from"), temperature("to"), temperature("back", 95.0), gravity("wort")),
        _thin,
        'grist="20 kg" liquor="57.5 kg" vessel="12.5 kJ/K" from="72 °C" to="77 °C" wort="19 °P"',
    ),
    Sum(
        "kettle",
        "How long is a pull away, and what boils off?",
        (
            *(mass("pull"), _PULL, POWER, temperature("from"), temperature("rest_at", 72.0)),
            *(_lasting("rest", 900.0), _lasting("boil", 900.0), _lasting("carried", 600.0), ALTITUDE),
        ),
        _kettle,
        'pull="26.4 kg" power="3 kW" from="52 °C" altitude="310 m"',
    ),
)
