"""Which units can people choose to read, and what does a program print that they are told in them?

Every name that `units` in service.toml and `--units` take: each alone, the sets, and lists of several kinds.
"""

from __future__ import annotations

from controller.brewing.units import TABLE, Kind
from controller.settings.own_units import SETS

KINDS: tuple[Kind, ...] = ("temperature", "mass", "volume", "gravity")
ALONE = [name for kind in KINDS for name in TABLE[kind].units]
LISTS = [", ".join(("°F", mass, volume, "SG")) for mass in TABLE["mass"].units for volume in TABLE["volume"].units]
CHOICES = [*sorted(SETS), *ALONE, *LISTS, "°F lb bbl", "imp bbl °Bx oz"]

METRIC: dict[str, tuple[Kind, float, float]] = {  # unit printed: its kind, from, to
    "°C": ("temperature", -10, 110),
    "K": ("difference", 0, 60),
    "K/min": ("rate", 0, 5),
    "kg": ("mass", 0, 5_000),
    "L": ("volume", 0, 20_000),
    "L/kg": ("thickness", 1, 10),
    "L/min": ("flow", 0, 500),
    "°P": ("gravity", 0, 29),
}


def read_back(unit: str, printed: str, value: float) -> str:
    """A value in the base unit of its kind, with the digits that it was printed with."""
    return f"{value * (60.0 if unit == 'K/min' else 1.0):.{len(printed.partition('.')[2])}f}"
