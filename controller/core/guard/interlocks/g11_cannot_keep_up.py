"""G11: full heat for long and still short: a phase is missing, the lid is off, a valve stands open. The mash would
stand for hours between two rests where the wrong enzymes work.

The quarter of an hour counts from when heat can have shown: the dead time and a coil's wait come before it. Full heat
is 0.95 of what the file's `duty_cap` allows, and so is the rise that is asked for. An interruption does not begin it
anew: its time is left out, and what a mash may at the most lose in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState

KEEPS = 0.5  # share of the rise that the plate allows (own trial)


@dataclass(frozen=True, slots=True)
class CannotKeepUp(Interlock):
    """Full heat for a quarter of an hour and the dead time, still short, and less than half the rise that the plate
    allows in that quarter."""

    ROW: ClassVar[Row] = Row(
        id="G11",
        name="cannot keep up",
        field="cannot_keep_up_k",
        unit="K",
        priority=2,
        clears="latched",
        deadline_s=None,
        says="Full heat for long and still {value:.1f} K short (limit {limit:g} K). Heat is off.",
        do="Check the heater's legs, lid and valves; part of the heat is missing.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED
    ON_TRIAL: ClassVar[bool] = True
    ASKS_HAND: ClassVar[bool] = True

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Is it short, and does it rise too little?"""
        past, plate, limits = known.past, known.plate, senses.tun.guard
        target_c = senses.run.target.target_c
        if not past.fresh or past.full_since is None or target_c is None:
            return self, None
        lasted_s, now_c = past.full_s - plate.dead_s, past.lines[-1].temperature_c
        if lasted_s < limits.cannot_keep_up_s or target_c - now_c <= limits.cannot_keep_up_k:
            return self, None
        net_w = plate.power_w * senses.tun.heater.duty_cap - plate.loss_w_per_k * (now_c - plate.room_c)
        off_s, capacity = max(0.0, senses.now - past.full_since - past.full_s), senses.run.capacity_j_per_k
        cooled_k = plate.worst_loss_per_s(capacity) * max(0.0, now_c - plate.room_c) * off_s
        allowed_k = max(0.0, net_w) * lasted_s / capacity - cooled_k
        if now_c - past.full_c >= KEEPS * allowed_k:
            return self, None
        full = f"Full heat for {lasted_s / 60.0:.0f} min and still"
        says = f"{full} {{value:.1f}} K short (limit {{limit:g}} K). Heat is off."
        return self, Finding(self.ROW, target_c - now_c, limits.cannot_keep_up_k, says=says)
