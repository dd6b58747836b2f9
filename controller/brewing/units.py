"""What does a quantity written with its unit mean in base units?

Closed kinds of our own. A general unit library reads "149 F" as farads and turns 1.5 K/min into 274 K/min; here a unit
that does not belong to the kind is refused. Arithmetic is exact (fractions) and rounded once, so that 145.4 °F is 63 °C
and not a hair more.
"""

from __future__ import annotations

import difflib
import itertools
import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Literal, NamedTuple

from controller.brewing import wort

Kind = Literal[
    "temperature",  # °C
    "difference",  # K
    "rate",  # K/s
    "duration",  # s
    "mass",  # kg
    "volume",  # L
    "power",  # W
    "energy",  # kWh
    "loss",  # W/K
    "capacity",  # J/K
    "share",  # 0..1
    "flow",  # L/min
    "length",  # m
    "thickness",  # L/kg
    "concentration",  # mg/L
    "price",  # per kWh
    "heat",  # kJ/kg
    "diastatic power",  # °Lintner
    "gravity",  # °P
]

_F = Fraction
_LB = _F("0.45359237")  # kg, exact (international yard and pound agreement, 1959)
_OZ = _LB / 16
_GAL = _F("3.785411784")  # L, exact (US gallon: 231 cubic inches)
_QT = _GAL / 4
_BBL = 31 * _GAL  # US beer barrel: 31 gallons
_IMP_GAL = _F("4.54609")  # L, exact (UK Weights and Measures Act 1985)
_BRIX = _F(1) / _F("1.04")  # °P a °Bx of unfermented wort (hobby common practice)
_FT = _F("0.3048")  # m, exact (1959 agreement)
_BTU_PER_H = _F("0.29307107017222")  # W (international table Btu, ISO 31-4)


class UnitKind(NamedTuple):
    """The units of one kind: factor and offset to the base unit, other spellings, an example."""

    base: str
    example: str
    units: dict[str, tuple[Fraction, Fraction]]
    spellings: Mapping[str, str] = MappingProxyType({})
    in_parts: str = ""  # an example, where several parts may make one quantity


def _scaled(**units: Fraction | int | str) -> dict[str, tuple[Fraction, Fraction]]:
    return {name: (_F(factor), _F(0)) for name, factor in units.items()}


_DEGREES = {"c": "°C", "degc": "°C", "deg c": "°C", "℃": "°C", "f": "°F", "degf": "°F", "deg f": "°F", "℉": "°F"}
_HOURS = {"hour": "h", "hours": "h", "hr": "h", "hrs": "h"}
_MINUTES = {"minute": "min", "minutes": "min", "mins": "min"}
_SECONDS = {"sec": "s", "secs": "s", "second": "s", "seconds": "s", "day": "d", "days": "d"}
_POUNDS = {"lbs": "lb", "pound": "lb", "pounds": "lb", "ounce": "oz", "ounces": "oz"}
_GALLONS = {"gallon": "gal", "gallons": "gal", "us gal": "gal", "quart": "qt", "quarts": "qt", "barrel": "bbl"}
_LITRES = {"litre": "L", "litres": "L", "liter": "L", "liters": "L", "l": "L", "ml": "mL", "hl": "hL"}

TABLE: dict[Kind, UnitKind] = {
    "temperature": UnitKind("°C", "66 °C", {"°C": (_F(1), _F(0)), "°F": (_F(5, 9), _F(-160, 9))}, _DEGREES),
    "difference": UnitKind("K", "2 K", {"K": (_F(1), _F(0)), "°C": (_F(1), _F(0)), "°F": (_F(5, 9), _F(0))}, _DEGREES),
    "rate": UnitKind(
        "K/s",
        "1.0 K/min",
        {
            **{
                f"{degree}/min": (factor / 60, _F(0))
                for degree, factor in (("K", _F(1)), ("°C", _F(1)), ("°F", _F(5, 9)))
            },
            **{f"{degree}/s": (factor, _F(0)) for degree, factor in (("K", _F(1)), ("°C", _F(1)), ("°F", _F(5, 9)))},
            **{
                f"{degree}/h": (factor / 3600, _F(0))
                for degree, factor in (("K", _F(1)), ("°C", _F(1)), ("°F", _F(5, 9)))
            },
        },
        {"c/min": "°C/min", "f/min": "°F/min", "degc/min": "°C/min", "degf/min": "°F/min"},
    ),
    "duration": UnitKind(
        "s", "35 min", _scaled(s=1, min=60, h=3600, d=86400), {**_HOURS, **_MINUTES, **_SECONDS}, "1 h 10 min"
    ),
    "mass": UnitKind("kg", "20 kg", _scaled(kg=1, g="1/1000", lb=_LB, oz=_OZ), _POUNDS, "11 lb 4 oz"),
    "volume": UnitKind(
        "L",
        "60 L",
        {
            **_scaled(L=1, mL="1/1000", hL=100, gal=_GAL, qt=_QT, bbl=_BBL),
            "imp gal": (_IMP_GAL, _F(0)),
            "imp bbl": (36 * _IMP_GAL, _F(0)),  # UK barrel: 36 gallons
        },
        {**_GALLONS, **_LITRES},
        "2 gal 1 qt",
    ),
    "power": UnitKind("W", "5 kW", _scaled(W=1, kW=1000) | {"Btu/h": (_BTU_PER_H, _F(0))}),
    "energy": UnitKind("kWh", "5.7 kWh", _scaled(kWh=1, Wh="1/1000", MJ="5/18")),
    "loss": UnitKind("W/K", "4 W/K", {"W/K": (_F(1), _F(0))}, {"w/°c": "W/K", "w/c": "W/K"}),
    "capacity": UnitKind(
        "J/K",
        "12.5 kJ/K",
        {"kJ/K": (_F(1000), _F(0)), "J/K": (_F(1), _F(0))},
        {"kj/°c": "kJ/K", "kj/c": "kJ/K", "j/°c": "J/K"},
    ),
    "share": UnitKind("", "4.8 %", {"%": (_F(1, 100), _F(0))}, {"percent": "%"}),
    "flow": UnitKind(
        "L/min", "6 L/min", {"L/min": (_F(1), _F(0)), "L/h": (_F(1, 60), _F(0)), "gal/min": (_GAL, _F(0))}
    ),
    "length": UnitKind("m", "310 m", _scaled(m=1, km=1000, ft=_FT), {"feet": "ft", "metres": "m", "meters": "m"}),
    "thickness": UnitKind("L/kg", "3.0 L/kg", {"L/kg": (_F(1), _F(0)), "qt/lb": (_QT / _LB, _F(0))}),
    "concentration": UnitKind("mg/L", "180 mg/L", {"mg/L": (_F(1), _F(0))}),
    "price": UnitKind("per kWh", "0.30 /kWh", {"/kWh": (_F(1), _F(0))}, {"per kwh": "/kWh"}),
    "heat": UnitKind("kJ/kg", "18 kJ/kg", {"kJ/kg": (_F(1), _F(0))}),
    "diastatic power": UnitKind(  # °Lintner = (WK + 16) / 3.5 (e-malt.com, diastatic power, seen)
        "°Lintner",
        "70 °Lintner",
        {"°Lintner": (_F(1), _F(0)), "°WK": (_F(2, 7), _F(32, 7))},
        {"lintner": "°Lintner", "wk": "°WK"},
    ),
    "gravity": UnitKind(
        "°P",
        "12 °P",
        {"°P": (_F(1), _F(0)), **_scaled(SG=1), "°Bx": (_BRIX, _F(0))},  # of SG the number: its curve is in `wort`
        {"p": "°P", "plato": "°P", "sg": "SG", "bx": "°Bx", "brix": "°Bx"},
    ),
}

_NUMBER = r"[+\-]?\d{1,12}(?:\.\d{1,15})?"
_PART = re.compile(rf"\s*({_NUMBER})\s*([^\d+\-.,\s][^\d+\-.,]*?)\s*(?=[+\-]?\d|$)", re.ASCII)
_BARE = re.compile(rf"\s*{_NUMBER}\s*", re.ASCII)
_DEGREE = re.compile(rf"\s*({_NUMBER})\s*(?:°|deg|degrees?)\s*", re.ASCII | re.IGNORECASE)
_COMMA = re.compile(r"\d,\d")
_ODD = re.compile(r"(?<![.\d])\d{13}|\.\d{16}|\d[eE][+\-]?\d", re.ASCII)
_SPACES = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "−": "-", "º": "°", "˚": "°", "\u212a": "K"})


class NotAQuantity(ValueError):
    """The text is no quantity of the kind. `wanted` says what would be."""

    def __init__(self, wanted: str) -> None:
        self.wanted = wanted
        super().__init__(wanted)


def quantity(kind: Kind, text: str) -> float:
    """How much is this, in the kind's base unit (°C, K, K/s, s, kg, L, W, kWh, W/K, J/K, 0..1, L/min, m, L/kg, °P)?

    Raises NotAQuantity for a bare number, a unit of another kind, or anything that is not a number and a unit. Some
    may have several parts: "1 h 10 min", "11 lb 4 oz", "2 gal 1 qt".
    """
    row, clean = TABLE[kind], text.translate(_SPACES)
    if len(text) > 80:
        raise NotAQuantity(f'a number with a unit such as "{row.example}"')
    if _BARE.fullmatch(clean):
        raise NotAQuantity(f'a number with a unit such as "{_like(row, clean.strip())}"')
    if _COMMA.search(clean):
        raise NotAQuantity(f'a point for decimals and nothing between thousands, such as "{_pointed(kind, clean)}"')
    if kind in ("temperature", "difference") and (bare := _DEGREE.fullmatch(clean)):
        raise NotAQuantity(f'°C or °F after the number, such as "{bare[1]} °C"')
    if _ODD.search(clean):
        raise NotAQuantity(f'plain digits, at most 12 before the point and 15 after it, such as "{row.example}"')
    parts = _parts(clean)
    if not parts or (len(parts) > 1 and not row.in_parts):
        raise NotAQuantity(f'a number with a unit such as "{row.example}"')
    if len(parts) > 1:
        return float(_sum(row, parts))
    if kind == "gravity" and _name(row, parts[0][1]) == "SG":
        return _plato(parts[0][0])
    return float(_one(row, *parts[0]))


def _pointed(kind: Kind, text: str) -> str:
    """The text with its decimal comma as a point; the example where the comma may stand between thousands."""
    pointed = re.sub(r"(\d),(\d{1,2}|\d{4,})(?=\D|$)", r"\1.\2", text.strip(), count=1)
    if _BARE.fullmatch(pointed):
        return _like(TABLE[kind], pointed)
    if _COMMA.search(pointed):
        return TABLE[kind].example
    try:
        quantity(kind, pointed)
    except NotAQuantity:
        return TABLE[kind].example
    return pointed


def _sum(row: UnitKind, parts: list[tuple[str, str]]) -> Fraction:
    """Parts fall in size and have no signs."""
    sizes = [_unit(row, unit)[0] for _, unit in parts]
    falling = all(a > b for a, b in itertools.pairwise(sizes))
    if not falling or any(number[0] in "+-" for number, _ in parts):
        raise NotAQuantity(f'the larger unit first, such as "{row.in_parts}"')
    return sum((_one(row, *part) for part in parts), _F(0))


def _plato(gravity: str) -> float:
    """°P of a specific gravity."""
    try:
        return wort.plato(float(gravity))
    except ValueError:
        raise NotAQuantity('a specific gravity from 1.000 to 1.130, such as "1.048 SG"') from None


def likely(kind: Kind, number: float) -> str:
    """A bare number with the unit a person probably had in mind."""
    return _like(TABLE[kind], f"{number:g}")


def _like(row: UnitKind, number: str) -> str:
    """The bare number with a likely unit."""
    if row is TABLE["temperature"] and float(number) > 100.0:
        return f"{number} °F"
    if row is TABLE["gravity"] and 0.99 < float(number) < 1.2:
        return f"{number} SG"
    if row is TABLE["power"] and float(number) >= 100.0:
        return f"{number} W"
    if row is TABLE["share"] and 0.0 < abs(float(number)) < 1.0:
        return f"{100.0 * float(number):.6g} %"
    return f"{number} {row.example.split(' ', 1)[1]}"


def _parts(text: str) -> list[tuple[str, str]]:
    """The text as (number, unit) pairs, or nothing when it is not made of such pairs alone."""
    found, at = [], 0
    while at < len(text):
        match = _PART.match(text, at)
        if match is None:
            return []
        found.append((match.group(1), match.group(2)))
        at = match.end()
    return found


def _one(row: UnitKind, number: str, unit: str) -> Fraction:
    factor, offset = _unit(row, unit)
    return _F(number) * factor + offset


def _unit(row: UnitKind, unit: str) -> tuple[Fraction, Fraction]:
    """Factor and offset of a unit of this kind."""
    return row.units[_name(row, unit)]


def _name(row: UnitKind, unit: str) -> str:
    """What is this unit called in the table?"""
    plain = " ".join(unit.split())
    if plain in row.units:
        return plain
    known = {**{name.lower(): name for name in row.units}, **row.spellings}
    name = known.get(plain.lower().replace(" /", "/").replace("/ ", "/").replace("° ", "°"))
    if name is not None:
        return name
    raise NotAQuantity(_advice(row, plain))


def _advice(row: UnitKind, unit: str) -> str:
    near = difflib.get_close_matches(unit, row.units, n=1, cutoff=0.6)
    names = list(row.units)[:4]
    units = " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    hint = f' (did you mean "{near[0]}"?)' if near else ""
    if unit in ("K", "k") and row is TABLE["temperature"]:
        hint = " (K is for differences)"
    return f'a unit of {units}{hint}, such as "{row.example}"'
