"""G14: a heater node that does not answer may do anything. Its lease ends by itself; that it does, nobody here can see.
G16 is the same for the line between: a broker out of reach, or one that no longer brings our own commands back.

An answer is as old as the command it answers, not as its arrival: a node behind a queue of 30 s looked alive. A
sequence that was never sent is no answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState, Trip

NOT_THERE = "The heater node's presence topic says that it is gone. Its lease runs out; heat is off."
BEHIND = "The heater node answers commands of {value:.0f} s ago (limit {limit:g} s). Heat is off."
NO_LINK = "The connection to the message broker is lost. Heat is off."


@dataclass(frozen=True, slots=True)
class HeaterSilent(Interlock):
    """Does the heater node answer our newest commands?"""

    ROW: ClassVar[Row] = Row(
        id="G14",
        name="heater silent",
        field="heater_silent_s",
        unit="s",
        priority=1,
        clears="requalified",
        deadline_s=10.0,
        says="The heater node has not answered for {value:.0f} s (limit {limit:g} s). Its lease runs out; heat is off.",
        do="Check the node's supply and network.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """A machine that slept has sent nothing that could be answered: G17."""
        if senses.own.gap_s > senses.tun.guard.clock_odd_s:
            return self, None
        silent_s, limit_s = known.line.silent_s(senses.now), senses.tun.guard.heater_silent_s
        if senses.heater.online is False:
            return self, Finding(self.ROW, silent_s, 0.0, says=NOT_THERE)
        if silent_s <= limit_s:
            return self, None
        return self, Finding(self.ROW, silent_s, limit_s, says=BEHIND if _behind(senses, known) else "")

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Is it still silent?"""
        return self.watch(senses, known)[1]

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """Half of the time that it may be silent."""
        limit_s, silent_s = senses.tun.guard.heater_silent_s, known.line.silent_s(senses.now)
        if not senses.heated or known.line.acked_at is None or not (limit_s / 2 < silent_s <= limit_s):
            return ()
        said = f"The heater node has not answered for {silent_s:.0f} s; over {limit_s:g} s heat goes off."
        return (Note("G14", f"{said} Check its supply and network."),)


def _behind(senses: Senses, known: Known) -> bool:
    """Does the heater node still answer, to old commands?"""
    report = senses.heater.report
    return report is not None and report.epoch == senses.own.epoch and report.seq == known.line.acked_seq


@dataclass(frozen=True, slots=True)
class BrokerGone(Interlock):
    """Is the broker there, and do our own commands come back from it?"""

    ROW: ClassVar[Row] = Row(
        id="G16",
        name="broker gone",
        field="echo_gone_s",
        unit="s",
        priority=2,
        clears="requalified",
        deadline_s=10.0,
        says="The message broker has been out of reach for {value:.0f} s (limit {limit:g} s). Heat is off.",
        do="Check broker and network; the run goes on by itself when they return.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Written so that a delay that is no number counts."""
        link, limit_s = senses.own.link, senses.tun.guard.echo_gone_s
        if not link.up:
            return self, Finding(self.ROW, max(0.0, senses.now - link.since), 0.0, says=NO_LINK)
        return self, None if link.delay_s <= limit_s else Finding(self.ROW, link.delay_s, limit_s)

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Is it still out of reach?"""
        return self.watch(senses, known)[1]
