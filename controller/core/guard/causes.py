"""Is what made an interlock trip still there while heat is off anyway?

Most interlocks look only where heat may flow. A trip must not be cleared, nor end by itself, over a cause that anybody
could see; so for those that are on, each is looked at again as if the run went on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from controller.core.guard import history as physics
from controller.core.guard import watch_mash, watch_plant
from controller.core.guard.registry import Finding, Memory, Senses
from controller.core.nouns import RunState, Trip

Rule = Callable[[Senses, Memory], tuple[Memory, Finding | None]]

AS_IF_RUNNING: dict[str, Rule] = {
    "G02": watch_mash.reading,
    "G03": watch_mash.reading,
    "G13": watch_plant.switches,
    "G14": watch_plant.heater_answers,
    "G16": watch_plant.broker,
}  # G04 is over once the reading fits (evidence.py); G07, G08, G15 and G19 look in every state


def still_there(trips: Iterable[Trip], senses: Senses, memory: Memory, past: physics.Past) -> list[Finding]:
    """Findings for the trips whose cause is still there."""
    running = senses._replace(state=RunState.RUNNING)
    found = (_still(trip, running, memory, past) for trip in trips)
    return [finding for finding in found if finding is not None]


def _still(trip: Trip, running: Senses, memory: Memory, past: physics.Past) -> Finding | None:
    if trip.id == "G02" and watch_mash.unproven(running.seen):
        return None  # a person's clear is what settles it
    if trip.id in AS_IF_RUNNING:
        _, finding = AS_IF_RUNNING[trip.id](running, memory)
        return finding if finding is not None and finding.id == trip.id else None
    if trip.limit is None:
        return None
    value = _value(trip.id, running, past)
    limit = running.tun.guard.unasked_rise_k if trip.id == "G10" else trip.limit
    return Finding(trip.id, value, limit) if value is not None and not (value < limit) else None


def _value(name: str, running: Senses, past: physics.Past) -> float | None:
    """What does it measure now, where it measures anything in a hold?"""
    if name == "G05":
        return watch_mash.apart_now_k(running)
    if name == "G06":
        return running.seen.value_c
    return physics.warmed_k(past) if name == "G10" else None
