"""What a pulse in plain water says, and what it refuses to say."""

from __future__ import annotations

from math import exp, inf, nan
from random import Random

import pytest

from controller.commissioning.learn import RISE_K, Identified, Known, Point, Refused, identify
from tests.core.control.loops import seen
from tests.regimes.bench.pulse import PULSE_START, PulseState, level, pulse

KNOWN = Known(capacity_j_per_k=250_000.0, power_w=5000.0, loss_w_per_k=4.0, room_c=18.0)


class Tub:
    """Plain water behind a heater lag and a probe lag, with noise."""

    def __init__(self, share: float, heater_s: float, probe_s: float, noise_k: float = 0.03, seed: int = 1) -> None:
        self.share, self.heater_s, self.probe_s, self.noise_k = share, heater_s, probe_s, noise_k
        self.rng = Random(seed)
        self.water_c = self.probe_c = 42.0
        self.arrives = 0.0

    def second(self, duty: float) -> float:
        """A second later: the reading."""
        self.arrives += (1.0 - exp(-1.0 / self.heater_s)) * (duty - self.arrives)
        watts = self.arrives * KNOWN.power_w * self.share - KNOWN.loss_w_per_k * (self.water_c - KNOWN.room_c)
        self.water_c += watts / KNOWN.capacity_j_per_k
        self.probe_c += (1.0 - exp(-1.0 / self.probe_s)) * (self.water_c - self.probe_c)
        return self.probe_c + self.rng.gauss(0.0, self.noise_k)


def pulsed(tub: Tub) -> PulseState:
    """The whole pulse on this tub."""
    state, duty = PULSE_START, 0.0
    for _ in range(6000):
        state, duty = pulse(state, seen(tub.second(duty)), duty, 1.0, 78.0)
        if state.phase in ("done", "failed"):
            return state
    raise AssertionError("the pulse never ended")


@pytest.mark.parametrize("share", [0.8, 1.0, 1.2])
@pytest.mark.parametrize(("heater_s", "probe_s"), [(10.0, 10.0), (60.0, 15.0), (20.0, 45.0)])
def test_rate_and_lag_are_found(share: float, heater_s: float, probe_s: float) -> None:
    """The heating rate comes out within 5 %, the total lag within 15 %, each within three of its own deviations."""
    state = pulsed(Tub(share, heater_s, probe_s))
    assert state.phase == "done"
    found = identify(state.trace, KNOWN)
    assert isinstance(found, Identified)
    assert found.power_w == pytest.approx(share * KNOWN.power_w, rel=0.05)
    assert abs(found.power_w - share * KNOWN.power_w) < 3.0 * found.power_sd
    assert found.lag_s + found.dead_s == pytest.approx(heater_s + probe_s, rel=0.15)
    assert found.rise_k >= RISE_K


@pytest.mark.parametrize(("share", "word"), [(0.4, "0.4"), (1.9, "1.9")])
def test_what_the_plate_does_not_allow_is_refused(share: float, word: str) -> None:
    """A rate at 0.4 or 1.9 of the plate's is not believed; the reason says how much it was and what to check."""
    found = identify(pulsed(Tub(share, 20.0, 15.0)).trace, KNOWN)
    assert isinstance(found, Refused)
    assert word in found.reasons[0]
    assert "check power" in found.reasons[0]


def test_a_record_that_fits_no_smooth_course_is_refused() -> None:
    """One point that is no number spoils the record; so does having hardly any, or two kelvins lost in its middle, as
    by water added; no heat and no rise are two problems, both said at once."""
    points = tuple(Point(2.0 * i, 42.0 + 0.05 * i, 1.0) for i in range(200))
    for bad in (nan, inf):
        assert isinstance(identify((*points[:50], points[50]._replace(reading_c=bad), *points[51:]), KNOWN), Refused)
    assert isinstance(identify((), KNOWN), Refused)
    assert isinstance(identify(points[:10], KNOWN), Refused)
    trace = pulsed(Tub(1.0, 20.0, 15.0)).trace
    half = len(trace) // 2
    spoilt = trace[:half] + tuple(p._replace(reading_c=p.reading_c - 2.0) for p in trace[half:])
    assert isinstance(identify(spoilt, KNOWN), Refused)
    found = identify(tuple(Point(2.0 * i, 42.0, 0.0) for i in range(200)), KNOWN)
    assert isinstance(found, Refused)
    assert len(found.reasons) == 2


def test_the_pulse_never_heats_over_its_limit_or_blind() -> None:
    """With 2 K of room it does not begin; without a reading it ends at once, heat off, and says why."""
    tub = Tub(1.0, 20.0, 15.0)
    state, duty = PULSE_START, 0.0
    for _ in range(400):
        state, duty = pulse(state, seen(tub.second(duty)), duty, 1.0, 44.0)
        assert duty == 0.0
    assert state.phase == "failed"
    assert "44.0" in state.why
    blind, duty = pulse(PULSE_START._replace(phase="heating", start_c=42.0), seen(None), 1.0, 1.0, 78.0)
    assert (blind.phase, duty) == ("failed", 0.0)
    old, duty = pulse(PULSE_START._replace(phase="heating", start_c=42.0), seen(42.0, age_s=11.0), 1.0, 1.0, 78.0)
    assert (old.phase, duty) == ("failed", 0.0)


def test_a_dead_heater_ends_the_pulse() -> None:
    """Full power for 40 min without the rise: given up, with the rise that there was."""
    tub = Tub(0.0, 20.0, 15.0)
    state = pulsed(tub)
    assert state.phase == "failed"
    assert "40 min" in state.why


def test_level_means_level() -> None:
    """A reading that climbs 0.2 K/min is not level; one that stands, or cools by the tun's loss, is."""

    def line(slope_k_per_min: float) -> tuple[Point, ...]:
        return tuple(Point(2.0 * i, 42.0 + slope_k_per_min * 2.0 * i / 60.0, 0.0) for i in range(120))

    assert not level(line(0.2))
    assert level(line(0.0))
    assert level(line(-0.1))
    assert not level(())
