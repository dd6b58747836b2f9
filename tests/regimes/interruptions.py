"""What may interrupt a mash in which something is slowly going wrong?

Faults of the world, and deeds of a person or of the machine, at random times within an hour. What two_faults.py runs.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import NamedTuple

from controller.core.nouns import RunState
from sim.world.faults import Fault
from tests.regimes.mortal import Mortal

WATCH_S = 3600.0
IMPATIENT: tuple[dict[str, object], ...] = ({}, {"hand_c": None}, {"prove": True})  # one will do


class Plan(NamedTuple):
    """What interrupts: faults of the world, and deeds at their times."""

    faults: list[Fault]
    deeds: list[tuple[float, Callable[[Mortal], None]]]


Interrupt = Callable[[Random, float], Plan]


def _alone(rng: Random, at: float) -> Plan:
    return Plan([], [])


def _gaps(rng: Random, at: float) -> Plan:
    """The line to the broker is gone for 5 to 60 s, up to 20 times an hour."""
    faults, then = [], at + rng.expovariate(20.0 / 3600.0)
    while then < at + WATCH_S:
        faults.append(Fault("broker_gone", round(then, 1), round(rng.uniform(5.0, 60.0), 1)))
        then += 60.0 + rng.expovariate(20.0 / 3600.0)
    return Plan(faults, [])


def _restarts(rng: Random, at: float) -> Plan:
    """Three times within a quarter of an hour."""
    moments = [round(at + rng.uniform(5.0, 900.0), 1) for _ in range(3)]
    return Plan([Fault("broker_gone", moment, round(rng.uniform(3.0, 12.0), 1)) for moment in moments], [])


def _reboots(rng: Random, at: float) -> Plan:
    kinds = ("heater_reboot", "probe_reboot", "heater_reboot")
    return Plan([Fault(kind, round(at + rng.uniform(5.0, 900.0)), 0.5) for kind in kinds], [])


def _kills(rng: Random, at: float) -> Plan:
    """Twice, for seconds to minutes."""

    def die(machine: Mortal) -> None:
        machine.kill(rng.uniform(5.0, 120.0))

    return Plan([], [(at + rng.uniform(5.0, 600.0), die), (at + rng.uniform(600.0, 1500.0), die)])


def _impatience(rng: Random, at: float) -> Plan:
    """Every 90 s somebody clears what is latched and restarts, with the panel's figure as the hand thermometer's."""
    return Plan([], [(at + n, _clears if n % 90 < 15 else _goes_on) for n in range(60, int(WATCH_S), 15)])


def _clears(machine: Mortal) -> None:
    for trip in machine.state.guard.trips:
        if trip.latched:
            machine.say("clear", trip=trip.id, inspected=True)


def _goes_on(machine: Mortal) -> None:
    run, shown = machine.state.run, machine.state.mash.value_c
    if run.state is not RunState.HELD or machine.state.guard.trips:
        return
    if run.prompt is not None and run.prompt.id == "resume":
        machine.say("answer", prompt="resume", answer="go on here")
        return
    words = dict(IMPATIENT[int(machine.now // 15) % len(IMPATIENT)])
    if "hand_c" in words:
        words["hand_c"] = shown
    machine.say("restart", **words)


def _holds(rng: Random, at: float) -> Plan:
    then = at + rng.uniform(5.0, 600.0)
    back = [(then + 60.0 + 15.0 * n, _goes_on) for n in range(8)]
    return Plan([], [(then, lambda machine: machine.say("hold")), *back])


INTERRUPTIONS: dict[str, Interrupt] = {
    "alone": _alone,
    "link gaps": _gaps,
    "broker restarts": _restarts,
    "node reboots": _reboots,
    "kill and restart": _kills,
    "clear and restart": _impatience,
    "hold and restart": _holds,
}
