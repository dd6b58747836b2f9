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
    """More than 5 K away cuts after 4 s, and what five readings would make believed half a second later; it trips with
    none believed for 9 s, and upward it latches; while something is added nothing is said."""
    since = ((after_s - 0.1, 5.0), (after_s, 5.0), (8.0, 8.9), (8.0, 9.0))
    early, cut, long, late = (
        SEEN._replace(jump_since=NOW - for_s, age_s=age_s, jump_c=level_c) for for_s, age_s in since
    )
    says = f"The reading jumped by {{value:.1f}} K, from 63.0 to {level_c:.1f} °C (limit {{limit:g}} K). Heat is off."
    assert found(JUMPED, seen=early) is None
    trip = Finding(JUMPED.ROW, level_c - 63.0, 2.0, latched, says=says)
    assert [found(JUMPED, seen=seen) for seen in (cut, long, late)] == [trip._replace(cut_only=True)] * 2 + [trip]
    assert found(JUMPED, seen=late._replace(jump_since=NOW - 60.0), target=BLOCKED) is None


LEVEL = {"age_s": 9.0, "jump_since": NOW - 8.0, "jump_c": 50.0}
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
    jump = SEEN._replace(age_s=9.0, jump_since=NOW - 8.0, jump_c=71.0)
    assert trips_in("G04", seen=jump) == HEATING
    trip = check(seen=jump).state.trips[0]
    assert (trip.latched, trip.value, trip.limit) == (True, 8.0, 2.0)
    assert trip.text.startswith("The reading jumped by 8.0 K, from 63.0 to 71.0 °C (limit 2 K). Heat is off. Look")
    down = check(seen=SEEN._replace(age_s=9.0, jump_since=NOW - 8.0, jump_c=50.0))
    assert (ids(down), down.state.trips[0].latched) == (["G04"], False)
