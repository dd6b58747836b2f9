"""What is wrong with an input, where, and what was wanted instead?"""

from collections.abc import Callable, Iterable, Iterator
from typing import Generic, NamedTuple, TypeVar

T = TypeVar("T")


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


def gathered(problems: list[Problem], part: Callable[[], T]) -> T | None:
    """What does this part of an input say? None where it is wrong: its problems join those of the other parts."""
    try:
        return part()
    except Problems as wrong:
        problems += wrong.problems
        return None


class Unread(AttributeError):
    """A value that stands in the file but could not be read, or is missing: nothing can be said of it."""


def found_by(checks: Iterable[Callable[[T], Iterable[Problem]]], value: T) -> Iterator[Problem]:
    """What do these checks find? One that needs a value that could not be read is silent, and hides no other."""
    for check in checks:
        try:
            problems = tuple(check(value))
        except Unread:
            continue
        yield from problems


class Checks(Generic[T]):
    """What several values must agree on: a list of checks that each stand by themselves."""

    def __init__(self, *checks: Callable[[T], Iterable[Problem]]) -> None:
        self._checks = checks

    def __call__(self, value: T) -> tuple[Problem, ...]:
        return tuple(found_by(self._checks, value))
