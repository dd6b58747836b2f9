"""G14: a heater node that does not answer may do anything. Its lease ends by itself; that it does, nobody here can see.
Nor can it where the line between is the cause: a broker out of reach, or one that brings no command of ours back.

Silence cuts at 10 s and is a trip at 20 s; a node or a broker that is gone cuts at once and is one 20 s later. While
the line is down, every other silence is the line's, and no trip of its own.

The node that drives stirrer or pump, where it has a presence topic of its own, is heard alike: what mixes stands still.

An answer is as old as the command it answers, not as its arrival: a node behind a queue of 30 s looked alive. A
sequence that was never sent is no answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import AWAY_TRIP_S, HEATED, TRIP_S, Senses
from controller.core.nouns import RunState, Trip

NOT_THERE = "The heater node's presence topic says that it is gone. Its lease runs out; heat is off."
MOVER_GONE = "The node that drives stirrer or pump says that it is gone. Heat is off."
BEHIND = "The heater node answers commands of {value:.0f} s ago (limit {limit:g} s). Heat is off."
NO_LINK = "The connection to the message broker has been lost for {value:.0f} s. Heat is off."
NO_ECHO = "No command has come back from the message broker for {value:.0f} s (limit {limit:g} s). Heat is off."


@dataclass(frozen=True, slots=True)
class HeaterSilent(Interlock):
    """Does the heater node answer our newest commands?"""

    ROW: ClassVar[Row] = Row(
        id="G14",
        name="heater silent",
        field="heater_silent_s",
        unit="s",
        priority=1,
        clears="evidence",
        deadline_s=10.0,
        says="The heater node has not answered for {value:.0f} s (limit {limit:g} s). Its lease runs out; heat is off.",
        do="Check the node's supply, broker and network.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """By the line, by the node's presence, or by the age of what it has answered?"""
        return self, _line_gone(senses) or self._silent(senses, known)

    def _silent(self, senses: Senses, known: Known) -> Finding | None:
        silent_s, limit_s = known.line.silent_s(senses.now), senses.tun.guard.heater_silent_s
        if senses.heater.online is False:
            return Finding(self.ROW, silent_s, 0.0, says=NOT_THERE, gap_s=AWAY_TRIP_S)
        if senses.heater.movers is False:
            return Finding(self.ROW, silent_s, 0.0, says=MOVER_GONE, gap_s=AWAY_TRIP_S)
        if silent_s <= limit_s:
            return None
        says = BEHIND if _behind(senses, known) else ""
        return Finding(self.ROW, silent_s, limit_s, says=says, gap_s=TRIP_S)

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


def _line_gone(senses: Senses) -> Finding | None:
    """Is the broker out of reach, or does it bring nothing back? Written so that a delay that is no number counts."""
    link, limit_s = senses.own.link, senses.tun.guard.echo_gone_s
    if not link.up:
        gone_s = max(0.0, senses.now - link.since)
        return Finding(HeaterSilent.ROW, gone_s, 0.0, says=NO_LINK, gap_s=AWAY_TRIP_S)
    if link.delay_s <= limit_s:
        return None
    return Finding(HeaterSilent.ROW, link.delay_s, limit_s, says=NO_ECHO, gap_s=TRIP_S)
