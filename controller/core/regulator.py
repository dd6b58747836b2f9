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

from math import exp, isfinite, sqrt
from typing import NamedTuple

from simple_pid import PID

from controller.core.model import Demand, Figures, Measurement, Setpoint, Target

# ---- constants: unit and source
TAU_SHARE = 0.3  # of the total lag: closed-loop time of the feedback (own bench; SIMC's tau_c, free for robustness)
LEAST_TAU_S = 15.0  # s, not faster than this: noise of 0.1 K at 1 Hz (own bench)
WINDOW_SHARE = 0.5  # of a relay's window: the feedback is not faster than the heater can answer (own proposal)
PRIOR_K = 0.5  # K, how far the first reading may be from the mash
PRIOR_LOSS = 0.5  # of the plate's loss
NOISE_K = 0.06  # K, reading: noise, quantisation and its correlation (own bench)
WALK_K = 0.004  # K per root s: what happens to a mash that no model knows
SHAPE = 0.15  # of the heat in the lags: error of their shape while the heat changes
WALK_LOSS = 0.004  # of the heater's rate per root hour... see code
WALK_GAIN = 0.02  # per root hour
DOUBT = 0.0  # standard deviations of the lag: in doubt the longer one
MOVING = 1.0  # of what a probe behind the heater has yet to feel
LEAD_AT_REST = 0.0
LEAD_SDS = 1.5
DOUBT_TAU = 1.0
GAIN_BOUNDS = (0.65, 1.5)  # rate found on ramps over the one believed (own bench: without bounds, runaway)
LAG_BOUNDS = (0.4, 2.5)
MOST_EXTRA = 0.25  # of the heater's rate: loss beyond the plate's that the observer may believe in
ABOVE_K = 1.0  # heater off when the reading is so far above target, whatever the model says (own bench)
STAGES = 3  # equal lags that stand for a dead time; wort in a bed or pipe spreads by as much (tanks in series)
JUMP_K = 1.5  # K between model and reading: not noise, something was added; the model starts anew at the reading
OUTLET_S = 30.0  # s, time of the cascade that keeps the heater's outlet under its limit (own proposal)
OUTLET_MARGIN_K = 1.0  # K under the limit where the cascade holds it
OUTLET_RISE_K = 10.0  # K at full power, when no figure is known: slow and safe
FRESH_S = 10.0  # s without a believed reading: no heat (the guard acts on its own)


class Doubt(NamedTuple):
    """Covariance of (x reading, l loss, g gain, d lag, w lead): upper triangle."""

    xx: float
    xl: float
    xg: float
    xd: float
    xw: float
    ll: float
    lg: float
    ld: float
    lw: float
    gg: float
    gd: float
    gw: float
    dd: float
    dw: float
    ww: float


class RegulatorState(NamedTuple):
    """What the model believes."""

    reading_c: float | None = None  # model's temperature where the probe is
    arriving: tuple[float, ...] = (0.0,) * (STAGES + 1)  # share of power leaving each lag
    extra_k_per_s: float = 0.0  # loss beyond the plate's
    gain: float = 1.0  # rate found on ramps over the one believed
    lag: float = 1.0  # lag found over the one believed
    lead_k: float = 0.0  # probe over the mash at full power, beyond what is believed
    near: float = 0.0  # share of power that a probe behind the heater feels
    doubt: Doubt | None = None
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
    state = observe(figures, target, measurement, applied, state, max(dt, 0.0))
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


def observe(
    figures: Figures, target: Target, seen: Measurement, applied: float, state: RegulatorState, dt: float
) -> RegulatorState:
    """What does the model believe after `dt` s with `applied` duty and this measurement?"""
    value = seen.value_c if seen.value_c is not None and isfinite(seen.value_c) else None
    near = state.near + (1.0 - exp(-dt / max(figures.near_s, 0.5))) * (applied - state.near)
    model_c = state.reading_c if state.reading_c is not None else value
    if model_c is None:
        return START
    rate = figures.power_w / figures.capacity_j_per_k
    doubt = state.doubt or _prior(figures, rate, model_c)
    arriving = _flow(figures, applied, state.arriving, dt)
    change = arriving[-1] - state.arriving[-1]
    model_c += (rate * arriving[-1] - _loss(figures, model_c, state.extra_k_per_s)) * dt
    lag_s = figures.lag_s + figures.dead_s
    doubt = _forward(doubt, rate, arriving[-1], change, lag_s, dt)
    state = state._replace(reading_c=model_c, arriving=arriving, near=near, doubt=doubt)
    if value is not None and seen.fresh:
        hold = min(max(_loss(figures, model_c, state.extra_k_per_s) / rate, 0.0), 1.0)
        behind = figures.behind_heater_k > 0.0
        felt = near - LEAD_AT_REST * hold if behind else arriving[-1] - hold
        value -= figures.behind_heater_k * near + state.lead_k * felt - figures.below_mean_k * hold
        if target.heat != "hold" or abs(value - model_c) > JUMP_K + figures.behind_heater_k * felt:
            state = state._replace(reading_c=value, doubt=_cut(doubt))
        else:
            state = _correct(figures, rate, value, felt, figures.behind_heater_k * (applied - near), state)
    return state._replace(coming_c=_coming(figures, rate, state))


def _prior(figures: Figures, rate: float, at_c: float) -> Doubt:
    loss = PRIOR_LOSS * abs(_loss(figures, at_c, 0.0)) + 0.01 * rate
    lead = figures.lead_sd_k**2
    none = 0.0
    return Doubt(
        PRIOR_K**2, none, none, none, none, loss**2, none, none, none,
        figures.gain_sd**2, none, none, figures.lag_sd**2, none, lead,
    )  # fmt: skip


def _cut(d: Doubt) -> Doubt:
    """The reading stands alone: nothing is learned from what led to it."""
    return d._replace(xx=PRIOR_K**2, xl=0.0, xg=0.0, xd=0.0, xw=0.0)


def _forward(p: Doubt, rate: float, arrives: float, change: float, lag_s: float, dt: float) -> Doubt:
    """F P F' + Q with x' = x - dt loss + a gain + b lag."""
    xx, xl, xg, xd, xw, ll, lg, ld, lw, gg, gd, gw, dd, dw, ww = p
    a = rate * arrives * dt
    b = -rate * lag_s * change
    nl = xl - dt * ll + a * lg + b * ld
    ng = xg - dt * lg + a * gg + b * gd
    nd = xd - dt * ld + a * gd + b * dd
    nw = xw - dt * lw + a * gw + b * dw
    nx = xx - dt * (xl + nl) + a * (xg + ng) + b * (xd + nd)
    hours = dt / 3600.0
    shape = SHAPE * rate * lag_s
    return Doubt(
        nx + WALK_K * WALK_K * dt + shape * shape * abs(change), nl, ng, nd, nw,
        ll + (WALK_LOSS * rate) ** 2 * hours, lg, ld, lw, gg + WALK_GAIN * WALK_GAIN * hours, gd, gw, dd, dw, ww,
    )  # fmt: skip


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


def _correct(
    figures: Figures, rate: float, value: float, felt: float, moving_k: float, state: RegulatorState
) -> RegulatorState:
    """Kalman's step; the reading is x + felt * lead."""
    p, model_c = state.doubt, state.reading_c
    assert p is not None and model_c is not None
    xx, xl, xg, xd, xw, ll, lg, ld, lw, gg, gd, gw, dd, dw, ww = p
    hx, hl, hg, hd, hw = xx + felt * xw, xl + felt * lw, xg + felt * gw, xd + felt * dw, xw + felt * ww
    s = 1.0 / (hx + felt * hw + NOISE_K * NOISE_K + (MOVING * moving_k) ** 2)
    kx, kl, kg, kd, kw = hx * s, hl * s, hg * s, hd * s, hw * s
    e = value - model_c
    doubt = Doubt(
        xx - kx * hx, xl - kx * hl, xg - kx * hg, xd - kx * hd, xw - kx * hw,
        ll - kl * hl, lg - kl * hg, ld - kl * hd, lw - kl * hw,
        gg - kg * hg, gd - kg * hd, gw - kg * hw, dd - kd * hd, dw - kd * hw, ww - kw * hw,
    )  # fmt: skip
    plate = max(_loss(figures, model_c, 0.0), 0.0)
    return state._replace(
        reading_c=model_c + kx * e,
        extra_k_per_s=min(max(state.extra_k_per_s + kl * e, -plate), MOST_EXTRA * rate),
        gain=min(max(state.gain * (1.0 + kg * e), GAIN_BOUNDS[0]), GAIN_BOUNDS[1]),
        lag=min(max(state.lag * (1.0 + kd * e), LAG_BOUNDS[0]), LAG_BOUNDS[1]),
        lead_k=min(max(state.lead_k + kw * e, -LEAD_SDS * figures.lead_sd_k), LEAD_SDS * figures.lead_sd_k),
        doubt=doubt,
    )


def _pid(gain: float, integral_per_s: float, setpoint: float, integral: float = 0.0) -> PID:
    """simple-pid as a calculator: no clock of its own, its integral brought along."""
    pid = PID(gain, integral_per_s, 0.0, setpoint=setpoint, sample_time=None, time_fn=_no_clock, auto_mode=False)
    pid.set_auto_mode(True, last_output=integral)
    return pid


def _no_clock() -> float:
    return 0.0


def _coming(figures: Figures, rate: float, state: RegulatorState) -> float | None:
    if state.reading_c is None or state.doubt is None:
        return None
    stages = state.arriving[:-1]
    longer = 1.0 + DOUBT * sqrt(max(state.doubt.dd, 0.0))
    stored_s = figures.dead_s / STAGES * sum(stages) + figures.lag_s * state.arriving[-1]
    loss = _loss(figures, state.reading_c, state.extra_k_per_s)
    return state.reading_c + longer * (rate * stored_s - loss * (figures.dead_s + figures.lag_s))


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
    over = max(figures.behind_heater_k + state.lead_k, 0.0) * max(state.near, state.arriving[-1])
    if not (value <= target.target_c + ABOVE_K + over):
        return 0.0, "no heat: the mash is above its target"
    rate = figures.power_w / figures.capacity_j_per_k
    total_s = figures.lag_s + figures.dead_s
    tau = max(TAU_SHARE * total_s, LEAST_TAU_S, WINDOW_SHARE * figures.window_s)
    if state.doubt is not None:
        tau = max(tau, DOUBT_TAU * sqrt(state.doubt.ww) / rate)
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
