"""When does the probe show a rise that the plan worked out?"""

from __future__ import annotations

import pytest

from controller.core.control.climb import BAND_K, climb, late_s
from controller.core.control.heat_path import heat_path
from tests.core.control.tuns import tun

CAPACITY = 300_000.0


def shown_s(lag_s: float, dead_s: float, slope: float, rise_k: float) -> float:
    """When a rise that comes `dead_s` late and through one lag is within the band of its end, by steps of 10 ms."""
    dt, felt_k, t_s = 0.01, 0.0, 0.0
    while rise_k - felt_k > BAND_K:
        t_s += dt
        felt_k += (min(slope * t_s, rise_k) - felt_k) * dt / lag_s
    return t_s + dead_s


@pytest.mark.parametrize(("slope", "rise_k"), [(0.5 / 60, 9.0), (0.9 / 60, 12.0), (2.5 / 60, 6.0), (2.5 / 60, 1.0)])
def test_a_rise_shows_behind_dead_time_and_lag(slope: float, rise_k: float) -> None:
    """In band within 2 s of what integrating the same dead time and lag gives, for slow, fast and short rises."""
    path, rise_s = heat_path(tun()), rise_k / slope
    shown = rise_s + late_s(tun(), slope, rise_s)
    assert shown == pytest.approx(shown_s(path.lag_s, path.dead_s, slope, rise_k), abs=2.0)


def test_what_lands_in_band_waits_for_no_rise() -> None:
    """0.4 K short or over counts at once; 0.6 K short waits for heat to show, 3 K over until it has cooled."""
    near = [climb(tun(), CAPACITY, 63.0 + off_k, 63.0, None).in_band_s for off_k in (-0.4, 0.4, 0.0)]
    assert near == [0.0, 0.0, 0.0]
    assert climb(tun(), CAPACITY, 62.4, 63.0, None).in_band_s > heat_path(tun()).dead_s
    over = climb(tun(), CAPACITY, 66.0, 63.0, None)
    assert over.limited_by == "cooling" and 0.8 * over.seconds < over.in_band_s < over.seconds
