"""How much of the last hour has only a link forbidden heat that the program asked for?

Gaps of a link say nothing of the mash, so they never latch by their number. But a mash that gets no heat for most of an
hour, or that has fallen by 5 K, is no mash any more: a person is asked, and one answer leads on.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from controller.core.guard.evidence import Evidence
from controller.core.guard.interlock import Note
from controller.core.guard.senses import NO_RUN, Senses
from controller.core.nouns import Demand, Instant, RunState, Trip
from controller.quick_records import quick

MINUTE_S, HALF_HOUR_S, HOUR_S = 60.0, 1800.0, 3600.0
TOLD_SHARE, ASKED_SHARE = 1.0 / 3.0, 2.0 / 3.0  # of half an hour; of an hour (own proposal)
FALLEN_K = 5.0  # below where the mash stood when heat was cut (own proposal)
RETURNS = 30  # more of them within an hour are told: contacts and flames wear (own proposal)


@quick
class LinkGaps(NamedTuple):
    """What is remembered of them within this run."""

    minutes: tuple[tuple[Instant, float], ...] = ()  # of the last hour: when each began, and how long heat was cut, s
    returns: tuple[Instant, ...] = ()  # heat came back, the last few, the newest last
    cut: bool = False  # in the last tick
    ask: str = ""  # why a person is asked how to go on

    def follow(self, senses: Senses, demand: Demand, evidence: Evidence, trips: tuple[Trip, ...]) -> LinkGaps:
        """One tick further. Once a person has answered all of it begins anew, as in the next run."""
        answered = bool(self.ask) and senses.run.state is RunState.RESTARTING
        if senses.run.state in NO_RUN or answered:
            return NONE
        asked = senses.heated and senses.run.target.heat == "hold" and demand.duty > 0.0
        waits = asked and not trips and evidence.in_gap and not evidence.qualified
        cut = waits or (bool(trips) and all(trip.link for trip in trips))
        if not cut and not self.cut:
            return self
        now, returns = senses.now, self.returns
        if not cut and evidence.qualified:
            returns = (*returns[-RETURNS:], now)
        minutes = self._counted(now, min(senses.dt, MINUTE_S)) if cut else self.minutes
        return LinkGaps(minutes, returns, cut, self.ask or (_why(minutes, senses, evidence) if cut else ""))

    def _counted(self, now: Instant, cut_s: float) -> tuple[tuple[Instant, float], ...]:
        """With so many seconds more."""
        recent = tuple(minute for minute in self.minutes if now - minute[0] < HOUR_S)
        if recent and now - recent[-1][0] < MINUTE_S:
            return (*recent[:-1], (recent[-1][0], recent[-1][1] + cut_s))
        return (*recent, (now, cut_s))

    def notes(self, now: Instant) -> Iterator[Note]:
        """What is told of them, short of a question?"""
        share = _share(self.minutes, now, HALF_HOUR_S)
        if share > TOLD_SHARE:
            told = f"For {100.0 * share:.0f} % of the last half hour nothing but a link has kept heat away."
            yield Note("gaps", f"{told} Look at the network and at the nodes' supply.", 2)
        often = sum(now - at < HOUR_S for at in self.returns)
        if often > RETURNS:
            yield Note("returns", f"Heat came back {often} times within an hour, after gaps of a link. It wears.", 2)


def _share(minutes: tuple[tuple[Instant, float], ...], now: Instant, of_s: float) -> float:
    """Of which part of the last so many seconds was heat cut?"""
    return sum(cut_s for began, cut_s in minutes if now - began < of_s) / of_s


def _why(minutes: tuple[tuple[Instant, float], ...], senses: Senses, evidence: Evidence) -> str:
    """Why must a person be asked? Empty: there is no cause."""
    if _share(minutes, senses.now, HOUR_S) > ASKED_SHARE:
        return "for two thirds of the last hour nothing but a link has kept heat away"
    value_c, quiet_c = senses.mash.seen.value_c, evidence.quiet_c
    if value_c is None or quiet_c is None:
        return ""
    fallen_k = quiet_c - evidence.quiet_own_k - value_c
    if fallen_k > FALLEN_K:
        return f"the mash has fallen by {fallen_k:.1f} K while a link was gone"
    return ""


NONE = LinkGaps()
