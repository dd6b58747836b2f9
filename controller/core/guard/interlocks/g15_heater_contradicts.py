"""G15: does the heater go off when told? A switch that is stuck, or a node that obeys somebody else.

Epoch and sequence are compared before anything else, so that a late report of an earlier command is no liar. A fault
that the node reports and nobody else knows is this one as well, and waits for a person.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.heater_line import node_says
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import EVERY, TICK_S, Senses
from controller.core.nouns import Instant, RunState

POWER_SHARE = 0.05  # of the plate's power: more with the heater off is some (own proposal)
OTHERS = "no_liquid", "no_flow", "own_limit", "own_probe_silent"  # codes that other interlocks know


@dataclass(frozen=True, slots=True)
class HeaterContradicts(Interlock):
    """Since when does it contradict which row of OFFs?"""

    ROW: ClassVar[Row] = Row(
        id="G15",
        name="heater contradicts",
        field="heater_contradicts_s",
        unit="s",
        priority=1,
        clears="latched",
        deadline_s=3.0,
        says="The heater says it is on {value:.0f} s after being told off (limit {limit:g} s).",
        do="Cut the mains by hand, then look at node and switch.",
    )
    STATES: ClassVar[frozenset[RunState]] = EVERY

    off_seq: int = -1  # of the row of OFFs that is contradicted
    since: Instant | None = None

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """By its reports, or by its own word that something is wrong while it is asked for heat."""
        after, finding = self._obeys(senses, known)
        return after, finding or self._by_node(senses, known)

    def _obeys(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        report, line, limit_s = senses.heater.report, known.line, senses.tun.guard.heater_contradicts_s
        if report is None:
            return self, None
        draws = report.power_w is not None and report.power_w > POWER_SHARE * senses.tun.heater.power_w
        on, off_for_s = not (report.duty <= 0.0) or draws, senses.now - line.off_since
        obeyed = report.epoch == senses.own.epoch and report.seq >= line.off_seq
        overdue = off_for_s > senses.tun.heater.lease_s + limit_s
        if not on or line.heats or not (obeyed or overdue):
            return self if self.since is None else replace(self, since=None), None
        known_since = self.since if self.off_seq == line.off_seq else None
        since = senses.now if known_since is None else known_since
        after = replace(self, off_seq=line.off_seq, since=since)
        enough = senses.now - since >= limit_s - TICK_S and off_for_s >= limit_s
        return after, Finding(self.ROW, off_for_s, limit_s) if enough else None

    def _by_node(self, senses: Senses, known: Known) -> Finding | None:
        """A fault of the node that nobody else knows waits for a person."""
        report = senses.heater.report
        if report is None or not report.fault or not known.line.heats or report.fault_code in OTHERS:
            return None
        return Finding(self.ROW, report.duty, 0.0, latched=True, says=node_says(report.fault), unit="duty")
