"""G17: a controller that stalls decides on what is no longer true. A loaded machine, a disk that hangs, a lid that was
closed: heat left on meanwhile ends with its lease. One stall is a gap of a link; many together are a trip."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, NO_TRIP_S, Senses
from controller.core.nouns import Instant, RunState, Trip

WINDOW_S, TOGETHER_S = 300.0, 20.0  # standstills of so long together within so long are a trip; before, heat waits for
# readings that came after it, for the daemon's own standstill is nobody else's silence (own proposal)
SLEPT = "The machine slept, or stood still, for {value:.0f} s (limit {limit:g} s). Heat is off."


@dataclass(frozen=True, slots=True)
class LoopLate(Interlock):
    """Did this tick come late?"""

    ROW: ClassVar[Row] = Row(
        id="G17",
        name="loop late",
        field="beat_late_s",
        unit="s",
        priority=2,
        clears="evidence",
        deadline_s=1.0,
        says="The controller stalled for {value:.1f} s (limit {limit:g} s). Heat waits for new readings.",
        do="See what else loads this machine, and keep it from sleeping during a mash.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    stalls: tuple[tuple[Instant, float], ...] = ()  # when, and for how long, s

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Late by its own clock, or because the machine slept?"""
        own, limits = senses.own, senses.tun.guard
        if own.late_s <= limits.beat_late_s:
            return self, None
        recent = tuple((at, lasted_s) for at, lasted_s in self.stalls if senses.now - at < WINDOW_S)
        after = replace(self, stalls=(*recent, (senses.now, own.late_s)))
        often = sum(lasted_s for _, lasted_s in after.stalls) > TOGETHER_S
        slept = own.gap_s > limits.clock_odd_s
        value_s, says = (own.gap_s, SLEPT) if slept else (own.late_s, "")
        return after, Finding(self.ROW, value_s, limits.beat_late_s, says=says, gap_s=0.0 if often else NO_TRIP_S)

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Does it stall in the hold as well?"""
        return self.watch(senses, known)[1]

    def tripped(self, trip: Trip, senses: Senses) -> tuple[Self, Finding | None]:
        """After its own trip they count anew."""
        return (replace(self, stalls=()) if trip.id == self.ROW.id else self), None
