"""A share of power from a heater that is only on or off."""

from __future__ import annotations

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.control.on_off import START, OnOffState, Switching, modulate
from controller.core.nouns import Demand

PLAIN = Switching()
RELAY = Switching(window_s=10.0)
CONTACTOR = Switching(window_s=20.0, min_on_s=5.0, min_off_s=4.0)
BURNER = Switching(min_fire=0.3, min_on_s=10.0, min_off_s=10.0)


def play(limits: Switching, duties: list[float]) -> tuple[list[float], OnOffState]:
    """What goes out second by second."""
    state, out = START, []
    for duty in duties:
        state, given_ = modulate(limits, Demand(duty, ""), state, 1.0)
        out.append(given_)
    return out, state


def lengths(duties: list[float], on: bool) -> list[int]:
    """How long was it on (or off), each time but the first and the last?"""
    runs, length, last = [], 0, duties[0] > 0.0
    for duty in duties:
        if (duty > 0.0) == last:
            length += 1
            continue
        runs.append((last, length))
        last, length = duty > 0.0, 1
    return [n for state, n in runs[1:] if state == on]


@pytest.mark.parametrize("duty", [0.03, 0.2, 0.5, 0.77, 0.97])
def test_a_relay_gives_the_mean_it_is_asked_for(duty: float) -> None:
    """Over an hour the relay's mean is the duty asked for, to within one window."""
    out, _ = play(RELAY, [duty] * 3600)
    assert set(out) <= {0.0, 1.0}
    assert sum(out) == pytest.approx(3600 * duty, abs=10.0)


def test_a_relay_does_not_chatter() -> None:
    """At half power a relay with a window of 10 s takes at least 10 s from on to on."""
    out, state = play(RELAY, [0.5] * 3600)
    assert state.cycles <= 3600 / 10 + 1
    assert min(a + b for a, b in zip(lengths(out, True), lengths(out, False), strict=False)) >= 10


@given(st.lists(st.floats(0.001, 1.0), min_size=200, max_size=200))
def test_minimum_times_are_kept(duties: list[float]) -> None:
    """However the demand jumps (short of 0), a contactor stays on 5 s and off 4 s at least."""
    out, _ = play(CONTACTOR, duties)
    assert all(n >= 5 for n in lengths(out, True))
    assert all(n >= 4 for n in lengths(out, False))


def test_no_heat_asked_opens_at_once() -> None:
    """A demand of 0 opens the contactor in the same tick, minimum on-time or not."""
    out, state = play(CONTACTOR, [1.0, 1.0, 0.0])
    assert out == [1.0, 1.0, 0.0]
    assert not state.on


def test_cycles_are_counted() -> None:
    """Three times switched on is three cycles, kept over switching off."""
    out, state = play(CONTACTOR, ([1.0] * 10 + [0.0] * 10) * 3)
    assert state.cycles == 3
    assert sum(out) == 30


def test_full_power_is_uninterrupted() -> None:
    """A duty of 1 is on from the first tick to the last."""
    assert play(RELAY, [1.0] * 100)[0] == [1.0] * 100


def test_a_proportional_heater_gets_the_duty_itself() -> None:
    """No window, no minimum: what is asked goes out, up to the cap."""
    assert play(Switching(duty_cap=0.6), [0.25, 0.9])[0] == [0.25, 0.6]


def test_a_burner_is_off_or_at_least_at_its_minimum_fire() -> None:
    """Under its minimum a burner goes on and off with the right mean; over it, it burns as asked."""
    out, _ = play(BURNER, [0.1] * 3600)
    assert set(out) == {0.0, 0.3}
    assert sum(out) == pytest.approx(360.0, abs=10.0)
    assert play(BURNER, [0.5] * 20)[0][-1] == 0.5


@pytest.mark.parametrize("duty", [nan, inf, -inf, -0.2, 0.0])
@pytest.mark.parametrize("limits", [PLAIN, RELAY, CONTACTOR, BURNER])
def test_what_is_no_duty_gives_no_heat(duty: float, limits: Switching) -> None:
    """No number, infinite, negative or zero: off, from any state."""
    on = OnOffState(True, 100.0, 5.0, 1)
    assert modulate(limits, Demand(duty, ""), on, 1.0)[1] == 0.0


@pytest.mark.parametrize("dt", [nan, inf, -1.0])
def test_a_broken_clock_gives_no_heat(dt: float) -> None:
    """Time that is no number or goes back: off."""
    assert modulate(RELAY, Demand(1.0, ""), START, dt)[1] == 0.0
