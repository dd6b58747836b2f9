"""What of the guard outlives the process?

Plain frozen values, written and read by the types alone (plain_values.py): a field put here is on disk from then on.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.guard import gate
from controller.core.guard.state import GuardState
from controller.core.nouns import Instant, Trip


class Kept(NamedTuple):
    """What the next process' guard must know of this one's."""

    epoch: int = 1
    trips: tuple[Trip, ...] = ()
    incidents: tuple[Instant, ...] = ()  # self-clearing ones, for G24
    off_until: Instant = 0.0  # no heat before, whatever else is well
    longer_s: float = 0.0  # time that a person gave this run beyond its limit (G23)
    heat_on_s: float = 0.0  # so long has the heater been on in this run (G23)


NOTHING = Kept()  # the first process ever


def kept(state: GuardState) -> Kept:
    """What must survive of this state?"""
    return Kept(
        epoch=state.epoch,
        trips=state.trips,
        incidents=state.incidents,
        off_until=state.off_until,
        longer_s=state.longer_s,
        heat_on_s=state.memory.heat_on_s,
    )


def recalled(known: Kept, now: Instant, start_lock_s: float) -> GuardState:
    """The guard of a process that has just started: shut, knowing what the one before it left. Nothing that has
    happened lies ahead."""
    trips = tuple(trip._replace(at=min(trip.at, now)) for trip in known.trips)
    incidents = tuple(min(at, now) for at in known.incidents)
    shut = gate.begin(now, known.epoch, start_lock_s, trips, known.off_until, incidents)
    return shut._replace(longer_s=known.longer_s, memory=shut.memory._replace(heat_on_s=known.heat_on_s))
