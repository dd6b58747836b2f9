"""What was measured, typed in any unit: under which key and in which unit is it filed?"""

from __future__ import annotations

import contextlib

from controller.brewing.units import Kind, NotAQuantity, quantity
from controller.core.procedure.entries import FIGURES, TEXTS

_KINDS: dict[str, tuple[Kind, float]] = {  # unit of the figure: its kind, and how many of it are one base unit
    "°C": ("temperature", 1.0),
    "°P": ("gravity", 1.0),
    "L": ("volume", 1.0),
    "mL": ("volume", 1000.0),
    "g": ("mass", 1000.0),
}


def entry(key: str, text: str) -> tuple[str, float | str]:
    """Key and value as they are filed: a number in the key's own unit, or the text, where it is none.

    "27.7 gal" under `final_volume` or `final_volume_l` is 104.9 L; a bare number is in the unit that the key names.
    """
    if key in TEXTS:
        return key, text
    with contextlib.suppress(ValueError):
        return key, float(text) if any(c.isdigit() for c in text) else text
    name = key if key in FIGURES else next((full for full in FIGURES if full.rpartition("_")[0] == key), key)
    if name in FIGURES and FIGURES[name].unit in _KINDS:
        kind, of_base = _KINDS[FIGURES[name].unit]
        with contextlib.suppress(NotAQuantity):
            return name, round(of_base * quantity(kind, text), 4)
    return key, text
