"""G02: is there a mash reading at all? Without one heat would be blind: ten seconds of it warm a mash by 0.13 to
0.29 K. G03 is the same for readings that come and cannot be true.

A presence topic that says "gone" just now cuts at once; a retained copy of it may be of long ago and cuts after 5 s
without a reading. Readings that come, but cannot be proven new, look like a queue or a recording: they give no heat
back by themselves. A person may clear that, and the clear takes the sender's count and clock as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState, Trip

AWAY = "The mash probe's presence topic says that it is gone; it last read {value:.0f} s ago. Heat is off."
UNPROVEN = "Mash readings come, but none known to be fresh for {value:.0f} s (limit {limit:g} s): "
COMPARE = "If the probe node was started anew or its clock set, compare it with a hand thermometer, `clear`, `restart`."


@dataclass(frozen=True, slots=True)
class ReadingGone(Interlock):
    """No believed reading for too long, or the probe's node is gone by its own word."""

    ROW: ClassVar[Row] = Row(
        id="G02",
        name="reading gone",
        field="reading_gone_s",
        unit="s",
        priority=1,
        clears="requalified",
        deadline_s=10.0,
        says="Mash temperature missing for {value:.0f} s (limit {limit:g} s). Heat is off.",
        do="Check the probe, its plug and its network.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Is the reading gone?"""
        return self, self._found(senses)

    def _found(self, senses: Senses) -> Finding | None:
        if not readings.gone(senses):
            return None
        limit_s = senses.tun.guard.reading_gone_s
        return Finding(self.ROW, min(senses.mash.seen.age_s, 86400.0), limit_s, says=_why(senses))

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Readings that come, but cannot be proven new, are settled by a person's clear."""
        return None if readings.unproven(senses.mash.seen) else self._found(senses)


def _why(senses: Senses) -> str:
    """The sentence for readings that are missing, where more is known than that."""
    if senses.mash.gone:
        return AWAY
    if not senses.mash.raw or not readings.unproven(senses.mash.seen):
        return ""
    return f"{UNPROVEN}{senses.mash.seen.text}. Heat is off. {COMPARE}"


@dataclass(frozen=True, slots=True)
class ReadingNonsense(Interlock):
    """Readings come, and none can be true."""

    ROW: ClassVar[Row] = Row(
        id="G03",
        name="reading nonsense",
        field="nonsense_readings",
        unit="readings",
        priority=1,
        clears="requalified",
        deadline_s=5.0,
        says="{value:.0f} readings in a row make no sense (limit {limit:g}). Heat is off.",
        do="Check the probe's wiring and its unit.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Do readings come that make no sense?"""
        return self, self._found(senses)

    def _found(self, senses: Senses) -> Finding | None:
        if readings.gone(senses) or not readings.nonsense(senses):
            return None
        seen, limit = senses.mash.seen, senses.tun.guard.nonsense_readings
        says = ""
        if seen.text:
            why = seen.text.replace("{", "(").replace("}", ")")
            says = f"The mash readings make no sense: {why} ({{value:.0f}} in a row, limit {{limit:g}}). Heat is off."
        return Finding(self.ROW, seen.refused_run, limit, says=says)

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Do they still make no sense?"""
        return self._found(senses)
