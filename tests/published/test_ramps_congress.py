"""Does a programmed ramp keep its slope?

Congress mash: 45 °C for 30 min, 1 K/min to 70 °C (25 min), 70 °C (EBC Analytica 4.5.1, MEBAK R-206.00.002; the
tolerance of 0.05 K/min is our own). On tuns that the simulator draws, with the controller told no more than the plate
or what a pulse in strike water showed.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from controller.core.nouns import Measurement, Target
from tests.regimes.bench.bound import Bound
from tests.regimes.bench.laws import Rooms
from tests.regimes.bench.loop import Law, Rest, World, run
from tests.regimes.bench.plants import Plant, draw
from tests.regimes.bench.pulse import learn

CONGRESS = (Rest(45.0, 1800.0, 1.0 / 60.0), Rest(70.0, 900.0, 1.0 / 60.0))


@cache
def strong(count: int) -> tuple[Plant, ...]:
    """Mash-side electric tuns that can do 1.15 K/min at 70 °C even when the mains are low."""
    found: list[Plant] = []
    for number in range(400):
        plant = draw(11, number)
        spec = plant.spec
        capacity = plant.mash_j_per_k + spec.heater_j_per_k
        watts = spec.power_w * (1.0 - plant.mains_swing) - spec.loss_w_per_k * (70.0 - plant.room_c)
        if plant.kind == "electric" and 60.0 * watts / capacity > 1.15:
            found.append(plant)
        if len(found) == count:
            return tuple(found)
    raise AssertionError("too few strong tuns")


class Watched:
    """A law, and what the mash did under it on the ramp."""

    def __init__(self, law: Law) -> None:
        self.law = law
        self.world: World | None = None
        self.ramp: list[float] = []

    def duty(self, target: Target, seen: Measurement, dt: float) -> float:
        """As the law; notes the true mean of the mash on the second rest."""
        if target.key == 2 and self.world is not None:
            self.ramp.append(self.world.tun.mash_mean_c)
        return self.law.duty(target, seen, dt)

    def mash_c(self, seen: Measurement) -> float | None:
        """As the law."""
        return self.law.mash_c(seen)


@pytest.mark.parametrize("place", range(8))
def test_a_congress_ramp_keeps_its_slope(place: int) -> None:
    """The true mean of the mash climbs at 1.00 +- 0.05 K/min and stays within 0.3 K of a straight line."""
    plant = strong(8)[place]
    law = Watched(Rooms(plant, learn(plant, 11)[0]))

    def look(world: World, since_s: float) -> None:
        law.world = world

    run(plant, CONGRESS, law, Bound(plant), 11, look)
    middle = [(i, c) for i, c in enumerate(law.ramp[:2400]) if 46.25 <= c <= 68.75]
    times, values = np.array([i for i, _ in middle]) / 60.0, np.array([c for _, c in middle])
    slope = float(np.polyfit(times, values, 1)[0])
    line = times + float(np.mean(values - times))
    assert slope == pytest.approx(1.0, abs=0.05)
    assert float(np.max(np.abs(values - line))) <= 0.3
