"""Which tuns is the control loop tried on?

Random tuns of every class that the trade heats, drawn from wide ranges: what they really are (`TunSpec`, probe, relay,
mains) and, apart from it, what their plate says. The plate is wrong by as much as plates are. Nothing here is taken
from the controller, and the controller never sees anything but the plate or what it measured.
"""

from __future__ import annotations

from math import exp, log, sin
from random import Random
from typing import Literal, NamedTuple

import sim.plant.random_tun
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput, Tun
from sim.plant.spec import WATER_J_PER_KG_K, Spot, TunSpec

Kind = Literal["electric", "behind", "coil", "gas"]
Suite = Literal["sim", "wide"]
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


def spread(rng: Random, low: float, high: float) -> float:
    """A number from low to high, each decade as likely as another."""
    return exp(rng.uniform(log(low), log(high)))


def draw(seed: int, number: int, suite: Suite = "sim") -> Plant:
    """Which is the tun of this number in the suite of this seed?"""
    return simulated(seed, number) if suite == "sim" else wide(seed, number)


def simulated(seed: int, number: int) -> Plant:
    """A tun as the simulator draws them. Two things are set apart, for no control law can mend them: the probe's
    calibration error, and a probe at the wall, which shows the wall."""
    kind = _kind(number)
    drawn = sim.plant.random_tun.draw(Random(f"sim/{seed}/{number}"), kind)
    rng, senses, told = Random(f"plate/{seed}/{number}"), drawn.senses, drawn.plate
    pumped = drawn.spec.flow_kg_per_s > 0.0
    seen = Instruments(
        spot="centre" if senses.spot == "wall" else senses.spot,
        lag_s=senses.lag_s,
        step_k=senses.resolution_k,
        noise_k=senses.noise_k,
        every_s=rng.choice((1.0, 1.0, 2.0, 3.0)),
        lost=senses.lost_share,
    )
    heater = Heater.model_construct(
        kind=told.actuator,
        power_w=told.power_w,
        place="jacket" if drawn.spec.place == "burner" else drawn.spec.place,
        bath_l=told.bath_l,
        efficiency=1.0,
        window_s=told.window_s,
        min_on_s=told.min_on_s,
        min_off_s=told.min_off_s,
        min_fire=told.min_fire,
        duty_cap=1.0,
        lease_s=10.0,
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
        plate=_tun(heater, told.volume_l, told.metal_j_per_k, told.loss_w_per_k, told.room_c, told.flow_l_per_min,
                   told.lag_s, kind in ("behind", "coil") and seen.spot in ("outlet", "return"), not pumped),
    )  # fmt: skip


def _kind(number: int) -> Kind:
    order = [kind for kind in KINDS for _ in range(SHARES[kind])]
    Random(0).shuffle(order)
    return order[number % len(order)]


def wide(seed: int, number: int) -> Plant:
    """A tun from wider ranges of the bench's own: slower pumps, probes anywhere in the loop, relays of any window."""
    rng = Random(f"{seed}/{number}")
    kind = _kind(number)
    volume_l = spread(rng, 10.0, 2000.0)
    thickness = rng.uniform(2.5, 4.0)
    grist_kg = volume_l * rng.uniform(0.6, 0.92) / (thickness + 0.67)
    liquor_kg = thickness * grist_kg
    contents_j = (liquor_kg + 0.4 * grist_kg) * WATER_J_PER_KG_K
    fastest = 1.5 if kind == "coil" else 3.0
    power_w = contents_j * spread(rng, 0.35, fastest) / 60.0
    loss_w_per_k = contents_j / (3600.0 * rng.uniform(3.0, 14.0))
    power_w += 45.0 * loss_w_per_k
    pumped = kind in ("behind", "coil") or rng.random() < 0.35
    spec = _spec(rng, kind, pumped, volume_l, contents_j, power_w, loss_w_per_k)
    seen = Instruments(
        spot=_spot(rng, kind, pumped),
        lag_s=rng.uniform(5.0, 45.0),
        step_k=rng.choice((0.0625, 0.01)),
        noise_k=rng.choice((0.0, rng.uniform(0.0, 0.1))),
        every_s=rng.choice((1.0, 1.0, 2.0, 3.0)),
        lost=rng.choice((0.0, 0.02, 0.05)),
    )
    return Plant(
        number=number,
        kind=kind,
        spec=spec,
        liquor_kg=liquor_kg,
        grist_kg=grist_kg,
        room_c=rng.uniform(8.0, 28.0),
        mains_swing=rng.uniform(0.0, 0.10),
        mains_s=rng.uniform(1200.0, 7200.0),
        mains_at=rng.uniform(0.0, 6.28),
        instruments=seen,
        plate=_plate(rng, kind, spec, volume_l, seen, pumped),
    )


def _spec(
    rng: Random, kind: Kind, pumped: bool, volume_l: float, contents_j: float, power_w: float, loss_w_per_k: float
) -> TunSpec:
    place, over_k, tau_s = _heater(rng, kind, pumped)
    film = power_w / over_k
    flow = volume_l / (60.0 * rng.uniform(2.5, 8.0)) if pumped else 0.0  # kg/s: one turnover in 2.5..8 min
    metal_j = contents_j * rng.uniform(0.02, 0.12)
    return TunSpec(
        volume_l=volume_l,
        place=place,
        power_w=power_w,
        heater_j_per_k=film * tau_s,
        film_w_per_k=film,
        loss_w_per_k=loss_w_per_k,
        metal_j_per_k=metal_j,
        metal_film_w_per_k=max(metal_j / rng.uniform(10.0, 60.0), 40.0 * loss_w_per_k),
        layers=rng.choice((2, 3, 4)),
        mixing_s=spread(rng, 6.0, 25.0),
        still_mixing_s=1500.0,
        liquor_mixing_s=rng.uniform(15.0, 40.0),
        stirrer=not pumped or rng.random() < 0.3,
        flow_kg_per_s=flow,
        flow_in_grist=rng.uniform(0.6, 1.0) if pumped else 1.0,
        chamber_kg=max(flow * rng.uniform(3.0, 12.0), 0.2),
        dead_before_s=rng.uniform(2.0, 20.0) if pumped else 0.0,
        dead_after_s=rng.uniform(2.0, 20.0) if pumped else 0.0,
    )


def _heater(
    rng: Random, kind: Kind, pumped: bool
) -> tuple[Literal["jacket", "element", "line", "coil", "burner"], float, float]:
    """Where it sits, how much hotter than the wort it is at full power (K), and its own lag (s)."""
    if kind == "coil":
        return "coil", rng.uniform(8.0, 20.0), spread(rng, 60.0, 300.0)
    if kind == "gas":
        return "burner", rng.uniform(20.0, 60.0), spread(rng, 20.0, 90.0)
    if kind == "behind" or (pumped and rng.random() < 0.6):
        return "line", rng.uniform(15.0, 60.0), spread(rng, 3.0, 15.0)
    if rng.random() < 0.5:
        return "element", rng.uniform(10.0, 40.0), spread(rng, 4.0, 25.0)
    return "jacket", rng.uniform(15.0, 50.0), spread(rng, 20.0, 120.0)


def _spot(rng: Random, kind: Kind, pumped: bool) -> Spot:
    if kind == "behind":
        return rng.choice(("outlet", "return"))
    if pumped:
        return rng.choice(("centre", "before_heater"))
    return "centre"


def _plate(rng: Random, kind: Kind, spec: TunSpec, volume_l: float, seen: Instruments, pumped: bool) -> Tun:
    """What stands on the plate and in the tun file: watts within 15 %, flow within 25 %, loss within 1.6."""
    switch: Literal["proportional", "ssr", "contactor", "gas"]
    switch = "gas" if kind == "gas" else rng.choice(("proportional", "ssr", "ssr", "contactor"))
    window_s = {"proportional": 0.0, "gas": 0.0, "ssr": rng.uniform(2.0, 5.0), "contactor": rng.uniform(6.0, 10.0)}[
        switch
    ]
    least_s = {"proportional": 0.0, "ssr": 0.0, "contactor": 3.0, "gas": 10.0}[switch]
    heater = Heater.model_construct(
        kind=switch,
        power_w=spec.power_w / rng.uniform(0.85, 1.15),
        place="jacket" if spec.place == "burner" else spec.place,
        efficiency=1.0,
        window_s=window_s,
        min_on_s=least_s,
        min_off_s=least_s,
        min_fire=rng.uniform(0.2, 0.4) if kind == "gas" else 0.0,
        duty_cap=1.0,
        lease_s=10.0,
    )
    return _tun(
        heater,
        volume_l,
        spec.metal_j_per_k * rng.uniform(0.7, 1.3),
        spec.loss_w_per_k * spread(rng, 1 / 1.6, 1.6),
        18.0,
        60.0 * spec.flow_kg_per_s * rng.uniform(0.75, 1.25) if pumped else None,
        min(seen.lag_s * rng.uniform(0.7, 1.4), 60.0),
        kind in ("behind", "coil") and seen.spot in ("outlet", "return"),
        spec.stirrer,
    )


def _tun(
    heater: Heater, volume_l: float, metal_j_per_k: float, loss_w_per_k: float, room_c: float,
    flow_l_per_min: float | None, lag_s: float, behind: bool, stirrer: bool,
) -> Tun:  # fmt: skip
    pumped = flow_l_per_min is not None
    return Tun.model_construct(
        name="bench",
        volume_l=volume_l,
        min_liquor_l=0.2 * volume_l,
        metal_j_per_k=metal_j_per_k,
        loss_w_per_k=loss_w_per_k,
        room_c=room_c,
        mixing="pump" if pumped else "stirrer",
        flow_l_per_min=flow_l_per_min,
        climb_k_per_s=5.0 / 60.0,
        heater=heater,
        probes=Probes.model_construct(
            mash=Probe.model_construct(topic="probe/mash", lag_s=lag_s, behind_heater=behind)
        ),
        flow=SwitchInput.model_construct(topic="flow") if pumped else None,
        pump=Output.model_construct(topic="pump/command") if pumped else None,
        stirrer=Output.model_construct(topic="stirrer/command") if stirrer else None,
    )
