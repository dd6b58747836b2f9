"""What is an interlock?

One frozen value: its row of the table, its constants, its memory as its fields, and what it watches. The gate asks it
only in the states that `STATES` names; the documentation prints the same value. Nobody else knows its id.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, NamedTuple, Self

from controller.core.guard.heat_account import HeatAccount
from controller.core.guard.heater_line import HeaterLine
from controller.core.guard.history import History
from controller.core.guard.plate import Plate
from controller.core.guard.senses import Senses
from controller.core.nouns import Instant, RunState, Trip

Clears = Literal["evidence", "requalified", "latched"]


class Row(NamedTuple):
    """One row of the table."""

    id: str
    name: str
    field: str  # of settings.guard_limits.Limits; "" where there is none
    unit: str
    priority: int  # 1 act now, 2 act soon, 3 note
    clears: Clears
    deadline_s: float | None  # to duty 0, from the first offending message; None: it depends on the tun
    says: str  # with {value} and {limit}
    do: str


class Finding(NamedTuple):
    """An interlock has cause to act."""

    row: Row
    value: float
    limit: float
    latched: bool | None = None  # None: as the row says
    cut_only: bool = False  # no trip: heat is off for this tick
    says: str = ""  # in place of the row's sentence, where the cause is known more closely
    unit: str = ""  # of value and limit, where it is not the row's
    gap_s: float | None = None  # a link gap: heat is off at once, and it is a trip once the gap has lasted so long

    @property
    def latches(self) -> bool:
        """Does it wait for a person?"""
        return self.row.clears == "latched" if self.latched is None else self.latched

    @property
    def words(self) -> str:
        """The sentence, with value, limit and what to do."""
        return f"{(self.says or self.row.says).format(value=self.value, limit=self.limit)} {self.row.do}"


class Note(NamedTuple):
    """Something worth knowing that takes no heat away."""

    key: str
    text: str
    priority: int = 3  # 1 act now, 2 act soon, 3 a note


class Known(NamedTuple):
    """What the guard remembers for all of its interlocks."""

    line: HeaterLine
    past: History
    heat: HeatAccount
    plate: Plate
    started_at: Instant  # of this process
    misfit: bool = False  # a trip stands that doubts masses and power


@dataclass(frozen=True, slots=True)
class Interlock:
    """The base of all: remembers nothing, finds nothing."""

    ROW: ClassVar[Row]
    STATES: ClassVar[frozenset[RunState]]  # the gate asks in these alone
    LATE: ClassVar[str] = ""  # said where a clear is refused because the cause is still there
    OWES: ClassVar[str] = "inspected"  # the word of a clear that `why_not_clear` is told
    ON_TRIAL: ClassVar[bool] = False  # only heat can show whether its cause is gone: the first is one pulse
    ASKS_HAND: ClassVar[bool] = False  # it doubts the probe: a restart after its clear wants a hand reading
    DOUBTS_FIGURES: ClassVar[bool] = False  # the tun warms otherwise than its masses and power say
    TAKES_THE_TUN: ClassVar[bool] = False  # another controller has it: this process never heats again

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Is there cause to act, and what is remembered of this tick?"""
        return self, None

    def asleep(self, senses: Senses) -> Self:
        """What stays of the memory in a state in which nobody asks?"""
        return self

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """With heat off anyway: is the cause of its own trip still there, as if the run went on?"""
        return None

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """What is worth saying short of a trip?"""
        return ()

    def tripped(self, trip: Trip, senses: Senses) -> tuple[Self, Finding | None]:
        """Any interlock has tripped: is that one too many?"""
        return self, None

    def why_not_clear(self, said: object) -> str:
        """What does a person owe before the trip may be cleared? Nothing: empty. `said`: the word that it asks for."""
        return ""

    def cleared(self) -> Self:
        """What does a person's clear of its trip change?"""
        return self

    def next_run(self) -> Self:
        """What stays when a run is over? What belongs to one run begins anew with the next."""
        return self

    def keep(self) -> Self | None:
        """What must survive a restart of the process? All of it, or nothing; one that does stands in kept.py, too."""
        return None

    def recalled(self, now: Instant) -> Self:
        """As an earlier process kept it: nothing that has happened lies ahead."""
        return self
