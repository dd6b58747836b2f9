"""G12: heat in, less losses, less heat seen. A reading that drifts low asks for heat that goes into a mash nobody
measures. Only for a tun that was measured with water, for it takes power and heat capacity at their word.

Masses are typed in, so 30 % of the heat put in may be missing and the loss counts as the worst (plate.py). The price:
a slow drift is seen later.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.history import STEP_S, Line
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import Instant, RunState

SLACK_SHARE = 0.3  # of the heat put in; power and mass are each true to 15 % (own trial on random tuns)
SLACK_S = 60.0  # heat younger than dead time and this is not counted yet
LASTS_S = 60.0  # the verdict must last so long


@dataclass(frozen=True, slots=True)
class HeatLedger(Interlock):
    """An account since the history began: where it started, what was lost since. A hold is part of it."""

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
    ON_TRIAL: ClassVar[bool] = True
    ASKS_HAND: ClassVar[bool] = True

    era: int = 0
    base: Line | None = None
    moved_k: float = 0.0  # of the history by then
    upto: Instant = 0.0  # the line up to which the loss is counted
    lost_j: float = 0.0
    in_a_row: int = 0  # lines with the same verdict

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Once a line: does the account hold?"""
        past, plate = known.past, known.plate
        if not past.fresh or not plate.measured:
            return self, None
        line = past.lines[-1]
        if self.base is None or self.era != past.era:
            moved_k = past.moved_all_k
            return replace(self, era=past.era, base=line, moved_k=moved_k, upto=line.at, lost_j=0.0, in_a_row=0), None
        moved_k = past.moved_all_k - self.moved_k  # on the level that history has gone over to
        base = self.base._replace(temperature_c=self.base.temperature_c + moved_k)
        lost_w_per_k = plate.worst_loss_per_s(senses.run.capacity_j_per_k) * senses.run.capacity_j_per_k
        lost_j = self.lost_j + lost_w_per_k * max(0.0, line.temperature_c - plate.room_c) * (line.at - self.upto)
        after = replace(self, base=base, moved_k=past.moved_all_k, upto=line.at, lost_j=lost_j)
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

    def keep(self) -> Self:
        """The account outlives the process."""
        return self
