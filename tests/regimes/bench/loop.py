"""What happens when a law runs a rest program on a plant? Every ramp is judged on the true mean of the mash."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf, sqrt
from random import Random
from typing import NamedTuple, Protocol

from controller.core.nouns import Measurement, Target
from sim.plant.tun import Tun
from tests.regimes.bench.bound import Bound
from tests.regimes.bench.plants import Plant

BAND_K = 0.3  # settled, and the overshoot that a good ramp may have
TEMPERED_K, COLD_C = 0.5, 15.0  # landed so much too warm, the brewer tempers with cold liquor: nothing else can cool


class Rest(NamedTuple):
    """One step of a bench program."""

    target_c: float
    hold_s: float
    climb_k_per_s: float


class Law(Protocol):
    """Anything that turns readings into duty, once a second."""

    def duty(self, target: Target, seen: Measurement, dt: float) -> float:
        """What goes to the heater for the next dt seconds, 0..1?"""

    def mash_c(self, seen: Measurement) -> float | None:
        """Where does it take the mash to be, °C? The rest clock goes by that."""


class Ramp(NamedTuple):
    """What came of one rise and the rest after it."""

    first: bool
    overshoot_k: float  # first rest: beyond what came without heat
    bound_s: float
    settled_s: float  # inf: never
    rms_k: float  # of the hold, from settling (or the middle of the rest) to the end
    outside_s: float  # after settling, beyond +-0.5 K
    strays_k: float  # of the hold, farthest from the target, over or under
    slope_k_per_min: float
    lasted_s: float = 0.0

    @property
    def good(self) -> bool:
        """Overshoot, settling and hold, all three."""
        return self.overshoot_k <= BAND_K and self.settled_s <= 1.15 * self.bound_s + 45.0 and self.rms_k <= 0.15


class Run(NamedTuple):
    """One program on one plant under one law."""

    ramps: tuple[Ramp, ...]
    energy_over_least: float
    finished: bool
    seconds: float


@dataclass(slots=True)
class World:
    """A tun with its probe and its mains, stepped a second at a time."""

    plant: Plant
    tun: Tun
    rng: Random
    probe_c: float
    t: float = 0.0
    joules: float = 0.0
    newest: Measurement = field(default=Measurement(None, None, None, inf, None, False, True))

    def second(self, duty: float) -> Measurement:
        """A second later: the reading that has arrived by then."""
        plant, tun, seen = self.plant, self.tun, self.plant.instruments
        tun.mains = plant.mains(self.t)
        tun.step(1.0, duty)
        self.joules += duty * plant.spec.power_w * tun.mains
        self.t += 1.0
        self.probe_c += (tun.spot_c(seen.spot) - self.probe_c) / (seen.lag_s + 0.5)
        due = self.t % seen.every_s < 1.0
        if due and self.rng.random() >= seen.lost:
            noisy = self.probe_c + (self.rng.gauss(0.0, seen.noise_k) if seen.noise_k else 0.0)
            value = round(noisy / seen.step_k) * seen.step_k
            self.newest = Measurement(value, value, self.t, 0.0, None, True, False)
        elif self.newest.at is not None:
            n = self.newest
            self.newest = Measurement(n.value_c, n.raw_c, n.at, self.t - (n.at or 0.0), None, False, False)
        return self.newest


def run(
    plant: Plant, program: tuple[Rest, ...], law: Law, bound: Bound, seed: int, disturb: Trouble | None = None
) -> Run:
    """Dough in, then every rest of the program. The same seed brings the same noise to every law."""
    rng = Random(f"{seed}/{plant.number}/{program[0].target_c}/{len(program)}")
    world, came_c = doughed_in(plant, program[0].target_c, law, rng)
    start_j, began, at_c = world.joules, world.t, world.tun.mash_mean_c
    ramps, duty, last_c, finished = [], 0.0, at_c, True
    for key, rest in enumerate(program):
        target = Target("hold", rest.target_c, rest.climb_k_per_s, key + 1, plant.mash_j_per_k)
        came_s = world.t
        best_s = bound.seconds(last_c, rest.target_c, rest.climb_k_per_s, world.t)
        trace, duty, done = _rest(world, law, target, rest, best_s, duty, disturb)
        over_c = max(came_c, rest.target_c) if key == 0 else rest.target_c
        ramp = judge(trace, rest, best_s, key == 0, over_c)
        ramps.append(ramp._replace(lasted_s=world.t - came_s))
        finished = finished and done
        last_c = world.tun.mash_mean_c
    heat_j_per_k = world.tun.capacity_j_per_k + plant.spec.heater_j_per_k
    least_j = heat_j_per_k * (program[-1].target_c - at_c) + _lost_j(plant, program, ramps)
    return Run(tuple(ramps), (world.joules - start_j) / max(least_j, 1.0), finished, world.t - began)


def doughed_in(plant: Plant, first_c: float, law: Law, rng: Random) -> tuple[World, float]:
    """Strike liquor at rest, grist in over some minutes without heat, settling, tempered where it is too warm. Also:
    the mean then."""
    malt_j = 0.4 * plant.grist_kg * 4186.0
    strike = first_c + malt_j * (first_c - 18.0) / plant.liquor_j_per_k + rng.uniform(-1.6, 0.6)
    tun = Tun(plant.spec, plant.liquor_kg, strike, plant.room_c)
    world = World(plant, tun, rng, strike)
    off = Target("off", None, 1.0, 0, plant.liquor_j_per_k)
    blocked = Target("blocked", first_c, 1.0, 0, plant.mash_j_per_k)
    for _ in range(60):
        law.duty(off, world.second(0.0), 1.0)
    over_s = rng.uniform(180.0, 480.0)
    tun.add_grist(plant.grist_kg, rng.uniform(8.0, 22.0), rng.uniform(0.03, 0.06), over_s)
    for _ in range(int(over_s) + 180):
        law.duty(blocked, world.second(0.0), 1.0)
    too_warm_k = tun.mash_mean_c - first_c
    if too_warm_k > TEMPERED_K:
        tun.add_liquor(tun.capacity_j_per_k * too_warm_k / (4186.0 * (first_c - COLD_C)), COLD_C, 60.0)
        for _ in range(180):
            law.duty(blocked, world.second(0.0), 1.0)
    return world, tun.mash_mean_c


def _rest(
    world: World, law: Law, target: Target, rest: Rest, best_s: float, duty: float, disturb: Trouble | None
) -> tuple[list[float], float, bool]:
    """The true mean of the mash, second by second, until the rest has had its time in band."""
    trace, credit, banded, began = [], 0.0, 0.0, world.t
    wanted = best_s + rest.hold_s
    while world.t - began < (wanted if credit >= rest.hold_s else 3.0 * wanted):
        seen = world.second(duty)
        if disturb is not None:
            disturb(world, world.t - began)
        duty = law.duty(target, seen, 1.0)
        trace.append(world.tun.mash_mean_c)
        mash_c = law.mash_c(seen)
        off = abs((mash_c if mash_c is not None else -99.0) - rest.target_c)
        banded = banded + 1.0 if off <= 0.5 else 0.0
        if credit > 0.0 or banded >= 60.0:
            credit += 1.0 if off <= 1.0 else 0.0
    return trace[: int(wanted)], duty, credit >= rest.hold_s


def judge(trace: list[float], rest: Rest, bound_s: float, first: bool, over_c: float) -> Ramp:
    """The figures of one ramp from the true mean of the mash."""
    off = [c - rest.target_c for c in trace]
    last_out = max((i for i, e in enumerate(off) if abs(e) > BAND_K), default=-1)
    settled = inf if last_out >= len(off) - 60 else last_out + 1.0
    came = next((i for i, e in enumerate(off) if e > -BAND_K), len(off) - 1)
    held = off[max(came, min(len(off) - 60, int(settled) if settled < inf else 0)) :]
    if settled == inf:
        held = off[came:] or off[-1:]
    return Ramp(
        first=first,
        overshoot_k=max(0.0, max(trace) - over_c),
        bound_s=bound_s,
        settled_s=settled,
        rms_k=sqrt(sum(e * e for e in held) / len(held)),
        outside_s=sum(1.0 for e in held if abs(e) > 0.5),
        strays_k=max(map(abs, held)),
        slope_k_per_min=60.0 * slope(trace),
    )


def slope(trace: list[float]) -> float:
    """The steady climb between 20 % and 80 % of the rise, K/s; 0 where there was none."""
    low, high = trace[0], max(trace)
    a, b = low + 0.2 * (high - low), low + 0.8 * (high - low)
    i = next((k for k, c in enumerate(trace) if c >= a), 0)
    j = next((k for k, c in enumerate(trace) if c >= b), 0)
    return (trace[j] - trace[i]) / (j - i) if j > i else 0.0


def _lost_j(plant: Plant, program: tuple[Rest, ...], ramps: list[Ramp]) -> float:
    """What must be lost to the room even by the best course, J."""
    lost, from_c = 0.0, program[0].target_c
    for rest, ramp in zip(program, ramps, strict=True):
        mean = 0.5 * (from_c + rest.target_c) - plant.room_c
        later = (rest.target_c - plant.room_c) * (ramp.lasted_s - ramp.bound_s)
        lost += plant.spec.loss_w_per_k * (mean * ramp.bound_s + later)
        from_c = rest.target_c
    return lost


# ---------------------------------------------------------------- what goes wrong in the middle of a healthy mash

Trouble = Callable[[World, float], None]  # each laid on the second rest's hold or ramp
RAMP_S, HOLD_S = 120.0, 900.0  # s into a rest when something happens


def lid_off(world: World, since_s: float) -> None:
    """The lid is off from the middle of each rest for 10 min."""
    if since_s in (HOLD_S, HOLD_S + 600.0):
        world.tun.lid(since_s == HOLD_S)


def liquor(share: float, temperature_c: float, over_s: float) -> Trouble:
    """So much of the liquor is added in the middle of each rest, unannounced."""

    def added(world: World, since_s: float) -> None:
        if since_s == HOLD_S:
            world.tun.add_liquor(share * world.plant.liquor_kg, temperature_c, over_s)

    return added


def slow_pump(world: World, since_s: float) -> None:
    """The pump's flow falls to 40 % two minutes into each rest and stays there."""
    if since_s == RAMP_S and world.plant.spec.flow_kg_per_s > 0.0:
        world.tun.pump(0.4)


TROUBLES: dict[str, Trouble] = {
    "lid off": lid_off,
    "cold liquor": liquor(0.03, 12.0, 60.0),
    "hot liquor": liquor(0.01, 90.0, 120.0),
    "slow pump": slow_pump,
}
