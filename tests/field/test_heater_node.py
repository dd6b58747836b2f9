"""The heater node at its pins, on counted time: lease, window, rest, its own limit."""

from __future__ import annotations

from typing import Any

import pytest

from controller.field.heater_node import LIMIT_GONE_S, Limit
from tests.field.pins import BEAT, SHAPE, Bench, FakeInput, reading


def test_boots_off() -> None:
    """After power-up the pin is off and the report says so; a retained command changes nothing."""
    bench = Bench()
    bench.heat(retained=True)
    assert not any(bench.run(5))
    assert bench.reports[0]["duty"] == 0
    assert bench.node.refused == {"retained": 1}


@pytest.mark.parametrize(("asked_s", "lasts_s"), [(3.0, 3.0), (3600.0, 10.0)])
def test_a_lease_runs_out(asked_s: float, lasts_s: float) -> None:
    """A command of three seconds heats for three seconds and not one beat longer, though readings go on; one that asks
    for an hour heats for ten."""
    bench = Bench()
    bench.run(1)
    bench.heat(valid_s=asked_s)
    assert sum(bench.run(20)) == round(lasts_s / BEAT)
    assert bench.reports[-1]["lease_left_s"] == 0


@pytest.mark.parametrize("duty", [0.05, 0.25, 0.5, 0.8, 1.0])
def test_a_share_is_given_within_the_window(duty: float) -> None:
    """Over whole windows the pin is on for the share asked, to one beat a window."""
    bench = Bench()
    bench.run(2)
    on = 0
    for seq in range(1, 11):
        bench.heat(seq=seq, duty=duty)
        on += sum(bench.run(2))
    assert abs(on * BEAT - duty * 20.0) <= 10 * BEAT + 1e-9


def test_off_needs_nothing() -> None:
    """A bare OFF, without epoch, sequence or validity, is obeyed at the next beat."""
    bench = Bench()
    bench.heated()
    bench.node.command(b'{"duty":0}', bench.now, False)
    assert not any(bench.run(1))


def test_a_contactor_rests() -> None:
    """With ten seconds of rest the pin stays off that long after OFF, whatever is commanded meanwhile."""
    bench = Bench(min_off_s=10.0)
    bench.run(11)
    bench.heat()
    assert all(bench.run(1))
    bench.node.command(b'{"duty":0}', bench.now, False)
    bench.run(1)
    states = []
    for seq in range(2, 14):
        bench.heat(seq=seq)
        states += bench.run(1)
    assert states.index(True) == round(9.0 / BEAT)


# ---------------------------------------------------------------- the own limit


OUTLET: dict[str, Any] = {"where": "outlet", "outlet_limit_c": 85.0, "outlet_trip_c": 92.0}


@pytest.mark.parametrize(
    ("changes", "celsius", "fault"),
    [
        ({}, 79.9, None),
        ({}, 80.0, "mash hot: 80.0 °C, limit 80 °C"),
        ({}, 85.0, "mash hot: 85.0 °C, limit 80 °C"),  # of power-up: no measurement elsewhere, here the safe reading
        (OUTLET, 84.9, None),
        (OUTLET, 86.0, "outlet hot: 86.0 °C, limit 85 °C"),
    ],
)
def test_own_limit_takes_the_heat_away(changes: dict[str, Any], celsius: float, fault: str | None) -> None:
    """A reading at the limit: off at the next beat, without the daemon; the report names place, value and limit, and
    the outlet's temperature where it is the outlet; just under it is no reason to stop."""
    bench = Bench(**changes)
    bench.heated()
    bench.celsius = celsius
    assert bench.run(5) == [fault is None] * round(5 / BEAT)
    assert bench.fault == fault
    assert bench.reports[-1].get("outlet_c") == (celsius if changes else None)


@pytest.mark.parametrize(("before_c", "counts"), [(None, True), (30.0, True), (29.9, False), (70.0, False)])
def test_a_failed_sensors_value_counts_only_next_to_a_reading(before_c: float | None, counts: bool) -> None:
    """A coarse thermometer passes through 32 °C, and liquor may stand there; far from the last reading it is a failed
    one, and out of nothing 0 °C is."""
    assert Limit(SHAPE).hear(reading(0.0, 1), 0.0, False) == "a value that is no measurement"
    limit = Limit(SHAPE)
    if before_c is not None:
        assert limit.hear(reading(before_c, 1), 0.0, False) is None
    assert (limit.hear(reading(32.0, 2), 1.0, False) is None) is counts
    assert limit.celsius(1.0) == (32.0 if counts else before_c)


def test_above_the_trip_it_stays_off() -> None:
    """Two kelvin over the limit latch, a single such reading does not: cold again, commanded again, it stays off."""
    once = Bench()
    once.celsius = 82.0
    once.run(1)
    once.celsius = 74.9
    once.heat()
    assert any(once.run(2))
    bench = Bench()
    bench.celsius = 82.0
    bench.run(4)
    bench.celsius = 40.0
    for seq in range(1, 10):
        bench.heat(seq=seq)
        assert not any(bench.run(2))
    assert bench.fault == "mash hot: 82.0 °C, limit 80 °C"


@pytest.mark.parametrize("kept", [False, True])
def test_no_reading_no_heat(kept: bool) -> None:
    """Without any reading of the limiting probe the node does not heat at all; the broker's kept copy of an old one is
    none."""
    bench = Bench()
    if kept:
        bench.node.reading(reading(66.0, 7), 0.0, True)
    bench.run(2, probe=False)
    bench.heat()
    assert not any(bench.run(5, probe=False))
    assert bench.fault == "the mash thermometer is silent"


def test_reading_gone_while_heating() -> None:
    """The last reading is good for ten seconds, then the heat goes although commands come."""
    bench = Bench()
    bench.read(66.0)
    states = []
    for seq in range(1, 16):
        bench.heat(seq=seq)
        states += bench.run(1, probe=False)
    assert states.index(False) * BEAT == pytest.approx(LIMIT_GONE_S + 1.0, abs=2 * BEAT)
    assert not any(states[states.index(False) :])


@pytest.mark.parametrize(
    "payload",
    [
        reading(66.0, 1),
        reading(0.0, 2),
        reading(-0.0625, 2),
        reading(150.0, 2),
        b"66",
        b'{"temperature":NaN,"seq":2}',
        b'{"temperature":true,"seq":2}',
        b"",
        b"x" * 5000,
    ],
)
def test_what_is_no_new_reading_keeps_nothing_alive(payload: bytes) -> None:
    """A repeated sequence, a sentinel, nonsense: after ten seconds of it the heat is off."""
    bench = Bench()
    bench.node.reading(reading(66.0, 1), 0.0, False)
    for seq in range(1, 13):
        bench.heat(seq=seq)
        bench.node.reading(payload, bench.now, False)
        bench.run(1, probe=False)
    assert not bench.pin.on


def test_the_button_at_the_tun_ends_what_is_latched_and_gives_no_heat() -> None:
    """After no liquid under heat nothing brings heat back but the button, and after it a new command; one that sticks
    gives none at all."""
    level, button = FakeInput(), FakeInput(False)
    bench = Bench(level=level)
    bench.node.pins = bench.node.pins._replace(reset=button)
    bench.heated()
    level.ok = False
    bench.run(2)
    level.ok = True
    bench.heat(seq=2)
    assert not any(bench.run(2)) and bench.fault == "no liquid at the heater"
    button.ok = True
    bench.heat(seq=3)
    assert not any(bench.run(1))
    button.ok = False
    assert not any(bench.run(1)) and bench.fault is None
    bench.heat(seq=4)
    assert all(bench.run(1))
