"""How much heat would bring the mash to its setpoint?

The tun, as this room sees it: one heat balance behind a few lags in a row.

    heater duty u --[dead time: three equal lags]--[lag]--> w     share of power that arrives, 0..1
    d(reading)/dt = rate w - loss                                 rate = power / heat capacity, K/s at full power

Every tick:
  1. OBSERVE. The model runs along; a Kalman filter (tracker.py) lets the reading correct its temperature, its loss, its
     rate and its lag, each by as much as can be told of it just now.
  2. PREDICT. Heat given but not yet seen is known from the duties: the sum of lag x w. Less what the loss takes
     meanwhile it gives `coming`: where the reading ends if from now on the heater only covers the loss.
     d(coming)/dt = rate u - loss. No lag and no dead time are left.
  3. ACT. duty = (loss + slope of the setpoint) / rate          feed-forward from the heat balance
              + (setpoint - coming) / (rate tau)                feedback, simple-pid
     With the lag taken out by the prediction the plant is a plain integrator, for which the SIMC rule gives a
     proportional gain. simple-pid gets the feed-forward as its integral and adds the feedback to it. What an integral
     would have to find out, the filter's loss finds out: from what the model did not foresee, never from the control
     error. So nothing winds up, whatever holds the heater back: cap, relay, minimum fire, guard.

Why not a PID on the error? Along a ramp the reading trails the setpoint by slope x lag, an integral fills up on that,
and the heat stored in wall, pipe and bed arrives after the setpoint has stopped.

Bumpless: the model follows what the heater really gave, also while heat is off; the setpoint starts at the mash.
"""

from __future__ import annotations

from math import exp, isfinite, sqrt
from typing import NamedTuple

from simple_pid import PID

from controller.core.control import observer as tracker
from controller.core.control import slow_pump as slow_flow
from controller.core.nouns import HIGHEST_C, LOWEST_C, Demand, Figures, Measurement, Setpoint, Target

# ---- constants: unit and source. "Own bench": tests/regimes/bench/control.py, 200 random tuns a seed.
TAU_SHARE = 0.3  # of the total lag: closed-loop time tau (SIMC's tau_c, free for robustness; own bench: 0.3..0.4 alike)
LEAST_TAU_S = 15.0  # s, not faster: noise of 0.1 K at 1 Hz would rattle the heater (own bench)
WINDOW_SHARE = 0.5  # of a relay's window: the feedback is not faster than the heater can answer (own proposal)
AHEAD_SHARE, AHEAD_MOST_K = 0.1, 0.15  # aim so far over the setpoint while the reading is under it: a share of what is
# missing, K at most. It fills the tail of the approach and goes to nothing with it (own bench: 2 % of a ramp's time)
STAGES = 3  # equal lags that stand for a dead time: wort in pipe and bed spreads like tanks in series
GAIN_BOUNDS = (0.65, 1.5)  # rate found, over the one believed: without bounds, runaway (own bench; figures.py holds the
# product with what was learned in the same bounds of the plate)
LAG_BOUNDS = (0.4, 2.5)  # lag found, over the one believed
RISE_SDS = 1.5  # standard deviations that the rise at the probe may be corrected by
MOST_EXTRA = 0.25  # of the rate: loss beyond the plate's that is believed, K/s
COIL_BELOW_K = 0.3  # K that a coil's probe may be believed under the mean: a rest begins within 0.5 K of its target
JUMP_K = 1.5  # K between model and reading: no noise, something was added; the model starts anew at the reading
GAP_S = 60.0  # s without a tick: what the model knew of heat on its way is void
ABOVE_K = 1.0  # K over target (and what the heater adds at the probe): heater off whatever the model says (own bench)
FRESH_S = 10.0  # s without a believed reading: no heat (own proposal; the guard acts on its own, at `reading_gone`)
OUTLET_S = 30.0  # s, time of the cascade that keeps the heater's outlet under its limit (own proposal)
OUTLET_SOON_S, OUTLET_SMOOTH_S = 20.0, 5.0  # s: so far ahead the outlet is judged, by its slope over so long
OUTLET_MARGIN_K = 1.0  # K under the limit, where the cascade holds the outlet
OUTLET_RISE_K = 10.0  # K at full power between mash and outlet, where no flow is known (own proposal)


class RegulatorState(NamedTuple):
    """What the model believes."""

    reading_c: float | None = None  # model's temperature where the probe is
    arriving: tuple[float, ...] = (0.0,) * (STAGES + 1)  # share of power leaving each lag
    near: float = 0.0  # share of power that a probe behind the heater feels
    extra_k_per_s: float = 0.0  # loss beyond the plate's
    gain: float = 1.0  # rate found, over the one believed at the start
    lag: float = 1.0  # lag found, over the one believed at the start
    rise_k: float = 0.0  # probe over the mash at full power, beyond what is believed
    doubt: tracker.Doubt | None = None
    outlet_cap: float = 1.0  # duty that the outlet's limit allows
    outlet_c: float | None = None  # outlet, smoothed
    saturated: bool = False  # asked for all the heater may give: the setpoint should wait
    coming_c: float | None = None  # where the reading ends if heat only covers the loss
    key: int = 0  # the plateau that was wanted last
    short_s: float = 0.0  # so long has the mash been short of it with the setpoint there
    second: RegulatorState | None = None  # what would be believed if the pump were slow (slow_flow.py)


START = RegulatorState()


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
    if not (_sound(figures) and isfinite(dt)):
        return START, Demand(0.0, "no heat: figures or time are not numbers")
    applied = min(max(applied_duty, 0.0), 1.0) if isfinite(applied_duty) else 0.0
    dt = max(dt, 0.0)
    if dt > GAP_S:
        state = START._replace(gain=state.gain, lag=state.lag, rise_k=state.rise_k)
    before = state
    state = observe(figures, target, measurement, applied, state, dt)
    allowed = 1.0
    if figures.loop_s > 0.0:
        state = state._replace(short_s=_short_s(setpoint, target, measurement, before, dt))
        state, allowed = _if_slow(figures, target, measurement, applied, before, state, dt)
    state = _outlet(figures, state, outlet_c, outlet_limit_c, applied, dt)
    most = min(figures.duty_cap, state.outlet_cap, 1.0)
    duty, reason = _act(figures, setpoint, target, measurement, state)
    duty = min(duty, allowed)
    if not isfinite(duty):
        return START, Demand(0.0, "no heat: the model gave no number")
    if duty >= most and most < min(figures.duty_cap, 1.0):
        reason = "held back: the heater's outlet is near its limit"
    state = state if state.saturated == (duty >= most) else state._replace(saturated=duty >= most)
    return state, Demand(min(max(duty, 0.0), most), reason)


def _sound(figures: Figures) -> bool:
    """Are these figures of a tun at all? They come to less than 1e8 together, and full power gives 1e-6 to 1 K/s."""
    if not sum(map(abs, figures)) < 1e8 or figures.capacity_j_per_k <= 0.0:
        return False
    lags = min(figures.lag_s, figures.dead_s, figures.near_s)
    return 1e-6 < figures.power_w / figures.capacity_j_per_k < 1.0 and lags >= 0.0 and figures.loss_w_per_k >= 0.0


# ---------------------------------------------------------------- observe


def observe(
    figures: Figures, target: Target, seen: Measurement, applied: float, state: RegulatorState, dt: float
) -> RegulatorState:
    """What does the model believe after `dt` s with `applied` duty and this measurement?"""
    value = seen.value_c if seen.value_c is not None and LOWEST_C <= seen.value_c <= HIGHEST_C else None
    model_c = state.reading_c if state.reading_c is not None else value
    if model_c is None:
        return START._replace(gain=state.gain, lag=state.lag, rise_k=state.rise_k)
    rate = figures.power_w / figures.capacity_j_per_k
    doubt = state.doubt or tracker.prior(
        rate, _loss(figures, model_c, 0.0), figures.gain_sd, figures.lag_sd, figures.rise_sd_k
    )
    arriving = _flow(figures, applied, state.arriving, dt)
    change = arriving[-1] - state.arriving[-1]
    state = state._replace(
        reading_c=model_c + (rate * arriving[-1] - _loss(figures, model_c, state.extra_k_per_s)) * dt,
        arriving=arriving,
        near=state.near + (1.0 - exp(-dt / max(figures.near_s, 0.5))) * (applied - state.near),
        doubt=tracker.forward(doubt, rate, arriving[-1], change, figures.lag_s + figures.dead_s, dt),
    )
    if value is not None and seen.fresh:
        state = _read(figures, target, rate, value, applied, state)
    if target.heat != "hold":  # what is in the tun may change: when heat comes back, doubt begins anew
        state = state._replace(doubt=None)
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
    """Cooling at this temperature with the heater off, K/s."""
    return figures.loss_w_per_k * (at_c - figures.room_c) / figures.capacity_j_per_k + extra_k_per_s


def _read(
    figures: Figures, target: Target, rate: float, value: float, applied: float, state: RegulatorState
) -> RegulatorState:
    """A fresh reading: less what the heater adds at the probe, it corrects the model; a jump starts the model anew."""
    model_c, doubt = state.reading_c, state.doubt
    if model_c is None or doubt is None:
        return state
    hold = min(max(_loss(figures, model_c, state.extra_k_per_s) / rate, 0.0), 1.0)  # duty that keeps the temperature
    felt = state.near if figures.behind_heater_k > 0.0 else state.arriving[-1] - hold
    below_k = figures.below_mean_k * hold
    value += min(below_k, COIL_BELOW_K) if figures.heater_late else below_k
    value -= figures.behind_heater_k * state.near + state.rise_k * felt
    if target.heat != "hold" or abs(value - model_c) > JUMP_K + figures.behind_heater_k * state.near:
        return state._replace(reading_c=value, doubt=tracker.alone(doubt))
    moving_k = figures.behind_heater_k * (applied - state.near)
    doubt, step = tracker.correct(doubt, value - model_c, felt, moving_k)
    most_rise_k = RISE_SDS * figures.rise_sd_k
    plate_loss = max(_loss(figures, model_c, 0.0), 0.0)
    return state._replace(
        reading_c=model_c + step.x,
        extra_k_per_s=_within(state.extra_k_per_s + step.loss, -plate_loss, MOST_EXTRA * rate),
        gain=_within(state.gain * (1.0 + step.gain), *GAIN_BOUNDS),
        lag=_within(state.lag * (1.0 + step.lag), *LAG_BOUNDS),
        rise_k=_within(state.rise_k + step.rise, -most_rise_k, most_rise_k),
        doubt=doubt,
    )


def _within(value: float, low: float, high: float) -> float:
    return low if value < low else high if value > high else value


def _coming(figures: Figures, rate: float, state: RegulatorState) -> float | None:
    """Where does the reading end if from now on the heater only covers the loss, °C?"""
    if state.reading_c is None:
        return None
    stored_s = figures.dead_s / STAGES * sum(state.arriving[:-1]) + figures.lag_s * state.arriving[-1]
    loss = _loss(figures, state.reading_c, state.extra_k_per_s)
    return state.reading_c + rate * stored_s - loss * (figures.dead_s + figures.lag_s)


# ---------------------------------------------------------------- if the pump were slow


def _short_s(setpoint: Setpoint | None, target: Target, seen: Measurement, before: RegulatorState, dt: float) -> float:
    """For how long, in all, has the reading been short of this target with the setpoint there, s?"""
    if setpoint is None or setpoint.slope_k_per_s > 0.0 or target.key != before.key:
        return 0.0
    short = seen.value_c is not None and setpoint.value_c - seen.value_c > slow_flow.SHORT_K
    return before.short_s + dt if short else before.short_s


def _if_slow(
    figures: Figures, target: Target, seen: Measurement, applied: float, before: RegulatorState, state: RegulatorState,
    dt: float,
) -> tuple[RegulatorState, float]:  # fmt: skip
    """What would be believed after `dt` s if the pump were slow, and how much duty would that allow? `before`: what was
    believed before this tick."""
    if target.heat != "hold" or target.target_c is None:
        return (state if state.second is None else state._replace(second=None)), 1.0
    second = before.second or before._replace(lag=1.0)
    if target.key != before.key and second.doubt is not None and slow_flow.climbs(target.target_c, before.coming_c):
        second = second._replace(doubt=slow_flow.opened(second.doubt), rise_k=0.0)
    own = slow_flow.figures(figures, before.gain, before.lag, second.gain, second.lag)
    second = observe(own, target, seen, applied, second, dt)
    tau_s = slow_flow.calm(second.lag) * _tau_s(figures, own.power_w / own.capacity_j_per_k, state)
    short = state.short_s / (own.lag_s + own.dead_s)
    ceiling_c = slow_flow.ceiling_c(target.target_c, second.lag, short, coil=own.heater_late)
    return state._replace(key=target.key, second=second), _allowed(own, ceiling_c, second, tau_s)


def _allowed(own: Figures, ceiling_c: float, second: RegulatorState, tau_s: float) -> float:
    """Which duty would bring the mash to the ceiling by the second belief?"""
    if second.reading_c is None or second.coming_c is None:
        return 1.0
    rate = own.power_w / own.capacity_j_per_k
    room_k = ceiling_c - second.coming_c
    return (_loss(own, second.reading_c, second.extra_k_per_s) + room_k / tau_s) / rate


# ---------------------------------------------------------------- act


def _act(
    figures: Figures, setpoint: Setpoint | None, target: Target, seen: Measurement, state: RegulatorState
) -> tuple[float, str]:
    """Which duty would bring the mash to the setpoint, limits apart?"""
    if target.heat != "hold" or setpoint is None or target.target_c is None:
        return 0.0, "heat is off" if target.heat == "off" else "heat is blocked"
    if state.reading_c is None or state.coming_c is None or seen.value_c is None or not (seen.age_s <= FRESH_S):
        return 0.0, f"no heat: no reading within {FRESH_S:.0f} s"
    if not _below(figures, target.target_c, seen.value_c, state):
        return 0.0, f"no heat: more than {ABOVE_K:g} K above target"
    rate = figures.power_w / figures.capacity_j_per_k
    forward = (_loss(figures, state.reading_c, state.extra_k_per_s) + setpoint.slope_k_per_s) / rate
    gain, _ = simc_integrating(rate, 0.0, _tau_s(figures, rate, state))
    ahead_k = min(AHEAD_SHARE * max(setpoint.value_c - state.reading_c, 0.0), AHEAD_MOST_K)
    duty = feedback(gain, forward, setpoint.value_c + ahead_k, state.coming_c)
    return duty, "climbing" if setpoint.slope_k_per_s > 0.0 else "holding"


def _below(figures: Figures, target_c: float, value_c: float, state: RegulatorState) -> bool:
    """Is the reading not too far above target? False for what is no number."""
    added_k = max(figures.behind_heater_k + state.rise_k, 0.0) * state.near if figures.behind_heater_k > 0.0 else 0.0
    return value_c <= target_c + ABOVE_K + added_k


def _tau_s(figures: Figures, rate: float, state: RegulatorState) -> float:
    """Closed-loop time, s. Where it is doubtful how much warmer the probe reads than the mash, the loop closes through
    that doubt: its gain, doubt / (rate tau), must stay below 1."""
    doubt_s = sqrt(max(state.doubt.rr, 0.0)) / rate if state.doubt is not None else 0.0
    return max(TAU_SHARE * (figures.lag_s + figures.dead_s), LEAST_TAU_S, WINDOW_SHARE * figures.window_s, doubt_s)


def feedback(gain: float, forward: float, setpoint_c: float, coming_c: float) -> float:
    """What does simple-pid make of it? `gain` in duty per K; the feed-forward goes in as its integral. It is used as
    a calculator: no clock, no state of its own."""
    if not isfinite(setpoint_c) or not isfinite(coming_c) or not isfinite(forward):
        return 0.0
    pid = PID.__new__(PID)
    pid.__dict__.update(_FRESH)
    pid.Kp, pid.setpoint = gain, setpoint_c
    pid.set_auto_mode(True, last_output=forward)
    return pid(coming_c, dt=1.0) or 0.0


def _no_clock() -> float:
    return 0.0


_FRESH = vars(
    PID(1.0, 0.0, 0.0, setpoint=0.0, sample_time=None, time_fn=_no_clock, auto_mode=False)
)  # a new one's state


def _outlet(
    figures: Figures, state: RegulatorState, outlet_c: float | None, limit_c: float | None, applied: float, dt: float
) -> RegulatorState:
    """How much duty does the outlet's limit allow? It follows the room left under the limit, judged where the outlet
    will be shortly at its present slope; when that passes the limit it starts from what is given now."""
    if outlet_c is None or limit_c is None or not (LOWEST_C <= outlet_c <= 2.0 * HIGHEST_C) or not isfinite(limit_c):
        free = state.outlet_cap == 1.0 and state.outlet_c is None
        return state if free else state._replace(outlet_cap=1.0, outlet_c=None)
    before_c = state.outlet_c if state.outlet_c is not None else outlet_c
    smooth_c = before_c + (1.0 - exp(-dt / OUTLET_SMOOTH_S)) * (outlet_c - before_c)
    soon_c = outlet_c + OUTLET_SOON_S * max(outlet_c - smooth_c, 0.0) / OUTLET_SMOOTH_S
    room_k = limit_c - OUTLET_MARGIN_K - soon_c
    rise_k = max(figures.behind_heater_k, OUTLET_RISE_K)
    start = min(state.outlet_cap, max(applied, 0.05)) if room_k < 0.0 else state.outlet_cap
    cap = _within(start + room_k * dt / (OUTLET_S * rise_k), 0.0, 1.0)
    return state._replace(outlet_cap=cap, outlet_c=smooth_c)
