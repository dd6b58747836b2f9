"""What the loop believes of a tun: plate, learned, and the bounds of both."""

from __future__ import annotations

import pytest

from controller.brewing import water
from controller.core.control.belief import NOTHING
from controller.core.control.heat_path import heat_path
from controller.core.control.plant_model import GAIN_BOUNDS, believed
from tests.core.control.tuns import MASH, STRIKE, learned, tun


def test_the_plate_is_what_is_known_at_first() -> None:
    """Power times efficiency, the filling's heat capacity, and the cap come from the tun file and the program."""
    f = believed(tun(efficiency=0.9), MASH)
    assert (f.power_w, f.capacity_j_per_k, f.duty_cap, f.path.switching.window_s) == (4500.0, 300_000.0, 0.9, 2.0)


def test_what_was_learned_replaces_the_plate() -> None:
    """Power and lags of a water run are used as they are, and doubted less."""
    plate, found = believed(tun(), MASH), believed(tun(), MASH, learned(4600.0))
    assert (found.power_w, found.lag_s, found.dead_s) == (4600.0, 50.0, 10.0)
    assert found.doubts.gain_sd < plate.doubts.gain_sd
    assert found.doubts.lag_sd < plate.doubts.lag_sd


@pytest.mark.parametrize(("power_w", "gain"), [(100.0, 1.0), (90_000.0, 1.0), (4000.0, 0.7), (7000.0, 1.4)])
def test_learned_power_stays_within_bounds_of_the_plate(power_w: float, gain: float) -> None:
    """File and run together cannot leave 0.65 to 1.5 of the plate, whatever either says."""
    f = believed(tun(), MASH, learned(power_w), NOTHING._replace(gain=gain))
    assert GAIN_BOUNDS[0] <= f.power_w / 5000.0 <= GAIN_BOUNDS[1]


def test_what_the_run_found_counts_on_top() -> None:
    """A rate 10 % over, a lag 20 % under the believed ones and a loss of its own change the figures by as much."""
    plate = believed(tun(), MASH)
    found = believed(tun(), MASH, None, NOTHING._replace(gain=1.1, lag=0.8, extra_k_per_s=-0.001))
    assert (plate.found_loss_k_per_s, found.found_loss_k_per_s) == (0.0, -0.001)
    assert found.power_w == pytest.approx(1.1 * plate.power_w)
    assert found.lag_s + found.dead_s == pytest.approx(0.8 * (plate.lag_s + plate.dead_s))


def test_a_probe_behind_the_heater_reads_the_rise() -> None:
    """5 kW over 20 L/min warm the wort by 3.6 K (P = flow x c x rise), 10 % more with grist in; stirred 0."""
    behind = tun("line", behind=True, pumped=True)
    assert believed(behind, STRIKE).rise_k == pytest.approx(5000.0 / (20.0 / 60.0 * water.J_PER_L_K))
    assert believed(behind, MASH).rise_k == pytest.approx(1.1 * 5000.0 / (20.0 / 60.0 * water.J_PER_L_K))
    assert believed(tun("element"), MASH).rise_k == 0.0


def test_a_slower_heater_is_believed_slower() -> None:
    """A jacket lags more than an element."""
    assert believed(tun("jacket"), MASH).lag_s > believed(tun("element"), MASH).lag_s


def test_liquor_round_a_coil_is_warmed_as_well() -> None:
    """30 L are 125.7 kJ/K more; with the mash, 260 kJ/K at three quarters of 100 L, they come together as two bodies
    do: 125.7 x 260 / 385.7 kJ/K over 5 kW at 14 K, 237 s; 2 L not faster than a jacket."""
    plain = tun("coil")
    held = plain.model_copy(update={"heater": plain.heater.model_copy(update={"bath_l": 30.0})})
    little = plain.model_copy(update={"heater": plain.heater.model_copy(update={"bath_l": 2.0})})
    assert believed(held, MASH).capacity_j_per_k == pytest.approx(300_000.0 + 30.0 * water.J_PER_L_K)
    assert heat_path(held).heater_s == pytest.approx(237.3, abs=0.1)
    assert believed(held, MASH).lag_s == pytest.approx(237.3, abs=0.1)
    assert heat_path(little).heater_s == 45.0
