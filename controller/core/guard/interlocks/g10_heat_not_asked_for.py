"""G10: heat that is not asked for must not show. A contact that welds or a triac that fails shorted heats on whatever
the software says; then only a person at the mains, or the cut-out, can stop it.

One question in every state: with the heater told to be off, does the reading rise by more than what the heat given
may still do? The rise is that of a least-squares line over five minutes, so that steps of 0.5 K are seen, and one
step is none. No 100 s of them may have brought most of it, as what is poured in without a word does. The heat of the
hottest five minutes that may show only now, less half of the plate's loss, covers what evens out after heat has ended.
Hot liquor that still mixes may rise twice as far. With nothing running a rise may be a hose: only an even one at the
heater's own rate latches. Whether it has stopped shows in five minutes; then a person may clear it. In a tun where
nothing moves it may warm where no probe hangs: that nobody sees.

Own trial, 27 wide tuns with holds, half of them with steps of 0.5 K: healthy at most 0.52 K of the 0.8. A relay that
nets 0.2 K/min on wide tuns held (`tests.regimes.welded --wide`): 43 of 44 told within 480 s, one after 492 s.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import ClassVar, Self

from controller.core.guard.history import RISE_WINDOW_S, STEP_S, apart_k
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import EVERY, NO_RUN, Senses
from controller.core.nouns import RunState, Trip

GAVE, LOST = 1.3, 0.5  # of the heat given, and of the plate's loss: masses and power are as much off (own proposal)
EVENS_S = RISE_WINDOW_S - 180.0  # heat that nobody counted: the last three minutes of a mash that evens out (own trial)
OWN_RATES = 0.5, 1.5  # of the heater's slowest and fastest rise: what else rises is not the heater (own proposal)
PART_S, PART_SHARE = 100.0, 0.6  # so long brings at most so much of a rise (own trial, liquor that mixes within 100 s:
# 1 in 8 is taken for a relay by a probe in steps of 0.5 K, 1 in 50 by a finer one; 1 in 3 where both ends had to rise)
COARSE_K = 0.5  # coarse probes read in steps of so much (common practice)
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
        if finding is not None:
            return after, finding
        rise_k = _unasked_k(senses, known)
        limit_k = apart_k(senses.tun.guard.unasked_rise_k, known.past.added_at, senses.now)
        return after, Finding(self.ROW, rise_k, limit_k) if rise_k >= limit_k and _lasts(known) else None

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
        rise_k = _unasked_k(senses, known)
        if rise_k < limit_k:
            return replace(self, alarm=False) if self.alarm else self, None
        least_k, most_k = OWN_RATES[0] * plate.slowest_k_per_s, OWN_RATES[1] * plate.fastest_k_per_s
        own = least_k * RISE_WINDOW_S <= past.warmed_k(inf) <= most_k * RISE_WINDOW_S
        after = self if self.alarm else replace(self, alarm=True)
        return after, Finding(self.ROW, rise_k, limit_k) if own and past.warms_evenly(rise_k) else None

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Has it stopped warming for five minutes?"""
        rise_k, limit_k = known.past.warmed_k(_most_k(known)), senses.tun.guard.unasked_rise_k
        return None if rise_k < limit_k else Finding(self.ROW, rise_k, limit_k)

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """A rise with nothing running that may be a hose."""
        return (Note("G10", ALARM, 2),) if self.alarm else ()


def _most_k(known: Known) -> float:
    """How much may a line rise? What rises faster than any heater makes it is a probe that moved, or a hose: of that no
    more counts than a heater could have made, or one step of a coarse probe."""
    return max(COARSE_K, OWN_RATES[1] * known.plate.fastest_k_per_s * STEP_S)


def _lasts(known: Known) -> bool:
    """Did it take its time? A switch that is stuck heats on; what was poured in has mixed soon."""
    levels, part = known.past.levels_k(_most_k(known)), round(PART_S / STEP_S)
    most_k = max(late - early for early, late in zip(levels, levels[part:], strict=False))
    return most_k <= PART_SHARE * levels[-1]


def _unasked_k(senses: Senses, known: Known) -> float:
    """By how much has the reading risen in five minutes beyond all that the heat given may still do, K? Nothing while
    heat is on, in pulses or not, or that is not known. After a run nobody counts its heat any more, behind the heater
    the reading goes its own way: there it must have been off for long, and longer where masses are known to be
    wrong."""
    past, plate, capacity = known.past, known.plate, senses.run.capacity_j_per_k
    rise_k = past.warmed_k(_most_k(known))
    if past.off_since is None or rise_k <= 0.0 or rise_k == inf:
        return 0.0
    uncounted, off_s = plate.behind_heater or senses.run.state in NO_RUN, senses.now - past.off_since
    if off_s < SETTLED_S or (uncounted and off_s < plate.quiet_s + EVENS_S):
        return 0.0
    if known.misfit and off_s < plate.quiet_s + RISE_WINDOW_S:
        return 0.0
    _, most_j = past.windows(RISE_WINDOW_S, plate.dead_s + plate.lag_s)
    lost_j = LOST * plate.loss_w_per_k * max(0.0, past.lines[-1].temperature_c - plate.room_c) * RISE_WINDOW_S
    return rise_k - max(0.0, GAVE * most_j - lost_j) / capacity
