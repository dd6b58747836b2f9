"""G25: does it warm as what is said to be in the tun must? Half of the grain, a tun filled to the wrong mark, a probe
that speaks °F: all show in the first ramp.

Judged once for liquor and once for mash. Heat takes between nothing and dead time + 3 lags to show, and where a pump
moves the bed half a turnover more, 300 s at most. So the rise of the window is held against the least and the most
energy of any window up to that long ago: at the foot of a ramp they differ, on it they agree. A probe behind the heater
reads higher as heat goes up, so there the heat of the last 60 and 20 s must be what it was when the window began.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import RunState

FIT_S = 300.0  # window
DUE_K = 2.0  # judged where so much rise is due (own trial)
SEEN_SHARE = 0.25  # hardly any rise at all: G09 has the right words
FITTED_KEPT = 7


@dataclass(frozen=True, slots=True)
class DoesNotFit(Interlock):
    """The rise that was seen against the rise that was due, once for each heat capacity."""

    ROW: ClassVar[Row] = Row(
        id="G25",
        name="does not fit",
        field="fit_high",
        unit="ratio",
        priority=2,
        clears="latched",
        deadline_s=None,
        says="It warms {value:.2f} times as fast as this tun should (allowed {limit:g} times). Heat is off.",
        do="Is all liquor, is all grain in, was liquor added? Is the probe's unit right?",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED
    ASKS_HAND: ClassVar[bool] = True
    DOUBTS_FIGURES: ClassVar[bool] = True

    fitted: tuple[int, ...] = ()  # heat capacities, J/K, for which it has been judged

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Once a line, until it has been judged: too fast, too slow, or as it must?"""
        past, plate, limits = known.past, known.plate, senses.tun.guard
        capacity, lag_s = senses.run.capacity_j_per_k, plate.dead_s + plate.lag_s
        if not past.fresh or past.heat_since is None or round(capacity) in self.fitted:
            return self, None
        then = past.ago(FIT_S)
        if then is None or senses.now - past.heat_since < lag_s + FIT_S or past.ago(lag_s + FIT_S) is None:
            return self, None
        if plate.behind_heater and not past.even(plate.power_w, FIT_S):
            return self, None
        mean_c = (then.temperature_c + past.lines[-1].temperature_c) / 2.0
        loss_j = plate.loss_w_per_k * (mean_c - plate.room_c) * FIT_S
        least_k, most_k = ((energy_j - loss_j) / capacity for energy_j in past.windows(FIT_S, lag_s))
        rise_k = past.lines[-1].temperature_c - then.temperature_c
        judged = replace(self, fitted=(*self.fitted[-FITTED_KEPT:], round(capacity)))
        if most_k >= DUE_K and not (rise_k <= limits.fit_high * most_k):
            return judged, Finding(self.ROW, rise_k / most_k, limits.fit_high)
        if least_k < DUE_K or rise_k < SEEN_SHARE * least_k:
            return self, None
        slow = rise_k < limits.fit_low * least_k
        return judged, Finding(self.ROW, rise_k / least_k, limits.fit_low) if slow else None

    def next_run(self) -> Self:
        """Another run may hold another mash."""
        return replace(self, fitted=()) if self.fitted else self

    def keep(self) -> Self:
        """The verdicts of a run outlive the process."""
        return self
