"""Which lesson is in a plan, and which in a run?"""

from __future__ import annotations

from collections.abc import Sequence

from controller.brewing.kinetics import malts
from controller.brewing.kinetics.lesson import Lesson, Meant, as_rests, lesson
from controller.brewing.kinetics.model import spans
from controller.brewing.kinetics.what_if import Variation, what_if
from controller.plan.forecast import VARIED_S, Forecast
from controller.plan.plan import Plan
from controller.report.run_record import RunRecord


def of_plan(plan: Plan, expected: Forecast) -> Lesson:
    """The lesson of a plan, as it would go if the tun followed it exactly."""
    meant = [
        Meant(stage.name, stage.kind, stage.target_c, stage.hold_s) for stage in plan.stages if stage.at is not None
    ]
    if expected.marks and expected.marks[0].name == "dough-in":
        meant.insert(0, Meant("dough-in", "dough_in", plan.strike_c or plan.landing_c, 0.0))
    title = f"{plan.program.title}, as planned"
    return lesson(title, expected.profile, expected.marks, meant, expected.basis, expected.variations)


def of_record(record: RunRecord) -> Lesson | None:
    """The lesson of a run by its temperatures; None where the record shows no mash."""
    if not record.marks or not spans(record.profile):
        return None
    basis = malts.recalled(record.malt)
    meant = [Meant(step.name, step.kind, step.target_c, step.hold_s) for step in record.planned]
    title = f"{record.title}, {'simulated' if record.dry else 'as it went'}"
    found = lesson(title, record.profile, record.marks, meant, basis, _varied(record, meant, basis))
    return found._replace(figures=record.prediction)  # one figure wherever a run is told


def _varied(record: RunRecord, meant: Sequence[Meant], basis: malts.Basis) -> tuple[Variation, ...]:
    """What would a change of each rest have done? Nothing of a mash that soured for days."""
    if sum(dt_s for dt_s, _ in spans(record.profile)) > VARIED_S:
        return ()
    rests = as_rests(record.profile, record.marks, meant)
    return tuple(one for one in what_if(rests, basis.malt, basis.params) if one.name != "dough-in")
