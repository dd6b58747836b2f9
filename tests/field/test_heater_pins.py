"""The heater node's contacts, motors, reports and broken pins; and what holds for any sequence of inputs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.field.pins import BEAT, Bench, FakeInput, command

# ---------------------------------------------------------------- contacts, motors, broken pins


def test_no_liquid_no_heat() -> None:
    """The level contact opens: off at that beat, told on the level topic at once, latched when it stays open."""
    level = FakeInput()
    bench = Bench(level=level)
    bench.heated()
    level.ok = False
    assert not any(bench.run(2))
    assert bench.levels[-1]["ok"] is False
    level.ok = True
    bench.heat(seq=2)
    assert not any(bench.run(1))
    assert bench.fault == "no liquid at the heater"


def test_level_words_come_each_second_with_rising_sequence() -> None:
    """Ten seconds: ten words, numbered without a gap; no answer from the level pin counts as bad: no heat, and no word
    that would say all is well."""
    bench = Bench(level=FakeInput())
    bench.run(10)
    assert [(word["seq"], word["ok"]) for word in bench.levels] == [(seq, True) for seq in range(1, 11)]
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
    bench.heated()
    bench.node.close()
    assert not bench.pin.on
    bench.heat(seq=2)
    assert not any(bench.run(3))
    assert not bench.node.on


def test_the_stirrer_has_a_lease_too() -> None:
    """On for as long as its command is valid; OFF without anything else stops it."""
    bench = Bench()

    def after(seconds: float, *payloads: bytes) -> bool:
        for payload in payloads:
            bench.node.stirrer(payload, bench.now, False)
        bench.run(seconds)
        return bench.stirrer.on

    assert after(1, b'{"on":true,"seq":1,"valid_s":2}')
    assert not after(1.1)
    assert after(29.9, b'{"on":true,"seq":2,"valid_s":1e9}')
    assert not after(0.2)
    assert not after(1, b'{"on":true,"seq":3,"valid_s":10}', b'{"on":false}')


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


def test_reports_come_every_two_seconds_and_for_every_command() -> None:
    """Unasked, nothing changing: a report each two seconds; each accepted command has a report with its sequence at the
    next beat, accepted OFF included."""
    bench = Bench()
    bench.run(10)
    quiet = len(bench.reports)
    bench.run(20)
    assert len(bench.reports) - quiet == 10
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
