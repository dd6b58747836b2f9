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


NOTHING = Kept()  # the first process ever


def kept(state: GuardState) -> Kept:
    """What must survive of this state?"""
    return Kept(state.epoch, state.trips, state.incidents, state.off_until)


def recalled(known: Kept, now: Instant, start_lock_s: float) -> GuardState:
    """The guard of a process that has just started: shut, knowing what the one before it left. Nothing that has
    happened lies ahead."""
    trips = tuple(trip._replace(at=min(trip.at, now)) for trip in known.trips)
    incidents = tuple(min(at, now) for at in known.incidents)
    return gate.begin(now, known.epoch, start_lock_s, trips, known.off_until, incidents)
