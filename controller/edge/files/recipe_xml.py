"""What does a recipe of the open XML standard (BeerXML 1.0) say of its mash? All its values have fixed units."""

from __future__ import annotations

import math
from typing import Any

from controller.edge.files import safe_xml
from controller.edge.files.recipe_mash import Found, RecipeStep, Sheet, grain
from controller.settings.faults_in_words import found
from controller.settings.problems import Problem


def sheet(raw: bytes) -> Found:
    """The one mash of the document, and what is wrong with it."""
    try:
        root = safe_xml.parse(raw)
    except safe_xml.Refused as refused:
        return None, [Problem(f"line {refused.line}" if refused.line else "", refused.found, refused.wanted)]
    problems: list[Problem] = []
    whole, mash = _mash(root)
    if mash is None:
        nothing = f"<{root.name[:40]}> without one recipe or mash in it"
        return None, [Problem("", nothing, "one RECIPE with its MASH, or one MASH")]
    left_out = [e for e in (whole.inside if whole else []) if e.name not in _KNOWN]
    notes = [f"line {e.line}: {e.name} does not map and is left out" for e in left_out]
    grist = _grist(whole, notes, problems)
    steps = [step for group in mash.all("MASH_STEPS") for step in group.all("MASH_STEP")]
    if not steps:
        problems.append(Problem(f"line {mash.line}: MASH_STEPS", "nothing", "at least one MASH_STEP"))
    return Sheet(
        title=(whole or mash).word("NAME"),
        grain_c=_number(mash, "GRAIN_TEMP", problems),
        grist=grist,
        lines=[_line(step, at, problems) for at, step in enumerate(steps, 1)],
        notes=notes,
    ), problems


_KNOWN = {"NAME", "VERSION", "TYPE", "BREWER", "FERMENTABLES", "MASH"}
_MAPPED = {"NAME", "VERSION", "TYPE", "STEP_TEMP", "STEP_TIME", "INFUSE_AMOUNT", "RAMP_TIME", "DESCRIPTION"}
_SHOWN = ("WATER_GRAIN_RATIO", "DECOCTION_AMT", "INFUSE_TEMP", "DISPLAY_")  # text for people only, by the standard


def _mash(root: safe_xml.Element) -> tuple[safe_xml.Element | None, safe_xml.Element | None]:
    """The one recipe, if any, and the one mash."""
    recipes = [root] if root.name == "RECIPE" else root.all("RECIPE")
    if len(recipes) == 1:
        return recipes[0], recipes[0].one("MASH")
    mashes = [root] if root.name == "MASH" else root.all("MASH")
    return None, mashes[0] if len(mashes) == 1 and not recipes else None


def _number(element: safe_xml.Element, name: str, problems: list[Problem], needed: bool = False) -> float | None:
    inner = element.one(name)
    if inner is None:
        if needed:
            problems.append(Problem(f"line {element.line}: {element.name}: {name}", "nothing", "a number"))
        return None
    text = inner.text.strip()
    if text.isascii() and "_" not in text:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if math.isfinite(value):
            return value
    problems.append(Problem(f"line {inner.line}: {name}", found(text), "a number in the standard's own unit"))
    return None


def _grist(whole: safe_xml.Element | None, notes: list[str], problems: list[Problem]) -> list[dict[str, Any]]:
    grist = []
    for entry in [e for group in (whole.all("FERMENTABLES") if whole else []) for e in group.all("FERMENTABLE")]:
        name, kind = entry.word("NAME"), entry.word("TYPE").lower()
        if kind not in ("grain", "adjunct", ""):
            notes.append(f"line {entry.line}: {name!r} of type {kind!r} does not go into the mash here")
            continue
        kg = _number(entry, "AMOUNT", problems, needed=True)
        if kg is not None:
            grist.append(grain(name, kg))
    return grist


def _line(step: safe_xml.Element, at: int, problems: list[Problem]) -> RecipeStep:
    minutes, ramp = _number(step, "STEP_TIME", problems, needed=True), _number(step, "RAMP_TIME", problems)
    extra = [e.name for e in step.inside if e.name not in _MAPPED and not e.name.startswith(_SHOWN)]
    return RecipeStep(
        place=f"MASH_STEP {at}",
        name=step.word("NAME") or f"step {at}",
        kind=step.word("TYPE").lower(),
        temperature_c=_number(step, "STEP_TEMP", problems, needed=True),
        time_s=minutes * 60.0 if minutes is not None else None,
        ramp_s=ramp * 60.0 if ramp is not None else None,
        amount_l=_number(step, "INFUSE_AMOUNT", problems),
        ratio_l_per_kg=None,
        extra=tuple(extra),
    )
