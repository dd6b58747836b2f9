"""Which laws are compared? The project's own rooms in the order of the corridor, and two yardsticks.

Law a: what a brewer sets up in an evening. The setpoint jumps, simple-pid runs with gains picked by hand.
Law b: the same with gains from the SIMC rule and the plant's true figures. Both send their duty through the same relay.
"""

from __future__ import annotations

from random import Random

from simple_pid import PID

from controller.core.control import loop, on_off, trajectory
from controller.core.control.heat_path import heat_path
from controller.core.control.observer import in_mash
from controller.core.control.plant_model import believed
from controller.core.nouns import Demand, Measurement, Target
from controller.settings.tun import Learned
from tests.regimes.bench.bound import Bound
from tests.regimes.bench.plants import Plant

HAND_KP, HAND_KI = 0.25, 0.002  # per K, per K s: full power 4 K below, a minute's error of 2 K gives a quarter


class Rooms:
    """trajectory, loop, on_off as the corridor calls them."""

    def __init__(self, plant: Plant, learned: Learned | None = None) -> None:
        self.plate, self.learned = plant.plate, learned
        self.trajectory = trajectory.START
        self.loop = loop.START
        self.on_off = on_off.START
        self.applied = 0.0

    def duty(self, target: Target, seen: Measurement, dt: float) -> float:
        """One tick."""
        model = believed(self.plate, target, self.learned, self.loop.belief)
        self.trajectory, setpoint = trajectory.shape(model, target, self.trajectory, seen, self.loop.saturated, dt)
        self.loop, demand = loop.regulate(model, setpoint, target, seen, self.applied, self.loop, dt)
        self.on_off, self.applied = on_off.modulate(model.path.switching, demand, self.on_off, dt)
        return self.applied

    def mash_c(self, seen: Measurement) -> float | None:
        """The reading, less what the heater adds at a probe behind it, as the rest clock of the daemon sees it."""
        return in_mash(heat_path(self.plate), False, self.loop.belief, seen).value_c


class Step:
    """A step setpoint on simple-pid."""

    def __init__(self, plant: Plant, kp: float, ki: float) -> None:
        self.pid = PID(kp, ki, 0.0, sample_time=None, output_limits=(0.0, 1.0), time_fn=lambda: 0.0)
        self.plate = plant.plate
        self.on_off = on_off.START

    def duty(self, target: Target, seen: Measurement, dt: float) -> float:
        """One tick."""
        if target.heat != "hold" or target.target_c is None or seen.value_c is None:
            self.pid.set_auto_mode(False)
            return 0.0
        self.pid.set_auto_mode(True, last_output=0.0)
        self.pid.setpoint = target.target_c
        asked = min(self.pid(seen.value_c, dt=dt) or 0.0, believed(self.plate, target).duty_cap)
        self.on_off, applied = on_off.modulate(heat_path(self.plate).switching, Demand(asked, ""), self.on_off, dt)
        return applied

    def mash_c(self, seen: Measurement) -> float | None:
        """What is read."""
        return seen.value_c


def by_hand(plant: Plant) -> Step:
    """Law a."""
    return Step(plant, HAND_KP, HAND_KI)


def by_rule(plant: Plant, bound: Bound) -> Step:
    """Law b: SIMC for an integrating process, Kc = 1/(2 k' theta), tau_I = 8 theta, from the true figures."""
    k = plant.spec.power_w / bound.capacity
    theta = true_lag_s(plant, bound)
    kc = 1.0 / (2.0 * k * theta)
    return Step(plant, kc, kc / (8.0 * theta))


def true_lag_s(plant: Plant, bound: Bound) -> float:
    """Total lag from heater to reading: how late the true mean is on a long ramp, and the probe's own lag, s."""
    n = len(bound.rise) // 4
    steady = bound.rise[n] - bound.rise[n // 2]
    late = n - bound.rise[n] / (steady / (n - n // 2))
    return float(max(late, 0.0)) + plant.instruments.lag_s


def mistaken(plant: Plant, bound: Bound, seed: int) -> Learned:
    """Figures unlike the plant: rate within 15 %, lag 0.75 to 1.5 of the true one, as if learned so."""
    rng = Random(f"mistaken/{seed}/{plant.number}")
    total_s = true_lag_s(plant, bound) * rng.uniform(0.75, 1.5)
    power_w = plant.spec.power_w * plant.mash_j_per_k / bound.capacity * rng.uniform(0.85, 1.15)
    return Learned(power_w=power_w, lag_s=0.6 * total_s, dead_s=0.4 * total_s, on="2026-01-01")
