"""G19: two controllers on one heater, a forgotten service on another machine: each undoes what the other guards.

Anybody may send OFF, and a stranger's is obeyed. Its epoch counts all the same: a node that cannot hear us never
reports the higher one that it obeys.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import EVERY, Senses
from controller.core.nouns import RunState

OUTBID = (
    "Another controller of a higher number ({value:.0f}, ours is {limit:.0f}) owns this tun. This one stops for good."
)
OBEYED = "Somebody else sent OFF on the heater topic; it was obeyed."


@dataclass(frozen=True, slots=True)
class SecondController(Interlock):
    """Does somebody else command this heater?"""

    ROW: ClassVar[Row] = Row(
        id="G19",
        name="second controller",
        field="",
        unit="duty",
        priority=1,
        clears="latched",
        deadline_s=2.0,
        says="Another controller commands this tun (duty {value:g}). This one stops for good.",
        do="Find out which one is to run; restart this service only after the other has ended.",
    )
    STATES: ClassVar[frozenset[RunState]] = EVERY - {RunState.CHECKING}  # then this process still takes its number
    TAKES_THE_TUN: ClassVar[bool] = True

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """A higher number, or power from a stranger?"""
        own = senses.own
        if own.epoch_seen > own.epoch:
            return self, Finding(self.ROW, float(own.epoch_seen), float(own.epoch), says=OUTBID, unit="")
        foreign = own.link.foreign
        if foreign is not None and not (foreign.duty <= 0.0):
            return self, Finding(self.ROW, foreign.duty, 0.0)
        return self, None

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """A stranger's OFF."""
        foreign = senses.own.link.foreign
        return (Note("G19", OBEYED),) if foreign is not None and foreign.duty <= 0.0 else ()
