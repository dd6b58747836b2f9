"""G25: does it warm as what is said to be in the tun must? Half of the grain, a tun filled to the wrong mark, a probe
that speaks °F: all show in the first ramp.

Asked on every climb. Heat takes between nothing and dead time + 3 lags to show, and where a pump moves the bed half a
turnover more, 300 s at most. So the rise of the window is held against the least and the most energy of any window up
to that long ago: at the foot of a ramp they differ, on it they agree. What is lost nobody knows, by a plate least of
all, for wind and a lid count: too slow is slower than the least heat less the worst loss makes it, too fast is faster
than the most heat makes it that loses nothing. A probe behind the heater reads higher as heat goes up, so there the
heat of the last minute must be what it was when the window began. Where the reading has fallen, something mixes, or a
probe behind the heater feels less heat: that is no climb.

Own trial, 22 tuns of every heat path on 70 bad days (loss up to 6 times the plate's, supply, slow pump, liquor 15 %
off, steps of 0.5 K), any line of each: 0.67 to 1.30 (with the loss as the plate has it 0.53 to 1.51), but for one in a
wind of 6 times the plate's loss (0.44).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.history import STEP_S
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState

FIT_S = 300.0  # window
DUE_K = 2.0  # judged where so much rise is due (own trial)
SEEN_SHARE = 0.25  # hardly any rise at all: G09 has the right words
MEASURED = 1.2  # times the low limit in a tun measured with water: its power is true to 10 % (own proposal)
FELL_K = 0.75  # a probe in steps of 0.5 K may fall by one, and some noise, in a climb (own proposal)
TOLD_KEPT = 7


@dataclass(frozen=True, slots=True)
class DoesNotFit(Interlock):
    """The rise that was seen against the rise that was due."""

    ROW: ClassVar[Row] = Row(
        id="G25",
        name="does not fit",
        field="fit_high",
        unit="ratio",
        priority=2,
        clears="latched",
        deadline_s=None,
        says="It warms {value:.2f} times as fast as this tun should (allowed {limit:g} times). Heat is off.",
        do="Does all of the heater heat? Is all liquor, all grain in, was any added? Is the probe's unit right?",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED
    ASKS_HAND: ClassVar[bool] = True
    DOUBTS_FIGURES: ClassVar[bool] = True

    told: tuple[int, ...] = ()  # heat capacities, J/K, of which it was told: from then on a person's word counts

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Once a line: too fast, too slow, or as it must? A climb of whose content nobody was told yet."""
        past, plate, content = known.past, known.plate, round(senses.run.capacity_j_per_k)
        long_s = plate.dead_s + plate.lag_s + FIT_S
        if not past.fresh or past.heat_since is None or content in self.told:
            return self, None
        if senses.now - past.heat_since < long_s or past.ago(long_s) is None:
            return self, None
        if plate.behind_heater and not past.even(plate.power_w, FIT_S):
            return self, None
        found = _misfit(senses, known)
        if found is None or past.fell_k(long_s) > FELL_K:
            return self, None
        return replace(self, told=(*self.told[-TOLD_KEPT:], content)), Finding(self.ROW, *found)

    def next_run(self) -> Self:
        """Another run may hold another mash."""
        return replace(self, told=()) if self.told else self

    def keep(self) -> Self:
        """What was told in a run outlives the process."""
        return self


def _misfit(senses: Senses, known: Known) -> tuple[float, float] | None:
    """How many times as fast as it should does it warm, and how many times may it? None where it fits, or where too
    little is due."""
    past, plate, limits, capacity = known.past, known.plate, senses.tun.guard, senses.run.capacity_j_per_k
    then = past.lines[-1 - round(FIT_S / STEP_S)]
    now_c, (least_j, most_j) = past.lines[-1].temperature_c, past.windows(FIT_S, plate.dead_s + plate.lag_s)
    over_k = max(0.0, (then.temperature_c + now_c) / 2.0 - plate.room_c)
    lost_k = plate.worst_loss_per_s(capacity) * over_k * FIT_S
    least_k, most_k, rise_k = least_j / capacity - lost_k, most_j / capacity, now_c - then.temperature_c
    if most_k >= DUE_K and not (rise_k <= limits.fit_high * most_k):
        return rise_k / most_k, limits.fit_high
    low = limits.fit_low * (MEASURED if plate.measured else 1.0)
    slow = least_k >= DUE_K and SEEN_SHARE * least_k <= rise_k < low * least_k
    return (rise_k / least_k, low) if slow else None
