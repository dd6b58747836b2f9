"""A record on its way to the disk and back: the types alone say what goes along, and what comes back is checked."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal, NamedTuple

import pytest

from controller.core.nouns import Fleeting, Instant
from controller.core.plain_values import Misfit, plain, record


class Colour(StrEnum):
    PALE = "pale"
    DARK = "dark"


@dataclass(frozen=True)
class Inner:
    at: Instant
    moves: tuple[tuple[Instant, float], ...] = ()


class Whole(NamedTuple):
    name: str = ""
    turns: int = 0
    share: float = 0.0
    told: bool = False
    since: Instant | None = None
    marks: tuple[Instant, ...] = ()
    colour: Colour = Colour.PALE
    word: Literal["", "trip"] = ""
    inner: Inner | None = None
    rows: tuple[Inner, ...] = ()
    pair: tuple[str, float] = ("", 0.0)
    malt: Mapping[str, float | None] | None = None
    whims: Fleeting[tuple[str, ...]] = ()


FULL = Whole(
    "a", 3, 0.5, True, 90.0, (80.0, 110.0), Colour.DARK, "trip", Inner(70.0, ((60.0, 1.5),)), (Inner(50.0),),
    ("b", 2.0), {"starch": 0.6, "share": None}, ("gone",),
)  # fmt: skip


def through_json(value: object, now: float) -> Any:
    return json.loads(json.dumps(plain(value, now)))


@pytest.mark.parametrize("value", [Whole(), FULL])
def test_a_record_comes_back_equal_but_for_what_is_fleeting(value: Whole) -> None:
    """Each kind of field through JSON and back, in the same process."""
    assert record(Whole, through_json(value, 100.0), 100.0) == value._replace(whims=())


def test_moments_travel_as_ages() -> None:
    """Under a name that says so, negative where still to come; another process' clock turns them back."""
    said = through_json(FULL, 100.0)
    assert (said["since_ago_s"], said["marks_ago_s"]) == (10.0, [20.0, -10.0])
    assert said["inner"] == {"at_ago_s": 30.0, "moves_ago_s": [[40.0, 1.5]]}
    assert "whims" not in said
    later = record(Whole, said, 1000.0)
    assert (later.since, later.marks, later.inner) == (990.0, (980.0, 1010.0), Inner(970.0, ((960.0, 1.5),)))


@pytest.mark.parametrize(
    ("key", "odd"),
    [
        ("name", 3),
        ("turns", True),
        ("turns", 1.5),
        ("share", "much"),
        ("share", True),
        ("share", float("nan")),
        ("share", float("inf")),
        ("share", 10**400),
        ("share", 1.01e300),
        ("told", 1),
        ("told", None),
        ("since_ago_s", "long"),
        ("marks_ago_s", 5.0),
        ("marks_ago_s", {"a": 1.0}),
        ("colour", "blue"),
        ("colour", ["pale"]),
        ("word", "person"),
        ("word", []),
        ("inner", {"at_ago_s": 1.0}),
        ("inner", 5),
        ("rows", [None]),
        ("pair", ["b"]),
        ("pair", ["b", 1.0, 2.0]),
        ("malt", [1.0]),
        ("malt", {"starch": "much"}),
        ("more", 1),
    ],
)
def test_what_does_not_fit_is_refused(key: str, odd: object) -> None:
    """A value of another type, a number that is none, an unknown key: Misfit and no other exception."""
    with pytest.raises(Misfit):
        record(Whole, {**through_json(FULL, 100.0), key: odd}, 0.0)


@pytest.mark.parametrize("said", [None, 5, "x", [], {}])
def test_what_is_no_table_is_refused(said: object) -> None:
    """A whole that is no table, or an empty one."""
    with pytest.raises(Misfit):
        record(Whole, said, 0.0)


def test_every_key_is_needed() -> None:
    """A record of another version, a field fewer, is not guessed at."""
    said = through_json(FULL, 100.0)
    for key in said:
        with pytest.raises(Misfit):
            record(Whole, {k: v for k, v in said.items() if k != key}, 0.0)


def test_a_whole_number_does_for_a_figure() -> None:
    """JSON of another writer may say 60 for 60.0; the largest that may be said is far beyond what is."""
    taken = [record(Whole, {**through_json(FULL, 100.0), "share": share}, 0.0).share for share in (1, 1e300)]
    assert taken == [1.0, 1e300] and taken[0].__class__ is float


def test_a_type_that_no_record_may_hold_is_a_bug() -> None:
    """Sets, say, or a pair of one: said at once when written, not when read."""
    with pytest.raises(TypeError, match="set"):
        plain({1}, 0.0)
    with pytest.raises(ValueError, match="longer"):
        plain(Whole(pair=("b",)), 0.0)  # type: ignore[arg-type]
