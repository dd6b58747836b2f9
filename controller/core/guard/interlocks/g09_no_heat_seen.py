"""G09: heat that is asked for must show as a rise. An open element, a cut-out that acted, or a probe that is not in the
mash and asks for more and more heat (habit 4 of the house: check the physics, not only the limits).

Held against it is the least energy of any window up to the dead time ago, for heat may come sooner than it may; a coil
has at least 300 s on top. Where under 2 K are due in the window, 2, 3 and 3.5 times as long judge, or a reading frozen
short of its target was seen by nobody. The loss counts at 1.7 times the plate's, within 15 and 35 % an hour; within 1 K
of the target at less than full heat by one window and 35 %, since a lid off loses more than any plate says. Behind the
heater nothing is judged once heat is less than before. At once: over 5 K down in a minute with heat on; and, where the
node measures it, no power for 5 s in all with its output on, the off part of a window counting neither way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, NamedTuple, Self

from controller.core.guard.history import FALL_S, PERSIST, History, Line
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.plate import LOSS_PER_S
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import ALONE_K, RunState

SEEN_SHARE = 0.25  # at least this share of the expected rise (own trial on random tuns)
DUE_K = 2.0  # judged once so much was due (own trial)
WINDOWS = (1.0, 2.0, 3.0, 3.5)  # times the window; the last is over within the 900 s of G11 and the dead time
NEAR_K = 1.0  # so near its target a mash is kept, not warmed (own proposal: the usual tolerance of a rest)
POWER_SHARE = 0.05  # of what should flow: less is none (own proposal)
DRAWS_DUTY, DRAWS_S = 0.2, 5.0  # the output over so much, for so long in all, without power (own proposal)
FELL = "The reading fell by {value:.1f} K in a minute with the heater on (limit {limit:g} K). Heat is off."
DRAWS = "With its output on, the heater draws {value:.0f} W (at least {limit:.0f} W is due). Heat is off."


class Due(NamedTuple):
    """The rise that is due."""

    window_s: float
    then: Line
    rise_k: float


@dataclass(frozen=True, slots=True)
class NoHeatSeen(Interlock):
    """The rise that was due against the rise that was seen, over windows of four minutes and more."""

    ROW: ClassVar[Row] = Row(
        id="G09",
        name="no heat seen",
        field="no_heat_window_s",
        unit="K",
        priority=1,
        clears="latched",
        deadline_s=None,
        says="Heat was asked for but the mash rose by {value:.1f} K where at least {limit:.1f} K was due. Heat is off.",
        do="Check element, cut-out and mains, and whether the probe is in the mash.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED

    era: int = 0
    in_a_row: int = 0  # lines with the same verdict
    no_power_s: float = 0.0  # the node's output on for so long, and no power measured

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Does the node draw power, does the reading fall under heat, does it rise as it must?"""
        after, found = self._draws(senses, known)
        if not known.past.fresh:
            return after, found
        slipped = _slipped(senses, known)
        if slipped is not None:
            return after, found or slipped
        after, missing = after._no_rise(senses, known)
        return after, found or missing

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

    def _no_rise(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """A probe behind the heater falls with the heat itself: nothing is judged once heat is less than it was."""
        past, plate = known.past, known.plate
        due = _due(senses, known)
        rise_k = 0.0 if due is None else past.lines[-1].temperature_c - due.then.temperature_c
        seen = due is None or rise_k >= SEEN_SHARE * due.rise_k
        if due is None or seen or (plate.behind_heater and past.less(plate.power_w, due.window_s)):
            return replace(self, in_a_row=0) if self.in_a_row else self, None
        after = replace(self, era=past.era, in_a_row=self.in_a_row + 1 if self.era == past.era else 1)
        if after.in_a_row <= PERSIST:
            return after, None
        return after, Finding(self.ROW, rise_k, SEEN_SHARE * due.rise_k)

    def asleep(self, senses: Senses) -> Self:
        """The verdicts begin anew."""
        return replace(self, in_a_row=0) if self.in_a_row else self


def _slipped(senses: Senses, known: Known) -> Finding | None:
    """At once: has the reading fallen as no mash does, with heat on all the while? Then the probe has slipped out."""
    past = known.past
    then, soon = past.ago(FALL_S), past.ago(FALL_S / 2)
    if then is None or soon is None or soon.energy_j <= then.energy_j:
        return None
    fell_k = then.temperature_c - past.lines[-1].temperature_c - past.moved_k(senses.now)
    limit_k = ALONE_K + (ALONE_K if known.plate.behind_heater else 0.0)
    return None if fell_k <= limit_k else Finding(NoHeatSeen.ROW, fell_k, limit_k, says=FELL)


def _due(senses: Senses, known: Known) -> Due | None:
    """In which window, the shortest that will do, is enough of a rise due to judge by? None where too little is, or
    history does not reach far enough. Due is the least energy of any window shifted back by up to the dead time."""
    past, plate, capacity = known.past, known.plate, senses.run.capacity_j_per_k
    kept = _kept(past, senses)
    per_s = LOSS_PER_S if kept else plate.loss_per_s(capacity)
    for times in WINDOWS[:1] if kept else WINDOWS:
        window_s = times * senses.tun.guard.no_heat_window_s
        then = past.ago(window_s)
        if then is None or past.ago(window_s + plate.dead_s) is None:
            return None
        loss_k = per_s * max(0.0, then.temperature_c - plate.room_c) * window_s
        due_k = past.windows(window_s, plate.dead_s)[0] / capacity - loss_k
        if due_k >= DUE_K:
            return Due(window_s, then, due_k)
    return None


def _kept(past: History, senses: Senses) -> bool:
    """Is the mash kept at its target, by less than full heat? Then no rise is no wonder, and a loss that nobody thought
    of, the lid off, looks like missing heat."""
    target_c = senses.run.target.target_c
    near = target_c is None or past.lines[-1].temperature_c > target_c - NEAR_K
    return near and past.full_since is None
