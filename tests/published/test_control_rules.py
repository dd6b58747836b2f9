"""Is the loop's arithmetic that of its sources? PI rule, simple-pid's path, and the lags, against the outside."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from scipy import signal

from controller.core.control import loop
from controller.core.control.plant_model import figures
from controller.core.nouns import Figures
from tests.core.control.loops import FIGURES
from tests.core.control.tuns import MASH, tun


def test_simc_for_an_integrating_process() -> None:
    """For exp(-s)/s with tau_c = 1 the rule gives Kc = 0.5 and tau_I = 8 (same source, integrating process)."""
    assert loop.simc_integrating(1.0, 1.0, 1.0) == pytest.approx((0.5, 8.0))


def test_the_pid_path_agrees_with_scipy_on_a_lag_with_dead_time() -> None:
    """PI on 1.5 exp(-6 s)/(40 s + 1) through the regulator's simple-pid equals scipy's step response of the closed
    loop to 1e-9, sample by sample over 10 min."""
    gain, lag_s, late, dt, seconds = 1.5, 40.0, 6, 1.0, 600
    kc, tau_i = lag_s / (gain * 2.0 * late), lag_s  # a well damped loop; any would do
    keep = exp(-dt / lag_s)
    level, integral, waiting, ours = 0.0, 0.0, [0.0] * late, []
    for _ in range(seconds):
        ours.append(level)
        integral += kc / tau_i * (1.0 - level) * dt
        waiting.append(loop.feedback(kc, integral, 1.0, level))
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


@pytest.mark.parametrize("believed", [FIGURES, figures(tun(), MASH), FIGURES._replace(lag_s=120.0, dead_s=60.0)])
def test_the_model_s_lags_agree_with_scipy(believed: Figures) -> None:
    """The share of power that arrives after a step of duty is the step response of 1/((d/3 s + 1)^3 (l s + 1)), to
    2 % at 0.25 s steps."""
    third = believed.dead_s / loop.STAGES
    stage = np.array([third, 1.0])
    denominator = np.polymul(np.polymul(np.polymul(stage, stage), stage), [believed.lag_s, 1.0])
    times = np.arange(0.25, 600.25, 0.25)
    _, theirs = signal.step(([1.0], denominator), T=np.concatenate([[0.0], times]))
    arriving, ours = loop.START.arriving, []
    for _ in times:
        arriving = loop._flow(believed, 1.0, arriving, 0.25)
        ours.append(arriving[-1])
    assert np.max(np.abs(np.array(ours) - theirs[1:])) < 0.02
