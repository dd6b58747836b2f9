"""What does a pulse of heat in plain strike water tell the controller about a bench plant?

As the water trial gives it to a real tun: wait until the reading is level, full power until it has risen 3.5 K, off
until it is level again.
"""

from __future__ import annotations

from math import isfinite
from random import Random
from typing import Literal, NamedTuple

from controller.commissioning.learn import EVERY_S, RISE_K, Identified, Point, Refused, by_file, identify
from controller.core.control import on_off
from controller.core.control.plant_model import believed
from controller.core.nouns import Demand, Measurement, Target
from controller.settings.tun import Learned
from sim.plant.tun import Tun
from tests.regimes.bench.loop import World
from tests.regimes.bench.plants import Plant

PULSE_FROM_C = 42.0
LEVEL_S = 90.0  # s without drift before and after the pulse (own proposal)
LEVEL_K_PER_S = 0.06 / 60.0  # drift, K/s, that still counts as level
SETTLE_MOST_S, HEAT_MOST_S, COAST_MOST_S = 900.0, 2400.0, 1500.0  # s, then the attempt is given up or judged as it is
COAST_LEAST_S = 600.0  # the first rest of the water trial: it tells the loss


def learn(plant: Plant, seed: int) -> tuple[Learned | None, Identified | Refused | str]:
    """Run the pulse on the plant in plain liquor, identify. None: refused, the plate stays."""
    tun = Tun(plant.spec, plant.liquor_kg, PULSE_FROM_C, plant.room_c)
    world = World(plant, tun, Random(f"pulse/{seed}/{plant.number}"), PULSE_FROM_C)
    target = Target("hold", PULSE_FROM_C, 1.0, 1, plant.liquor_j_per_k, strike=True)
    model = believed(plant.plate, target)
    state, relay, applied = PULSE_START, on_off.START, 0.0
    while state.phase not in ("done", "failed"):
        seen = world.second(applied)
        if seen.value_c is None:
            continue
        state, duty = pulse(state, seen, applied, 1.0, 78.0)
        relay, applied = on_off.modulate(model.path.switching, Demand(min(duty, model.duty_cap), "pulse"), relay, 1.0)
    if state.phase == "failed":
        return None, state.why
    known = by_file(plant.plate, plant.liquor_j_per_k)._replace(capacity_j_per_k=plant.liquor_j_per_k)
    found = identify(state.trace, known)
    if isinstance(found, Refused):
        return None, found
    told = {name: getattr(found, name) for name in ("power_w", "power_sd", "lag_s", "lag_sd_s", "dead_s", "dead_sd_s")}
    return Learned(**told, on="2026-01-01"), found


PulsePhase = Literal["settling", "heating", "coasting", "done", "failed"]


class PulseState(NamedTuple):
    """How far the pulse is, and its record."""

    phase: PulsePhase = "settling"
    phase_s: float = 0.0
    t_s: float = 0.0
    heat_s: float = 0.0  # duty since the last point, s of full power
    start_c: float | None = None
    trace: tuple[Point, ...] = ()
    why: str = ""


PULSE_START = PulseState()


def pulse(
    state: PulseState, seen: Measurement, applied: float, dt: float, most_c: float, more_k: float = 0.0
) -> tuple[PulseState, float]:
    """Which duty goes out now? `applied`: what went out over the last `dt` s; never heats above `most_c`, °C, and
    never without a fresh reading. `more_k`: on the usual rise, for a longer record. Ends in `done`
    (then `identify(state.trace, ...)`) or `failed` (then `state.why`)."""
    if state.phase in ("done", "failed"):
        return state, 0.0
    value = seen.value_c
    if value is None or not isfinite(value) or not (seen.age_s <= 10.0) or not isfinite(dt) or dt < 0.0:
        return state._replace(phase="failed", why="the reading was gone for 10 s: check the probe"), 0.0
    state = _noted(state, value, applied, dt)
    match state.phase:
        case "settling":
            return _settling(state, value, most_c)
        case "heating":
            return _heating(state, value, most_c, more_k)
        case _:
            return _coasting(state), 0.0


def _noted(state: PulseState, value: float, applied: float, dt: float) -> PulseState:
    heat_s, t_s = state.heat_s + applied * dt, state.t_s + dt
    state = state._replace(t_s=t_s, phase_s=state.phase_s + dt, heat_s=heat_s)
    since = t_s - state.trace[-1].t_s if state.trace else EVERY_S
    if since < EVERY_S:
        return state
    return state._replace(trace=(*state.trace, Point(t_s, value, min(heat_s / since, 1.0))), heat_s=0.0)


def _settling(state: PulseState, value: float, most_c: float) -> tuple[PulseState, float]:
    if state.phase_s >= LEVEL_S and level(state.trace):
        if value + RISE_K > most_c:
            return state._replace(phase="failed", why=f"{value:.1f} °C leaves no {RISE_K} K under {most_c:.1f} °C"), 0.0
        keep = tuple(p for p in state.trace if p.t_s >= state.t_s - LEVEL_S)
        return state._replace(phase="heating", phase_s=0.0, start_c=value, trace=keep), 1.0
    if state.phase_s > SETTLE_MOST_S:
        return state._replace(phase="failed", why="the liquor did not come to rest in 15 min: stir it, wait"), 0.0
    return state, 0.0


def _heating(state: PulseState, value: float, most_c: float, more_k: float) -> tuple[PulseState, float]:
    start = state.start_c if state.start_c is not None else value
    if value >= start + RISE_K + more_k or value >= most_c:
        return state._replace(phase="coasting", phase_s=0.0), 0.0
    if state.phase_s > HEAT_MOST_S:
        return state._replace(phase="failed", why=f"full power for 40 min gave {value - start:.1f} K: check it"), 0.0
    return state, 1.0


def _coasting(state: PulseState) -> PulseState:
    if state.phase_s > COAST_MOST_S or (state.phase_s >= COAST_LEAST_S and level(state.trace)):
        return state._replace(phase="done", phase_s=0.0)
    return state


def level(trace: tuple[Point, ...]) -> bool:
    """Has the reading been level for the last 90 s? Means of the two halves, noise averaged out; a tun that cools by
    its loss counts as level."""
    if not trace:
        return False
    end = trace[-1].t_s
    recent = [p for p in trace if p.t_s > end - LEVEL_S]
    early = [p.reading_c for p in recent if p.t_s <= end - 0.5 * LEVEL_S]
    late = [p.reading_c for p in recent if p.t_s > end - 0.5 * LEVEL_S]
    if len(early) < 5 or len(late) < 5:
        return False
    drift = (sum(late) / len(late) - sum(early) / len(early)) / (0.5 * LEVEL_S)
    return -10.0 * LEVEL_K_PER_S <= drift <= LEVEL_K_PER_S
