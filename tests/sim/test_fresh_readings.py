"""Does the count of heat without evidence see what it should, and nothing else?"""

from __future__ import annotations

import json
from typing import Any

import pytest

from sim.fresh_readings import FreshReadings


def made() -> FreshReadings:
    return FreshReadings("t", "/v", "/n", "C")


def reading(value: Any, seq: int) -> bytes:
    return json.dumps({"v": value, "n": seq}).encode()


def command(duty: float) -> bytes:
    return json.dumps({"duty": duty}).encode()


def test_heat_with_a_fresh_reading_is_counted_as_right() -> None:
    """A reading ten and a half seconds ago carries heat; a tenth of a second later it does not."""
    judge = made()
    assert judge.reading(reading(50.0, 1), 100.0)
    assert judge.command(command(0.5), 110.5)
    assert not judge.command(command(0.5), 110.6)
    assert judge.command(command(0.0), 200.0)  # OFF needs nothing
    assert (judge.commands, judge.hot, judge.without) == (3, 2, 1)


@pytest.mark.parametrize(
    "payload",
    [b"", b"null", b"\xff", b"[1]", reading(True, 1), reading("50", 1), reading(106.0, 1), reading(-5.1, 1),
     b'{"v": NaN}', b'{"v": Infinity}', b"[" * 100_000],
)  # fmt: skip
def test_what_is_no_reading_carries_no_heat(payload: bytes) -> None:
    """None of these is evidence."""
    judge = made()
    assert not judge.reading(payload, 1.0)
    assert not judge.command(command(0.1), 1.0)


def test_the_same_sequence_twice_is_not_new_and_a_retained_copy_never_is() -> None:
    """A repeated sample keeps its age; a lower sequence counts only once three rise: the node started anew."""
    judge = made()
    assert judge.reading(reading(50.0, 7), 1.0)
    assert not judge.reading(reading(50.0, 7), 5.0)
    assert not judge.reading(reading(50.0, 8), 5.0, retained=True)
    assert judge.newest_s == 1.0
    assert [judge.reading(reading(50.0, n), 6.0) for n in (2, 1, 2, 3)] == [False, False, False, True]
    assert judge.reading(reading(50.0, 4), 7.0)


def test_fahrenheit_is_read_as_such() -> None:
    """152 °F is a mash, 152 °C is not."""
    judge = FreshReadings("t", "", "", "F")
    assert judge.reading(b"152", 1.0)
    assert judge.value_c == pytest.approx(66.667, abs=0.001)
    assert not made().reading(reading(152.0, 1), 1.0)
