"""What does a recipe of the open JSON standard (BeerJSON) say of its mash?"""

from __future__ import annotations

import json
from typing import Any, TypeVar

from controller.edge.files import recipe_mash
from controller.edge.files.grain_names import grain
from controller.edge.files.recipe_mash import Found, RecipeStep, Sheet
from controller.settings.faults_in_words import found
from controller.settings.problems import Problem

T = TypeVar("T")

MOST = 1e300  # no number of a recipe is greater; a whole number may be, and is no float then


class _Ask:
    """Takes values out of a JSON document and keeps what was wrong with them."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def wrong(self, place: str, value: object, wanted: str) -> None:
        self.problems.append(Problem(place, "nothing" if value is None else found(value), wanted))

    def table(self, value: object, place: str) -> dict[str, Any]:
        return self._kind(value, place, dict, "an object")

    def listed(self, value: object, place: str) -> list[Any]:
        return self._kind(value, place, list, "a list")

    def text(self, value: object, place: str) -> str:
        return self._kind(value, place, str, "text")

    def _kind(self, value: object, place: str, kind: type[T], wanted: str) -> T:
        if isinstance(value, kind):
            return value
        self.wrong(place, value, wanted)
        return kind()

    def measured(self, value: object, units: dict[str, float], place: str) -> float | None:
        """An object of unit and value, in the base unit."""
        unit, number = (value.get("unit"), value.get("value")) if isinstance(value, dict) else (None, None)
        plain = isinstance(number, (int, float)) and not isinstance(number, bool) and abs(number) <= MOST
        if not isinstance(unit, str) or unit.lower() not in units or not plain:
            shown = json.dumps(value)[:60] if value is not None else "nothing"
            such = f'{{"unit": "{next(iter(units))}", "value": 1}}'
            wanted = f"an object such as {such}, unit one of {', '.join(units)}"
            self.problems.append(Problem(place, shown, wanted))
            return None
        return float(number) * units[unit.lower()]  # type: ignore[arg-type]

    def degrees(self, value: object, place: str) -> float | None:
        number = self.measured(value, {"c": 1.0, "f": 1.0}, place)
        fahrenheit = isinstance(value, dict) and str(value.get("unit")).lower() == "f"
        return (number - 32.0) * 5.0 / 9.0 if number is not None and fahrenheit else number


def sheet(raw: bytes) -> Found:
    """The one mash of the document, and what is wrong with it."""
    try:
        document = json.loads(raw.decode("utf-8-sig"), parse_constant=_no_constant, object_pairs_hook=_no_doubles)
    except (ValueError, RecursionError) as error:
        why = "lists or objects nested too deeply" if isinstance(error, RecursionError) else str(error)[:100]
        return None, [Problem("", f"no JSON ({why})", "a JSON recipe in UTF-8")]
    ask = _Ask()
    root = ask.table(ask.table(document, "the document").get("beerjson"), "beerjson")
    if ask.problems:
        return None, ask.problems
    return _sheet(ask, root), ask.problems


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    keys = [key for key, _ in pairs]
    double = next((key for key in keys if keys.count(key) > 1), None)
    if double is not None:
        raise ValueError(f"the key {double[:40]!r} stands twice")
    return dict(pairs)


def _sheet(ask: _Ask, root: dict[str, Any]) -> Sheet | None:
    recipes = ask.listed(root.get("recipes", []), "recipes")
    mashes = ask.listed(root.get("mashes", []), "mashes")
    if len(recipes) + (0 if recipes else len(mashes)) != 1:
        count = len(recipes) or len(mashes)
        ask.wrong("beerjson", f"{count} recipes or mashes" if count else None, "one recipe, or one mash")
        return None
    whole = ask.table(recipes[0], "recipe 1") if recipes else {}
    mash = ask.table(whole.get("mash") if recipes else mashes[0], "mash")
    left_out = whole.keys() - {"name", "mash", "ingredients", "type", "author"}
    notes = [f"recipe: {key} does not map and is left out" for key in whole if key in left_out]
    grist = _grist(ask, whole, notes)
    steps = ask.listed(mash.get("mash_steps"), "mash: mash_steps")
    lines = [_line(ask, step, at) for at, step in enumerate(steps, 1)]
    grain = mash.get("grain_temperature")
    return Sheet(
        title=ask.text(whole.get("name", mash.get("name")), "name"),
        grain_c=ask.degrees(grain, "mash: grain_temperature") if grain is not None else None,
        grist=grist,
        lines=lines,
        notes=notes,
    )


def _grist(ask: _Ask, whole: dict[str, Any], notes: list[str]) -> list[dict[str, Any]]:
    ingredients = ask.table(whole.get("ingredients", {}), "ingredients")
    left_out = [key for key in ingredients if key != "fermentable_additions"]
    notes += [f"ingredients: {key} do not map and are left out" for key in left_out]
    grist = []
    for at, item in enumerate(ask.listed(ingredients.get("fermentable_additions", []), "fermentable_additions"), 1):
        place = f"fermentable_additions {at}"
        entry = ask.table(item, place)
        name = ask.text(entry.get("name"), f"{place}: name")
        if entry.get("type", "grain") != "grain":
            notes.append(f"{place} {name!r} of type {entry.get('type')!r} does not go into the mash here")
            continue
        kg = ask.measured(entry.get("amount"), recipe_mash.MASSES_KG, f"{place}: amount")
        if kg is not None:
            grist.append(grain(name, kg, _json_sheet_figures(ask, entry, place), place, ask.problems))
            notes += [
                f"{place} {name!r}: {key} does not map and is left out" for key in entry if key not in _JSON_GRAIN
            ]
    return grist


_JSON_GRAIN = frozenset({"name", "type", "amount", "yield", "moisture", "producer", "origin", "grain_group"})
_PERCENT = {"%": 0.01}


def _json_sheet_figures(ask: _Ask, entry: dict[str, Any], place: str) -> dict[str, float | None]:
    """What the recipe says of the malt sheet: extract of the fine grind, fine-coarse difference, moisture."""
    given = ask.table(entry.get("yield", {}), f"{place}: yield")
    places = {
        "extract": (given.get("fine_grind"), f"{place}: yield: fine_grind"),
        "fine_coarse": (given.get("fine_coarse_difference"), f"{place}: yield: fine_coarse_difference"),
        "moisture": (entry.get("moisture"), f"{place}: moisture"),
    }
    return {
        key: None if value is None else ask.measured(value, _PERCENT, where) for key, (value, where) in places.items()
    }


_MAPPED = {"name", "type", "description", "step_temperature", "step_time", "ramp_time"}
_MAPPED |= {"amount", "infuse_amount", "water_grain_ratio"}


def _line(ask: _Ask, item: object, at: int) -> RecipeStep:
    place = f"mash_steps {at}"
    step = ask.table(item, place)

    def measured(key: str, value: object, units: dict[str, float]) -> float | None:
        return ask.measured(value, units, f"{place}: {key}") if value is not None else None

    return RecipeStep(
        place=place,
        name=ask.text(step.get("name"), f"{place}: name"),
        kind=ask.text(step.get("type"), f"{place}: type").lower(),
        temperature_c=ask.degrees(step.get("step_temperature"), f"{place}: step_temperature"),
        time_s=ask.measured(step.get("step_time"), recipe_mash.TIMES_S, f"{place}: step_time"),
        ramp_s=ask.measured(step["ramp_time"], recipe_mash.TIMES_S, f"{place}: ramp_time")
        if "ramp_time" in step
        else None,
        amount_l=measured("amount", step.get("amount", step.get("infuse_amount")), recipe_mash.VOLUMES_L),
        ratio_l_per_kg=measured("water_grain_ratio", step.get("water_grain_ratio"), recipe_mash.RATIOS_L_PER_KG),
        extra=tuple(key for key in step if key not in _MAPPED),
    )
