"""What does the guard remember from tick to tick?"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.guard.evidence import Evidence
from controller.core.guard.heat_account import NEW, HeatAccount
from controller.core.guard.heater_line import HeaterLine
from controller.core.guard.history import History
from controller.core.guard.interlock import Interlock, Known, Note
from controller.core.guard.link_gaps import NONE, LinkGaps
from controller.core.guard.plate import Plate
from controller.core.guard.registry import ALL, DOUBT_FIGURES
from controller.core.nouns import Instant, Trip
from controller.quick_records import maker, quick

_known = maker(Known)


@quick
class Noted(NamedTuple):
    """What is worth knowing, and what is remembered for it."""

    now: tuple[Note, ...] = ()
    said: tuple[tuple[str, Instant], ...] = ()  # when each was said last
    adding_since: Instant | None = None  # an addition stands open
    believed_at: tuple[Instant, ...] = ()  # arrival of the last few believed mash readings
    cold_since: Instant | None = None  # the program wants heat, and none leaves
    cold_why: str = ""
    boot: str = ""  # the heater node's
    boots: tuple[Instant, ...] = ()  # when it started anew, the last few
    zero_reports: int = 0  # in a row that said 0 while its meter showed heat


@quick
class GuardState(NamedTuple):
    """What the guard remembers. A fresh one is shut: it opens by evidence only."""

    plate: Plate
    started_at: Instant = 0.0
    epoch: int = 1
    lost: bool = False  # another controller owns the tun; for good
    link_up: bool = False
    link_since: Instant = 0.0  # of that connection
    trips: tuple[Trip, ...] = ()
    gone: tuple[tuple[str, Instant], ...] = ()  # trips whose cause is absent, since when
    evidence: Evidence = Evidence()
    need_durable: bool = False  # something was decided that must reach the disk before any heat
    durable_need: int = 0
    hand_for: str = ""  # this trip was cleared: a restart wants a hand reading
    noted: Noted = Noted()
    link_gaps: LinkGaps = NONE
    line: HeaterLine = HeaterLine()
    past: History = History()
    heat: HeatAccount = NEW
    interlocks: tuple[Interlock, ...] = ALL

    @property
    def known(self) -> Known:
        """What all interlocks may look at."""
        return _known(
            line=self.line,
            past=self.past,
            heat=self.heat,
            plate=self.plate,
            started_at=self.started_at,
            misfit=self.misfit,
        )

    @property
    def misfit(self) -> bool:
        """Does a trip stand that doubts masses and power?"""
        return bool(self.trips) and any(trip.id in DOUBT_FIGURES for trip in self.trips)

    def shut_until(self, until: Instant, now: Instant) -> GuardState:
        """No heat before, and every reading so far counts no more."""
        off_until = max(self.evidence.off_until, until)
        return self._replace(evidence=self.evidence.anew(now)._replace(off_until=off_until))
