"""Which tuns is the control loop tried on?

Random tuns of every class that the trade heats, drawn from wide ranges: what they really are (`TunSpec`, probe, relay,
mains) and, apart from it, what their plate says. The plate is wrong by as much as plates are. Nothing here is taken
from the controller, and the controller never sees anything but the plate or what it measured.
"""

from __future__ import annotations

from math import sin
from random import Random
from typing import Literal, NamedTuple

from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput, Tun
from sim.plant import random_tun
from sim.plant.spec import WATER_J_PER_KG_K, Spot, TunSpec

Kind = Literal["electric", "behind", "coil", "gas"]
KINDS: tuple[Kind, ...] = ("electric", "behind", "coil", "gas")
SHARES: dict[Kind, int] = {"electric": 30, "behind": 5, "coil": 2, "gas": 4}  # of 41


class Instruments(NamedTuple):
    """What stands between the mash and the controller."""

    spot: Spot
    lag_s: float
    step_k: float  # quantisation
    noise_k: float  # standard deviation
    every_s: float
    lost: float  # share of samples that never arrive


class Plant(NamedTuple):
    """One tun with all that belongs to it."""

    number: int
    kind: Kind
    spec: TunSpec
    liquor_kg: float
    grist_kg: float
    room_c: float
    mains_swing: float  # amplitude of the mains' slow swing in power
    mains_s: float  # its period
    mains_at: float  # its phase, rad
    instruments: Instruments
    plate: Tun

    @property
    def mash_j_per_k(self) -> float:
        """Heat capacity of the mash by handbook figures, which is what a course is made with (grist as 0.40 water)."""
        contents = (self.liquor_kg + 0.40 * self.grist_kg) * WATER_J_PER_KG_K
        return contents + self.plate.metal_j_per_k

    @property
    def liquor_j_per_k(self) -> float:
        """The same before dough-in."""
        return self.liquor_kg * WATER_J_PER_KG_K + self.plate.metal_j_per_k

    def mains(self, t_s: float) -> float:
        """Share of the nominal power that the mains give at this time."""
        return 1.0 + self.mains_swing * sin(6.283185 * t_s / self.mains_s + self.mains_at)


def draw(seed: int, number: int) -> Plant:
    """The tun of this number in the suite of this seed, as the simulator draws them. Two things are set apart, for no
    control law can mend them: the probe's calibration error, and a probe at the wall, which shows the wall."""
    kind = _kind(number)
    drawn = random_tun.draw(Random(f"sim/{seed}/{number}"), kind)
    rng, senses, told = Random(f"plate/{seed}/{number}"), drawn.senses, drawn.plate
    seen = Instruments(
        spot="centre" if senses.spot == "wall" else senses.spot,
        lag_s=senses.lag_s,
        step_k=senses.resolution_k,
        noise_k=senses.noise_k,
        every_s=rng.choice((1.0, 1.0, 2.0, 3.0)),
        lost=senses.lost_share,
    )
    return Plant(
        number=number,
        kind=kind,
        spec=drawn.spec,
        liquor_kg=drawn.liquor_kg,
        grist_kg=drawn.grist_kg,
        room_c=drawn.room_c,
        mains_swing=drawn.mains_share,
        mains_s=rng.uniform(1200.0, 7200.0),
        mains_at=rng.uniform(0.0, 6.28),
        instruments=seen,
        plate=_tun(told, drawn.spec, kind in ("behind", "coil") and seen.spot in ("outlet", "return")),
    )


def _kind(number: int) -> Kind:
    order = [kind for kind in KINDS for _ in range(SHARES[kind])]
    Random(0).shuffle(order)
    return order[number % len(order)]


def _tun(told: random_tun.Plate, spec: TunSpec, behind: bool) -> Tun:
    """The tun file that somebody writes who knows the plate, pipes and motors."""
    pumped = told.flow_l_per_min is not None
    heater = Heater.model_construct(
        kind=told.actuator,
        power_w=told.power_w,
        place="jacket" if spec.place == "burner" else spec.place,
        bath_l=told.bath_l,
        efficiency=1.0,
        window_s=told.window_s,
        min_on_s=told.min_on_s,
        min_off_s=told.min_off_s,
        min_fire=told.min_fire,
        duty_cap=1.0,
        lease_s=10.0,
    )
    probe = Probe.model_construct(topic="probe/mash", lag_s=told.lag_s, behind_heater=behind)
    return Tun.model_construct(
        name="bench",
        volume_l=told.volume_l,
        min_liquor_l=0.2 * told.volume_l,
        metal_j_per_k=told.metal_j_per_k,
        loss_w_per_k=told.loss_w_per_k,
        room_c=told.room_c,
        mixing="pump" if pumped else "stirrer",
        flow_l_per_min=told.flow_l_per_min,
        climb_k_per_s=5.0 / 60.0,
        heater=heater,
        probes=Probes.model_construct(mash=probe),
        flow=SwitchInput.model_construct(topic="flow") if pumped else None,
        pump=Output.model_construct(topic="pump/command") if pumped else None,
        stirrer=None if spec.flow_kg_per_s > 0.0 else Output.model_construct(topic="stirrer/command"),
    )
