"""G23: a run far longer than planned is one that nobody looks after: something keeps it from its end.

A person's clear gives one hour more to both counts, how long the run lasts and how long its heater is on: without it
the cleared run would trip again at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState

LONGER_S = 3600.0  # a person's clear gives the run so much more time, and its heater (own proposal)
HEATED_LONG = "The heater has been on for {value:.0f} s of this run (limit {limit:.0f} s). Heat is off."


@dataclass(frozen=True, slots=True)
class RunTooLong(Interlock):
    """How long was the heater on in this run, and how much longer may it last?"""

    ROW: ClassVar[Row] = Row(
        id="G23",
        name="run too long",
        field="run_factor",
        unit="s",
        priority=2,
        clears="latched",
        deadline_s=1.0,
        says="The run has lasted {value:.0f} s; by its plan it should end within {limit:.0f} s. Heat is off.",
        do="Look at the mash and decide.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    heat_on_s: float = 0.0
    longer_s: float = 0.0  # given by a person

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Written so that a time that is no number counts."""
        limits, run_s = senses.tun.guard, senses.run.run_s - self.longer_s
        most_s = senses.run.planned_s * limits.run_factor + limits.run_extra_s
        heat_on_s = self.heat_on_s + senses.dt
        after = type(self)(heat_on_s=heat_on_s, longer_s=self.longer_s) if known.line.duty > 0.0 else self
        if not (run_s <= most_s):
            return after, Finding(self.ROW, run_s, most_s)
        if not (self.heat_on_s <= limits.heat_on_s):
            return after, Finding(self.ROW, self.heat_on_s, limits.heat_on_s, says=HEATED_LONG)
        return after, None

    def cleared(self) -> Self:
        """So much more for both: how long the run lasts, and how long its heater is on."""
        return replace(self, longer_s=self.longer_s + LONGER_S, heat_on_s=max(0.0, self.heat_on_s - LONGER_S))

    def next_run(self) -> Self:
        """Each run has its own time."""
        return self if not self.heat_on_s and not self.longer_s else replace(self, heat_on_s=0.0, longer_s=0.0)

    def keep(self) -> Self:
        """A run's time and what a person gave it outlast the process."""
        return self
