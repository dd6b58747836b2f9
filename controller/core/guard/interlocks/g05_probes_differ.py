"""G05: do two probes in one mash disagree for a minute? The only watch that sees a slow drift of the one that heats.

For 10 min after an addition twice the limit holds: in a pumped bed hot liquor may lie 5 K over the setpoint by then.
The minute counts from the first reading on another level, believed or not, so that a jump of one probe is no delay.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.history import apart_k
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import HEATED, TICK_S, Probed, Senses
from controller.core.nouns import Instant, RunState, Trip

NOTE_S = 120.0  # half of the limit for so long is worth a note (own proposal)
SILENT_S = 60.0  # the second probe has given no reading for so long (own proposal)


@dataclass(frozen=True, slots=True)
class ProbesDiffer(Interlock):
    """Since when do they differ, by the limit and by half of it?"""

    ROW: ClassVar[Row] = Row(
        id="G05",
        name="probes differ",
        field="probes_differ_k",
        unit="K",
        priority=1,
        clears="latched",
        deadline_s=60.0,
        says="The two mash probes differ by {value:.1f} K (limit {limit:g} K). Heat is off.",
        do="Stir or recirculate, and compare both with a hand thermometer.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED
    ASKS_HAND: ClassVar[bool] = True

    since: Instant | None = None
    half_since: Instant | None = None

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Do they differ, and for how long?"""
        apart, now, limits = _apart_k(senses, known), senses.now, senses.tun.guard
        if apart is None or senses.blocked:
            return self.asleep(senses), None
        limit = apart_k(limits.probes_differ_k, known.past.added_at, now)
        since = None if apart <= limit else now if self.since is None else self.since
        half = None if not (apart > limit / 2) else now if self.half_since is None else self.half_since
        after = self if (since, half) == (self.since, self.half_since) else replace(self, since=since, half_since=half)
        if since is None or now - since < limits.probes_differ_s - TICK_S:
            return after, None
        return after, Finding(self.ROW, apart, limit)

    def asleep(self, senses: Senses) -> Self:
        """The time begins anew."""
        return self if self.since is None and self.half_since is None else replace(self, since=None, half_since=None)

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """Do they still differ by the limit of the trip?"""
        apart = _apart_k(senses, known)
        if apart is None or trip.limit is None or apart < trip.limit:
            return None
        return Finding(self.ROW, apart, trip.limit)

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """Half the limit for two minutes; a second probe that says nothing."""
        found = []
        if self.half_since is not None and senses.now - self.half_since >= NOTE_S:
            half_k = senses.tun.guard.probes_differ_k / 2
            found.append(Note("G05", f"The two mash probes differ by more than {half_k:g} K."))
        if senses.heated and senses.second is not None:
            known_s = senses.now - known.started_at
            if said := readings.missing(senses.second, "second mash probe", known_s, SILENT_S):
                unwatched = "Whether the probes differ (G05) is not watched meanwhile."
                found.append(Note("second", f"{said} {unwatched} Check the probe, its plug and its network.", 2))
        return tuple(found)


def _apart_k(senses: Senses, known: Known) -> float | None:
    """By how much do the two mash probes differ, K? None where one of them says nothing. One behind the heater may
    read as much more than the other as the heater adds there."""
    a, b = _level_c(senses.mash), _level_c(senses.second)
    if a is None or b is None:
        return None
    probes = senses.tun.probes
    first, second = probes.mash.behind_heater, probes.second is not None and probes.second.behind_heater
    if first == second:
        return abs(a - b)
    over_k = a - b if first else b - a
    return max(-over_k, over_k - readings.heater_adds_k(senses, known))


def _level_c(probed: Probed | None) -> float | None:
    """Where does a probe's reading stand, a new level that is not believed yet included? °C"""
    if probed is None:
        return None
    return probed.seen.value_c if probed.seen.jump_c is None else probed.seen.jump_c
