"""What was sent to the heater, what has it answered, and since when is it told to be off?"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.nouns import HeaterReport, Instant
from controller.quick_records import quick
from controller.settings.tun import Tun

SENT_KEPT = 31  # as many commands before the newest are remembered: longer ago is too long ago for any limit


@quick
class HeaterLine(NamedTuple):
    """The heater's line, both ways."""

    seq: int = 0
    duty: float = 0.0  # last let out
    sent: tuple[tuple[int, Instant], ...] = ()  # sequence and time of the last few commands
    acked_seq: int = -1
    acked_at: Instant | None = None  # when the newest command that the heater node has answered was sent
    acked_duty: float | None = None
    off_seq: int = 0  # first command of the present row of OFFs; -1: heat is on
    off_since: Instant = 0.0
    on_until: Instant = 0.0  # the output may have been on until then, by the node's word or by the newest lease
    fault: str = ""  # what the heater node last said of itself ...
    blind: bool = False  # ... and whether it was that its own thermometer is silent

    @property
    def heats(self) -> bool:
        """Has the newest command power?"""
        return self.off_seq < 0

    def heard(self, report: HeaterReport | None, epoch: int) -> HeaterLine:
        """With the node's newest report. The age of an answer is that of the command it answers, so that a queue
        before the node counts; a sequence that we never sent, or long ago, is no answer."""
        if report is None:
            return self
        fault, blind = report.fault or "", bool(report.fault) and report.fault_code == "own_probe_silent"
        line = self if (fault, blind) == (self.fault, self.blind) else self._replace(fault=fault, blind=blind)
        if report.epoch != epoch:
            return line
        if report.duty > 0.0:
            line = line._replace(on_until=max(line.on_until, report.at))
        elif not line.heats and report.seq >= line.off_seq and report.at < line.on_until:
            line = line._replace(on_until=report.at)
        if report.seq > self.acked_seq and (sent_at := self._sent_at(report.seq)) is not None:
            return line._replace(acked_seq=report.seq, acked_at=sent_at, acked_duty=report.duty)
        if report.seq == self.acked_seq and report.duty != self.acked_duty:
            return line._replace(acked_duty=report.duty)
        return line

    def _sent_at(self, seq: int) -> Instant | None:
        """When was this command sent? The newest come first: mostly it is the last."""
        return next((at for known, at in reversed(self.sent) if known == seq), None)

    def gave(self, duty: float, now: Instant, valid_s: float) -> HeaterLine:
        """With one more command, good for so long."""
        seq, off_seq, off_since = self.seq + 1, self.off_seq, self.off_since
        if duty > 0.0:
            off_seq = -1
        elif self.duty > 0.0 or off_seq < 0:
            off_seq, off_since = seq, now
        sent = (*self.sent[-SENT_KEPT:], (seq, now))
        on_until = now + valid_s if duty > 0.0 else self.on_until
        return self._replace(seq=seq, duty=duty, sent=sent, off_seq=off_seq, off_since=off_since, on_until=on_until)

    def rested(self, now: Instant, rest_s: float) -> bool:
        """Was the output off for so long, by the node's word, or since the newest lease has ended?"""
        return now - self.on_until >= rest_s

    def silent_s(self, now: Instant) -> float:
        """How old is the newest command that was answered, s? A day where none ever was."""
        return 86400.0 if self.acked_at is None else now - self.acked_at

    def says_off(self, now: Instant, within_s: float) -> bool:
        """Has the node answered within so long that it is off?"""
        return self.acked_at is not None and now - self.acked_at <= within_s and self.off

    @property
    def off(self) -> bool:
        """Was its newest answer that it is off?"""
        return self.acked_duty is not None and self.acked_duty <= 0.0


def looks_at_mash(tun: Tun) -> bool:
    """Where is the heater node's own thermometer? At the outlet, where the tun has one; else at the mash."""
    return tun.probes.outlet is None and tun.pump is None


def node_says(fault: str) -> str:
    """The heater node's own words for a fault, as a sentence of ours."""
    return f"The heater node's own fault: {fault.replace('{', '(').replace('}', ')')}. Heat is off."
