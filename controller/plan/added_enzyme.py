"""What does the data sheet of an enzyme that is added say?

Entries from the sheet, nothing worked out: the tool checks whether the step lies inside, says when it goes in, and is
silent where advice would warn of what the enzyme mends.
"""

from typing import Annotated, Literal

from pydantic import StringConstraints, model_validator

from controller.settings.table import Quantity, Table

Word = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]


class Enzyme(Table):
    """One enzyme. `works` is written "60 °C to 85 °C"."""

    name: Word
    kind: Literal["starch", "beta-glucan", "other"] = "starch"
    works_from_c: Annotated[float, Quantity("temperature", 10, 100)]
    works_to_c: Annotated[float, Quantity("temperature", 10, 100)]
    lost_above_c: Annotated[float | None, Quantity("temperature", 10, 100)] = None
    dose: Word
    added_in: Word  # name of the step

    @model_validator(mode="before")
    @classmethod
    def _works(cls, data: object) -> object:
        """Two temperatures in one text."""
        if not isinstance(data, dict) or not isinstance(data.get("works"), str):
            return data
        low, _, high = data["works"].partition(" to ")
        return {**{key: value for key, value in data.items() if key != "works"}, "works_from": low, "works_to": high}

    def alive(self, hottest_c: float) -> bool:
        """Does it still work in a mash that has been so hot since it went in?"""
        return hottest_c <= (self.works_to_c if self.lost_above_c is None else self.lost_above_c)
