"""What does a recipe of the open XML standard (BeerXML 1.0) say of its mash? All its values have fixed units.

Of XML it takes elements and text only. A document type or an entity of its own, attributes that matter to nobody here,
endless nesting: all refused or left out before anything is built of them. No file or address outside is ever opened.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

from controller.edge.files.grain_names import grain
from controller.edge.files.recipe_mash import Found, RecipeStep, Sheet
from controller.settings.faults_in_words import found
from controller.settings.problems import Problem


def sheet(raw: bytes) -> Found:
    """The one mash of the document, and what is wrong with it."""
    try:
        root = parse(raw)
    except Refused as refused:
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


def _mash(root: Element) -> tuple[Element | None, Element | None]:
    """The one recipe, if any, and the one mash."""
    recipes = [root] if root.name == "RECIPE" else root.all("RECIPE")
    if len(recipes) == 1:
        return recipes[0], recipes[0].one("MASH")
    mashes = [root] if root.name == "MASH" else root.all("MASH")
    return None, mashes[0] if len(mashes) == 1 and not recipes else None


def _number(element: Element, name: str, problems: list[Problem], needed: bool = False) -> float | None:
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


def _grist(whole: Element | None, notes: list[str], problems: list[Problem]) -> list[dict[str, Any]]:
    grist = []
    for entry in [e for group in (whole.all("FERMENTABLES") if whole else []) for e in group.all("FERMENTABLE")]:
        name, kind = entry.word("NAME"), entry.word("TYPE").lower()
        if kind not in ("grain", "adjunct", ""):
            notes.append(f"line {entry.line}: {name!r} of type {kind!r} does not go into the mash here")
            continue
        kg = _number(entry, "AMOUNT", problems, needed=True)
        if kg is not None:
            sheet = {key: _share(entry, tag, problems) for key, tag in _XML_SHEET.items()}
            grist.append(grain(name, kg, sheet, f"line {entry.line}: FERMENTABLE", problems))
            left = [e.name for e in entry.inside if e.name not in _XML_GRAIN]
            notes += [f"line {entry.line}: {name!r}: {tag} does not map and is left out" for tag in left]
    return grist


_XML_SHEET = {"extract": "YIELD", "fine_coarse": "COARSE_FINE_DIFF", "moisture": "MOISTURE"}
_XML_GRAIN = frozenset({"NAME", "VERSION", "TYPE", "AMOUNT", "ORIGIN", "SUPPLIER", "NOTES", *_XML_SHEET.values()})


def _share(entry: Element, name: str, problems: list[Problem]) -> float | None:
    """A percentage of the standard as a share."""
    percent = _number(entry, name, problems)
    return None if percent is None else percent / 100.0


def _line(step: Element, at: int, problems: list[Problem]) -> RecipeStep:
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


MOST_DEPTH, MOST_ELEMENTS, MOST_TEXT = 24, 20_000, 20_000


class Refused(Exception):
    """The document is not read; the text says what was found and what was wanted."""

    def __init__(self, found: str, wanted: str, line: int = 0) -> None:
        self.found, self.wanted, self.line = found, wanted, line
        super().__init__(f"found {found}, wanted {wanted}")


@dataclass(slots=True)
class Element:
    """A name, a text, and what stands inside."""

    name: str
    line: int = 0
    text: str = ""
    inside: list[Element] = field(default_factory=list)

    def one(self, name: str) -> Element | None:
        """The first element of that name inside, if any."""
        return next((element for element in self.inside if element.name == name), None)

    def all(self, name: str) -> list[Element]:
        """Every element of that name inside."""
        return [element for element in self.inside if element.name == name]

    def word(self, name: str) -> str:
        """The text of the element of that name inside; empty when there is none."""
        element = self.one(name)
        return element.text.strip() if element is not None else ""


class _Builder:
    """Builds elements while the parser walks, and stops it where it must."""

    def __init__(self) -> None:
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.EntityDeclHandler = self._entity
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = lambda _: self.open.pop()
        self.parser.CharacterDataHandler = self._text
        self.open: list[Element] = [Element("")]
        self.count = 0

    def _refuse(self, found: str, wanted: str) -> None:
        raise Refused(found, wanted, self.parser.CurrentLineNumber)

    def _doctype(self, *_: object) -> None:
        self._refuse("a document type", "plain elements: document types can pull in other files")

    def _entity(self, *_: object) -> None:
        self._refuse("an entity of its own", "plain text: entities can grow without end")

    def _start(self, name: str, _: dict[str, str]) -> None:
        self.count += 1
        if self.count > MOST_ELEMENTS:
            self._refuse(f"more than {MOST_ELEMENTS} elements", "a recipe")
        if len(self.open) > MOST_DEPTH:
            self._refuse(f"elements more than {MOST_DEPTH} deep", "a recipe")
        element = Element(name.upper(), self.parser.CurrentLineNumber)
        self.open[-1].inside.append(element)
        self.open.append(element)

    def _text(self, text: str) -> None:
        element = self.open[-1]
        if len(element.text) + len(text) > MOST_TEXT:
            self._refuse(f"more than {MOST_TEXT} characters in one element", "a recipe")
        element.text += text


def parse(raw: bytes) -> Element:
    """The document's outermost element. Raises Refused."""
    builder = _Builder()
    try:
        builder.parser.Parse(raw, True)
    except expat.ExpatError as error:
        raise Refused(f"no well-formed XML ({expat.ErrorString(error.code)})", "an XML recipe", error.lineno) from None
    except (LookupError, ValueError) as error:
        raise Refused(f"an unknown encoding ({error})", "UTF-8") from None
    return builder.open[0].inside[0]
