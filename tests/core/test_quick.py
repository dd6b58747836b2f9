"""Does the quick way to change a field do what `_replace` does?"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from controller.core.quick import quick
from controller.core.run import Run
from controller.core.tick import State


class Slow(NamedTuple):
    """As Python makes it."""

    first: int
    second: str = "b"
    third: float = 3.0


@quick
class Fast(NamedTuple):
    """The same, made quick."""

    first: int
    second: str = "b"
    third: float = 3.0


@pytest.mark.parametrize(
    "changes", [{}, {"first": 5}, {"third": 1.5, "second": "c"}, {"first": 0, "second": "", "third": 0}]
)
def test_the_quick_way_gives_what_the_slow_way_gives(changes: dict[str, object]) -> None:
    """Same values, same type, the old one untouched."""
    fast, slow = Fast(1), Slow(1)
    changed = fast._replace(**changes)  # type: ignore[arg-type]
    assert type(changed) is Fast
    assert tuple(changed) == tuple(slow._replace(**changes))  # type: ignore[arg-type]
    assert fast == (1, "b", 3.0)


def test_a_field_that_is_not_there_is_refused() -> None:
    """A misspelt name raises and says which."""
    with pytest.raises(TypeError, match="Fast has no field 'fourth'"):
        Fast(1)._replace(fourth=4)  # type: ignore[call-arg]


def test_what_changes_every_second_is_quick() -> None:
    """The widest states of a tick have it."""
    assert {State._replace.__qualname__, Run._replace.__qualname__} == {"quick.<locals>._replace"}
