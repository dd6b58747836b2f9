"""G02: is there a mash reading at all? Without one heat would be blind: ten seconds of it warm a mash by 0.13 to
0.29 K.

Silence cuts at 10 s and is a trip at 20 s; before, it is a gap of a link. A presence topic that says "gone" just now
cuts at once and is a trip 20 s later; a retained copy of it may be of long ago and cuts after 5 s without a reading.
Readings that come, but cannot be proven new, look like a queue or a recording: they give no heat back by themselves. A
person may clear that, and the clear takes the sender's count and clock as they are. Readings that come and cannot be
true cut at the third in a row, and are told while they come; with none believed for 10 s they are a trip, and no
link's: a sensor is broken, or sits in something else. A heater node whose own thermometer says nothing gives no heat
either: it cuts at once and is a trip 20 s later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import AWAY_TRIP_S, HEATED, NO_TRIP_S, Senses
from controller.core.nouns import RunState, Trip

BLIND = "The heater node's own thermometer says nothing, so the node keeps its output off. Heat is off."
AWAY = "The mash probe's presence topic says that it is gone; it last read {value:.0f} s ago. Heat is off."
UNPROVEN = "Mash readings come, but none known to be fresh for {value:.0f} s (limit {limit:g} s): "
COMPARE = "If the probe node was started anew or its clock set, compare it with a hand thermometer, `clear`, `restart`."
NONSENSE = "The mash readings make no sense{why} ({run:.0f} in a row, limit {limit:g}). Heat is off."


@dataclass(frozen=True, slots=True)
class ReadingGone(Interlock):
    """No believed reading for too long, or the probe's node is gone by its own word."""

    ROW: ClassVar[Row] = Row(
        id="G02",
        name="reading gone",
        field="reading_gone_s",
        unit="s",
        priority=1,
        clears="evidence",
        deadline_s=10.0,
        says="Mash temperature missing for {value:.0f} s (limit {limit:g} s). Heat is off.",
        do="Check the probe, its plug, its wiring and its network.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Is the reading gone, or does it make no sense?"""
        return self, self._found(senses) or self._blind(known)

    def _found(self, senses: Senses) -> Finding | None:
        age_s, limit_s = min(senses.mash.seen.age_s, 86400.0), senses.tun.guard.reading_gone_s
        if not readings.gone(senses):
            nonsense = readings.nonsense(senses)
            return Finding(self.ROW, age_s, limit_s, says=_nonsense(senses), gap_s=NO_TRIP_S) if nonsense else None
        if senses.mash.gone:
            return Finding(self.ROW, age_s, limit_s, says=AWAY, gap_s=AWAY_TRIP_S)
        if senses.mash.raw and readings.nonsense(senses):
            return Finding(self.ROW, age_s, limit_s, says=_nonsense(senses))
        return Finding(self.ROW, age_s, limit_s, says=_why(senses), gap_s=senses.silence_trip_s)

    def _blind(self, known: Known) -> Finding | None:
        """Is the heater node's own thermometer silent?"""
        return Finding(self.ROW, 0.0, 0.0, says=BLIND, gap_s=AWAY_TRIP_S) if known.line.blind else None

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Readings that come, but cannot be proven new, are settled by a person's clear."""
        return None if readings.unproven(senses.mash.seen) else self._found(senses) or self._blind(known)


def _why(senses: Senses) -> str:
    """The sentence for readings that are missing, where more is known than that."""
    if not senses.mash.raw or not readings.unproven(senses.mash.seen):
        return ""
    return f"{UNPROVEN}{senses.mash.seen.text}. Heat is off. {COMPARE}"


def _nonsense(senses: Senses) -> str:
    """The sentence for readings that cannot be true, and what came."""
    seen = senses.mash.seen
    why = f": {seen.text}" if seen.text else ""
    said = NONSENSE.format(why=why, run=seen.refused_run, limit=senses.tun.guard.nonsense_readings)
    return said.replace("{", "(").replace("}", ")")
