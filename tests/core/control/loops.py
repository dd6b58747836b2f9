"""A small plant and the three rooms round it, for the tests of the control loop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from controller.core.control import loop, on_off, trajectory
from controller.core.control.heat_path import HeatPath
from controller.core.control.plant_model import PlantModel
from controller.core.nouns import Measurement, Target

PATH = HeatPath(
    switching=on_off.Switching(),
    power_w=5000.0,
    bath_j_per_k=0.0,
    heater_s=5.0,
    lag_s=40.0,
    dead_s=20.0,
    sits="mixed",
    rise_k=0.0,
    stream_w_per_k=0.0,
    near_s=10.0,
    highest_c=79.5,
    line_w_per_k=0.0,
)
MODEL = PlantModel(
    path=PATH, capacity_j_per_k=300_000.0, power_w=5000.0, loss_w_per_k=4.0, room_c=18.0, lag_s=40.0, dead_s=20.0
)


def seen(value_c: float | None, fresh: bool = True, age_s: float = 0.2) -> Measurement:
    """A believed reading."""
    return Measurement(value_c, value_c, 0.0, age_s, None, fresh, False)


def hold(target_c: float, key: int = 1, climb_k_per_min: float = 5.0) -> Target:
    """A plateau to be reached and kept."""
    return Target("hold", target_c, climb_k_per_min / 60.0, key, MODEL.capacity_j_per_k)


OFF = Target("off", None, 1.0, 0, MODEL.capacity_j_per_k)


@dataclass
class Loop:
    """One mash behind one lag and a dead time, run second by second."""

    model: PlantModel = MODEL
    mash_c: float = 52.0
    rate_share: float = 1.0  # of the believed heating rate
    lag_share: float = 1.0  # of the believed lag
    extra_w: float = 0.0
    given: list[float] = field(default_factory=list)
    trace: list[float] = field(default_factory=list)
    setpoints: list[float | None] = field(default_factory=list)
    trajectory: trajectory.TrajectoryState = trajectory.START
    state: loop.LoopState = loop.START
    on_off: on_off.OnOffState = on_off.START
    reading_c: float | None = None

    def run(self, target: Target, seconds: int, gate: Callable[[int, float], float] | None = None) -> None:
        """So many seconds; `gate` may change what the heater really gives."""
        f = self.model
        for i in range(seconds):
            self.reading_c = self.mash_c if self.reading_c is None else self.reading_c
            self.reading_c += (self.mash_c - self.reading_c) / (f.lag_s * self.lag_share)
            measurement, applied = seen(self.reading_c), self.given[-1] if self.given else 0.0
            found, held_back = self.state.belief, self.state.saturated
            model = f._replace(
                power_w=f.power_w * found.gain,
                lag_s=f.lag_s * found.lag,
                dead_s=f.dead_s * found.lag,
                found_loss_k_per_s=found.extra_k_per_s,
            )
            self.trajectory, setpoint = trajectory.shape(model, target, self.trajectory, measurement, held_back, 1.0)
            self.state, demand = loop.regulate(model, setpoint, target, measurement, applied, self.state, 1.0)
            self.on_off, duty = on_off.modulate(f.path.switching, demand, self.on_off, 1.0)
            self.given.append(gate(i, duty) if gate is not None else duty)
            late = round(f.dead_s * self.lag_share)
            arrives = self.given[-1 - late] if len(self.given) > late else 0.0
            watts = arrives * f.power_w * self.rate_share - f.loss_w_per_k * (self.mash_c - f.room_c) - self.extra_w
            self.mash_c += watts / f.capacity_j_per_k
            self.trace.append(self.mash_c)
            self.setpoints.append(setpoint.value_c if setpoint is not None else None)
