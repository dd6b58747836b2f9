"""G12: heat in, less losses, less heat seen. A reading that drifts low asks for heat that goes into a mash nobody
measures. Only for a tun that was measured with water, for it takes power and heat capacity at their word.

Masses are typed in, so 30 % of the heat put in may be missing and the loss counts at 1.7 times the plate's. The price:
a slow drift is seen later.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.history import STEP_S, History, Line
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.plate import LOSS_FACTOR
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState

SLACK_SHARE = 0.3  # of the heat put in; power and mass are each true to 15 % (own trial on random tuns)
SLACK_S = 60.0  # heat younger than dead time and this is not counted yet
LASTS_S = 60.0  # the verdict must last so long


@dataclass(frozen=True, slots=True)
class HeatLedger(Interlock):
    """An account since the history began: where it started, what was lost since."""

    ROW: ClassVar[Row] = Row(
        id="G12",
        name="heat ledger",
        field="ledger_k",
        unit="K",
        priority=2,
        clears="latched",
        deadline_s=None,
        says="{value:.1f} K more heat went in than the thermometer shows (limit {limit:.1f} K). Heat is off.",
        do="Compare the probe with a hand thermometer; check the heater.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    era: int = 0
    base: Line | None = None
    lost_j: float = 0.0
    in_a_row: int = 0  # lines with the same verdict

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Once a line: does the account hold?"""
        past, plate = known.past, known.plate
        if not past.fresh or not plate.measured:
            return self, None
        line, base = past.lines[-1], self._base(past, senses)
        if base is None:
            return replace(self, era=past.era, base=line, lost_j=0.0, in_a_row=0), None
        lost_j = self.lost_j + LOSS_FACTOR * plate.loss_w_per_k * (line.temperature_c - plate.room_c) * STEP_S
        after = replace(self, base=base, lost_j=lost_j)
        old = past.ago(plate.dead_s + SLACK_S)
        if old is None or old.at < base.at:
            return after, None
        put_in_k = (old.energy_j - base.energy_j) / senses.run.capacity_j_per_k
        missing_k = put_in_k - lost_j / senses.run.capacity_j_per_k - (line.temperature_c - base.temperature_c)
        limit_k = senses.tun.guard.ledger_k + SLACK_SHARE * put_in_k
        if missing_k <= limit_k:
            return replace(after, in_a_row=0), None
        after = replace(after, in_a_row=self.in_a_row + 1)
        return after, Finding(self.ROW, missing_k, limit_k) if after.in_a_row * STEP_S >= LASTS_S else None

    def _base(self, past: History, senses: Senses) -> Line | None:
        """Where the account began, on the level that history has gone over to."""
        if self.base is None or self.era != past.era:
            return None
        moved_k = past.moves[-1][1] if past.moves and past.moves[-1][0] == senses.now else 0.0
        return self.base._replace(temperature_c=self.base.temperature_c + moved_k) if moved_k else self.base

    def asleep(self, senses: Senses) -> Self:
        """The account begins anew."""
        return self if self.base is None else replace(self, base=None)
