"""What does the controller meet of a fair tun: its file, its readings, its water run?"""

from __future__ import annotations

from math import inf, sin
from random import Random

from controller.core.control import on_off
from controller.core.control.heat_path import heat_path
from controller.core.nouns import Demand, Measurement
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput, Tun
from tests.regimes.bench.fair_tun import BEHIND, FairTun, Made
from tests.regimes.bench.pulse import PULSE_START, PulseState, pulse

FREE = 5.0 / 60.0  # K/s: no limit but the heater's
WATER_FROM_C, WATER_MORE_K, MOST_C = 33.0, 10.0, 78.0  # of a water run; the trial's own rises by 33 K


def tun_file(made: Made) -> Tun:
    """The file of a careful owner."""
    told, pumped = made.told, made.flow_kg_per_s > 0.0
    window_s = {"ssr": 2.0, "contactor": 30.0}.get(told.kind, 0.0)
    pulse_s = {"contactor": 5.0, "gas": 5.0}.get(told.kind, 0.0)
    heater = Heater.model_construct(
        kind=told.kind, power_w=told.power_w, place="coil" if made.way == "coil" else "line" if pumped else "jacket",
        bath_l=told.bath_l, efficiency=1.0, window_s=window_s, min_on_s=pulse_s, min_off_s=pulse_s,
        min_fire=0.3 if told.kind == "gas" else 0.0, duty_cap=1.0, lease_s=10.0,
    )  # fmt: skip
    probe = Probe.model_construct(
        topic="probe/mash", lag_s=told.lag_s, place=made.place, behind_heater=made.place in BEHIND
    )
    return Tun.model_construct(
        name="fair", volume_l=made.volume_l, min_liquor_l=0.2 * made.volume_l, metal_j_per_k=told.metal_j_per_k,
        loss_w_per_k=told.loss_w_per_k, room_c=told.room_c, mixing="pump" if pumped else "stirrer",
        flow_l_per_min=told.flow_l_per_min, climb_k_per_s=FREE, heater=heater,
        probes=Probes.model_construct(mash=probe),
        flow=SwitchInput.model_construct(topic="flow") if pumped else None,
        pump=Output.model_construct(topic="pump/command") if pumped else None,
        stirrer=None if pumped else Output.model_construct(topic="stirrer/command"),
    )  # fmt: skip


class World:
    """A fair tun with its probe and its mains, a second at a time."""

    def __init__(self, made: Made, tun: FairTun, rng: Random) -> None:
        self.made, self.tun, self.rng = made, tun, rng
        self.t, self.phase, self.probe_c = 0.0, rng.uniform(0.0, 6.28), tun.at_place(made.place)
        self.newest = Measurement(None, None, None, inf, None, False, True)

    def second(self, duty: float) -> Measurement:
        """A second later: the reading that has arrived by then."""
        made, was = self.made, self.newest
        self.tun.second(duty, 1.0 + made.mains * sin(self.t / 700.0 + self.phase))
        self.t += 1.0
        self.probe_c += (self.tun.at_place(made.place) - self.probe_c) / (made.lag_s + 0.5)
        if self.t % made.every_s < 1.0 and self.rng.random() >= made.lost:
            value = round((self.probe_c + self.rng.gauss(0.0, made.noise_k)) / made.step_k) * made.step_k
            self.newest = Measurement(value, value, self.t, 0.0, None, True, False)
        elif was.at is not None:
            self.newest = Measurement(was.value_c, was.raw_c, was.at, self.t - was.at, None, False, False)
        return self.newest


def water_run(made: Made, plate: Tun) -> PulseState:
    """Heat in plain water, and ten minutes of rest after it."""
    tun = FairTun(made, WATER_FROM_C, plain=True)
    world = World(made, tun, Random(f"pulse/{made.volume_l}"))
    state, relay, applied = PULSE_START, on_off.START, 0.0
    while state.phase not in ("done", "failed"):
        seen = world.second(applied)
        if seen.value_c is None:
            continue
        state, duty = pulse(state, seen, applied, 1.0, MOST_C, WATER_MORE_K)
        relay, applied = on_off.modulate(heat_path(plate).switching, Demand(duty, "pulse"), relay, 1.0)
    return state
