"""Which tuns do the bad days meet? Wider ones than any plate tells of, of every heat path, half of them held unseen.

`sim/plant/random_tun.py` draws tuns with plates that are off as a person's guess would be. Here the truth is drawn
wider still than that: what the controller believes of losses, masses, mixing and lags is no bound. Even seeds are the
unseen half: they are for the last run, not for finding figures.
"""

from __future__ import annotations

import math
from argparse import Namespace
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from random import Random
from typing import TypeVar

from controller.plan.plan import make
from controller.settings.service import Service, Settings
from controller.settings.tun import Probe
from sim.plant.random_tun import Kind, draw
from sim.random_setup import TRIES, RandomSetup, random_program, tun_file
from sim.world.true_values import TrueValues, of_drawn
from tests.regimes.command import options

KINDS: tuple[Kind, ...] = (
    "electric",
    "behind",
    "electric",
    "coil",
    "electric",
    "gas",
    "electric",
    "behind",
    "coil",
    "gas",
)
HALVES = {"seen half": 1, "unseen half": 0}  # by the seed's last bit
Job = TypeVar("Job")
Done = TypeVar("Done")


def widened(truth: TrueValues, rng: Random) -> TrueValues:
    """The same tun, further from its plate than the plate's own error."""
    spec = truth.spec
    metal = rng.uniform(0.6, 1.5)
    film = None if spec.metal_film_w_per_k is None else spec.metal_film_w_per_k * metal
    spec = replace(
        spec,
        power_w=spec.power_w * rng.uniform(0.92, 1.08),
        loss_w_per_k=spec.loss_w_per_k * math.exp(rng.uniform(math.log(0.6), math.log(1.8))),
        metal_j_per_k=spec.metal_j_per_k * metal,
        metal_film_w_per_k=film,
        mixing_s=spec.mixing_s * rng.uniform(0.6, 1.6),
        still_mixing_s=spec.still_mixing_s * rng.uniform(0.5, 2.0),
    )
    senses = tuple((role, sense._replace(lag_s=sense.lag_s * rng.uniform(0.8, 1.4))) for role, sense in truth.senses)
    return truth._replace(spec=spec, senses=senses)


def kind(seed: int) -> Kind:
    """Which heat path has the tun of this seed? The same of both halves."""
    return KINDS[seed // 2 % len(KINDS)]


def brewery(word: str, seed: int, *, second: bool | None = None) -> RandomSetup:
    """The wide tun of this seed with its file and a whole program. `second`: with a second probe or without; None: as
    it is drawn."""
    rng = Random(f"{word} {seed}")
    for _ in range(TRIES):
        drawn = draw(rng, kind(seed))
        tun = tun_file(drawn, rng)
        if second is not None:
            two = Probe(topic="underback/drawn/probe/second", pointer="/c", lag_s=15.0) if second else None
            tun = tun.model_copy(update={"probes": tun.probes.model_copy(update={"second": two})})
        program = random_program(rng, drawn)
        plan = make(program, tun)
        if plan.problems:
            continue
        truth = of_drawn(drawn, tun, rng)._replace(liquor_c=program.liquor.temperature_c)
        return RandomSetup(Settings(tun, Service(), f"drawn-{drawn.kind}"), plan, widened(truth, rng), drawn)
    raise RuntimeError(f"no random program fitted tun {seed}")


def regime(doc: str | None, words: list[str] | None, **more: object) -> tuple[Namespace, range]:
    """The options that each of these commands takes, and the seeds."""
    args = options(doc, words, **{"seeds": "1..40", "jobs": 2, "out": "", **more})
    first, _, last = args.seeds.partition("..")
    return args, range(int(first), int(last or first) + 1)


def shared(jobs: int, do: Callable[[Job], Done], work: Iterable[Job]) -> Iterator[Done]:
    """Done by so many processes, in order; by this one where it is one."""
    if jobs <= 1:
        yield from map(do, work)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(do, work)


def at(values: Iterable[float], share: float) -> float:
    """The value that so large a share of them does not exceed; NaN of none."""
    known = sorted(values)
    return known[min(len(known) - 1, math.ceil(share * len(known)) - 1)] if known else math.nan
