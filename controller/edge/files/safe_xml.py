"""What does an XML file say, with nothing of XML's dangerous half?

Elements and text only. A document type or an entity of its own, attributes that matter to nobody here, endless nesting:
all refused or left out before anything is built of them. No file or address outside is ever opened.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.parsers import expat

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
