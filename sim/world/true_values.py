"""What are the tun of a tun file, its probes and its heater node really like?

The file is what the controller is told. The truth scatters around it by the seed, as a workshop's would: power by 6 %,
loss by 20 %, flow by 10 %, and lags, mixing and film that the file does not name at all.
"""

from random import Random
from typing import Literal, NamedTuple

from controller.field.lease import CEILING_S, CONTACTOR_REST_S, NodeSettings
from controller.settings.tun import Probe, Tun
from controller.settings.tun import Spot as TunSpot
from sim.plant.random_tun import Drawn, Senses
from sim.plant.spec import STEP_S, Place, Spot, TunSpec
from sim.world.own_probe import figures

Role = Literal["mash", "second", "outlet"]


class TrueValues(NamedTuple):
    """All that is fixed about one simulated tun."""

    spec: TunSpec
    senses: tuple[tuple[Role, Senses], ...]
    node: NodeSettings
    measures_power: bool
    liquor_c: float  # before heating
    grist_c: float
    grist_moisture: float
    room_c: float
    mains_share: float  # how far the supply's power wanders, share


def of_tun(tun: Tun, rng: Random, liquor_c: float = 12.0) -> TrueValues:
    """The truth behind a tun file, for one seed."""
    fitted = tun.probes
    probes: dict[Role, Probe | None] = {"mash": fitted.mash, "second": fitted.second, "outlet": fitted.outlet}
    senses = [(role, _probe(tun, probe, rng, role)) for role, probe in probes.items() if probe is not None]
    return TrueValues(
        spec=_spec(tun, rng),
        senses=tuple(senses),
        node=node_of(tun),
        measures_power=False,
        liquor_c=liquor_c,
        grist_c=rng.uniform(15.0, 20.0),
        grist_moisture=rng.uniform(0.04, 0.06),
        room_c=tun.room_c + rng.uniform(-2.0, 2.0),
        mains_share=rng.uniform(0.0, 0.05),
    )


def of_drawn(drawn: Drawn, tun: Tun, rng: Random) -> TrueValues:
    """The truth behind a drawn tun: its own spec and probe."""
    roles: list[tuple[Role, Senses]] = [("mash", drawn.senses)]
    if tun.probes.second is not None:
        roles.append(("second", _probe(tun, tun.probes.second, rng, "second")))
    if tun.probes.outlet is not None:
        roles.append(("outlet", Senses("outlet", lag_s=rng.uniform(2.0, 8.0))))
    return TrueValues(
        spec=drawn.spec,
        senses=tuple(roles),
        node=node_of(tun),
        measures_power=rng.random() < 0.3,
        liquor_c=rng.uniform(8.0, 20.0),
        grist_c=drawn.grist_c,
        grist_moisture=drawn.grist_moisture,
        room_c=drawn.room_c,
        mains_share=drawn.mains_share,
    )


def node_of(tun: Tun) -> NodeSettings:
    """A heater node built to its contract: a contactor rests ten seconds; its own thermometer, level and flow."""
    heater = tun.heater
    rest = {"contactor": CONTACTOR_REST_S, "gas": CONTACTOR_REST_S, "ssr": 0.0, "proportional": 0.0}[heater.kind]
    return NodeSettings(
        power_w=heater.power_w,
        boot="",
        min_off_s=max(rest, heater.min_off_s),
        ceiling_s=min(CEILING_S, heater.lease_s),
        outlet=True,
        level=tun.level is not None,
        flow=tun.flow is not None,
        **figures(tun),
    )


PLACED: dict[TunSpot, Spot] = {
    "mash": "centre", "bed outlet": "before_heater", "return": "return", "heater outlet": "outlet"
}  # fmt: skip


def _probe(tun: Tun, probe: Probe, rng: Random, role: Role) -> Senses:
    looped = tun.heater.place in ("line", "coil")
    spots: dict[Role, Spot] = {
        "mash": PLACED[tun.probe_place] if looped else "centre",
        "second": "centre" if looped else "wall",
        "outlet": "outlet",
    }
    return Senses(
        spot=spots[role],
        lag_s=max(1.0, probe.lag_s * rng.uniform(0.8, 1.1)),
        noise_k=0.02,
        jitter_s=0.05,
        error_k=rng.uniform(-0.05, 0.05),
    )


def _spec(tun: Tun, rng: Random) -> TunSpec:
    heater = tun.heater
    power = heater.power_w * heater.efficiency * rng.uniform(0.94, 1.06)
    place: Place = "burner" if heater.kind == "gas" and heater.place in ("jacket", "element") else heater.place
    looped = place in ("line", "coil")
    flow = (tun.flow_l_per_min or 0.15 * tun.volume_l) / 60.0 * rng.uniform(0.9, 1.1) if tun.mixing == "pump" else 0.0
    if looped and flow <= 0.0:
        flow = 0.15 * tun.volume_l / 60.0
    heater_j, film = _heater(place, power, heater.bath_j_per_k)
    return TunSpec(
        volume_l=tun.volume_l,
        place=place,
        power_w=power,
        heater_j_per_k=heater_j,
        film_w_per_k=film,
        loss_w_per_k=tun.loss_w_per_k * rng.uniform(0.8, 1.2),
        metal_j_per_k=tun.metal_j_per_k,
        metal_film_w_per_k=tun.metal_j_per_k / 25.0 if tun.metal_j_per_k else None,
        layers=3,
        mixing_s=rng.uniform(10.0, 20.0),
        stirrer=tun.mixing == "stirrer" or tun.stirrer is not None,
        flow_kg_per_s=flow,
        chamber_kg=max(0.4, 4.0 * flow),
        dead_before_s=STEP_S * rng.randrange(6, 14) if flow else 0.0,
        dead_after_s=STEP_S * rng.randrange(8, 20) if flow else 0.0,
        surface_m2=0.9 * (tun.volume_l / 1000.0) ** (2 / 3),
        lid_leak=0.01,
    )


def _heater(place: Place, power: float, bath_j_per_k: float) -> tuple[float, float]:
    """Mass (J/K) and film (W/K) by the usual drop over the film at full power, and the bath or the heater's own time
    constant."""
    drop_k, lag_s = {
        "jacket": (15.0, 30.0),
        "element": (20.0, 8.0),
        "line": (20.0, 8.0),
        "burner": (40.0, 45.0),
        "coil": (12.0, 0.0),
    }[place]
    film = power / drop_k
    return bath_j_per_k or film * lag_s, film
