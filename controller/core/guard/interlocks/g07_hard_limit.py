"""G07: is any raw reading at or over the hard limit? At 80 °C alpha-amylase is destroyed (Kunze, second hand), and a
switch that is stuck takes a mash from 66 to 80 °C in 8 to 18 min (arithmetic).

A probe behind the heater reads up to 5 K over the mash while heat is on. The control leaves room for that; the guard
gives none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import EVERY, Senses
from controller.core.nouns import RunState


@dataclass(frozen=True, slots=True)
class HardLimit(Interlock):
    """Any reading cuts in its tick; two in a row of one probe that could be true latch."""

    ROW: ClassVar[Row] = Row(
        id="G07",
        name="hard limit",
        field="hard_limit_c",
        unit="°C",
        priority=1,
        clears="latched",
        deadline_s=2.0,
        says="The mash is {value:.1f} °C; the limit is {limit:g} °C. Heat is off.",
        do="Stay clear of the vessel. Do not restart before you know why.",
    )
    STATES: ClassVar[frozenset[RunState]] = EVERY

    in_a_row: int = 0  # readings at or over the limit
    second_in_a_row: int = 0  # the same for the second probe
    hot_c: float = 0.0

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """While something is being added two in a row cut, but do not latch: boiling mash may be coming back."""
        limit_c = senses.tun.guard.hard_limit_c
        mash, second = senses.tun.probes.mash, senses.tun.probes.second or senses.tun.probes.mash
        raw_second = senses.second.raw if senses.second is not None else ()
        cool = readings.all_under(senses.mash.raw, mash, limit_c) and readings.all_under(raw_second, second, limit_c)
        if cool and not self.in_a_row and not self.second_in_a_row:
            return self, None
        first = _counted(self.in_a_row, readings.could_be_true(senses.mash, mash), limit_c)
        others = readings.could_be_true(senses.second, second) if senses.second is not None else []
        other = _counted(self.second_in_a_row, others, limit_c)
        pair = max(self.in_a_row, self.second_in_a_row, first[1], other[1]) >= 2
        cut_c = other[2] if other[2] is not None else first[2]
        hot_c = self.hot_c if cut_c is None else cut_c
        after = replace(self, in_a_row=first[0], second_in_a_row=other[0], hot_c=hot_c)
        if pair and not senses.blocked:
            return after, Finding(self.ROW, hot_c, limit_c)
        if pair or cut_c is not None or readings.any_over(senses.mash.raw + raw_second, limit_c):
            return after, Finding(self.ROW, hot_c, limit_c, cut_only=True)
        return after, None

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """Hot readings while something is being added."""
        if not (senses.heated and senses.blocked and (self.in_a_row or self.second_in_a_row)):
            return ()
        limit_c = senses.tun.guard.hard_limit_c
        over = f"{self.hot_c:.1f} °C is read during an addition; the limit is {limit_c:g} °C."
        do = "If hot liquor or mash just went in, stir. If not, the heater may be stuck on: cut the mains, then look."
        return (Note("G07", f"{over} {do}", 1),)


def _counted(run: int, values: list[float], limit_c: float) -> tuple[int, int, float | None]:
    """How many in a row now, the longest row meanwhile, and the last hot one, °C."""
    longest = 0
    hot_c: float | None = None
    for value in values:
        run = run + 1 if value >= limit_c else 0
        longest, hot_c = max(longest, run), value if run else hot_c
    return run, longest, hot_c
