"""Has a program with a decoction one figure, in check, dry run, live status and record?"""

from __future__ import annotations

from typing import Any

import pytest

from controller.brewing.kinetics.lesson import Meant, lesson
from controller.core.plain_values import plain
from controller.core.procedure import estimate
from controller.plan.forecast import forecast
from controller.report import lessons, wort
from controller.report.run_record import Second
from sim import true_wort
from sim.dryrun import DryRun
from tests.sim.conftest import shipped

POINTS = 0.2  # of the apparent limit


def test_dotterel_has_one_figure() -> None:
    """With rests half as long, plan, true temperature of the dry run, live estimate of the same run, record of it and
    the lessons of plan and record agree to 0.2 points, and withhold the same figures in the same words."""
    settings, plan = shipped("gannet", "dotterel", 0.5)
    expected = forecast(plan)
    assert expected is not None
    machine = DryRun(settings, plan, 1)
    assert machine.go().result == "complete"
    live = estimate.document(machine.state.run.mash)
    assert live is not None
    dry = true_wort.follow(plan.course, machine.trace).prediction
    rows = [
        Second(row.t_s, row.probe_c, row.setpoint_c, row.target_c, row.duty, row.step, row.phase, row.state)
        for row in machine.trace.rows
    ]
    course: Any = plain(plan.course, 0.0)
    record = wort.follow(rows, course).prediction
    assert dry is not None and record is not None
    mash = wort.mashed(rows, course)
    meant = [Meant(leg.name, leg.kind, leg.target_c, leg.hold_s) for leg in plan.course.legs]
    taught = lesson("as it went", mash.profile, mash.marks, meant, expected.basis).prediction.as_json()
    lessons_of: tuple[dict[str, Any], ...] = (taught, lessons.of_plan(plan, expected).prediction.as_json())
    planned: dict[str, Any] = expected.prediction.as_json()
    for other in (dry, live, record, *lessons_of):
        assert other["apparent_limit_pct"]["mid"] == pytest.approx(planned["apparent_limit_pct"]["mid"], abs=POINTS)
        assert other["starch_left_pct"] == pytest.approx(planned["starch_left_pct"], abs=POINTS)
        assert other["withheld"] == planned["withheld"]
        assert other["widened"] == planned["widened"]
        assert other["thickness_kg_per_kg"] == pytest.approx(3.0)
