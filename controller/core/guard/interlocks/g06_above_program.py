"""G06: is the mash above anything that the program still asks for? Heat over the program destroys enzymes in minutes,
and shows a loop, a probe or a switch that went wrong long before the hard limit.

Raw readings are counted, for no filter may blind the guard. The first cuts, a second one a second later
latches. A probe behind the heater may read what the heater adds there on top.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.readings import NOT_OVER, Over
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState, Trip

BEHIND = (
    "The probe reads {value:.1f} °C; with its margin and what the heater adds it may read {limit:.1f}. Heat is off."
)
UNDER_LIMIT_K = 0.5  # behind the heater it may never read more than the hard limit less this (own proposal)


@dataclass(frozen=True, slots=True)
class AboveProgram(Interlock):
    """Armed when a run begins. Where the program falls, in a hold as well, the mash must first have been well below;
    so it must after a process start within a run, since nobody knows what was asked before. G07 and G10 watch then."""

    ROW: ClassVar[Row] = Row(
        id="G06",
        name="above program",
        field="above_program_k",
        unit="°C",
        priority=1,
        clears="latched",
        deadline_s=3.0,
        says="The mash is {value:.1f} °C; with its margin the program allows {limit:.1f} °C. Heat is off.",
        do="Stir, add cold liquor if need be, and find out why before you go on.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    row: Over = NOT_OVER  # readings over anything the program asks for
    armed: bool = False  # a process that has just started does not know what was asked before
    worst_c: float = 0.0
    highest_c: float | None = None  # target that remained at the last tick

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Readings over the highest target that remains and its margin."""
        highest_c, margin_k = senses.run.highest_c, senses.tun.guard.above_program_k
        if highest_c is None:
            return self.asleep(senses), None
        falls = self.highest_c is not None and highest_c < self.highest_c  # the tun has no cooling
        before = replace(self, armed=False) if falls and self.armed else self
        limit_c, behind = highest_c + margin_k, senses.tun.probes.mash.behind_heater
        if behind:  # it reads what it must, and G07 alone stands over that
            ceiling_c = senses.tun.guard.hard_limit_c - UNDER_LIMIT_K
            limit_c = max(limit_c, min(limit_c + readings.heater_adds_k(senses, known), ceiling_c))
        quiet = before.row.since is None and before.armed and before.highest_c == highest_c
        if quiet and readings.all_under(senses.mash.raw, senses.tun.probes.mash, limit_c):
            return before, None
        after = before._counted(senses, highest_c, limit_c)
        hard = after.worst_c >= senses.tun.guard.hard_limit_c  # that is G07's
        if after.row.since is None or not after.armed or senses.blocked or hard:
            return after, None
        says = BEHIND if behind else ""
        return after, Finding(self.ROW, after.worst_c, limit_c, cut_only=not after.row.pair, says=says)

    def _counted(self, senses: Senses, highest_c: float, limit_c: float) -> Self:
        margin_k = senses.tun.guard.above_program_k
        row, armed, worst_c = self.row, self.armed, self.worst_c
        for at, value_c in readings.could_be_true(senses.mash, senses.tun.probes.mash):
            row = row.heard(at, value_c > limit_c)
            # well below: a slow fall crosses the limit in noise
            armed, worst_c = armed or value_c <= highest_c + margin_k / 2, value_c
        if row is self.row and (armed, highest_c) == (self.armed, self.highest_c):
            return self
        return replace(self, row=row, armed=armed, worst_c=worst_c, highest_c=highest_c)

    def asleep(self, senses: Senses) -> Self:
        """The count begins anew; what the program asked for is remembered."""
        return self if self.row.since is None else replace(self, row=NOT_OVER)

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Is the mash still over the limit of the trip?"""
        value_c = senses.mash.seen.value_c
        if value_c is None or trip.limit is None or value_c < trip.limit:
            return None
        return Finding(self.ROW, value_c, trip.limit)

    def next_run(self) -> Self:
        """The next run's program is another one, and the tun is looked at before it."""
        return self if self.armed and self.highest_c is None else replace(self, armed=True, highest_c=None)
