"""What may a person enter of a batch, in which unit and within which bounds?

One table for `order answer key=value` during the run, for what is entered after it, and for the batch record, which
shows what was never entered as a gap. The bounds catch slips of the pen (own proposal); none of these figures decides
anything in the run.
"""

from collections.abc import Iterable, Mapping
from math import isfinite
from typing import Any, NamedTuple

from controller.brewing import wort

LONGEST_TEXT = 300
NOBODY = "unknown"


class Figure(NamedTuple):
    """A number that is entered. The unit is also the end of its key."""

    title: str
    unit: str
    low: float
    high: float


class Item(NamedTuple):
    """One line of the batch record: known as soon as one of its keys is."""

    title: str
    keys: tuple[str, ...]
    water: bool = False  # to be known of a run with water alone, too
    lab: bool = False  # of a laboratory mash, or of what is seldom added: shown where it was entered


FIGURES: dict[str, Figure] = {
    "ph": Figure("pH of the mash", "", 2.0, 9.0),
    "ph_at_c": Figure("sample at", "°C", 0.0, 100.0),
    "gravity_p": Figure("gravity in the mash", "°P", 0.0, 40.0),
    "crush_gap_mm": Figure("gap of the mill's rollers", "mm", 0.1, 5.0),
    "crush_husk_pct": Figure("husks on the coarsest sieve", "% by mass", 0.0, 100.0),
    "crush_flour_pct": Figure("flour through the finest sieve", "% by mass", 0.0, 100.0),
    "liquor_volume_l": Figure("liquor measured", "L", 0.5, 20_000.0),
    "liquor_at_c": Figure("liquor measured at", "°C", 0.0, 100.0),
    "gypsum_g": Figure("gypsum, CaSO4·2H2O", "g", 0.0, 20_000.0),
    "calcium_chloride_g": Figure("calcium chloride, CaCl2·2H2O", "g", 0.0, 20_000.0),
    "magnesium_sulphate_g": Figure("magnesium sulphate, MgSO4·7H2O", "g", 0.0, 20_000.0),
    "table_salt_g": Figure("table salt, NaCl", "g", 0.0, 20_000.0),
    "chalk_g": Figure("chalk, CaCO3", "g", 0.0, 20_000.0),
    "bicarbonate_g": Figure("sodium bicarbonate, NaHCO3", "g", 0.0, 20_000.0),
    "lactic_acid_ml": Figure("lactic acid", "mL", 0.0, 20_000.0),
    "phosphoric_acid_ml": Figure("phosphoric acid", "mL", 0.0, 20_000.0),
    "acid_strength_pct": Figure("strength of the acid", "% by mass", 1.0, 100.0),
    "first_wort_p": Figure("gravity of the first wort", "°P", 0.0, 40.0),
    "first_wort_volume_l": Figure("first wort, at 20 °C", "L", 0.1, 20_000.0),
    "last_runnings_p": Figure("gravity of the last runnings", "°P", 0.0, 40.0),
    "congress_p": Figure("gravity of the Congress wort, made up to 9 times the malt", "°P", 7.5, 9.8),
    "isothermal_p": Figure("gravity of the 65 °C wort, 50 g in 515 mL", "°P", 5.0, 9.8),
    "beaker": Figure("number of the beaker", "", 1, 40),
    "runoff_min": Figure("run-off time", "min", 1.0, 600.0),
    "colour_ebc": Figure("colour of the laboratory wort", "EBC", 0.5, 2_000.0),
    "viscosity_mpas": Figure("viscosity at 8.6 °P", "mPa s", 0.8, 5.0),
    "nitrogen_mgl": Figure("soluble nitrogen", "mg/L", 100.0, 2_000.0),
    "fan_mgl": Figure("free amino nitrogen", "mg/L", 20.0, 600.0),
    "beta_glucan_mgl": Figure("beta-glucan", "mg/L", 0.0, 2_000.0),
    "limit_pct": Figure("limit that was fermented out, apparent", "% of the extract", 30.0, 100.0),
    "final_p": Figure("gravity of all the wort", "°P", 0.0, 30.0),
    "final_volume_l": Figure("all the wort, at 20 °C", "L", 0.1, 20_000.0),
}
TEXTS: dict[str, str] = {
    "batch": "batch number",
    "crush": "crush in words",
    "salts": "salts in words",
    "acid": "acid in words",
    "odour": "odour of the mash",
    "clarity": "clarity of the wort",
    "analyst": "analyst",
    "enzyme": "enzyme added, its dose",
    "spent_grain": "spent grain",
    "remark": "remark",
}
SALTS = ("gypsum_g", "calcium_chloride_g", "magnesium_sulphate_g", "table_salt_g", "chalk_g", "bicarbonate_g", "salts")
ANALYSES = ("colour_ebc", "viscosity_mpas", "nitrogen_mgl", "fan_mgl", "beta_glucan_mgl")

# What a batch record should hold that only a person can tell; what is missing of it is shown as a gap.
ITEMS: tuple[Item, ...] = (
    Item("batch number", ("batch",)),
    Item("crush", ("crush_gap_mm", "crush_husk_pct", "crush_flour_pct", "crush")),
    Item("liquor measured", ("liquor_volume_l", "liquor_at_c"), water=True),
    Item("salts", SALTS),
    Item("acid", ("lactic_acid_ml", "phosphoric_acid_ml", "acid_strength_pct", "acid")),
    Item("pH of the mash", ("ph", "ph_at_c")),
    Item("gravity in the mash", ("gravity_p",)),
    Item("first wort: gravity", ("first_wort_p",)),
    Item("first wort: volume at 20 °C", ("first_wort_volume_l",)),
    Item("last runnings: gravity", ("last_runnings_p",)),
    Item("enzyme added", ("enzyme",), lab=True),
    Item("laboratory wort", ("beaker", "congress_p", "isothermal_p"), lab=True),
    Item("laboratory wort: by eye, nose and clock", ("odour", "clarity", "runoff_min", "analyst"), lab=True),
    Item("laboratory wort: analyses", ANALYSES, lab=True),
    Item("gravity of all the wort", ("final_p",)),
    Item("limit that was fermented out", ("limit_pct",), lab=True),
    Item("volume of all the wort at 20 °C", ("final_volume_l",)),
    Item("spent grain", ("spent_grain",)),
)


STRONG = frozenset({"gravity_p", "first_wort_p", "final_p"})  # no wort of a mash is as thin as 1 °P
LEAST_GRAVITY, MOST_GRAVITY = 1.005, 1.13  # the latter is as far as `wort.plato` goes


def taken(args: Mapping[str, Any]) -> dict[str, Any]:
    """What of these arguments is an entry?"""
    return {key: value for key, value in args.items() if key in FIGURES or key in TEXTS}


def problems(args: Mapping[str, Any], others: Iterable[str] = ()) -> list[str]:
    """What is wrong with these entries? Each with key, what was found and what is wanted; empty when all is well.

    `others`: keys that are no entries and are right in this place.
    """
    found = []
    for key, value in args.items():
        if key in FIGURES:
            found += _figure(key, FIGURES[key], value)
        elif key in TEXTS:
            found += _text(key, value)
        elif key not in others:
            found.append(f"{key}: found a key that is not known, wanted one of {', '.join((*FIGURES, *TEXTS))}")
    return found


def _figure(key: str, figure: Figure, value: object) -> list[str]:
    number = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
    if number and key in STRONG and LEAST_GRAVITY <= float(str(value)) <= MOST_GRAVITY:
        meant = wort.plato(float(str(value)))
        return [f"{key}: found {value}, which reads as a specific gravity; in °P that is {meant:.1f}"]
    if number and figure.low <= float(str(value)) <= figure.high:
        return []
    unit = f" {figure.unit}" if figure.unit else ""
    wanted = f"wanted a number from {figure.low:g} to {figure.high:g}{unit}"
    if number and figure.unit == "°C" and figure.high < float(str(value)) <= 1.8 * figure.high + 32.0:
        meant = (float(str(value)) - 32.0) / 1.8
        return [f"{key}: found {value}, {wanted}; that reads as Fahrenheit; in °C that is {meant:.1f}"]
    return [f"{key}: found {str(value)[:40]!r}, {wanted}"]


def _text(key: str, value: object) -> list[str]:
    plain = isinstance(value, int | float) and not isinstance(value, bool)  # a batch may be called 93
    if plain or (isinstance(value, str) and value.strip() and len(value) <= LONGEST_TEXT):
        return []
    return [f"{key}: found {str(value)[:40]!r}, wanted words, at most {LONGEST_TEXT} characters"]


def words(entry: Mapping[str, Any]) -> str:
    """The entries in one line, each with its name and unit."""
    names = {**TEXTS, **{key: figure.title for key, figure in FIGURES.items()}}
    return "; ".join(f"{names.get(key, key)}: {word(key, value)}" for key, value in entry.items())


def word(key: str, value: Any) -> str:
    """One value with its unit."""
    unit = FIGURES[key].unit if key in FIGURES else ""
    return f"{value:g} {unit}".rstrip() if unit and isinstance(value, int | float) else str(value)
