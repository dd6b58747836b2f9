"""What the record of a laboratory mash works out: the curve by its samples, and each beaker's wort."""

from __future__ import annotations

from typing import Any

import pytest

from controller.report import laboratory
from controller.report.run_record import EventRecord, PlanEntry, RunRecord, Second

PLANNED = (PlanEntry("45 °C", "rest", 45.0, 0.0, 1800.0), PlanEntry("70 °C", "rest", 70.0, 1500.0, 3600.0))


def curve(k_per_min: float, off_k: float = 0.0, off_s: int = 0) -> list[Second]:
    """A minute at 45 °C, a straight rise, ten minutes at 70 °C of which so many seconds are off."""
    found = [Second(float(t), 45.1, 45.0, 45.0, 0.2, 0, "resting", "running") for t in range(60)]
    rise_s = round(25.0 / k_per_min * 60.0)
    found += [
        Second(60.0 + t, 45.0 + t * k_per_min / 60.0, None, 70.0, 0.8, 1, "ramping", "running") for t in range(rise_s)
    ]
    for t in range(600):
        now_c = 70.0 + (off_k if 100 <= t < 100 + off_s else 0.1)
        found.append(Second(60.0 + rise_s + t, now_c, 70.0, 70.0, 0.2, 1, "resting", "running"))
    return found


def bath(rows: list[Second], *events: EventRecord) -> RunRecord:
    """Two beakers of a lot, fine and coarse, in one bath."""
    filed = [
        EventRecord(0.0, "beaker", str(n), "", data={"lot": "A", "grist_kg": 0.05, "grind": grind, "moisture": 0.045})
        for n, grind in ((1, "fine"), (2, "coarse"))
    ]
    return RunRecord("Bath", "wren", "bath", "run", "complete", rows, PLANNED, events=(*filed, *events))


@pytest.mark.parametrize(("k_per_min", "even"), [(1.0, True), (0.9, False), (1.06, False)])
def test_a_rise_is_told_by_its_slope(k_per_min: float, even: bool) -> None:
    """Between its bends it is what was drawn, and outside 0.95 to 1.05 K/min it is said so."""
    rise = laboratory.curve(bath(curve(k_per_min)))[1]
    assert rise.rise_k_per_min == pytest.approx(k_per_min, abs=0.001) and rise.even is even
    told = dict(laboratory.lines(bath(curve(k_per_min))))["curve, 70 °C"]
    assert ("as it must be" in told) is even and ("outside 0.95 to 1.05 K/min" in told) is not even


def test_a_rest_is_told_by_its_worst_and_its_longest_time_off() -> None:
    """0.1 K is true; 0.5 K under for 40 s is off for those; no run that is no laboratory's has a curve."""
    true, off = (laboratory.curve(bath(rows))[1] for rows in (curve(1.0), curve(1.0, -0.5, 40)))
    assert (true.worst_k, true.off_s) == (0.1, 0.0)
    assert (off.worst_k, off.off_s) == (-0.5, 39.0)
    plain = RunRecord("Beer", "wren", "beer", "run", "complete", curve(1.0), PLANNED)
    assert laboratory.curve(plain) == [] and laboratory.document(plain) is None


def entry(**data: Any) -> EventRecord:
    return EventRecord(9000.0, "entry", "beaker", "", data={**data, "by": "analyst"})


def test_each_beaker_is_worked_out_by_its_number() -> None:
    """W58: 8.80 °P fine and 8.63 °P coarse at 4.5 % give 77.63 and 75.99 % as is, 1.72 % between them on dry malt; a
    value entered anew is that beaker's alone."""
    first, second = entry(beaker=1, congress_p=8.70), entry(beaker=2, congress_p=8.63)
    record = bath(curve(1.0), first, second, entry(beaker=1, congress_p=8.80))
    fine, coarse = laboratory.beakers(record)
    assert fine["extract_as_is_share"] == pytest.approx(0.7763, abs=1e-4)
    assert coarse["extract_as_is_share"] == pytest.approx(0.7599, abs=1e-4)
    assert laboratory.fine_coarse(record)["A"] == pytest.approx(0.0172, abs=1e-4)
    document = laboratory.document(record) or {}
    assert [one["beaker"] for one in document["beakers"]] == [1, 2] and document["fine_less_coarse_dry"]["A"] > 0.0
    told = dict(laboratory.lines(record))
    assert told["beaker 2"] == "50.00 g, coarse, lot A" and told["fine less coarse, lot A"] == "1.7 % of dry malt"
