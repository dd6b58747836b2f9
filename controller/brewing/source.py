"""Where does a figure or a sentence of the trade come from, and how sure is that?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, NamedTuple

from controller.brewing.kinetics.constants import Constant

Mark = Literal["published", "recalled", "calibrated", "common practice", "arithmetic", "own proposal"]


class Source(NamedTuple):
    """A mark, and a publication or a reason. A handbook known at second hand, and what is recalled, is said."""

    mark: Mark
    where: str = ""

    def __str__(self) -> str:
        return f"{self.mark}{f': {self.where}' if self.where else ''}"


Sources = tuple[Source, ...]
_MARKS: dict[str, Mark] = {
    "seen": "published",
    "derived": "published",
    "recalled": "recalled",
    "calibrated": "calibrated",
    "assumed": "common practice",
    "common practice": "common practice",
}


def of_constants(constants: Iterable[Constant]) -> Sources:
    """Which sources stand behind these numbers of the model, each once?"""
    found = (
        Source(_MARKS[one.confidence], f"assumed, {one.source}" if one.confidence in ("assumed",) else one.source)
        for one in constants
    )
    return tuple(dict.fromkeys(found))
