"""What is a sum of the trade that a person can ask for: what goes in, what comes out, and how is it shown?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

from controller.settings.table import FieldKind, Quantity

Values = Mapping[str, float]  # by key, in base units; what was left out and has no default is not there


class Input(NamedTuple):
    """One quantity that goes in."""

    key: str
    mark: Quantity
    default: float | None = None
    needed: bool = True  # where there is no default
    note: str = ""


class Answer(NamedTuple):
    """One quantity that comes out."""

    label: str
    kind: FieldKind
    value: float
    note: str = ""


class Sum(NamedTuple):
    """A sum by its name."""

    name: str
    question: str
    inputs: tuple[Input, ...]
    work: Callable[[Values], Iterator[Answer]]
    example: str


SHOWN: Mapping[FieldKind, tuple[float, int, str]] = {  # in the unit shown: how many a base unit, decimals, unit
    "temperature": (1.0, 2, "°C"),
    "difference": (1.0, 2, "K"),
    "rate": (60.0, 3, "K/min"),
    "duration": (1.0 / 60.0, 1, "min"),
    "mass": (1.0, 2, "kg"),
    "volume": (1.0, 3, "L"),
    "power": (1e-3, 3, "kW"),
    "energy": (1.0, 3, "kWh"),
    "capacity": (1e-3, 2, "kJ/K"),
    "share": (100.0, 2, "%"),
    "thickness": (1.0, 2, "L/kg"),
    "gravity": (1.0, 2, "°P"),
    "length": (1.0, 0, "m"),
    "number": (1.0, 4, ""),
}


def shown(answer: Answer) -> float:
    """The value in the unit shown."""
    return answer.value * SHOWN[answer.kind][0]


def line(answer: Answer) -> str:
    """One answer in words."""
    _, decimals, unit = SHOWN[answer.kind]
    note = f"  ({answer.note})" if answer.note else ""
    return f"{answer.label}: {shown(answer):.{decimals}f} {unit}".rstrip() + note


# ---------------------------------------------------------------- inputs that many sums have


def temperature(key: str, default: float | None = None, *, needed: bool = True, note: str = "") -> Input:
    return Input(key, Quantity("temperature", -10, 105), default, needed, note)


def mass(key: str, default: float | None = None, *, needed: bool = True, note: str = "") -> Input:
    return Input(key, Quantity("mass", 0, 20_000), default, needed, note)


def volume(key: str, default: float | None = None, *, needed: bool = True, note: str = "") -> Input:
    return Input(key, Quantity("volume", 0, 20_000), default, needed, note)


def share(key: str, default: float | None = None, *, needed: bool = True, note: str = "") -> Input:
    return Input(key, Quantity("share", 0, 1), default, needed, note)


def gravity(key: str, *, needed: bool = True, note: str = "") -> Input:
    return Input(key, Quantity("gravity", 0, 30), None, needed, note)


GRIST = mass("grist")
LIQUOR = mass("liquor")
MOISTURE = share("moisture", 0.04, note="of the malt")
EXTRACT = share("extract", 0.78, note="of the malt as it is, fine grind")
VESSEL = Input("vessel", Quantity("capacity", 0, 1e7), 0.0, note="its heat capacity, `metal` of the tun file")
ROOM = temperature("room", 18.0)
LOSS = Input("loss", Quantity("loss", 0, 1_000), 0.0)
POWER = Input("power", Quantity("power", 0, 1e6))
ALTITUDE = Input("altitude", Quantity("length", -400, 5_000), 0.0)
