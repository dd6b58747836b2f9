"""What does a pulse in plain strike water tell the controller about a bench plant?"""

from __future__ import annotations

from random import Random

from controller.commissioning import learn as learning
from controller.core.control import on_off
from controller.core.control.plant_model import believed
from controller.core.nouns import Demand, Target
from controller.settings.tun import Learned
from sim.plant.tun import Tun
from tests.regimes.bench.loop import World
from tests.regimes.bench.plants import Plant
from tests.regimes.bench.pulse import PULSE_START, pulse

PULSE_FROM_C = 42.0


def learn(plant: Plant, seed: int) -> tuple[Learned | None, learning.Identified | learning.Refused | str]:
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
    known = learning.by_file(plant.plate, plant.liquor_j_per_k)._replace(capacity_j_per_k=plant.liquor_j_per_k)
    found = learning.identify(state.trace, known)
    if isinstance(found, learning.Refused):
        return None, found
    return learned(found), found


def learned(found: learning.Identified) -> Learned:
    """As the command writes it."""
    return Learned(
        power_w=found.power_w, power_sd=found.power_sd, lag_s=found.lag_s, lag_sd_s=found.lag_sd_s,
        dead_s=found.dead_s, dead_sd_s=found.dead_sd_s, on="2026-01-01",
    )  # fmt: skip
