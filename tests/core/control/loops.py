"""A small plant and the three rooms round it, for the tests of the control loop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from controller.core.control import loop as regulator
from controller.core.control import on_off as modulator
from controller.core.control import trajectory as ramp
from controller.core.nouns import Figures, Measurement, Target

FIGURES = Figures(capacity_j_per_k=300_000.0, power_w=5000.0, loss_w_per_k=4.0, room_c=18.0, lag_s=40.0, dead_s=20.0)


def seen(value_c: float | None, fresh: bool = True, age_s: float = 0.2) -> Measurement:
    """A believed reading."""
    return Measurement(value_c, value_c, 0.0, age_s, None, fresh, False)


def hold(target_c: float, key: int = 1, climb_k_per_min: float = 5.0) -> Target:
    """A plateau to be reached and kept."""
    return Target("hold", target_c, climb_k_per_min / 60.0, key, FIGURES.capacity_j_per_k)


OFF = Target("off", None, 1.0, 0, FIGURES.capacity_j_per_k)


@dataclass
class Loop:
    """One mash behind one lag and a dead time, run second by second."""

    figures: Figures = FIGURES
    mash_c: float = 52.0
    rate_share: float = 1.0  # of the believed heating rate
    lag_share: float = 1.0  # of the believed lag
    extra_w: float = 0.0
    given: list[float] = field(default_factory=list)
    trace: list[float] = field(default_factory=list)
    setpoints: list[float | None] = field(default_factory=list)
    ramp: ramp.RampState = ramp.START
    regulator: regulator.RegulatorState = regulator.START
    modulator: modulator.ModulatorState = modulator.START
    reading_c: float | None = None

    def run(self, target: Target, seconds: int, gate: Callable[[int, float], float] | None = None) -> None:
        """So many seconds; `gate` may change what the heater really gives."""
        f = self.figures
        for i in range(seconds):
            self.reading_c = self.mash_c if self.reading_c is None else self.reading_c
            self.reading_c += (self.mash_c - self.reading_c) / (f.lag_s * self.lag_share)
            measurement, applied = seen(self.reading_c), self.given[-1] if self.given else 0.0
            believed = f._replace(
                power_w=f.power_w * self.regulator.gain,
                lag_s=f.lag_s * self.regulator.lag,
                dead_s=f.dead_s * self.regulator.lag,
                found_loss_k_per_s=self.regulator.extra_k_per_s,
            )
            held_back = self.regulator.saturated
            self.ramp, setpoint = ramp.shape(believed, target, self.ramp, measurement, held_back, 1.0)
            self.regulator, demand = regulator.regulate(
                believed, setpoint, target, measurement, applied, self.regulator, 1.0
            )
            self.modulator, duty = modulator.modulate(believed, demand, self.modulator, 1.0)
            self.given.append(gate(i, duty) if gate is not None else duty)
            late = round(f.dead_s * self.lag_share)
            arrives = self.given[-1 - late] if len(self.given) > late else 0.0
            watts = arrives * f.power_w * self.rate_share - f.loss_w_per_k * (self.mash_c - f.room_c) - self.extra_w
            self.mash_c += watts / f.capacity_j_per_k
            self.trace.append(self.mash_c)
            self.setpoints.append(setpoint.value_c if setpoint is not None else None)
