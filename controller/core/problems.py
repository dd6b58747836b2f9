"""What is wrong with an input, where, and what was wanted instead?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Problem(NamedTuple):
    """One thing that is wrong: the place, the value found there, the value wanted."""

    where: str
    found: str
    wanted: str
    path: tuple[str | int, ...] = ()  # the place as keys, so that a file's line can be named

    def __str__(self) -> str:
        return f"{self.where}: found {self.found}, wanted {self.wanted}"


class Problems(Exception):
    """Everything that is wrong with an input, all at once."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))
