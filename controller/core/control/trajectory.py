"""Where should the mash be at this moment, and how fast should it climb?

The setpoint starts at the mash, climbs no faster than the program, the tun or the heater can, bends before the plateau
and waits while the heater cannot follow. A step would saturate the heater and leave the stop to luck.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from controller.core.control.plant_model import PlantModel
from controller.core.nouns import Measurement, Setpoint, Target
from controller.quick_records import maker

TAPER_SHARE = 0.25  # of the total lag: time constant of the last bend (own bench: 0.4..0.7 are equally good)
LEAST_TAPER_S = 5.0  # and never sharper than this (own proposal: a few ticks)
ARRIVED_K = 0.005  # the bend ends here, K: below any probe's resolution
LEAD_K = 0.3  # K: so far beyond that the setpoint runs before it waits for a saturated heater (own proposal)
SPARED_SHARE = 0.65  # of a loss found missing that a mash counts on (own bench: with all, slow pumps overshoot)
REJOIN_K = 0.5  # at a change of plateau the climb goes on from the old setpoint when the mash is this near, K


class TrajectoryState(NamedTuple):
    """Where the setpoint has got to."""

    key: int | None = None  # the plateau it belongs to
    value_c: float | None = None


START = TrajectoryState()
_got_to, _setpoint = maker(TrajectoryState), maker(Setpoint)


def shape(
    model: PlantModel, target: Target, state: TrajectoryState, measurement: Measurement, held_back: bool, dt: float
) -> tuple[TrajectoryState, Setpoint | None]:
    """What is the next setpoint, °C and K/s? None while heat is off or nothing is known of the mash.

    `held_back`: the heater gives all it may; the setpoint waits for the mash. `dt` in s, not negative.
    """
    goal = target.target_c
    if target.heat != "hold" or goal is None or not isfinite(goal):
        return START, None
    value = state.value_c
    if value is None or state.key != target.key:
        value = _begin(model, target, value, measurement)
        if value is None:
            return TrajectoryState(target.key, None), None
    if value >= goal - ARRIVED_K:
        return _got_to(key=target.key, value_c=goal), _setpoint(value_c=goal, slope_k_per_s=0.0)
    slope = _slope(model, target, goal, value)
    if not (held_back and _far(model, slope, value, measurement)):
        value = min(value + slope * max(dt, 0.0), goal)
    return _got_to(key=target.key, value_c=value), _setpoint(value_c=value, slope_k_per_s=slope)


def _begin(model: PlantModel, target: Target, last_c: float | None, measurement: Measurement) -> float | None:
    """Where does a new climb start? At the mash; at the last setpoint where that is near or just ahead of a climbing
    reading, so that nothing jumps when a plateau changes under way."""
    seen = measurement.value_c
    if seen is None or not isfinite(seen):
        return last_c
    if last_c is None or last_c < seen - REJOIN_K:
        return seen
    return seen if _far(model, _allowed(model, target, last_c), last_c, measurement) else last_c


def _far(model: PlantModel, slope: float, value: float, measurement: Measurement) -> bool:
    """Is the setpoint further ahead of the reading than a steady climb with this lag leaves it?"""
    seen = measurement.value_c
    return seen is None or not (value - seen <= slope * (model.lag_s + model.dead_s) + LEAD_K)


def _slope(model: PlantModel, target: Target, goal: float, value: float) -> float:
    """The least of what is allowed here and what the bend before the plateau asks, K/s."""
    bend_s = max(TAPER_SHARE * (model.lag_s + model.dead_s), LEAST_TAPER_S)
    return max(min(_allowed(model, target, value), (goal - value) / bend_s), 0.0)


def _allowed(model: PlantModel, target: Target, value: float) -> float:
    """The smaller of the program's or tun's limit and what the heater can do at this temperature, K/s. Plain strike
    liquor may be heated as fast as it goes. A loss found smaller than the plate's leaves more; for a greater one the
    setpoint waits."""
    loss_w = model.loss_w_per_k * (value - model.room_c)
    spared = max(-model.found_loss_k_per_s, 0.0) * (1.0 if target.strike else SPARED_SHARE)
    possible = (model.duty_cap * model.power_w - loss_w) / model.capacity_j_per_k + spared
    return possible if target.strike else min(target.climb_k_per_s, possible)
