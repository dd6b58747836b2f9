"""Is the loop's arithmetic that of its sources? PI rule, simple-pid's path, and the lags, against the outside."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from scipy import signal

from controller.core.control.belief import NOTHING, STAGES
from controller.core.control.feedback import feedback, simc_gain
from controller.core.control.observer import passed
from controller.core.control.plant_model import PlantModel, believed
from tests.core.control.loops import MODEL
from tests.core.control.tuns import MASH, tun


@pytest.mark.parametrize(("rate", "dead_s", "kc"), [(1.0, 1.0, 0.5), (0.02, 0.0, 50.0), (0.02, 4.0, 6.25)])
def test_simc_for_an_integrating_process(rate: float, dead_s: float, kc: float) -> None:
    """S. Skogestad, J. Process Control 13 (2003) 291: for exp(-s)/s with tau_c = 1 the rule gives Kc = 0.5; the others
    follow from Kc = 1/(k' (tau_c + dead)) by hand, with tau_c equal to the dead time, or 1 s without any."""
    assert simc_gain(rate, dead_s, dead_s or 1.0) == pytest.approx(kc)


def simc(gain: float, lag_s: float, dead_s: float) -> tuple[float, float]:
    """PI settings for gain/(lag s + 1) with dead time, tau_c equal to it: Kc, tau_I in s (same source)."""
    return lag_s / (gain * 2.0 * dead_s), min(lag_s, 8.0 * dead_s)


def test_a_slow_lag_becomes_an_integrator() -> None:
    """gain/(lag s + 1) with a very long lag gets the gain of the integrator gain/lag/s (same source)."""
    kc, _ = simc(1.0, 1e6, 2.0)
    assert simc_gain(1e-6, 2.0, 2.0) == pytest.approx(kc)


def test_the_pid_path_agrees_with_scipy_on_a_lag_with_dead_time() -> None:
    """PI on 1.5 exp(-6 s)/(40 s + 1) through the loop's simple-pid equals scipy's step response of the closed
    loop to 1e-9, sample by sample over 10 min."""
    gain, lag_s, late, dt, seconds = 1.5, 40.0, 6, 1.0, 600
    kc, tau_i = simc(gain, lag_s, float(late))
    keep = exp(-dt / lag_s)
    level, integral, waiting, ours = 0.0, 0.0, [0.0] * late, []
    for _ in range(seconds):
        ours.append(level)
        integral += kc / tau_i * (1.0 - level) * dt
        waiting.append(feedback(kc, integral, 1.0, level))
        level = keep * level + gain * (1.0 - keep) * waiting.pop(0)
    plant_n = np.concatenate([np.zeros(late + 1), [gain * (1.0 - keep)]])
    plant_d = np.array([1.0, -keep])
    pi_n, pi_d = np.array([kc + kc / tau_i * dt, -kc]), np.array([1.0, -1.0])
    open_n, open_d = np.polymul(pi_n[::-1], plant_n[::-1])[::-1], np.convolve(pi_d, plant_d)
    size = max(len(open_n), len(open_d))
    open_n = np.pad(open_n, (0, size - len(open_n)))
    open_d = np.pad(open_d, (0, size - len(open_d)))
    theirs = signal.lfilter(open_n, open_d + open_n, np.ones(seconds))
    assert np.max(np.abs(np.array(ours) - theirs)) < 1e-9


def test_the_simc_loop_behaves_as_its_source_says() -> None:
    """With tau_c equal to the dead time the setpoint step of the same loop overshoots little (source: about 4 %) and
    is within 2 % after ten dead times."""
    gain, lag_s, late = 1.5, 40.0, 6
    kc, tau_i = simc(gain, lag_s, float(late))
    keep = exp(-1.0 / lag_s)
    level, integral, waiting, trace = 0.0, 0.0, [0.0] * late, []
    for _ in range(300):
        integral += kc / tau_i * (1.0 - level)
        waiting.append(feedback(kc, integral, 1.0, level))
        level = keep * level + gain * (1.0 - keep) * waiting.pop(0)
        trace.append(level)
    assert max(trace) < 1.10
    assert all(abs(v - 1.0) < 0.02 for v in trace[120:])


@pytest.mark.parametrize("model", [MODEL, believed(tun(), MASH), MODEL._replace(lag_s=120.0, dead_s=60.0)])
def test_the_model_s_lags_agree_with_scipy(model: PlantModel) -> None:
    """The share of power that arrives after a step of duty is the step response of 1/((d/3 s + 1)^3 (l s + 1)), to
    2 % at 0.25 s steps."""
    third = model.dead_s / STAGES
    stage = np.array([third, 1.0])
    denominator = np.polymul(np.polymul(np.polymul(stage, stage), stage), [model.lag_s, 1.0])
    times = np.arange(0.25, 600.25, 0.25)
    _, theirs = signal.step(([1.0], denominator), T=np.concatenate([[0.0], times]))
    arriving, ours = NOTHING.arriving, []
    for _ in times:
        arriving = passed(model.dead_s, model.lag_s, 1.0, arriving, 0.25)
        ours.append(arriving[-1])
    assert np.max(np.abs(np.array(ours) - theirs[1:])) < 0.02
