"""G07: is any raw reading at or over the hard limit? At 80 °C alpha-amylase is destroyed (Kunze, second hand), and a
switch that is stuck takes a mash from 66 to 80 °C in 8 to 18 min (arithmetic).

A probe behind the heater reads up to 5 K over the mash while heat is on. The control leaves room for that; the guard
gives none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.heater_line import looks_at_mash, node_says
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.readings import NOT_OVER, Over
from controller.core.guard.senses import EVERY, Senses
from controller.core.nouns import Instant, RunState


@dataclass(frozen=True, slots=True)
class HardLimit(Interlock):
    """Any reading cuts in its tick; two of one probe, a second apart, that could be true latch."""

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

    first: Over = NOT_OVER  # readings at or over the limit in a row
    second: Over = NOT_OVER  # the same for the second probe
    hot_c: float = 0.0

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """While something is being added two cut, but do not latch: boiling mash may be coming back."""
        limit_c = senses.tun.guard.hard_limit_c
        mash, second = senses.tun.probes.mash, senses.tun.probes.second or senses.tun.probes.mash
        raw_second = senses.second.raw if senses.second is not None else ()
        cool = readings.all_under(senses.mash.raw, mash, limit_c) and readings.all_under(raw_second, second, limit_c)
        if cool and self.first.since is None and self.second.since is None:
            return self, self._by_node(senses, known)
        first = _counted(self.first, readings.could_be_true(senses.mash, mash), limit_c)
        others = readings.could_be_true(senses.second, second) if senses.second is not None else []
        other = _counted(self.second, others, limit_c)
        pair = first[1] or other[1]
        cut_c = other[2] if other[2] is not None else first[2]
        hot_c = self.hot_c if cut_c is None else cut_c
        after = replace(self, first=first[0], second=other[0], hot_c=hot_c)
        if pair and not senses.blocked:
            return after, Finding(self.ROW, hot_c, limit_c)
        if pair or cut_c is not None or readings.any_over(senses.mash.raw + raw_second, limit_c):
            return after, Finding(self.ROW, hot_c, limit_c, cut_only=True)
        return after, self._by_node(senses, known)

    def _by_node(self, senses: Senses, known: Known) -> Finding | None:
        """Has the heater node's own thermometer, at the mash, come to its limit under heat? The node latches it."""
        report, limit_c = senses.heater.report, senses.tun.guard.hard_limit_c
        told = report is not None and report.fault and known.line.heats and report.fault_code == "own_limit"
        if report is None or not told or not looks_at_mash(senses.tun):
            return None
        hot_c = limit_c if report.outlet_c is None else report.outlet_c
        return Finding(self.ROW, hot_c, limit_c, latched=False, says=node_says(str(report.fault)))

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """Hot readings while something is being added."""
        if not (senses.heated and senses.blocked and (self.first.since is not None or self.second.since is not None)):
            return ()
        limit_c = senses.tun.guard.hard_limit_c
        over = f"{self.hot_c:.1f} °C is read during an addition; the limit is {limit_c:g} °C."
        do = "If hot liquor or mash just went in, stir. If not, the heater may be stuck on: cut the mains, then look."
        return (Note("G07", f"{over} {do}", 1),)


def _counted(row: Over, found: list[tuple[Instant, float]], limit_c: float) -> tuple[Over, bool, float | None]:
    """The row now, whether it was beyond doubt meanwhile, and the last hot reading, °C."""
    pair, hot_c = row.pair, None
    for at, value_c in found:
        row = row.heard(at, value_c >= limit_c)
        pair, hot_c = pair or row.pair, hot_c if row.since is None else value_c
    return row, pair, hot_c
