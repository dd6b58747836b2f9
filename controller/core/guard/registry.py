"""Which interlocks are there? A new one has a file in interlocks/, a line here and a test."""

from __future__ import annotations

from controller.core.guard.interlock import Interlock, Row
from controller.core.guard.interlocks.g02_reading_gone import ReadingGone
from controller.core.guard.interlocks.g04_reading_jumped import ReadingJumped
from controller.core.guard.interlocks.g05_probes_differ import ProbesDiffer
from controller.core.guard.interlocks.g06_above_program import AboveProgram
from controller.core.guard.interlocks.g07_hard_limit import HardLimit
from controller.core.guard.interlocks.g08_outlet_hot import OutletHot
from controller.core.guard.interlocks.g09_no_heat_seen import NoHeatSeen
from controller.core.guard.interlocks.g10_heat_not_asked_for import HeatNotAskedFor
from controller.core.guard.interlocks.g11_cannot_keep_up import CannotKeepUp
from controller.core.guard.interlocks.g12_heat_ledger import HeatLedger
from controller.core.guard.interlocks.g13_no_liquid import NoLiquid
from controller.core.guard.interlocks.g14_heater_silent import HeaterSilent
from controller.core.guard.interlocks.g15_heater_contradicts import HeaterContradicts
from controller.core.guard.interlocks.g17_loop_late import LoopLate
from controller.core.guard.interlocks.g19_second_controller import SecondController
from controller.core.guard.interlocks.g20_journal_bad import JournalBad
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.interlocks.g24_keeps_tripping import KeepsTripping
from controller.core.guard.interlocks.g25_does_not_fit import DoesNotFit

ALL: tuple[Interlock, ...] = (  # in the order in which they are asked: of two of one priority the first is told first
    HardLimit(),
    AboveProgram(),
    ReadingGone(),
    ReadingJumped(),
    ProbesDiffer(),
    OutletHot(),
    NoLiquid(),
    HeaterSilent(),
    HeaterContradicts(),
    LoopLate(),
    SecondController(),
    RunTooLong(),
    NoHeatSeen(),
    HeatNotAskedFor(),
    CannotKeepUp(),
    DoesNotFit(),
    HeatLedger(),
    JournalBad(),
    KeepsTripping(),
)
BY_ID: dict[str, Row] = {interlock.ROW.id: interlock.ROW for interlock in ALL}
DOUBT_FIGURES = frozenset(interlock.ROW.id for interlock in ALL if interlock.DOUBTS_FIGURES)
