"""Which kind of grain does a recipe's name mean, where one can be sure?

A closed list of names. Everything else is asked and not guessed: a person puts the kind behind the name in the recipe
file, in brackets, such as "House special (caramel malt)".
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, get_args

from controller.plan.recipe import GristKind
from controller.settings.problems import Problem

KINDS: tuple[str, ...] = get_args(GristKind)
# Where it was grown or how it is dressed says nothing of its kind.
_BESIDE = frozenset(
    {
        *("german", "belgian", "british", "english", "uk", "us", "american", "canadian", "french", "czech"),
        *("2-row", "two-row", "6-row", "six-row", "2", "6", "row", "floor", "malted", "light", "medium", "dark"),
        *("extra", "best", "white", "red", "whole", "organic", "ebc", "l", "lovibond", "srm", "-"),
    }
)
_PLAIN: dict[str, tuple[str, ...]] = {
    "malt": ("pale malt", "pale ale malt", "pilsner malt", "pilsener malt", "pils malt", "lager malt", "base malt"),
    "wheat malt": ("wheat malt", "pale wheat malt"),
    "rye malt": ("rye malt",),
    "oat malt": ("oat malt",),
    "kilned malt": ("munich malt", "munich", "vienna malt", "vienna"),
    "caramel malt": ("crystal malt", "caramel malt", "crystal", "caramel"),
    "roasted malt": ("chocolate malt", "black malt", "roasted malt", "roasted barley", "roast barley"),
    "sour malt": ("acid malt", "acidulated malt", "sour malt"),
    "barley": ("raw barley", "unmalted barley"),
    "wheat": ("raw wheat", "unmalted wheat"),
    "rye": ("raw rye", "unmalted rye"),
    "oats": ("raw oats", "unmalted oats"),
    "maize": ("maize grits", "corn grits"),
    "rice": ("rice", "raw rice", "rice grits"),
    "sorghum": ("raw sorghum",),
    "husk": ("rice hulls", "rice husk", "rice husks", "oat hulls", "oat husk", "oat husks", "barley husk", "husks"),
}
_FLAKED: dict[str, tuple[str, ...]] = {
    "barley": ("flaked barley", "barley flakes", "torrified barley"),
    "wheat": ("flaked wheat", "wheat flakes", "torrified wheat", "torrefied wheat"),
    "rye": ("flaked rye", "rye flakes"),
    "oats": ("flaked oats", "oat flakes", "rolled oats"),
    "maize": ("flaked maize", "flaked corn", "maize flakes", "corn flakes"),
    "rice": ("flaked rice", "rice flakes"),
}
SURE: dict[str, tuple[str, bool]] = {
    name: (kind, flaked)
    for table, flaked in ((_PLAIN, False), (_FLAKED, True))
    for kind, names in table.items()
    for name in names
}
_IN_BRACKETS = re.compile(r"\(([^()]*)\)\s*$")


def kind_of(name: str) -> tuple[str, bool] | None:
    """Which kind is it, and is it flaked? None where the name does not say so for certain."""
    plain = name.lower().strip()
    said = _IN_BRACKETS.search(plain)
    if said is not None:
        inside = said.group(1).strip()
        flaked = inside.startswith("flaked ")
        kind = inside.removeprefix("flaked ").strip()
        return (kind, flaked) if kind in KINDS else None
    words = re.split(r"[\s,]+", plain)
    if "malted" in words and "malt" not in words:
        plain = f"{plain.replace('malted', '').strip()} malt".replace("oats malt", "oat malt")
    if plain in SURE:
        return SURE[plain]
    return SURE.get(" ".join(word for word in re.split(r"[\s,]+", plain) if not _beside(word)))


def _beside(word: str) -> bool:
    return word in _BESIDE or re.fullmatch(r"[\d.]+[l]?", word) is not None


def grain(name: str, kg: float, sheet: Mapping[str, float | None], place: str, wrong: list[Problem]) -> dict[str, Any]:
    """A line of grist with what its malt sheet says; where its kind is not certain, that is asked.

    `sheet`: shares 0..1 by our own keys; what is out of range is left to the program's own check.
    """
    found = kind_of(name)
    if found is None:
        shown = name[:60] or "nothing"
        wanted = f'its kind behind the name, such as "{shown[:30]} (caramel malt)"; one of {", ".join(KINDS)}'
        wrong.append(Problem(f"{place}: name", f'"{shown}", which does not say its kind for certain', wanted))
    kind, flaked = found or ("malt", False)
    known = {key: f"{100.0 * value:.4f} %" for key, value in sheet.items() if value is not None}
    return {"name": name[:80] or "grain", "kg": kg, "kind": kind, "flaked": flaked, "sheet": known}
