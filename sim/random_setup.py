"""Which tun file and which program does a random tun get?

The file holds what the name plate says; the truth stays in the drawn tun. The programs are short ones of every shape,
so that a swarm of runs meets ramps, rests, additions and questions alike.
"""

from random import Random
from typing import Any, NamedTuple

from controller.plan.plan import Plan, make
from controller.plan.recipe import DoughIn, Grist, Liquor, Program, Step
from controller.settings.guard_limits import Limits
from controller.settings.service import Service, Settings
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput, Tun
from sim.plant.random_tun import Drawn, draw
from sim.world.true_values import TrueValues, of_drawn

STEPS: tuple[tuple[tuple[float, float], ...], ...] = (  # °C, min
    ((66.0, 20.0), (77.0, 5.0)),
    ((50.0, 8.0), (63.0, 15.0), (72.0, 10.0), (78.0, 3.0)),
    ((45.0, 5.0), (62.0, 15.0), (72.0, 10.0)),
    ((64.0, 15.0), (72.0, 10.0), (77.0, 3.0)),
)
TRIES = 50


class RandomSetup(NamedTuple):
    """All that one random run needs."""

    settings: Settings
    plan: Plan
    truth: TrueValues
    drawn: Drawn


def random_brewery(rng: Random) -> RandomSetup:
    """A random tun of any class with its file and a program that fits it."""
    for _ in range(TRIES):
        drawn = draw(rng)
        tun = tun_file(drawn, rng)
        program = random_program(rng, drawn)
        plan = make(program, tun)
        if plan.problems:
            continue
        truth = of_drawn(drawn, tun, rng)._replace(liquor_c=program.liquor.temperature_c)
        return RandomSetup(Settings(tun, Service(), f"drawn-{drawn.kind}"), plan, truth, drawn)
    raise RuntimeError(f"no random program fitted in {TRIES} tries")


def tun_file(drawn: Drawn, rng: Random) -> Tun:
    """What the controller is told of a drawn tun."""
    plate, spec, base = drawn.plate, drawn.spec, "underback/drawn"
    looped = spec.place in ("line", "coil")
    window = {"contactor": (30.0, 5.0, 10.0), "ssr": (2.0, 0.2, 0.2)}.get(plate.actuator, (0.0, 0.0, 0.0))
    if plate.actuator == "gas":
        window = (0.0, plate.min_on_s, plate.min_off_s)
    paired = rng.random() < 0.3 and drawn.kind != "behind"  # behind the heater a probe reads apart from any other
    second = Probe(topic=f"{base}/probe/second", pointer="/c", lag_s=15.0) if paired else None
    outlet = Probe(topic=f"{base}/probe/outlet", pointer="/c", lag_s=5.0) if looped else None
    mash = Probe(
        topic=f"{base}/probe/mash",
        pointer="/c",
        seq_pointer="/n",
        lag_s=plate.lag_s,
        behind_heater=drawn.kind == "behind",
    )
    return Tun(
        name="drawn",
        title=f"{plate.volume_l:.0f} L, {spec.place}",
        simulated=True,
        volume_l=plate.volume_l,
        min_liquor_l=0.5 * drawn.liquor_kg,
        metal_j_per_k=plate.metal_j_per_k,
        loss_w_per_k=plate.loss_w_per_k,
        room_c=plate.room_c,
        mixing="pump" if looped else "stirrer",
        flow_l_per_min=plate.flow_l_per_min,
        climb_k_per_s=rng.choice((1.0, 1.0, 1.5, 2.0)) / 60.0,
        heater=Heater(
            kind=plate.actuator,
            power_w=plate.power_w,
            place="jacket" if spec.place == "burner" else spec.place,
            bath_l=plate.bath_l,
            window_s=window[0],
            min_on_s=window[1],
            min_off_s=window[2],
            min_fire=plate.min_fire,
            lease_s=rng.choice((5.0, 10.0)),
        ),
        probes=Probes(mash=mash, second=second, outlet=outlet),
        level=SwitchInput(topic=f"{base}/level") if rng.random() < 0.7 else None,
        flow=SwitchInput(topic=f"{base}/flow") if looped else None,
        guard=Limits(dead_time_s=180.0 if drawn.kind == "coil" else 60.0),  # as its owner would have measured it
        stirrer=None if looped else Output(topic=f"{base}/stirrer/command", required_for_heat=True),
        pump=Output(topic=f"{base}/pump/command", required_for_heat=True) if looped else None,
    )


def random_program(rng: Random, drawn: Drawn) -> Program:
    """A short program: rests, now and then an iodine test, an infusion or a decoction, and a keep."""
    chosen = rng.choice(STEPS)
    steps: list[Step] = []
    for at, (c, minutes) in enumerate(chosen):
        extra: dict[str, Any] = {}
        if at == len(chosen) - 1 and c < 75.0 and rng.random() < 0.5:
            extra = {"by": rng.choice(("iodine", "person"))}
        kind: Any = "mash_out" if c > 75.0 else "rest"
        if at == 1 and c < 75.0 and rng.random() < 0.15:
            steps.append(Step(name="decoction", kind="decoction", temperature_c=c))
        steps.append(Step(name=f"rest {at + 1}", kind=kind, temperature_c=c, time_s=60.0 * minutes, **extra))
    steps.append(Step(name="keep", kind="keep", time_s=1800.0))
    return Program(
        name="drawn",
        title="drawn program",
        grist=(Grist(name="malt", mass_kg=drawn.grist_kg, moisture=drawn.grist_moisture),),
        liquor=Liquor(mass_kg=drawn.liquor_kg, temperature_c=rng.uniform(30.0, 42.0)),
        dough_in=DoughIn(grist_temperature_c=round(drawn.grist_c), slaking_kj_per_kg=rng.choice((None, 15.0))),
        step=tuple(steps),
    )
