"""What can be bad about a day?

Faults, another truth, other people; a condition says which, and on which tuns it can be. What bad_days.py runs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from random import Random
from typing import NamedTuple

from sim.people.manner import Manner
from sim.random_setup import RandomSetup
from sim.world.faults import FOREVER_S, Fault
from sim.world.true_values import TrueValues

Draw = Callable[[Random, float], list[Fault]]  # of the run's length, s


class Condition(NamedTuple):
    """One kind of bad day: faults, another truth, other people; and on which tuns it can be."""

    faults: Draw = lambda rng, within_s: []
    truth: Callable[[Random, TrueValues], TrueValues] = lambda rng, truth: truth
    manner: Callable[[Random, Manner], Manner] = lambda rng, manner: manner
    fits: Callable[[RandomSetup], bool] = lambda setup: True


def _times(rng: Random, within_s: float, an_hour: float) -> Iterator[float]:
    """Random moments, so many an hour."""
    at = rng.expovariate(an_hour / 3600.0)
    while at < within_s:
        yield round(at, 1)
        at += rng.expovariate(an_hour / 3600.0)


def gaps(*kinds: str) -> Draw:
    """These faults together, for 2 to 15 s, 1 to 10 times an hour."""

    def draw(rng: Random, within_s: float) -> list[Fault]:
        moments = [(at, round(rng.uniform(2.0, 15.0), 1)) for at in _times(rng, within_s, rng.uniform(1.0, 10.0))]
        return [Fault(kind, at, for_s) for at, for_s in moments for kind in kinds]

    return draw


def often(kind: str, an_hour: float, for_s: tuple[float, float], *values: float) -> Draw:
    """This fault, so often, for so long, of one of these values."""

    def draw(rng: Random, within_s: float) -> list[Fault]:
        return [
            Fault(kind, at, round(rng.uniform(*for_s), 1), rng.choice(values or (0.0,)))
            for at in _times(rng, within_s, an_hour)
        ]

    return draw


def times(count: int, kind: str, for_s: tuple[float, float], value: tuple[float, float] = (0.0, 0.0)) -> Draw:
    """This fault so many times in the run, of a value between these."""

    def one(rng: Random, within_s: float) -> Fault:
        at, lasts = rng.uniform(0.1, 0.9) * within_s, rng.uniform(*for_s)
        return Fault(kind, round(at, 1), round(lasts, 1), round(rng.uniform(*value), 3))

    return lambda rng, within_s: [one(rng, within_s) for _ in range(count)]


def throughout(kind: str, low: float = 0.0, high: float | None = None) -> Draw:
    """This fault all the time, of a value between these."""
    return lambda rng, within_s: [
        Fault(kind, 0.0, FOREVER_S, round(rng.uniform(low, low if high is None else high), 3))
    ]


def together(*draws: Draw) -> Draw:
    """All of these in one mash."""
    return lambda rng, within_s: [fault for draw in draws for fault in draw(rng, within_s)]


def _dst(rng: Random, within_s: float) -> list[Fault]:
    """Summer time begins or ends: the wall clock is an hour on or back, for good."""
    return [Fault("clock_jump", round(rng.uniform(0.1, 0.9) * within_s, 1), FOREVER_S, rng.choice((3600.0, -3600.0)))]


def _lid(rng: Random, within_s: float) -> list[Fault]:
    return [Fault("lid_open", at, 300.0) for at in map(float, range(300, int(within_s), 900))]


def _windy(rng: Random, truth: TrueValues) -> TrueValues:
    """Losses of 1 to 3 times the plate's: wind, a tun without its jacket."""
    return truth._replace(spec=replace(truth.spec, loss_w_per_k=truth.spec.loss_w_per_k * rng.uniform(1.0, 3.0)))


def _coarse(rng: Random, truth: TrueValues) -> TrueValues:
    """The mash probe shows steps of 0.5 K."""
    senses = tuple((r, s._replace(resolution_k=0.5) if r == "mash" else s) for r, s in truth.senses)
    return truth._replace(senses=senses)


def _late(rng: Random, manner: Manner) -> Manner:
    return manner._replace(delay_s=rng.uniform(900.0, 2400.0))


def _looped(setup: RandomSetup) -> bool:
    return setup.settings.tun.pump is not None


SWITCHED = Condition(fits=lambda setup: setup.settings.tun.level is not None)
LOOPED = Condition(fits=_looped)
WIFI = ("probe_unplugged", "heater_silent", "heater_deaf", "level_silent", "flow_silent")
SLOW = throughout("probe_slow", 3.0)
WILD = (-40.0, -12.0, -4.0, 4.0, 12.0, 40.0)
HOUR = (-3600.0, 3600.0)

CONDITIONS: dict[str, Condition] = {
    "good day": Condition(),
    "wifi all": Condition(gaps(*WIFI)),
    "wifi probe": Condition(gaps("probe_unplugged")),
    "wifi heater": Condition(gaps("heater_silent", "heater_deaf")),
    "wifi of the daemon": Condition(gaps("broker_gone")),
    "wifi all at 3 s": Condition(together(gaps(*WIFI), SLOW)),
    "broker restarted 3 times": Condition(times(3, "broker_gone", (3.0, 12.0))),
    "broker 1 to 9 s late": Condition(times(3, "delay", (60.0, 300.0), (1.0, 9.0))),
    "readings every 3 s": Condition(together(SLOW, throughout("lost", 0.05), throughout("reorder", 0.5))),
    "wild sample": Condition(often("probe_jump", 6.0, (0.9, 0.9), *WILD)),
    "wild sample at 3 s": Condition(together(SLOW, often("probe_jump", 6.0, (2.9, 2.9), *WILD))),
    "level flickers": SWITCHED._replace(faults=often("level_lost", 4.0, (0.5, 0.9))),
    "flow flickers": LOOPED._replace(faults=often("flow_lost", 4.0, (0.5, 0.9))),
    "clock set by an hour": Condition(times(2, "clock_jump", (1800.0, 3600.0), HOUR)),
    "summer time": Condition(_dst),
    "process frozen 2 to 20 s": Condition(times(4, "loop_stall", (0.5, 0.5), (2.0, 20.0))),
    "sync 1 to 30 s late": Condition(times(4, "disk_slow", (120.0, 600.0), (1.0, 30.0))),
    "disk full for a minute": Condition(times(2, "disk_bad", (60.0, 60.0))),
    "mains at 85 to 110 %": Condition(throughout("mains_power", 0.85, 1.1)),
    "lid off 5 min in 15": Condition(_lid),
    "wind": Condition(truth=_windy),
    "pump at 35 to 50 %": LOOPED._replace(faults=throughout("pump_slow", 0.35, 0.5)),
    "steps of 0.5 K": Condition(truth=_coarse),
    "grist 15 % off": Condition(throughout("grist_share", 0.85, 1.15)),
    "liquor 15 % off": Condition(throughout("liquor_share", 0.85, 1.15)),
    "people late": Condition(manner=_late),
    "people answer twice": Condition(manner=lambda rng, manner: manner._replace(says_twice=True)),
    "people answer wrongly first": Condition(manner=lambda rng, manner: manner._replace(wrong_first=True)),
}
