"""What was measured, typed in any unit: under which key and in which unit is it filed?"""

from __future__ import annotations

import contextlib

from controller.brewing import volumes, wort
from controller.brewing.units import Kind, NotAQuantity, quantity
from controller.commands.shared.exit_codes import Wrong
from controller.core.procedure.entries import FIGURES, TEXTS

BESIDE = {"ph": "ph_at_c", "liquor_volume_l": "liquor_at_c"}
_KINDS: dict[str, tuple[Kind, float]] = {  # unit of the figure: its kind, and how many of it are one base unit
    "°C": ("temperature", 1.0),
    "°P": ("gravity", 1.0),
    "L": ("volume", 1.0),
    "mL": ("volume", 1000.0),
    "g": ("mass", 1000.0),
}


def filed(key: str, text: str) -> dict[str, float | str]:
    """What is filed of a value that may say its temperature: "90 L at 95 °C", "1.040 SG at 30 °C", "5.4 at 65 °C".

    A volume of wort and a gravity are filed as of 20 °C; of liquor and pH the temperature is filed beside. Raises Wrong
    for a sample too warm to be read.
    """
    said, at, warm = text.partition(" at ")
    name, value = entry(key, said)
    try:
        at_c = quantity("temperature", warm)
    except NotAQuantity:
        return dict((entry(key, text),))
    if not at or name not in FIGURES or isinstance(value, str):
        return dict((entry(key, text),))
    if name in BESIDE:
        return {name: value, BESIDE[name]: round(at_c, 2)}
    try:
        return {name: round(_at_room(FIGURES[name].unit, value, at_c), 4)}
    except ValueError as why:
        raise Wrong(f"{name}: found {text!r}, wanted a sample of 20 °C: {why}") from None


def _at_room(unit: str, value: float, at_c: float) -> float:
    if unit == "°P":
        return wort.plato(wort.gravity_at_room(wort.gravity(value), at_c))
    return volumes.liquor_volume_l(volumes.liquor_kg(value, at_c), wort.ROOM_C) if unit == "L" else value


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
