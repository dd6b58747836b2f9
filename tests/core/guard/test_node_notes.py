"""A heater node that starts again and again, or says 0 whatever its meter shows."""

from __future__ import annotations

from controller.core.guard.node_notes import BOOTS_S, REBOOTS, ZERO, ZERO_REPORTS, found, remembered
from controller.core.guard.state import Noted
from controller.core.nouns import HeaterReport
from tests.core.guard.looks import NOW, report, senses


def after(*reports: tuple[float, HeaterReport]) -> tuple[Noted, list[str]]:
    """What is remembered of these reports, each so many seconds later, and what is told at the last, all of it soon."""
    noted, texts = Noted(), list[str]()
    for later_s, heard in reports:
        seen = senses(now=NOW + later_s, report=heard)
        noted = remembered(noted, seen)
        texts = [note.text for note in found(noted, seen) if note.priority == 2]
    return noted, texts


def boots(*starts_s: float) -> list[str]:
    """A node heard first, then with a new boot at each of these times."""
    return after((-1.0, report(boot="first")), *((s, report(boot=f"b{s}")) for s in starts_s))[1]


def test_three_starts_in_ten_minutes_are_told() -> None:
    """The one before is no start of ours; the first of the three must lie within the time."""
    assert boots(0.0, 300.0) == []
    assert boots(0.0, 300.0, BOOTS_S - 0.1) == [REBOOTS]
    assert boots(0.0, 300.0, BOOTS_S) == []
    assert boots(0.0, 300.0, BOOTS_S, BOOTS_S + 299.9) == [REBOOTS]


def test_a_report_of_0_over_a_meter_that_shows_heat_is_told() -> None:
    """Eight in a row of more than a tenth of the plate; one that owns up to its output, or a meter without heat, or
    none, begins anew."""
    lie, calm = report(duty=0.0, power_w=500.1), report(duty=0.0, power_w=500.0)
    row = [(float(n), lie) for n in range(ZERO_REPORTS)]
    assert after(*row)[1] == [ZERO]
    assert after(*row[1:])[1] == []
    for ends in (calm, report(duty=0.9, power_w=4000.0), report(duty=0.0)):
        assert after(*row, (20.0, ends))[0].zero_reports == 0
    assert remembered(Noted(zero_reports=3), senses(report=None)) == Noted(zero_reports=3)
