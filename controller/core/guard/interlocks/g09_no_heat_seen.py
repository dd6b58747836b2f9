"""G09: heat that is asked for must show as a rise. An open element, a cut-out that acted, or a probe that is frozen or
not in the mash and asks for more and more heat (habit 4 of the house: check the physics, not only the limits).

The heat account (heat_account.py) at its bound: 2 K, and what the plate gives in the time that heat takes to show; 30 s
more. It runs in a rest as on a rise. Before that, heat is on trust: where the reading and what it owes could be at the
hard limit, heat waits, without a trip, until the reading follows. At once: over 5 K down in three minutes with heat on,
of which 3 K hold it back; and, where the node measures it, no power for 5 s in all with its output on, the off part of
a window counting neither way.

After a person's clear the first heat is one pulse; one that does not show trips again. Heat below the worst loss, 6 to
18 K an hour by the tun, is seen by no single probe, whatever is done.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.heat_account import PULSE_K, PULSE_SHARE
from controller.core.guard.history import FALL_S, STEP_S, apart_k
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import ALONE_K, RunState

TRUST_K = 0.3  # so far under the hard limit heat waits for the reading (own trial on lumped models)
POWER_SHARE = 0.05  # of what should flow: less is none (own proposal)
DRAWS_DUTY, DRAWS_S = 0.2, 5.0  # the output over so much, for so long in all, without power (own proposal)
FELL_K = 3.0  # in three minutes (own trial: a healthy coil, pumped again after a long hold, fell by 3.5, so no trip)
LEAST_LINES = 7  # a minute, where history has only just begun
FELL = "The reading fell by {value:.1f} K in three minutes with the heater on (limit {limit:g} K). " + (
    "Was liquor added, or is the probe out of the mash? Heat is off."
)
FALLS = "The reading fell by {value:.1f} K in three minutes: liquor added, or probe out of the mash? Heat waits. " + (
    "If something was added, announce it, with what a hand thermometer in the mash reads."
)
DRAWS = "With its output on, the heater draws {value:.0f} W (at least {limit:.0f} W is due). Heat is off."
UNSHOWN = "After the clear one pulse of heat was let out, and the reading rose by {value:.1f} K ({limit:.1f} K is due)."
FELL_UNDER = "Under a pulse of heat the reading fell by {value:.1f} K more than any mash does (limit {limit:.1f} K)."
ON_TRUST = "With the heat that the reading has not shown the mash may be at {value:.1f} °C. Heat waits for the reading."
TRIAL = "One pulse of heat is out; heat waits until the reading shows it."
VAIN = "A pulse of heat did not show. The next waits until {value:.1f} K of it must be lost, or the reading rises. " + (
    "Look at element, level, and whether the probe is in the mash."
)


@dataclass(frozen=True, slots=True)
class NoHeatSeen(Interlock):
    """Heat that no reading has shown: too much of it, or as much as the hard limit leaves."""

    ROW: ClassVar[Row] = Row(
        id="G09",
        name="no heat seen",
        field="dead_time_s",
        unit="K",
        priority=1,
        clears="latched",
        deadline_s=None,
        says="{value:.1f} K of heat went in and did not show (limit {limit:.1f} K). Heat is off.",
        do="Check element, cut-out and mains, and whether the probe is in the mash.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED
    ON_TRIAL: ClassVar[bool] = True
    ASKS_HAND: ClassVar[bool] = True

    no_power_s: float = 0.0  # the node's output on for so long, and no power measured

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Does the node draw power, does the reading fall under heat, does it show what went in?"""
        after, found = self._draws(senses, known)
        return after, found or _slipped(senses, known) or _unshown(senses, known) or _on_trust(senses, known)

    def _draws(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Does power flow where the node says that its output is on? Only where it measures power. Within an on/off
        window only the time with the output on counts, and power in any report starts it anew."""
        report, plate_w = senses.heater.report, senses.tun.heater.power_w
        if report is None or report.power_w is None:
            return self, None
        if report.power_w > POWER_SHARE * plate_w:
            return self if not self.no_power_s else replace(self, no_power_s=0.0), None
        due_w = POWER_SHARE * plate_w * report.duty
        if not known.line.heats or not (report.duty > DRAWS_DUTY and report.power_w < due_w):
            return self, None
        without_s = self.no_power_s + senses.dt
        if without_s < DRAWS_S:
            return replace(self, no_power_s=without_s), None
        return replace(self, no_power_s=0.0), Finding(self.ROW, report.power_w, due_w, says=DRAWS, unit="W")

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """Heat that waits for the reading."""
        if not senses.heated:
            return ()
        falls, waits = _slipped(senses, known), _on_trust(senses, known)
        asks = () if falls is None or not falls.cut_only else (Note("fall", falls.says.format(value=falls.value), 2),)
        return asks if waits is None else (*asks, Note("trust", waits.says.format(value=waits.value)))


def _slipped(senses: Senses, known: Known) -> Finding | None:
    """Has the reading fallen as no mash does, with heat on? Then the probe has slipped out, the tun drains, or somebody
    has added liquor: 3 K in three minutes hold heat back, over 5 K are a trip where heat was on as it began (after a
    hold a bed mixes). What still mixes may fall twice as far, a probe behind the heater by 5 K more."""
    lines = known.past.lines[-1 - round(FALL_S / STEP_S) :]
    if len(lines) < LEAST_LINES or lines[-1].energy_j <= lines[0].energy_j:
        return None
    began = lines[len(lines) // 2].energy_j > lines[0].energy_j
    fell_k = lines[0].temperature_c - lines[-1].temperature_c - known.past.moved_k(senses.now)
    own_k, added_at = ALONE_K if known.plate.behind_heater else 0.0, known.past.added_at
    waits_k, trips_k = (own_k + apart_k(limit_k, added_at, senses.now) for limit_k in (FELL_K, ALONE_K))
    if fell_k > trips_k and began:
        return Finding(NoHeatSeen.ROW, fell_k, trips_k, says=FELL)
    return Finding(NoHeatSeen.ROW, fell_k, waits_k, cut_only=True, says=FALLS) if fell_k > waits_k else None


def _unshown(senses: Senses, known: Known) -> Finding | None:
    """Has more heat gone in, or a pulse, than the reading shows by now?"""
    heat, plate = known.heat, known.plate
    if heat.pulse is None:
        bound_k = plate.bound_k(senses.run.capacity_j_per_k)
        return None if heat.owed_k < bound_k else Finding(NoHeatSeen.ROW, heat.owed_k, bound_k)
    given_at, shown_k, fell_k = heat.pulse.given_at, heat.pulse.shown_k, heat.fell_k
    if fell_k >= PULSE_SHARE * PULSE_K:
        return Finding(NoHeatSeen.ROW, fell_k, PULSE_SHARE * PULSE_K, says=FELL_UNDER)
    if given_at is None or senses.now - given_at < plate.follows_s:
        return None
    return Finding(NoHeatSeen.ROW, shown_k, PULSE_SHARE * PULSE_K, says=UNSHOWN)


def _on_trust(senses: Senses, known: Known) -> Finding | None:
    """Could the mash be at the hard limit, is the one pulse out, or was the last one in vain?"""
    heat, most_c = known.heat, senses.tun.guard.hard_limit_c - TRUST_K
    if heat.pulse is not None and heat.pulse.given_at is not None:
        return Finding(NoHeatSeen.ROW, heat.owed_k, PULSE_K, cut_only=True, says=TRIAL)
    if heat.pulse is not None and heat.vain_k > 0.0:
        return Finding(NoHeatSeen.ROW, heat.vain_k, 0.0, cut_only=True, says=VAIN)
    hottest_c = heat.hottest_c
    if hottest_c is None or hottest_c < most_c:
        return None
    return Finding(NoHeatSeen.ROW, hottest_c, most_c, cut_only=True, says=ON_TRUST, unit="°C")
