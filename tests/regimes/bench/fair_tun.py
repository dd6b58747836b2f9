"""How does a tun warm that nobody had in mind when the loop was made?

A second plant beside `sim.plant`, written from the physics alone: it knows the laws of heat and what tuns look like,
and nothing of `controller`. The wort passes a bed in plug flow that is smeared by its cells, a part of it through
channels; pipes are delays that lose heat; the heater, the metal and the bath of a coil are bodies of their own; the bed
packs while it rests; the lid may be off. A step is one second.
"""

from __future__ import annotations

from math import exp, log
from random import Random
from typing import Literal, NamedTuple, get_args

WATER = 4180.0  # J/(kg K), between 50 and 75 °C (IAPWS-95, rounded)
STEAM_W_PER_M2 = 1500.0  # open mash near 65 °C in still air (ASHRAE's formula for open water gives 1,300 to 1,900)

Place = Literal["mash", "bed outlet", "return", "heater outlet"]
Way = Literal["stirred", "line, bed outlet", "line, mash", "behind", "coil", "gas"]
WAYS: tuple[Way, ...] = get_args(Way)
BEHIND: tuple[Place, ...] = ("return", "heater outlet")


class Made(NamedTuple):
    """What a tun is really like, and what its file says."""

    way: Way
    place: Place  # of the probe
    depth: float  # of a probe in the mash, 0 at the top
    volume_l: float
    liquor_kg: float
    grist_kg: float
    mash_j_per_k: float
    power_w: float
    loss_w_per_k: float
    lid_loss_w: float  # more than that with the lid off
    metal_j_per_k: float
    metal_s: float  # how late the metal follows
    heater_j_per_k: float
    heater_s: float  # how late the heater's own mass gives its heat
    cells: int
    mix: float  # share of the difference that neighbours exchange in a second
    flow_kg_per_s: float  # 0: no pump
    packs: float  # share of the flow that a resting bed holds back
    channels: float  # share of the flow that passes the bed by
    chamber_kg: float
    pipe_s: tuple[int, int]  # bed to heater, heater to bed
    pipe_loss: float  # share of the difference to the room that the way back loses
    bath_j_per_k: float
    takes: float  # share of the difference to the bath that wort in the coil takes up
    bath_loss_w_per_k: float
    lag_s: float  # of the probe
    step_k: float
    noise_k: float
    every_s: int
    lost: float
    room_c: float
    mains: float  # the supply wanders by so much
    told: Told


class Told(NamedTuple):
    """What a careful owner writes into the file, by plate and rule of thumb."""

    power_w: float
    flow_l_per_min: float | None
    loss_w_per_k: float
    metal_j_per_k: float
    bath_l: float
    room_c: float
    lag_s: float = 15.0
    kind: Literal["proportional", "ssr", "contactor", "gas"] = "ssr"


def _log(rng: Random, low: float, high: float) -> float:
    return exp(rng.uniform(log(low), log(high)))


def draw(seed: int, number: int, way: Way) -> Made:
    """The tun of this number, the same for every law."""
    rng = Random(f"fair/{seed}/{number}/{way}")
    volume = _log(rng, 15.0, 600.0)
    thick, fill = rng.uniform(2.5, 4.0), rng.uniform(0.55, 0.9)
    grist = volume * fill / (thick + 0.67)
    liquor = thick * grist
    mash = WATER * (liquor + grist * rng.uniform(0.38, 0.44))
    metal = mash * _log(rng, 0.02, 0.12)
    rule = 4.0 * (volume / 100.0) ** 0.58  # 2 W/K with 30 L, 4 with 100 L
    loss = rule * _log(rng, 0.7, 4.0)
    bath = mash * rng.uniform(0.1, 0.35) if way == "coil" else 0.0
    power = _log(rng, 0.4, 2.2 if volume < 200 else 1.2) / 60.0 * (mash + metal + bath) + 45.0 * loss
    pumped = way not in ("stirred", "gas")
    flow = power / (WATER * _log(rng, 1.0, 5.0)) if pumped else 0.0
    turnover_s = (mash / WATER) / flow if pumped else 0.0
    place = _place(rng, way)
    film, heater_s = power / rng.uniform(10.0, 40.0), _log(rng, 5.0, 20.0 if pumped else 90.0 if way == "gas" else 60.0)
    plate, flow_told = rng.uniform(0.8, 1.25), rng.uniform(0.75, 1.25)
    fine = rng.random() < 0.4
    return Made(
        way=way,
        place=place,
        depth=rng.uniform(0.3, 0.7),
        volume_l=volume,
        liquor_kg=liquor,
        grist_kg=grist,
        mash_j_per_k=mash,
        power_w=power,
        loss_w_per_k=loss,
        lid_loss_w=STEAM_W_PER_M2 * 0.9 * (volume / 1000.0) ** (2 / 3),
        metal_j_per_k=metal,
        metal_s=rng.uniform(15.0, 90.0),
        heater_j_per_k=film * heater_s,
        heater_s=heater_s,
        cells=min(rng.randint(3, 16), int(0.8 * turnover_s)) if pumped else 3,
        mix=1.0 / rng.uniform(6.0, 25.0),
        flow_kg_per_s=flow * rng.uniform(0.65, 1.0),
        packs=rng.uniform(0.0, 0.3),
        channels=rng.choice((0.0, 0.0, rng.uniform(0.05, 0.35))),
        chamber_kg=max(0.3, flow * rng.uniform(3.0, 12.0)),
        pipe_s=(rng.randint(1, 12), rng.randint(2, 25)),
        pipe_loss=rng.uniform(0.0, 0.004),
        bath_j_per_k=bath,
        takes=rng.uniform(0.35, 0.85),
        bath_loss_w_per_k=0.3 * loss if way == "coil" else 0.0,
        lag_s=_log(rng, 5.0, 90.0),
        step_k=0.01 if fine else 0.0625,
        noise_k=rng.uniform(0.0, 0.1) if fine else rng.uniform(0.0, 0.05),
        every_s=rng.choice((1, 1, 2, 3)),
        lost=rng.choice((0.0, 0.0, 0.02, 0.05)),
        room_c=rng.uniform(8.0, 27.0),
        mains=rng.uniform(0.0, 0.05),
        told=Told(
            power_w=power / plate,
            flow_l_per_min=60.0 * flow / flow_told if pumped else None,
            loss_w_per_k=rule,
            metal_j_per_k=metal * rng.uniform(0.7, 1.2),
            bath_l=bath / WATER * rng.uniform(0.85, 1.15),
            room_c=18.0,
            kind="gas" if way == "gas" else rng.choice(("proportional", "ssr", "ssr", "contactor")),
        ),
    )


def _place(rng: Random, way: Way) -> Place:
    fixed: dict[Way, Place] = {"line, bed outlet": "bed outlet", "behind": rng.choice(BEHIND)}
    if way == "coil":
        return rng.choice(("mash", "bed outlet", "return"))
    return fixed.get(way, "mash")


class FairTun:
    """One such tun with something in it. `second` moves it on."""

    def __init__(self, made: Made, c: float, plain: bool = False) -> None:
        pipes = made.pipe_s if made.flow_kg_per_s > 0.0 else (1, 1)
        self.made, self.plain = made, plain  # plain liquor: no bed, no packing
        self.cells = [c] * made.cells
        self.metal_c = self.heater_c = self.bath_c = self.chamber_c = c
        self.out, self.back = [c] * pipes[0], [c] * pipes[1]
        self.at = 0
        self.contents = WATER * made.liquor_kg if plain else made.mash_j_per_k
        self.flow, self.rested_s = 1.0, 0.0
        self.lid_open = False
        self.joules = 0.0

    @property
    def mean_c(self) -> float:
        """How warm is the mash in the mean of its cells, °C?"""
        return sum(self.cells) / len(self.cells)

    @property
    def ends_c(self) -> float:
        """How warm would all of it be if it evened out now, °C?"""
        m, out, back = self.made, self.out, self.back
        parts = [(self.contents, self.mean_c), (m.metal_j_per_k, self.metal_c), (m.heater_j_per_k, self.heater_c)]
        if m.flow_kg_per_s > 0.0:
            pipe = self.flow * m.flow_kg_per_s * WATER
            parts += [(pipe * len(out), sum(out) / len(out)), (pipe * len(back), sum(back) / len(back))]
            parts += [(m.bath_j_per_k, self.bath_c), (m.chamber_kg * WATER, self.chamber_c)]
        return sum(j * c for j, c in parts) / sum(j for j, _ in parts)

    @property
    def all_j_per_k(self) -> float:
        """All that is warmed, J/K."""
        m = self.made
        return self.contents + m.metal_j_per_k + m.heater_j_per_k + m.bath_j_per_k

    @property
    def share(self) -> float:
        """Which share of its flow does the pump move? A resting bed packs; plain liquor lets all through."""
        packed = 0.0 if self.plain else self.made.packs * (1.0 - exp(-self.rested_s / 1800.0))
        return self.flow * (1.0 - packed)

    def lost_w(self, at_c: float) -> float:
        """How much heat does it lose there, W?"""
        m = self.made
        piped = m.pipe_loss * self.flow * m.flow_kg_per_s * WATER
        through = m.loss_w_per_k + m.bath_loss_w_per_k + piped
        return through * (at_c - m.room_c) + self.lid_open * m.lid_loss_w

    def at_place(self, place: Place) -> float:
        """How warm is it there, °C?"""
        if place == "mash":
            return self.cells[int(self.made.depth * len(self.cells))]
        if place == "bed outlet":
            return self.out[self.at % len(self.out) - 1]
        return self.chamber_c if place == "heater outlet" else self.back[self.at % len(self.back)]

    def dough_in(self, to_c: float) -> None:
        """Grist is in: the mash is there, at `to_c`; what carries the heat keeps it."""
        self.plain, self.contents = False, self.made.mash_j_per_k
        spread = self.mean_c
        self.cells = [to_c + 0.1 * (c - spread) for c in self.cells]
        self.out[:] = [to_c] * len(self.out)

    def pour(self, share: float, c: float) -> None:
        """Liquor comes on top, so much of the mash's heat capacity; the level rises, the cells grow alike."""
        more = share * self.contents
        self.cells = [(each * self.contents + more * c) / (self.contents + more) for each in self.cells]
        self.contents += more

    def second(self, duty: float, mains: float = 1.0) -> None:
        """A second with this duty."""
        m = self.made
        watts = duty * m.power_w * mains
        self.joules += watts
        warm = self._pumped(watts) if m.flow_kg_per_s > 0.0 else self._stirred(watts)
        cells = self.cells
        cell_j = self.contents / len(cells)
        mean = sum(cells) / len(cells)
        to_metal = (m.metal_j_per_k / m.metal_s) * (mean - self.metal_c)
        self.metal_c += (to_metal - m.loss_w_per_k * (self.metal_c - m.room_c)) / m.metal_j_per_k
        each = (warm - to_metal) / self.contents
        self.cells = [c + each for c in cells]
        if self.lid_open:
            self.cells[0] -= m.lid_loss_w / cell_j

    def _stirred(self, watts: float) -> float:
        """Heat through wall or element; neighbours mix. What goes into all cells alike, W."""
        m, cells = self.made, self.cells
        gives = m.heater_j_per_k / m.heater_s * (self.heater_c - self.mean_c)
        self.heater_c += (watts - gives) / m.heater_j_per_k
        a, b, c = cells
        self.cells = [a + m.mix * (b - a), b + m.mix * (a + c - b - b), c + m.mix * (b - c)]
        return gives

    def _pumped(self, watts: float) -> float:
        """The wort's round: bed, pipe, heater or coil, pipe, bed."""
        m, cells, at = self.made, self.cells, self.at
        self.at = at + 1
        if not self.plain:
            self.rested_s += 1.0
        carried = self.share * m.flow_kg_per_s * WATER
        i, k = at % len(self.out), at % len(self.back)
        comes, self_in = self.out[i], self.back[k]
        self_in -= m.pipe_loss * (self_in - m.room_c)
        by = 0.0 if self.plain else m.channels
        self.out[i] = (1.0 - by) * cells[-1] + by * self_in
        if m.bath_j_per_k > 0.0:
            taken = m.takes * carried * (self.bath_c - comes)
            self.bath_c += (watts - taken - m.bath_loss_w_per_k * (self.bath_c - m.room_c)) / m.bath_j_per_k
            self.chamber_c = comes + (taken / carried if carried > 0.0 else 0.0)
        else:
            chamber = m.chamber_kg * WATER
            gives = m.heater_j_per_k / m.heater_s * (self.heater_c - self.chamber_c)
            self.heater_c += (watts - gives) / m.heater_j_per_k
            self.chamber_c += (gives + carried * (comes - self.chamber_c)) / chamber
        self.back[k] = self.chamber_c
        moved = (1.0 - by) * carried * len(cells) / self.contents
        new, above = [], self_in
        for c in cells:
            new.append(c + moved * (above - c))
            above = c
        if self.plain:  # no bed keeps it from mixing
            down, up = [new[0], *new[:-1]], [*new[1:], new[-1]]
            new = [c + m.mix * (a + b - c - c) for a, c, b in zip(down, new, up, strict=True)]
        self.cells = new
        return 0.0
