"""How much heat would bring the mash to its setpoint?

Observe, predict, act: README.md beside this file says how, and why it is no PID on the error. What an integral would
have to find out, the filter's loss finds out: from what the model did not foresee, never from the control error. So
nothing winds up, whatever holds the heater back: cap, relay, minimum fire, guard.

Bumpless: the model follows what the heater really gave, also while heat is off; the setpoint starts at the mash.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from controller.core.control import outlet
from controller.core.control.belief import NOTHING, Belief
from controller.core.control.feedback import feedback, simc_gain, tau_s
from controller.core.control.observer import observe
from controller.core.control.plant_model import PlantModel
from controller.core.nouns import Demand, Measurement, Setpoint, Target
from controller.quick_records import maker

# "Own bench": tests/regimes/bench/control.py, 200 random tuns a seed.
AHEAD_SHARE, AHEAD_MOST_K = 0.1, 0.15  # aim so far over the setpoint while the reading is under it: a share of what is
# missing, K at most. It fills the tail of the approach and goes to nothing with it (own bench: 2 % of a ramp's time)
GAP_S = 60.0  # s without a tick: what the model knew of heat on its way is void
ABOVE_K = 1.0  # K over target (and what the heater adds at the probe): heater off whatever the model says (own bench)
FRESH_S = 10.0  # s without a believed reading: no heat (own proposal; the guard acts on its own, at `reading_gone`)


class LoopState(NamedTuple):
    """What one tick leaves for the next."""

    belief: Belief = NOTHING
    outlet: outlet.OutletState = outlet.START
    saturated: bool = False  # asked for all the heater may give: the setpoint should wait


START = LoopState()
_left, _demand = maker(LoopState), maker(Demand)


def regulate(
    model: PlantModel,
    setpoint: Setpoint | None,
    target: Target,
    seen: Measurement,
    applied_duty: float,
    state: LoopState,
    dt: float,
    outlet_c: float | None = None,
    outlet_limit_c: float | None = None,
) -> tuple[LoopState, Demand]:
    """Which duty, 0..cap, and why? `applied_duty` is what went out over the last `dt` s. Never raises; what is not a
    number gives duty 0."""
    if not (model.sound() and isfinite(dt)):
        return START, Demand(0.0, "no heat: figures or time are not numbers")
    applied = min(max(applied_duty, 0.0), 1.0) if isfinite(applied_duty) else 0.0
    dt = max(dt, 0.0)
    if dt > GAP_S:
        state = START._replace(belief=state.belief.anew())
    belief = observe(model, target, seen, applied, state.belief, dt)
    cascade = outlet.cascade(model.rise_k, state.outlet, outlet_c, outlet_limit_c, applied, dt)
    duty, reason = _act(model, setpoint, target, seen, belief)
    most = min(model.duty_cap, cascade.cap, 1.0)
    if not isfinite(duty):
        return START, Demand(0.0, "no heat: the model gave no number")
    if duty >= most and most < min(model.duty_cap, 1.0):
        reason = "held back: the heater's outlet is near its limit"
    state = _left(belief=belief, outlet=cascade, saturated=duty >= most)
    return state, _demand(min(max(duty, 0.0), most), reason)


def _act(
    model: PlantModel, setpoint: Setpoint | None, target: Target, seen: Measurement, belief: Belief
) -> tuple[float, str]:
    """Which duty would bring the mash to the setpoint, limits apart?"""
    if target.heat != "hold" or setpoint is None or target.target_c is None:
        return 0.0, "heat is off" if target.heat == "off" else "heat is blocked"
    if belief.reading_c is None or belief.coming_c is None or seen.value_c is None or not (seen.age_s <= FRESH_S):
        return 0.0, f"no heat: no reading within {FRESH_S:.0f} s"
    if not seen.value_c <= target.target_c + ABOVE_K + model.added_k(belief):  # so written that no number gives no heat
        return 0.0, f"no heat: more than {ABOVE_K:g} K above target"
    rate = model.rate_k_per_s
    forward = (model.loss_k_per_s(belief.reading_c, belief.extra_k_per_s) + setpoint.slope_k_per_s) / rate
    gain = simc_gain(rate, 0.0, tau_s(model, rate, belief))
    ahead_k = min(AHEAD_SHARE * max(setpoint.value_c - belief.reading_c, 0.0), AHEAD_MOST_K)
    duty = feedback(gain, forward, setpoint.value_c + ahead_k, belief.coming_c)
    return duty, "climbing" if setpoint.slope_k_per_s > 0.0 else "holding"
