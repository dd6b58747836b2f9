"""Which tuns could there be? Random ones of every class, each with the name plate its controller would be told.

Ranges: 10 to 2,000 L, 0.3 to 3 K/min at full power, losses with a time constant of 3 to 14 h, probes of 5 to 45 s, dead
time 0 to 60 s. They span small household tuns to small trade ones (own choice; common practice, no survey).
"""

import math
from random import Random
from typing import Literal, NamedTuple, get_args

from sim.plant.spec import MALT_DRY_J_PER_KG_K, STEP_S, WATER_J_PER_KG_K, Place, Spot, TunSpec

Kind = Literal["electric", "behind", "coil", "gas"]
KINDS: tuple[Kind, ...] = get_args(Kind)
Actuator = Literal["proportional", "ssr", "contactor", "gas"]


class Senses(NamedTuple):
    """How is this tun seen? The truth about its probe."""

    spot: Spot
    lag_s: float = 10.0  # first order
    resolution_k: float = 0.0625  # 12-bit 1-wire; a bridge amplifier gives 0.01
    noise_k: float = 0.0  # standard deviation before rounding
    period_s: float = 1.0
    jitter_s: float = 0.05  # standard deviation of the sending time
    lost_share: float = 0.0  # samples that never arrive
    error_k: float = 0.0  # constant calibration error


class Plate(NamedTuple):
    """What the controller is told. Power is true to 15 %, flow to 25 %, the rest to what a person would guess."""

    volume_l: float
    power_w: float
    flow_l_per_min: float | None
    metal_j_per_k: float
    loss_w_per_k: float
    lag_s: float
    room_c: float
    actuator: Actuator
    window_s: float
    min_on_s: float
    min_off_s: float
    min_fire: float
    bath_l: float = 0.0  # liquor round a coil


class Drawn(NamedTuple):
    """A tun, its probe, what is put into it, and what the controller is told of all that."""

    kind: Kind
    spec: TunSpec
    senses: Senses
    plate: Plate
    liquor_kg: float
    grist_kg: float
    grist_moisture: float
    grist_c: float
    room_c: float
    mains_share: float  # how far the supply's power wanders, share

    def mash_j_per_k(self) -> float:
        """Heat capacity of the finished mash with the metal, J/K."""
        malt = (1 - self.grist_moisture) * self.spec.malt_dry_j_per_kg_k + self.grist_moisture * WATER_J_PER_KG_K
        return self.liquor_kg * WATER_J_PER_KG_K + self.grist_kg * malt + self.spec.metal_j_per_k


def draw(rng: Random, kind: Kind | None = None, bath: tuple[float, float] = (0.08, 0.3)) -> Drawn:
    """A random tun of this class (or of any), with its name plate. The same generator state gives the same tun.

    `bath`: how much liquor is round a coil, as a share of the mash, from and to. The plate says it to 15 %.
    """
    kind = kind or rng.choices(KINDS, (147, 25, 9, 19))[0]
    volume = _log_uniform(rng, 10.0, 2000.0)
    thickness, fill = rng.uniform(2.5, 4.0), rng.uniform(0.55, 0.9)
    grist = volume * fill / (thickness + 0.67)
    liquor = thickness * grist
    moisture, room = rng.uniform(0.02, 0.09), rng.uniform(8.0, 28.0)
    contents = liquor * WATER_J_PER_KG_K + grist * ((1 - moisture) * MALT_DRY_J_PER_KG_K + moisture * WATER_J_PER_KG_K)
    metal = contents * rng.uniform(0.02, 0.08)
    loss = contents / (3600.0 * _log_uniform(rng, 3.0, 14.0))
    rate_k_per_s = _log_uniform(rng, 0.3, 3.0 if volume < 300 else 1.5) / 60.0
    hot = contents * rng.uniform(*bath) if kind == "coil" else 0.0  # liquor round the coil
    power = rate_k_per_s * (contents + metal + hot) + loss * 45.0
    spec = _spec(rng, kind, volume, liquor, hot, metal, loss, power)
    senses = _senses(rng, kind, spec.place)
    plate = _plate(rng, kind, spec, senses, room)
    if kind == "coil":
        plate = plate._replace(bath_l=hot / WATER_J_PER_KG_K / rng.uniform(0.85, 1.15))
    return Drawn(
        kind=kind,
        spec=spec,
        senses=senses,
        plate=plate,
        liquor_kg=liquor,
        grist_kg=grist,
        grist_moisture=moisture,
        grist_c=rng.uniform(5.0, 25.0),
        room_c=room,
        mains_share=rng.uniform(0.0, 0.10),
    )


def _spec(
    rng: Random, kind: Kind, volume: float, liquor: float, hot: float, metal: float, loss: float, power: float
) -> TunSpec:
    place = _place(rng, kind)
    looped = place in ("line", "coil")
    flow = power / (WATER_J_PER_KG_K * rng.uniform(1.0, 4.0)) if looped else 0.0  # the wort gains 1..4 K in the heater
    chamber = max(0.5, flow * rng.uniform(3.0, 8.0)) if looped else 1.0
    longest_dead_s = 0.25 * liquor / flow if looped else 0.0
    dead = min(rng.uniform(0.0, 60.0), longest_dead_s)
    before = rng.uniform(0.2, 0.8) * dead
    heater_j, film = _heater(rng, place, power, hot)
    return TunSpec(
        volume_l=volume,
        place=place,
        power_w=power,
        heater_j_per_k=heater_j,
        film_w_per_k=film,
        loss_w_per_k=loss,
        metal_j_per_k=metal,
        metal_film_w_per_k=metal / rng.uniform(10.0, 60.0),
        layers=rng.choice((2, 3, 3, 4)),
        mixing_s=rng.uniform(5.0, 25.0),
        still_mixing_s=rng.uniform(600.0, 2400.0),
        liquor_mixing_s=rng.uniform(10.0, 30.0),
        stirrer=not looped,
        flow_kg_per_s=flow,
        flow_in_grist=rng.uniform(0.75, 1.0) if looped else 1.0,
        chamber_kg=chamber,
        dead_before_s=STEP_S * round(before / STEP_S),
        dead_after_s=STEP_S * round((dead - before) / STEP_S),
        surface_m2=0.9 * (volume / 1000.0) ** (2 / 3),
        lid_leak=rng.uniform(0.0, 0.05),
        malt_dry_j_per_kg_k=MALT_DRY_J_PER_KG_K * rng.uniform(0.95, 1.08),
    )


def _place(rng: Random, kind: Kind) -> Place:
    fixed: dict[Kind, Place] = {"behind": "line", "coil": "coil", "gas": "burner"}
    return fixed[kind] if kind in fixed else rng.choice(("jacket", "element", "line"))


def _heater(rng: Random, place: Place, power: float, hot: float) -> tuple[float, float]:
    """Mass (J/K) and film (W/K) of the heater: by the drop over the film at full power and by its time constant."""
    drop_k, lag_s = {
        "jacket": (rng.uniform(8.0, 25.0), rng.uniform(15.0, 60.0)),
        "element": (rng.uniform(10.0, 30.0), rng.uniform(4.0, 15.0)),
        "line": (rng.uniform(10.0, 30.0), rng.uniform(4.0, 15.0)),
        "burner": (rng.uniform(20.0, 60.0), rng.uniform(20.0, 90.0)),
        "coil": (rng.uniform(8.0, 20.0), 0.0),
    }[place]
    film = power / drop_k
    return hot or film * lag_s, film


def _senses(rng: Random, kind: Kind, place: Place) -> Senses:
    if kind == "behind":
        spot: Spot = "outlet"
    elif place in ("line", "coil"):
        spot = "before_heater"
    else:
        spot = rng.choice(("centre", "wall"))
    fine = rng.random() < 0.4
    return Senses(
        spot=spot,
        lag_s=rng.uniform(5.0, 45.0) if kind != "behind" else rng.uniform(5.0, 20.0),
        resolution_k=0.01 if fine else 0.0625,
        noise_k=rng.uniform(0.0, 0.1) if fine else rng.uniform(0.0, 0.05),
        jitter_s=rng.uniform(0.0, 0.15),
        lost_share=rng.choice((0.0, 0.0, 0.01, 0.05)),
        error_k=rng.gauss(0.0, 0.1),
    )


def _plate(rng: Random, kind: Kind, spec: TunSpec, senses: Senses, room_c: float) -> Plate:
    actuator: Actuator = "gas" if kind == "gas" else rng.choice(("proportional", "ssr", "ssr", "contactor"))
    pulse_s = {"contactor": 2.0, "gas": 5.0}.get(actuator, 0.0)
    return Plate(
        volume_l=spec.volume_l,
        power_w=spec.power_w / rng.uniform(0.85, 1.15),
        flow_l_per_min=60.0 * spec.flow_kg_per_s / rng.uniform(0.75, 1.25) if spec.flow_kg_per_s else None,
        metal_j_per_k=spec.metal_j_per_k * rng.uniform(0.8, 1.2),
        loss_w_per_k=spec.loss_w_per_k * rng.uniform(0.6, 1.5),
        lag_s=senses.lag_s * rng.uniform(0.7, 1.4),
        room_c=room_c + rng.uniform(-3.0, 3.0),
        actuator=actuator,
        window_s={"ssr": 2.0, "contactor": 10.0}.get(actuator, 0.0),
        min_on_s=pulse_s,
        min_off_s=pulse_s,
        min_fire=rng.uniform(0.2, 0.4) if actuator == "gas" else 0.0,
    )


def _log_uniform(rng: Random, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))
