"""What does the mash do while no heat reaches it, until when can it be saved, and what will going on do to the rest?

For a person at three in the morning: one sentence each, after the two of the trip (what is wrong, what to do). Figures
come from the plan's loss and what is in the tun; they inform and decide nothing.
"""

from math import ceil, log
from typing import NamedTuple

from controller.core.nouns import Instant, Leg, Phase, RunState, Trip
from controller.core.procedure.resume import ASK_FROM_S, HALF_C
from controller.core.procedure.run import KEPT, Run, capacity_j_per_k, leg_of

S = RunState
COLD = frozenset({S.HOLDING, S.HELD, S.RESTARTING})
SOUR_C = 50.0  # a mash that stands below sours within hours (common practice: lactic bacteria thrive up to about 50 °C)
AHEAD_K = 2.0  # the fall is told for so much
NO_READING = "Nobody knows how warm the mash is; measure it by hand."


class Cooling(NamedTuple):
    """A lump of heat in its room."""

    mash_c: float
    room_c: float
    per_s: float  # share of its difference to the room lost a second

    @property
    def k_per_min(self) -> float:
        return 60.0 * self.per_s * (self.mash_c - self.room_c)

    def until_s(self, c: float) -> float | None:
        """When is it down to c °C, s? None where it never is."""
        if not (self.per_s > 0.0 and self.room_c < c < self.mash_c):
            return None
        return log((self.mash_c - self.room_c) / (c - self.room_c)) / self.per_s


def meanwhile(run: Run, trips: tuple[Trip, ...], mash_c: float | None, room_c: float, now: Instant) -> str:
    """The sentences of a mash that gets no heat; empty while it does, and while there is none."""
    if run.state not in COLD and not (trips and run.state in KEPT):
        return ""
    leg, capacity, course = leg_of(run), capacity_j_per_k(run), run.course
    if leg is None or capacity is None or course is None or run.phase is Phase.ARMED:
        return ""
    if mash_c is None:
        return NO_READING
    cooling = Cooling(mash_c, room_c, course.loss_w_per_k / capacity)
    if not run.grain_in:
        return f"{_falls(cooling, 'liquor')} There is no grain in it: nothing spoils."
    held_s = now - run.state_since if run.state in COLD else 0.0
    return f"{_falls(cooling, 'mash')} {_saved(cooling, leg, held_s)} {_going_on(run, leg, mash_c)}"


def _falls(cooling: Cooling, what: str) -> str:
    lower_c = float(ceil(cooling.mash_c - AHEAD_K))
    in_s = cooling.until_s(lower_c)
    then = f", falls by {cooling.k_per_min:.2g} K/min; at {lower_c:.0f} °C in {span(in_s)}" if in_s is not None else ""
    return f"The {what} is at {cooling.mash_c:.1f} °C{then}."


def _saved(cooling: Cooling, leg: Leg, held_s: float) -> str:
    """Until when? As warm as keeps it from souring, and no longer than an outage that ends the run."""
    left_s = max(0.0, ASK_FROM_S - held_s)
    if leg.kind == "souring":
        return "It sours on as it was meant to."
    if cooling.mash_c <= SOUR_C and leg.target_c > SOUR_C:
        return f"Below {SOUR_C:.0f} °C it sours: go on soon, or give it up."
    in_s = cooling.until_s(SOUR_C)
    left_s = left_s if in_s is None else min(left_s, in_s)
    return f"It can be saved for {span(left_s)} more."


def _going_on(run: Run, leg: Leg, mash_c: float) -> str:
    """What will going on do to the rest?"""
    rise_k = max(0.0, leg.target_c - mash_c)
    again = f" heats {rise_k:.1f} K first, {span(rise_k / leg.climb_k_per_s)} or more" if rise_k > 1.0 else ""
    up = f"Going on{again}"
    left_s = max(0.0, leg.hold_s - run.progress.credited_s)
    if leg.kind not in ("rest", "mash_out", "souring") or run.phase not in (Phase.RAMPING, Phase.RESTING):
        return f"{up}, and {leg.name} goes on where it was."
    rest = f"{span(left_s)} of {leg.name} are left" if run.phase is Phase.RESTING else f"{leg.name} begins then"
    worked = "; the enzymes work on meanwhile" if leg.kind == "rest" and mash_c >= HALF_C else ""
    return f"{up}; {rest}{worked}."


def span(seconds: float) -> str:
    """A duration for a person."""
    minutes = round(seconds / 60.0)
    return f"{max(1, minutes)} min" if minutes < 100 else f"{seconds / 3600.0:.1f} h"


def waits_for(run: Run, trips: tuple[Trip, ...]) -> str | None:
    """What is a person to do, so that it goes on? The question, or the order that a hold needs; None where nothing."""
    if run.prompt is not None:
        return run.prompt.text
    latched = [trip.id for trip in trips if trip.latched]
    if run.state is not S.HELD or run.hold.by not in ("person", "latched"):
        return f"{', '.join(latched)} to be cleared" if latched else None
    first = f"look at the tun, `clear` {', '.join(latched)}, then " if latched else ""
    return f"{first}`restart` goes on, `stop` ends the run"
