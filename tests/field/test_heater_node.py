"""The heater node at its pins, on counted time."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from controller.field.heater_node import LIMIT_GONE_S, HeaterNode, Pins
from tests.field.pins import FakeInput, FakeOutput, command, heater_node, reading

BEAT = 0.05


class Bench:
    """A node with pins, and a clock that is counted."""

    def __init__(self, where: str = "mash", level: FakeInput | None = None, **changes: Any) -> None:
        self.pin, self.stirrer = FakeOutput(), FakeOutput()
        pins = Pins(self.pin, level=level, stirrer=self.stirrer)
        self.node: HeaterNode = heater_node(pins, where, level=level is not None, **changes)
        self.beats, self.seq, self.celsius = 0, 0, 66.0
        self.reports: list[dict[str, Any]] = []
        self.levels: list[dict[str, Any]] = []

    @property
    def now(self) -> float:
        return self.beats * BEAT

    def run(self, seconds: float, probe: bool = True) -> list[bool]:
        """Beat for so long, with a reading each second; the pin at each beat."""
        states = []
        for _ in range(round(seconds / BEAT)):
            if probe and self.beats % 20 == 0:
                self.read(self.celsius)
            say = self.node.beat(self.now)
            if say.report is not None:
                self.reports.append(json.loads(say.report))
            if say.level is not None:
                self.levels.append(json.loads(say.level))
            states.append(self.pin.on)
            self.beats += 1
        return states

    def read(self, celsius: float) -> None:
        self.seq += 1
        self.node.reading(reading(celsius, self.seq), self.now, False)

    def heat(self, seq: int = 1, duty: float = 1.0, valid_s: float = 10.0, retained: bool = False) -> None:
        self.node.command(command(duty, seq, valid_s), self.now, retained)

    @property
    def fault(self) -> str | None:
        fault: str | None = self.reports[-1]["fault"]
        return fault


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


# ---------------------------------------------------------------- contacts, motors, broken pins


def test_no_liquid_no_heat() -> None:
    """The level contact opens: off at that beat, latched, told on the level topic at once."""
    level = FakeInput()
    bench = Bench(level=level)
    bench.run(1)
    bench.heat()
    assert all(bench.run(1))
    level.ok = False
    assert not any(bench.run(1))
    assert bench.levels[-1]["ok"] is False
    level.ok = True
    bench.heat(seq=2)
    assert not any(bench.run(1))
    assert bench.fault == "no liquid at the heater"


def test_level_words_come_each_second_with_rising_sequence() -> None:
    """Ten seconds: ten words, numbered without a gap."""
    bench = Bench(level=FakeInput())
    bench.run(10)
    assert [word["seq"] for word in bench.levels] == list(range(1, 11))
    assert all(word["ok"] is True for word in bench.levels)


def test_a_contact_that_cannot_be_read_counts_as_bad() -> None:
    """No answer from the level pin: no heat, and no word that would say all is well."""
    bench = Bench(level=FakeInput(None))
    bench.run(1)
    bench.heat()
    assert not any(bench.run(2))
    assert bench.levels == []


def test_a_pin_that_does_not_follow() -> None:
    """Set on, read back off: a latched fault that says so, and the pin is set off."""
    bench = Bench()
    bench.run(1)
    bench.pin.stuck = False
    bench.heat()
    bench.run(1)
    assert bench.fault is not None
    assert "does not follow" in bench.fault
    bench.pin.stuck = None
    bench.heat(seq=2)
    assert not any(bench.run(1))


def test_a_pin_that_fails_ends_everything() -> None:
    """The kernel refuses to set the pin: the error comes out, all pins are off and let go, no later beat heats."""
    bench = Bench()
    bench.node.stirrer(b'{"on":true,"seq":1,"valid_s":10}', 0.0, False)
    bench.run(1)
    bench.heat()
    bench.pin.broken = True
    with pytest.raises(OSError, match="Input/output"):
        bench.run(1)
    assert bench.pin.closed
    assert bench.stirrer.closed
    bench.pin.broken = False
    bench.heat(seq=2)
    assert not any(bench.run(5))


def test_after_close_nothing_heats() -> None:
    """Closed while a lease is running: off at once, and neither beats nor commands bring it back."""
    bench = Bench()
    bench.run(1)
    bench.heat()
    assert all(bench.run(1))
    bench.node.close()
    assert not bench.pin.on
    bench.heat(seq=2)
    assert not any(bench.run(3))
    assert not bench.node.on


def test_the_stirrer_has_a_lease_too() -> None:
    """On for as long as its command is valid; OFF without anything else stops it."""
    bench = Bench()
    bench.node.stirrer(b'{"on":true,"seq":1,"valid_s":2}', bench.now, False)
    bench.run(1)
    assert bench.stirrer.on
    bench.run(1.1)
    assert not bench.stirrer.on
    bench.node.stirrer(b'{"on":true,"seq":2,"valid_s":1e9}', bench.now, False)
    bench.run(29.9)
    assert bench.stirrer.on
    bench.run(0.2)
    assert not bench.stirrer.on
    bench.node.stirrer(b'{"on":true,"seq":3,"valid_s":10}', bench.now, False)
    bench.node.stirrer(b'{"on":false}', bench.now, False)
    bench.run(1)
    assert not bench.stirrer.on


@pytest.mark.parametrize(
    "payload",
    [b"", b"true", b"[]", b'{"on":1}', b'{"on":true}', b'{"on":true,"seq":1}', b'{"on":true,"seq":-1,"valid_s":5}'],
)
def test_what_is_no_motor_command(payload: bytes) -> None:
    """Nonsense on the stirrer's topic is counted and starts nothing."""
    bench = Bench()
    bench.node.stirrer(payload, 0.0, False)
    bench.run(1)
    assert not bench.stirrer.on
    assert sum(bench.node.refused.values()) == 1


def test_reports_come_every_two_seconds() -> None:
    """Unasked, nothing changing: a report each two seconds."""
    bench = Bench()
    bench.run(10)
    quiet = len(bench.reports)
    bench.run(20)
    assert len(bench.reports) - quiet == 10


def test_every_command_is_answered() -> None:
    """Each accepted command has a report with its sequence at the next beat, accepted OFF included."""
    bench = Bench()
    bench.run(1)
    for seq in range(1, 20):
        bench.heat(seq=seq, duty=float(seq % 2))
        bench.run(BEAT, probe=False)
        assert bench.reports[-1]["seq"] == seq


def test_a_stranger_cannot_fill_the_memory() -> None:
    """A thousand refused sequences are counted under a handful of reasons."""
    bench = Bench()
    bench.heat(seq=5000)
    for seq in range(1000):
        bench.heat(seq=seq)
    assert len(bench.node.refused) == 1
    assert sum(bench.node.refused.values()) == 1000


# ---------------------------------------------------------------- any sequence of inputs

EVENTS = st.lists(
    st.one_of(
        st.tuples(st.just("command"), st.sampled_from([0.0, 0.3, 1.0]), st.sampled_from([0.2, 3.0, 10.0, 1e6])),
        st.tuples(st.just("reading"), st.sampled_from([20.0, 66.0, 79.99, 80.0, 81.0, 85.0, 0.0, 200.0]), st.just(0.0)),
        st.tuples(st.just("wait"), st.sampled_from([0.05, 0.5, 2.0, 12.0]), st.just(0.0)),
        st.tuples(st.just("junk"), st.just(0.0), st.just(0.0)),
    ),
    max_size=60,
)


@given(EVENTS)
@examples(deadline=None)
def test_heat_only_with_lease_and_cool_fresh_reading(events: list[tuple[str, float, float]]) -> None:
    """Whatever arrives: at each beat with the pin on, a heat command is in its lease and a reading under the limit is
    at most ten seconds old, judged from the messages alone."""
    bench = Bench()
    heat_until, last = -1.0, (-99.0, 0.0)
    for seq, (kind, value, valid) in enumerate(events, 1):
        if kind == "command":
            bench.node.command(command(value, seq, valid), bench.now, False)
            heat_until = bench.now + min(valid, 10.0) if value > 0 else -1.0
        elif kind == "reading":
            bench.read(value)
            if value not in (0.0, 200.0):
                last = (bench.now, value)
        elif kind == "junk":
            bench.node.command(b'{"duty":1}', bench.now, False)
            bench.node.reading(b"66", bench.now, False)
        for _ in range(round(value / BEAT) if kind == "wait" else 1):
            bench.node.beat(bench.now)
            if bench.pin.on:
                assert bench.now < heat_until
                assert bench.now - last[0] <= 10.0 + 1e-9
                assert last[1] < 80.0
            bench.beats += 1
