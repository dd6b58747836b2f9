"""What does the data sheet of an enzyme that is added say?

Entries from the sheet, nothing worked out: the tool checks whether the step lies inside, says when it goes in, and is
silent where advice would warn of what the enzyme mends.
"""

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import StringConstraints, model_validator

from controller.settings.table import Quantity, Table

Word = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]


class Enzyme(Table):
    """One enzyme."""

    IN_ONE_TEXT: ClassVar[Mapping[str, str]] = {"works": "60 °C to 85 °C", "ph": "4.5 to 6.5"}

    name: Word
    kind: Literal["starch", "beta-glucan", "other"] = "starch"
    works_from_c: Annotated[float, Quantity("temperature", 10, 100)]
    works_to_c: Annotated[float, Quantity("temperature", 10, 100)]
    ph_from: Annotated[float | None, Quantity("number", 2, 10)] = None
    ph_to: Annotated[float | None, Quantity("number", 2, 10)] = None
    lost_above_c: Annotated[float | None, Quantity("temperature", 10, 100)] = None
    dose: Word
    added_in: Word  # name of the step

    @model_validator(mode="before")
    @classmethod
    def _works(cls, data: object) -> object:
        """Two temperatures, or two pH values, in one text."""
        if not isinstance(data, dict):
            return data
        kept = {key: value for key, value in data.items() if key not in ("works", "ph")}
        if isinstance(data.get("works"), str):
            kept["works_from"], _, kept["works_to"] = data["works"].partition(" to ")
        if "ph" in data:
            low, _, high = str(data["ph"]).partition(" to ")
            kept |= {"ph_from": _number(low), "ph_to": _number(high)}
        return kept

    @property
    def told(self) -> str:
        """What is added, as a hand needs it."""
        ph = "" if self.ph_from is None else f" (works at pH {self.ph_from:g} to {self.ph_to:g})"
        return f"add {self.dose} of {self.name}{ph}"

    def alive(self, hottest_c: float) -> bool:
        """Does it still work in a mash that has been so hot since it went in?"""
        return hottest_c <= (self.works_to_c if self.lost_above_c is None else self.lost_above_c)


def _number(text: str) -> float | str:
    """A number where it is one; else the text, to be refused as such."""
    try:
        return float(text)
    except ValueError:
        return text
