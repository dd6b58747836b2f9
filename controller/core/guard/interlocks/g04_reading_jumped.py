"""G04: has the reading gone over to another level? A probe that slips out of the mash, or liquor poured in without a
word: what it reads then asks for the wrong heat.

More than 5 K away it cuts after 4 s. Less has half a second more, since five readings that agree are believed by then
and the level is no jump any more. With none believed for as long as a reading may be gone it is a trip, before a slip
that may end by itself; up by more than 5 K waits for a person.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, TICK_S, Senses
from controller.core.nouns import ALONE_K, Measurement, RunState

LEVEL_S = (
    readings.REFUSED_S + 0.5
)  # five readings of one level take four seconds and are then believed, unless far away


@dataclass(frozen=True, slots=True)
class ReadingJumped(Interlock):
    """Readings sit on another level for some seconds. It is over once they fit again (requalify.py)."""

    ROW: ClassVar[Row] = Row(
        id="G04",
        name="reading jumped",
        field="jump_k",
        unit="K",
        priority=1,
        clears="requalified",
        deadline_s=5.0,
        says="The reading jumped by {value:.1f} K (limit {limit:g} K). Heat is off.",
        do="Look whether the probe still sits in the mash; a jump up over 5 K waits for you.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED
    ASKS_HAND: ClassVar[bool] = True

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """While something is being added, heat is off and another level is no wonder."""
        seen = senses.mash.seen
        if seen.jump_since is None or seen.jump_c is None or senses.blocked:
            return self, None
        if readings.gone(senses) or readings.nonsense(senses):
            return self, None
        step_k = seen.jump_c - (seen.value_c if seen.value_c is not None else seen.jump_c)
        for_s = senses.now - seen.jump_since
        if for_s < (readings.REFUSED_S if abs(step_k) > ALONE_K else LEVEL_S):
            return self, None
        jump_k, slip = senses.tun.guard.jump_k, seen.age_s < senses.tun.guard.reading_gone_s - TICK_S
        return self, Finding(self.ROW, step_k, jump_k, step_k > ALONE_K, cut_only=slip, says=_from_to(seen))


def _from_to(seen: Measurement) -> str:
    """The jump in full; without what was believed before, the step alone."""
    if seen.value_c is None:
        return ""
    to = f"from {seen.value_c:.1f} to {seen.jump_c:.1f} °C"
    return f"The reading jumped by {{value:.1f}} K, {to} (limit {{limit:g}} K). Heat is off."
