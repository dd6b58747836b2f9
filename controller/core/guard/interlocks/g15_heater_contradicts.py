"""G15: does the heater go off when told? A switch that is stuck, or a node that obeys somebody else.

Late is not lying: epoch and sequence are compared before anything else, and a report of an earlier command counts only
once its lease and the way of the messages are over. Two reports must say so, the second with a higher count, or a
repeated one would do; a node that does not count must say so for 30 s. A fault that the node reports and nobody else
knows is this one as well, and waits for a person.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.heater_line import HeaterLine, node_says
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import EVERY, TICK_S, Senses
from controller.core.nouns import HeaterReport, Instant, RunState, Trip

POWER_SHARE = 0.05  # of the plate's power: more with the heater off is some (own proposal)
ROUND_S, MORE_S = 10.0, 2.0  # command and report take so long together at most, and some more (own proposal)
UNCOUNTED_S = 30.0  # for so long a node that does not count its reports must contradict (own proposal)
SAID_S = 5.0  # so new must its word be that it is off (own proposal)
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

    LATE: ClassVar[str] = " A clear needs its word, not older than 5 s, that it is off."

    off_seq: int = -1  # of the row of OFFs that is contradicted
    since: Instant | None = None
    boot: str = ""  # of the node that contradicts
    n: int | None = None  # its newest report that did

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
        if not on or line.heats or _late(report, senses, line):
            return self if self.since is None else replace(self, since=None), None
        before = self.since if (self.off_seq, self.boot) == (line.off_seq, report.boot) else None
        if before is not None and report.n is not None and self.n is not None and report.n <= self.n:
            return self, None  # a copy, or one that was overtaken
        since = senses.now if before is None else before
        after = replace(self, off_seq=line.off_seq, since=since, boot=report.boot, n=report.n)
        for_s = UNCOUNTED_S if report.n is None else limit_s
        enough = before is not None and senses.now - since >= for_s - TICK_S and off_for_s >= limit_s
        return after, Finding(self.ROW, off_for_s, limit_s) if enough else None

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Until it says that it is off, and is not contradicted by its meter."""
        if self.since is None and known.line.says_off(senses.now, SAID_S):
            return None
        return Finding(self.ROW, senses.now - known.line.off_since, senses.tun.guard.heater_contradicts_s)

    def _by_node(self, senses: Senses, known: Known) -> Finding | None:
        """A fault of the node that nobody else knows waits for a person."""
        report = senses.heater.report
        if report is None or not report.fault or not known.line.heats or report.fault_code in OTHERS:
            return None
        return Finding(self.ROW, report.duty, 0.0, latched=True, says=node_says(report.fault), unit="duty")


def _late(report: HeaterReport, senses: Senses, line: HeaterLine) -> bool:
    """May it be a report of before the OFF, held up on its way? Its lease, what messages took of late, and 2 s more."""
    ours = report.epoch == senses.own.epoch
    if (ours and report.seq >= line.off_seq) or not (report.lease_left_s > 0.0):
        return False
    sent_at = dict(line.sent).get(report.seq) if ours else None
    round_s = ROUND_S if sent_at is None else min(ROUND_S, report.at - sent_at)
    return senses.now - line.off_since <= senses.tun.heater.lease_s + round_s + MORE_S
