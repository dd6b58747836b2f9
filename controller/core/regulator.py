"""How much heat would bring the mash to its setpoint?

The tun, as this room sees it (one heat balance, three lags in a row, nothing else):

    heater duty u --[dead time: three equal lags]--[lag]--> w     share of power that arrives, 0..1
    d(reading)/dt = rate * w - loss                               rate = power / heat capacity, K/s at full power

Every tick:
  1. OBSERVE. The model runs along. What the reading says against it corrects the model's temperature at once and,
     slowly, the loss (near rest) or the rate (near full power, where an error of rate would look like a loss).
  2. PREDICT. Heat already given but not yet seen is known from the duties: sum of lag * w. Less what the loss takes
     meanwhile it gives `coming`, where the reading ends if from now on the heater only covers the loss.
     d(coming)/dt = rate * u - loss: no lag, no dead time left.
  3. ACT. duty = (loss + slope of the setpoint) / rate          feed-forward from the heat balance
              + (setpoint - coming) / (rate * T)                feedback, simple-pid
     With the lag taken out by the prediction the plant is a plain integrator, for which the SIMC rule gives a
     proportional gain alone. The integral sits in the observer, so it learns from what the model did not foresee and
     never from a saturated heater: there is nothing that could wind up.

Why not a PID on the error? Along a ramp the reading trails the setpoint by slope * lag, an integral fills up on that,
and the heat stored in wall, pipe and bed arrives after the setpoint has stopped.
"""

from __future__ import annotations

from math import exp, isfinite
from typing import NamedTuple

from simple_pid import PID

from controller.core.model import Demand, Figures, Measurement, Setpoint, Target

# ---- constants: unit and source
TAU_SHARE = 0.4  # of the total lag: closed-loop time of the feedback (own bench; SIMC's tau_c, free for robustness)
LEAST_TAU_S = 15.0  # s, not faster than this: noise of 0.1 K at 1 Hz (own bench)
WINDOW_SHARE = 0.5  # of a relay's window: the feedback is not faster than the heater can answer (own proposal)
OBSERVER_S = 90.0  # s, observer's time; with slow tuns OBSERVER_SHARE of the total lag (own bench)
OBSERVER_SHARE = 0.7
GAIN_S = 300.0  # s of full power until an error of rate is learned to two thirds (own bench)
NEAR_REST, NEAR_FULL = 0.6, 0.9  # share of power arriving: below it the loss is learned, above it the rate
GAIN_BOUNDS = (0.65, 1.5)  # rate found on ramps over the one believed (own bench: without bounds, runaway)
MOST_EXTRA = 0.25  # of the heater's rate: loss beyond the plate's that the observer may believe in
ABOVE_K = 1.0  # heater off when the reading is so far above target, whatever the model says (own bench)
STAGES = 3  # equal lags that stand for a dead time; wort in a bed or pipe spreads by as much (tanks in series)
JUMP_K = 1.5  # K between model and reading: not noise, something was added; the model starts anew at the reading
OUTLET_S = 30.0  # s, time of the cascade that keeps the heater's outlet under its limit (own proposal)
OUTLET_MARGIN_K = 1.0  # K under the limit where the cascade holds it
OUTLET_RISE_K = 10.0  # K at full power, when no figure is known: slow and safe
FRESH_S = 10.0  # s without a believed reading: no heat (the guard acts on its own)


class RegulatorState(NamedTuple):
    """What the model believes."""

    reading_c: float | None = None  # model's temperature where the probe is
    arriving: tuple[float, ...] = (0.0,) * (STAGES + 1)  # share of power leaving each lag
    extra_k_per_s: float = 0.0  # loss beyond the plate's
    gain: float = 1.0  # rate found on ramps over the one believed
    unseen_s: float = 0.0  # since the last fresh reading
    outlet_cap: float = 1.0  # duty that the outlet's limit allows
    saturated: bool = False  # asked for more than the heater may give: the setpoint should wait
    coming_c: float | None = None  # where the reading ends if heat only covers the loss


START = RegulatorState()


def simc(gain: float, lag_s: float, dead_s: float, tau_s: float) -> tuple[float, float]:
    """Which PI settings for gain/(lag s + 1) with dead time? (Kc, tau_I in s); Skogestad, J. Process Control 13 (2003)
    291: Kc = lag / (gain (tau + dead)), tau_I = min(lag, 4 (tau + dead))."""
    return lag_s / (gain * (tau_s + dead_s)), min(lag_s, 4.0 * (tau_s + dead_s))


def simc_integrating(rate: float, dead_s: float, tau_s: float) -> tuple[float, float]:
    """Which PI settings for rate/s with dead time? (Kc, tau_I in s), same source: Kc = 1 / (rate (tau + dead)),
    tau_I = 4 (tau + dead)."""
    return 1.0 / (rate * (tau_s + dead_s)), 4.0 * (tau_s + dead_s)


def regulate(
    figures: Figures,
    setpoint: Setpoint | None,
    target: Target,
    measurement: Measurement,
    applied_duty: float,
    state: RegulatorState,
    dt: float,
    outlet_c: float | None = None,
    outlet_limit_c: float | None = None,
) -> tuple[RegulatorState, Demand]:
    """Which duty, 0..cap, and why? `applied_duty` is what went out over the last `dt` s. Never raises; what is not a
    number gives duty 0."""
    if not _sound(figures) or not isfinite(dt):
        return START, Demand(0.0, "no heat: figures or time are not numbers")
    applied = min(max(applied_duty, 0.0), 1.0) if isfinite(applied_duty) else 0.0
    state = observe(figures, measurement, applied, state, max(dt, 0.0))
    state = _outlet(state, outlet_c, outlet_limit_c, applied, max(dt, 0.0))
    duty, reason = _act(figures, setpoint, target, measurement, state)
    most = min(figures.duty_cap, state.outlet_cap, 1.0)
    saturated = duty >= most
    if saturated and most < min(figures.duty_cap, 1.0):
        reason = "held back by the heater's outlet limit"
    return state._replace(saturated=saturated), Demand(min(max(duty, 0.0), most), reason)


def _sound(figures: Figures) -> bool:
    return all(map(isfinite, figures)) and figures.power_w > 0.0 and figures.capacity_j_per_k > 0.0


# ---------------------------------------------------------------- observe


def observe(figures: Figures, seen: Measurement, applied: float, state: RegulatorState, dt: float) -> RegulatorState:
    """What does the model believe after `dt` s with `applied` duty and this measurement?"""
    value = seen.value_c if seen.value_c is not None and isfinite(seen.value_c) else None
    value = value if value is None else value - figures.behind_heater_k * applied
    model_c = state.reading_c if state.reading_c is not None else value
    if model_c is None:
        return START
    arriving = _flow(figures, applied, state.arriving, dt)
    rate = figures.power_w / figures.capacity_j_per_k
    model_c += (rate * arriving[-1] - _loss(figures, model_c, state.extra_k_per_s)) * dt
    unseen = state.unseen_s + dt
    state = state._replace(reading_c=model_c, arriving=arriving, unseen_s=unseen)
    if value is not None and seen.fresh and unseen > 0.0:
        state = _correct(figures, rate, value, state, unseen)
    return state._replace(coming_c=_coming(figures, rate, state))


def _flow(figures: Figures, duty: float, arriving: tuple[float, ...], dt: float) -> tuple[float, ...]:
    """Duty passes through the dead time's stages and the lag."""
    share = 1.0 - exp(-dt / max(figures.dead_s / STAGES, 0.5))
    after, came = [], duty
    for stage in arriving[:-1]:
        came = stage + share * (came - stage)
        after.append(came)
    last = arriving[-1]
    after.append(last + (1.0 - exp(-dt / max(figures.lag_s, 0.5))) * (came - last))
    return tuple(after)


def _loss(figures: Figures, at_c: float, extra_k_per_s: float) -> float:
    return figures.loss_w_per_k * (at_c - figures.room_c) / figures.capacity_j_per_k + extra_k_per_s


def _correct(figures: Figures, rate: float, value: float, state: RegulatorState, dt: float) -> RegulatorState:
    """The reading against the model: at once into its temperature, slowly into loss or rate (PI, tau_I = 4 tau)."""
    model_c = state.reading_c if state.reading_c is not None else value
    if abs(value - model_c) > JUMP_K:
        return state._replace(reading_c=value, unseen_s=0.0)
    tau = 0.5 * max(OBSERVER_S, OBSERVER_SHARE * (figures.lag_s + figures.dead_s))
    gain, integral_s = simc_integrating(1.0, 0.0, max(tau, 2.0 * dt))
    arrives = state.arriving[-1]
    pid = _pid(gain, gain / integral_s if arrives < NEAR_REST else 0.0, model_c, state.extra_k_per_s)
    pid(value, dt=dt)
    pull, extra, _ = pid.components
    most = MOST_EXTRA * rate
    plate = _loss(figures, model_c, 0.0)
    state = state._replace(
        reading_c=model_c - pull * dt,
        extra_k_per_s=min(max(extra, -max(plate, 0.0)), most),
        unseen_s=0.0,
    )
    if arrives < NEAR_FULL:
        return state
    learned = state.gain * (1.0 + (value - model_c) * dt / (GAIN_S * tau * rate))
    return state._replace(gain=min(max(learned, GAIN_BOUNDS[0]), GAIN_BOUNDS[1]))


def _pid(gain: float, integral_per_s: float, setpoint: float, integral: float = 0.0) -> PID:
    """simple-pid as a calculator: no clock of its own, its integral brought along."""
    pid = PID(gain, integral_per_s, 0.0, setpoint=setpoint, sample_time=None, time_fn=_no_clock, auto_mode=False)
    pid.set_auto_mode(True, last_output=integral)
    return pid


def _no_clock() -> float:
    return 0.0


def _coming(figures: Figures, rate: float, state: RegulatorState) -> float | None:
    if state.reading_c is None:
        return None
    stages = state.arriving[:-1]
    stored_s = figures.dead_s / STAGES * sum(stages) + figures.lag_s * state.arriving[-1]
    loss = _loss(figures, state.reading_c, state.extra_k_per_s)
    return state.reading_c + rate * stored_s - loss * (figures.dead_s + figures.lag_s)


# ---------------------------------------------------------------- act


def _act(
    figures: Figures, setpoint: Setpoint | None, target: Target, seen: Measurement, state: RegulatorState
) -> tuple[float, str]:
    """Which duty would bring the mash to the setpoint, limits apart?"""
    if target.heat != "hold" or setpoint is None or target.target_c is None:
        return 0.0, "heat is off" if target.heat == "off" else "heat is blocked"
    value = seen.value_c
    if value is None or state.reading_c is None or state.coming_c is None or not isfinite(value):
        return 0.0, "no heat: no reading"
    if not (seen.age_s <= FRESH_S) or not isfinite(setpoint.value_c) or not isfinite(setpoint.slope_k_per_s):
        return 0.0, "no heat: the reading is too old"
    applied = state.arriving[0] if figures.behind_heater_k else 0.0
    if not (value <= target.target_c + ABOVE_K + figures.behind_heater_k * applied):
        return 0.0, "no heat: the mash is above its target"
    rate = figures.power_w / figures.capacity_j_per_k
    total_s = figures.lag_s + figures.dead_s
    tau = max(TAU_SHARE * total_s, LEAST_TAU_S, WINDOW_SHARE * figures.window_s)
    gain, _ = simc_integrating(rate, 0.0, tau)
    feedback = _pid(gain, 0.0, setpoint.value_c)(state.coming_c, dt=1.0) or 0.0
    forward = (_loss(figures, state.reading_c, state.extra_k_per_s) + setpoint.slope_k_per_s) / rate
    return forward + feedback, "climbing" if setpoint.slope_k_per_s > 0.0 else "holding"


def _outlet(
    state: RegulatorState, outlet_c: float | None, limit_c: float | None, applied: float, dt: float
) -> RegulatorState:
    """How much duty does the outlet's limit allow? Comes down and goes up with the room left under the limit."""
    if outlet_c is None or limit_c is None or not isfinite(outlet_c) or not isfinite(limit_c):
        return state._replace(outlet_cap=1.0)
    room_k = limit_c - OUTLET_MARGIN_K - outlet_c
    start = min(state.outlet_cap, max(applied, 0.05)) if room_k < 0.0 else state.outlet_cap
    cap = start + room_k * dt / (OUTLET_S * OUTLET_RISE_K)
    return state._replace(outlet_cap=min(max(cap, 0.0), 1.0))
