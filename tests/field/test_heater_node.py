"""The heater node at its pins, on counted time: lease, window, rest, its own limit."""

from __future__ import annotations

import pytest

from controller.field.heater_node import LIMIT_GONE_S
from tests.field.pins import BEAT, Bench, reading


def test_boots_off() -> None:
    """After power-up the pin is off and the report says so; a retained command changes nothing."""
    bench = Bench()
    bench.heat(retained=True)
    assert not any(bench.run(5))
    assert bench.reports[0]["duty"] == 0
    assert bench.node.refused == {"retained": 1}


def test_a_lease_runs_out() -> None:
    """A command of three seconds heats for three seconds and not one beat longer, though readings go on."""
    bench = Bench()
    bench.run(1)
    bench.heat(valid_s=3.0)
    assert sum(bench.run(8)) == round(3.0 / BEAT)
    assert bench.reports[-1]["lease_left_s"] == 0


def test_no_lease_is_longer_than_ten_seconds() -> None:
    """A command that asks for an hour heats for ten seconds."""
    bench = Bench()
    bench.run(1)
    bench.heat(valid_s=3600.0)
    assert sum(bench.run(20)) == round(10.0 / BEAT)


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
    bench.run(1)
    bench.heat()
    assert all(bench.run(1))
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


def test_own_limit_takes_the_heat_away() -> None:
    """A reading at the limit: off at the next beat, without the daemon; the report names place, value and limit."""
    bench = Bench()
    bench.run(1)
    bench.heat()
    assert all(bench.run(1))
    bench.celsius = 80.0
    assert not any(bench.run(1))
    assert bench.fault == "mash hot: 80.0 °C, limit 80 °C"
    assert "outlet_c" not in bench.reports[-1]


def test_just_under_the_limit_heats() -> None:
    """79.9 °C is no reason to stop."""
    bench = Bench()
    bench.celsius = 79.9
    bench.run(1)
    bench.heat()
    assert all(bench.run(5))


def test_above_the_trip_it_stays_off() -> None:
    """Two kelvin over the limit latch: cold again, commanded again, it stays off."""
    bench = Bench()
    bench.celsius = 82.0
    bench.run(1)
    bench.celsius = 40.0
    for seq in range(1, 10):
        bench.heat(seq=seq)
        assert not any(bench.run(2))
    assert bench.fault == "mash hot: 82.0 °C, limit 80 °C"


def test_no_reading_no_heat() -> None:
    """Without any reading of the limiting probe the node does not heat at all."""
    bench = Bench()
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


def test_a_retained_reading_is_none() -> None:
    """The broker's kept copy of an old reading does not let the node heat."""
    bench = Bench()
    bench.node.reading(reading(66.0, 7), 0.0, True)
    bench.run(2, probe=False)
    bench.heat()
    assert not any(bench.run(2, probe=False))


def test_85_from_power_up_takes_heat_away() -> None:
    """The power-up value is refused as a measurement elsewhere; here it counts as hot, which is the safe reading."""
    bench = Bench()
    bench.run(1)
    bench.heat()
    bench.run(1)
    bench.celsius = 85.0
    assert not any(bench.run(1))


def test_outlet_is_told_where_it_is_the_outlet() -> None:
    """With the limit at the outlet the report carries the outlet temperature and speaks of the outlet."""
    bench = Bench(where="outlet", outlet_limit_c=85.0, outlet_trip_c=92.0)
    bench.celsius = 86.0
    bench.run(3)
    assert bench.reports[-1]["outlet_c"] == 86.0
    assert bench.fault == "outlet hot: 86.0 °C, limit 85 °C"
