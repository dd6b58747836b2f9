"""G02 and G03: a mash reading that is missing, not proven new, or cannot be true."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g02_reading_gone import AWAY, COMPARE, ReadingGone, ReadingNonsense
from controller.core.nouns import RunState, Trip
from tests.core.guard.looks import HEATING, NOW, SEEN, check, found, ids, known, read, senses, trips_in

GONE, ROW = ReadingGone(), ReadingGone.ROW
NONSENSE = ReadingNonsense()
LATE = "reading is 300 s late by its sender's clock"
NOT_NEW = (
    "Mash readings come, but none known to be fresh for {value:.0f} s (limit {limit:g} s): "
    f"{LATE}. Heat is off. {COMPARE}"
)
OLD = SEEN._replace(age_s=10.1)
UNPROVEN = OLD._replace(text=LATE)

AT_ITS_LIMIT: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "at 10 s": ({"seen": SEEN._replace(age_s=10.0)}, None),
    "over 10 s": ({"seen": OLD, "raw": ()}, Finding(ROW, 10.1, 10.0)),
    "never": ({"seen": SEEN._replace(age_s=inf), "raw": ()}, Finding(ROW, 86_400.0, 10.0)),
    "away by its own word": ({"gone": ["mash"]}, Finding(ROW, 0.5, 10.0, says=AWAY)),
    "old, and others refused": ({"seen": OLD}, Finding(ROW, 10.1, 10.0)),
    "readings come, not proven new": ({"seen": UNPROVEN}, Finding(ROW, 10.1, 10.0, says=NOT_NEW)),
    "none come any more": ({"seen": UNPROVEN, "raw": ()}, Finding(ROW, 10.1, 10.0)),
    "refused as nonsense": ({"seen": UNPROVEN._replace(refused_run=1)}, Finding(ROW, 10.1, 10.0)),
    "on another level": ({"seen": UNPROVEN._replace(jump_since=NOW)}, Finding(ROW, 10.1, 10.0)),
}


@pytest.mark.parametrize(("changes", "expected"), AT_ITS_LIMIT.values(), ids=AT_ITS_LIMIT)
def test_gone(changes: dict[str, Any], expected: Finding | None) -> None:
    """Just at its limit it is quiet, past it not; the sentence says what is known of it."""
    assert found(GONE, **changes) == expected


def test_no_number_is_gone() -> None:
    """An age that is no number is none to heat by."""
    finding = found(GONE, seen=SEEN._replace(age_s=nan))
    assert finding is not None and finding.row is ROW


def test_gone_where_heat_may_flow_alone() -> None:
    """Without heat a silent probe is no trip; another probe that is gone is none of the mash's."""
    assert trips_in("G02", seen=OLD) == HEATING
    assert trips_in("G03", seen=SEEN._replace(refused_run=3)) == HEATING
    assert ids(check(gone=("second", "outlet"))) == []


@pytest.mark.parametrize(
    ("changes", "there"),
    [
        ({"seen": OLD, "raw": ()}, True),
        ({"seen": SEEN._replace(age_s=10.0)}, False),
        ({"gone": ["mash"]}, True),
        ({"seen": UNPROVEN}, False),
        ({"seen": UNPROVEN._replace(refused_run=1)}, True),
        ({"seen": UNPROVEN, "gone": ["mash"]}, False),
    ],
)
def test_gone_keeps_its_trip(changes: dict[str, Any], there: bool) -> None:
    """Heat off, it stays as long as it is missing; readings that come and are not proven new are a person's matter."""
    trip = Trip("G02", NOW - 60.0, "gone", 11.0, 10.0, "s", 1, True, True)
    finding = GONE.still_there(trip, senses(**changes, state=RunState.HELD), known())
    assert (finding is not None) is there


REFUSED: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "two": ({"refused_run": 2, "refused_since": NOW - 3.9}, None),
    "three": ({"refused_run": 3, "refused_since": NOW}, Finding(NONSENSE.ROW, 3, 3)),
    "one, and none for 4 s": ({"refused_run": 1, "refused_since": NOW - 4.0}, Finding(NONSENSE.ROW, 1, 3)),
    "none of late": ({"refused_run": 0, "refused_since": NOW - 9.0}, None),
    "all good": ({}, None),
    "gone as well": ({"refused_run": 3, "age_s": 10.1}, None),
    "with what came": (
        {"refused_run": 3, "text": "{x} is no number"},
        Finding(
            NONSENSE.ROW,
            3,
            3,
            says="The mash readings make no sense: (x) is no number "
            "({value:.0f} in a row, limit {limit:g}). Heat is off.",
        ),
    ),
}


@pytest.mark.parametrize(("changes", "expected"), REFUSED.values(), ids=REFUSED)
def test_nonsense(changes: dict[str, Any], expected: Finding | None) -> None:
    """Three in a row, or one where none was accepted for 4 s; one that is gone is told as that alone."""
    seen = SEEN._replace(**changes)
    assert found(NONSENSE, seen=seen) == expected
    trip = Trip("G03", NOW - 60.0, "nonsense", 3.0, 3.0, "readings", 1, True, True)
    assert NONSENSE.still_there(trip, senses(seen=seen), known()) == expected


def test_three_values_that_cannot_be_true_are_told_in_words() -> None:
    """The trip's sentence has what came, how many and how many are too many."""
    trip = check(seen=SEEN._replace(refused_run=3, text="999 °C is out of range"), raw=read(999.0)).state.trips[0]
    assert trip.text.startswith("The mash readings make no sense: 999 °C is out of range (3 in a row, limit 3).")
    assert trip.text.endswith(NONSENSE.ROW.do)
