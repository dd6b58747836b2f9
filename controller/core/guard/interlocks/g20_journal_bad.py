"""G20: a run without a record cannot go on by itself after a power cut: nobody would know what was decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from controller.core.guard.interlock import Interlock, Known, Note, Row
from controller.core.guard.senses import Senses
from controller.core.nouns import RunState

WHY = 'say why this tun may be used without that record: reason="..."'


@dataclass(frozen=True, slots=True)
class JournalBad(Interlock):
    """Told while the disk takes nothing, or hangs; a trip where a process that starts finds the record damaged, or
    short of what the last process told. That no heat leaves before a decision is on disk, the gate sees to."""

    ROW: ClassVar[Row] = Row(
        id="G20",
        name="journal bad",
        field="",
        unit="",
        priority=2,
        clears="latched",
        deadline_s=None,
        says="The run record cannot be written or read; this run will not resume by itself.",
        do="Free disk space or mend the disk.",
    )
    STATES: ClassVar[frozenset[RunState]] = frozenset()  # found by the reader of the record, at the start
    OWES: ClassVar[str] = "reason"

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """Does the disk take what is written?"""
        return () if senses.own.disk_ok else (Note("G20", f"{self.ROW.says} {self.ROW.do}"),)

    def why_not_clear(self, said: object) -> str:
        """Somebody must say why the tun may be used without what is lost."""
        return "" if isinstance(said, str) and said.strip() else WHY
