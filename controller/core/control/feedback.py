"""How hard does the loop pull towards its setpoint?

With the lag taken out by prediction the plant is a plain integrator, for which the SIMC rule gives a proportional gain.
What an integral would have to find out, the filter's loss finds out.
"""

from __future__ import annotations

from math import isfinite, sqrt

from simple_pid import PID

from controller.core.control.belief import Belief
from controller.core.control.plant_model import PlantModel

TAU_SHARE = 0.3  # of the total lag: closed-loop time tau (SIMC's tau_c, free for robustness; own bench: 0.3..0.4 alike)
LEAST_TAU_S = 15.0  # s, not faster: noise of 0.1 K at 1 Hz would rattle the heater (own bench)
WINDOW_SHARE = 0.5  # of a relay's window: the feedback is not faster than the heater can answer (own proposal)


def tau_s(model: PlantModel, rate_k_per_s: float, belief: Belief) -> float:
    """Closed-loop time, s. Where it is doubtful how much warmer the probe reads than the mash, the loop closes through
    that doubt: its gain, doubt / (rate tau), must stay below 1."""
    doubt_s = sqrt(max(belief.doubt.rr, 0.0)) / rate_k_per_s if belief.doubt is not None else 0.0
    window_s = WINDOW_SHARE * model.path.switching.window_s
    return max(TAU_SHARE * (model.lag_s + model.dead_s), LEAST_TAU_S, window_s, doubt_s)


def simc_gain(rate: float, dead_s: float, tau_s: float) -> float:
    """Which proportional gain for rate/s with dead time? S. Skogestad, J. Process Control 13 (2003) 291, integrating
    process: Kc = 1 / (rate (tau + dead))."""
    return 1.0 / (rate * (tau_s + dead_s))


def feedback(gain: float, forward: float, setpoint_c: float, coming_c: float) -> float:
    """What does simple-pid make of it? `gain` in duty per K; the feed-forward is its starting output. A new one each
    time, with no clock: nothing is kept from call to call."""
    if not isfinite(setpoint_c) or not isfinite(coming_c) or not isfinite(forward):
        return 0.0
    pid = PID(Kp=gain, setpoint=setpoint_c, sample_time=None, time_fn=_no_clock, starting_output=forward)
    return pid(coming_c, dt=1.0) or 0.0


def _no_clock() -> float:
    return 0.0
