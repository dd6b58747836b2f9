"""G24: what comes back again and again, ended by itself or cleared by a person, is a cause that nobody has found. Gaps
of a link do not count: they say nothing of mash, liquor or heater.

A clear of it needs `inspected=true`: a person says that the cause was found, not just that the trip was seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Row
from controller.core.guard.senses import Senses
from controller.core.nouns import Instant, RunState, Trip

WINDOW_S = 1800.0
INSPECT = "three interruptions; say inspected=true once you have found the cause"


@dataclass(frozen=True, slots=True)
class KeepsTripping(Interlock):
    """When were the last interruptions, those that a person cleared included?"""

    ROW: ClassVar[Row] = Row(
        id="G24",
        name="keeps tripping",
        field="trips_in_window",
        unit="trips",
        priority=1,
        clears="latched",
        deadline_s=1.0,
        says="Interruption number {value:.0f} within half an hour (limit {limit:g}). Heat is off.",
        do="Find the cause before you go on.",
    )
    STATES: ClassVar[frozenset[RunState]] = frozenset()  # it counts trips, whenever they come

    incidents: tuple[Instant, ...] = ()

    def tripped(self, trip: Trip, senses: Senses) -> tuple[Self, Finding | None]:
        """Only the first of an incident counts, where heat might have flowed, and no gap of a link, which is no news
        about the mash."""
        incidents = tuple(at for at in self.incidents if senses.now - at < WINDOW_S)
        if trip.first_out and not trip.link and senses.heated:
            incidents = (*incidents, senses.now)
        limit = senses.tun.guard.trips_in_window
        if trip.link or len(incidents) < limit:
            return replace(self, incidents=incidents), None
        return replace(self, incidents=()), Finding(self.ROW, float(len(incidents)), float(limit))

    def why_not_clear(self, inspected: object) -> str:
        """Somebody must say that the cause was found."""
        return "" if inspected is True else INSPECT

    def keep(self) -> Self:
        """They count on over a restart."""
        return self

    def recalled(self, now: Instant) -> Self:
        """None of them lies ahead."""
        return replace(self, incidents=tuple(min(at, now) for at in self.incidents))
