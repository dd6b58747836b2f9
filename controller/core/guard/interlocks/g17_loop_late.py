"""G17: a controller that stalls decides on what is no longer true. A loaded machine, a disk that hangs, a lid that was
closed: heat left on meanwhile ends with its lease."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState

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
        clears="requalified",
        deadline_s=1.0,
        says="The controller stalled for {value:.1f} s (limit {limit:g} s). Heat is off for a minute.",
        do="See what else loads this machine, and keep it from sleeping during a mash.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Late by its own clock, or because the machine slept?"""
        own, limits = senses.own, senses.tun.guard
        if own.late_s <= limits.beat_late_s:
            return self, None
        if own.gap_s > limits.clock_odd_s:
            return self, Finding(self.ROW, own.gap_s, limits.beat_late_s, says=SLEPT)
        return self, Finding(self.ROW, own.late_s, limits.beat_late_s)
