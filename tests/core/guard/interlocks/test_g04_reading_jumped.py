"""G04: readings that sit on another level."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g04_reading_jumped import ReadingJumped
from tests.core.guard.looks import BLOCKED, HEATING, NOW, SEEN, check, found, ids, trips_in

JUMPED = ReadingJumped()


@pytest.mark.parametrize(
    ("level_c", "after_s", "latched"),
    [
        (68.0, 4.5, False),
        (68.125, 4.0, True),
        (70.0, 4.0, True),
        (64.0, 4.5, False),
        (58.0, 4.5, False),
        (57.875, 4.0, False),
        (33.0, 4.0, False),
    ],
)
def test_another_level(level_c: float, after_s: float, latched: bool) -> None:
    """More than 5 K away trips after 4 s, and upward it latches; what five readings would make believed has half a
    second more; while something is added nothing is said."""
    early, late = (SEEN._replace(jump_since=NOW - after_s + spare, jump_c=level_c) for spare in (0.1, 0.0))
    says = f"The reading jumped by {{value:.1f}} K, from 63.0 to {level_c:.1f} °C (limit {{limit:g}} K). Heat is off."
    assert found(JUMPED, seen=early) is None
    assert found(JUMPED, seen=late) == Finding(JUMPED.ROW, level_c - 63.0, 2.0, latched, says=says)
    assert found(JUMPED, seen=late._replace(jump_since=NOW - 60.0), target=BLOCKED) is None


LEVEL = {"jump_since": NOW - 4.5, "jump_c": 50.0}
NOTHING: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "no level yet": ({"jump_since": NOW - 9.0, "jump_c": None}, None),
    "no time yet": ({"jump_since": None, "jump_c": 70.0}, None),
    "nothing believed before": (LEVEL | {"value_c": None}, Finding(JUMPED.ROW, 0.0, 2.0, False)),
    "gone": (LEVEL | {"age_s": 10.1}, None),
    "nonsense": (LEVEL | {"refused_run": 3}, None),
}


@pytest.mark.parametrize(("changes", "expected"), NOTHING.values(), ids=NOTHING)
def test_with_nothing_to_compare(changes: dict[str, Any], expected: Finding | None) -> None:
    """With nothing believed before the step is nothing; a reading that is gone or nonsense is told as that."""
    assert found(JUMPED, seen=SEEN._replace(**changes)) == expected


def test_where_heat_may_flow_alone() -> None:
    """A jump without heat is no trip; with it one, in words, that ends by itself where it is small or down."""
    jump = SEEN._replace(jump_since=NOW - 9.0, jump_c=71.0)
    assert trips_in("G04", seen=jump) == HEATING
    trip = check(seen=jump).state.trips[0]
    assert (trip.latched, trip.value, trip.limit) == (True, 8.0, 2.0)
    assert trip.text.startswith("The reading jumped by 8.0 K, from 63.0 to 71.0 °C (limit 2 K). Heat is off. Look")
    down = check(seen=SEEN._replace(jump_since=NOW - 9.0, jump_c=50.0))
    assert (ids(down), down.state.trips[0].latched) == (["G04"], False)
