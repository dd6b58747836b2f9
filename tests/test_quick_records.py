"""Are records that are made fast the same as those that their class makes?"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from controller.quick_records import maker, quick


@quick
class Point(NamedTuple):
    """A record with and without fields that may be left out."""

    x: float
    y: float = 2.0
    names: tuple[str, ...] = ()


point = maker(Point)


def test_a_maker_makes_what_the_class_makes() -> None:
    """By place, by word and with what is left out: equal, and of the same class."""
    for made, meant in (
        (point(1.0), Point(1.0)),
        (point(1.0, 3.0), Point(1.0, 3.0)),
        (point(names=("a",), x=0.5), Point(0.5, 2.0, ("a",))),
    ):
        assert made == meant and type(made) is Point


@pytest.mark.parametrize("words", [{}, {"y": 1.0}, {"x": 1.0, "z": 2.0}], ids=str)
def test_a_maker_refuses_what_the_class_refuses(words: dict[str, float]) -> None:
    """A field that is missing, or one that is not there, is an error for both."""
    for make in (point, Point):
        with pytest.raises(TypeError):
            make(**words)  # type: ignore[arg-type]


def test_a_change_touches_nothing_else() -> None:
    """The new record has the change and all other values themselves; the old one is as it was; an unknown field is an
    error."""
    before = Point(1.0, 2.0, ("a", "b"))
    after = before._replace(y=5.0)
    assert after == Point(1.0, 5.0, ("a", "b")) and type(after) is Point
    assert after.names is before.names
    assert before == Point(1.0, 2.0, ("a", "b"))
    with pytest.raises(TypeError, match="no field 'z'"):
        before._replace(z=1.0)  # type: ignore[call-arg]
