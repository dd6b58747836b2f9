"""What is a mash in the open recipe formats, whichever file it came from?"""

from __future__ import annotations

from typing import Any, NamedTuple

from controller.settings.problems import Problem

# to L, kg, s, L/kg; exact definitions of the international yard and pound agreement (1959) and the UK gallon (1985)
_GAL, _IGAL, _LB, _FT = 3.785411784, 4.54609, 0.45359237, 0.3048
VOLUMES_L = (
    {"l": 1.0, "ml": 0.001, "gal": _GAL, "qt": _GAL / 4, "pt": _GAL / 8, "cup": _GAL / 16, "floz": _GAL / 128}
    | {"tbsp": _GAL / 256, "tsp": _GAL / 768, "bbl": 31 * _GAL}
    | {"igal": _IGAL, "iqt": _IGAL / 4, "ipt": _IGAL / 8, "ifloz": _IGAL / 160, "ibbl": 36 * _IGAL}
)
MASSES_KG = {"mg": 1e-6, "g": 1e-3, "kg": 1.0, "lb": _LB, "oz": _LB / 16}
TIMES_S = {"sec": 1.0, "min": 60.0, "hr": 3600.0, "day": 86400.0, "week": 604800.0}
RATIOS_L_PER_KG = {
    "l/kg": 1.0,
    "l/g": 1000.0,
    "qt/lb": _GAL / 4 / _LB,
    "gal/lb": _GAL / _LB,
    "gal/oz": _GAL * 16 / _LB,
} | {"floz/oz": _GAL / 8 / _LB, "m^3/kg": 1000.0, "ft^3/lb": 1000.0 * _FT**3 / _LB}


class RecipeStep(NamedTuple):
    """One step of the exchange format, in base units; None where nothing usable is written."""

    place: str
    name: str
    kind: str
    temperature_c: float | None
    time_s: float | None
    ramp_s: float | None
    amount_l: float | None
    ratio_l_per_kg: float | None
    extra: tuple[str, ...]  # keys that do not map


class Sheet(NamedTuple):
    """A mash of the exchange format, whichever it came from."""

    title: str
    grain_c: float | None
    grist: list[dict[str, Any]]
    lines: list[RecipeStep]
    notes: list[str]


Found = tuple[Sheet | None, list[Problem]]
