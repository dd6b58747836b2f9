"""G10: heat that is not asked for must not show. A contact that welds or a triac that fails shorted heats on whatever
the software says; then only a person at the mains, or the cut-out, can stop it.

A coil's liquor gives its heat away for longer, so the wait is longer there. Hot liquor that still mixes may lie twice
as far over the setpoint. With nothing running a rise may be a hose: only one as steady as the heater's own latches.
Whether it has stopped shows in three minutes without a rise; then a person may clear it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.history import RISE_WINDOW_S, STEP_S, apart_k
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import EVERY, Senses
from controller.core.nouns import RunState, Trip

STEADY_S = 300.0  # with nothing running: a slope that lasts (own proposal)
STEEPEST_K = 2.0  # with nothing running: in any 30 s; a steeper one is a hose, not a heater (own proposal)
OWN_RATES = 0.5, 1.5  # of the heater's slowest and fastest rise: what else rises is not the heater (own proposal)
ABOVE_SETPOINT_K = 3.0  # own proposal
SETTLED_S = 30.0  # off for so long and the dead time; a verdict lasts as long
RISING_K_PER_S = 0.1 / 60.0  # own proposal
ABOVE = "The mash is {value:.1f} K over the setpoint and rises, with the heater told to be off (limit {limit:g} K)."
ALARM = "The reading rises with the heater off. If no hot liquor is being added, cut the mains."


@dataclass(frozen=True, slots=True)
class HeatNotAskedFor(Interlock):
    """A rise with the heater long off, or a reading far over the setpoint that goes on rising."""

    ROW: ClassVar[Row] = Row(
        id="G10",
        name="heat not asked for",
        field="unasked_rise_k",
        unit="K",
        priority=1,
        clears="latched",
        deadline_s=None,
        says="The mash warmed by {value:.1f} K with the heater told to be off (limit {limit:g} K).",
        do="The switch may be stuck closed: cut the mains now, then look.",
    )
    STATES: ClassVar[frozenset[RunState]] = EVERY - {RunState.CHECKING}  # a process has just started: no history
    BY_LINE: ClassVar[bool] = True
    LATE: ClassVar[str] = f" To be sure that the mash has stopped warming takes {RISE_WINDOW_S:g} s."

    era: int = 0
    in_a_row: int = 0  # lines over the setpoint
    alarm: bool = False  # with nothing running: it rises

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Once a line: in a run by rise and setpoint, else by a slope as steady as the heater would make it."""
        before = self if self.era == known.past.era else replace(self, era=known.past.era, in_a_row=0, alarm=False)
        if not known.past.fresh:
            return before, None
        if not senses.heated:
            return before._in_no_run(senses, known)
        after, finding = before._over(senses, known)
        if finding is not None or not known.past.quiet(senses.now, known.plate):
            return after, finding
        rise_k, limit_k = known.past.warmed_k(), senses.tun.guard.unasked_rise_k
        unknown = known.past.ago(RISE_WINDOW_S) is None
        return after, None if unknown or rise_k < limit_k else Finding(self.ROW, rise_k, limit_k)

    def _over(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        past, setpoint_c = known.past, senses.run.setpoint_c
        before = past.ago(SETTLED_S)
        if setpoint_c is None or before is None or past.off_since is None:
            return replace(self, in_a_row=0) if self.in_a_row else self, None
        now_c, wait_s = past.lines[-1].temperature_c, SETTLED_S + known.plate.dead_s
        rising = now_c - before.temperature_c > RISING_K_PER_S * SETTLED_S
        limit_k = apart_k(ABOVE_SETPOINT_K, past.added_at, senses.now)
        if now_c - setpoint_c <= limit_k or not rising or senses.now - past.off_since < wait_s:
            return replace(self, in_a_row=0) if self.in_a_row else self, None
        after = replace(self, in_a_row=self.in_a_row + 1)
        if after.in_a_row * STEP_S < wait_s:
            return after, None
        return after, Finding(self.ROW, now_c - setpoint_c, limit_k, says=ABOVE)

    def _in_no_run(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """With nothing running a rise may be a hose: it latches only where it is as steady as the heater makes it."""
        past, plate, limit_k = known.past, known.plate, senses.tun.guard.unasked_rise_k
        calm = replace(self, alarm=False) if self.alarm else self
        if not past.quiet(senses.now, plate) or past.ago(STEADY_S) is None:
            return calm, None
        window = past.lines[-1 - round(STEADY_S / STEP_S) :]
        rises_k = [b.temperature_c - a.temperature_c for a, b in zip(window, window[3:], strict=False)]
        mean_k_per_s = (window[-1].temperature_c - window[0].temperature_c) / STEADY_S
        rise_k = mean_k_per_s * RISE_WINDOW_S
        if rise_k < limit_k or min(rises_k) <= 0.0:
            return calm, None
        least, most = OWN_RATES
        own = least * plate.slowest_k_per_s <= mean_k_per_s <= most * plate.fastest_k_per_s
        after = self if self.alarm else replace(self, alarm=True)
        return after, Finding(self.ROW, rise_k, limit_k) if own and max(rises_k) <= STEEPEST_K else None

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Has it stopped warming for three minutes?"""
        rise_k, limit_k = known.past.warmed_k(), senses.tun.guard.unasked_rise_k
        return None if rise_k < limit_k else Finding(self.ROW, rise_k, limit_k)

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """A rise with nothing running that may be a hose."""
        return (Note("G10", ALARM),) if self.alarm else ()
