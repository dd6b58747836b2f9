"""How does a dry run become a run record, and from it a page?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.brewing.kinetics import malts
from controller.commands.dryrun.fault_report import FaultReport
from controller.core.procedure import time_left
from controller.report import wort_page
from sim import dryrun, true_wort

if TYPE_CHECKING:
    from controller.plan.plan import Plan


def write_page(
    path: Path, plan: Plan, ran: dryrun.Ran, brewed: true_wort.Wort, answer: dict[str, Any], more: FaultReport
) -> None:
    from controller import __version__, report

    rows = [
        {**row._asdict(), **dict(zip(true_wort.COLUMNS, cells, strict=True))}
        for row, cells in zip(ran.trace.rows, brewed.columns, strict=True)
    ]
    planned = [
        report.PlanEntry(
            leg.name, leg.kind, leg.target_c, leg.ramp_s, leg.hold_s, leg.why, mixing_s=time_left.mixing_s(leg)
        )
        for leg in plan.course.legs
    ]
    record = report.from_rows(
        rows,
        planned,
        title=plan.program.title,
        tun=plan.tun.title or plan.tun.name,
        program=plan.program.name,
        state=ran.result,
        steps=answer["steps"],
        events=[
            report.EventRecord(e.at_s, e.kind, e.id, e.text, e.value, e.limit, e.unit, e.priority)
            for e in ran.trace.happenings
        ],
        prediction=brewed.prediction,
        meta={"seed": str(ran.seed), "digest": ran.digest[:16], "version": __version__},
        energy_kwh=answer["energy_kwh"],
    )
    report.write(
        path,
        replace(
            record,
            windows="\n".join(windows(plan, ran)),
            planned_s=plan.duration_s,
            landing_c=plan.course.landing_c,
            faults=more.faults,
            remarks=tuple(filter(None, (more.unfinished, *more.idle))),
        ),
    )


def windows(plan: Plan, ran: dryrun.Ran) -> list[str]:
    """The enzymes' windows drawn; the iodine test is left out, for the estimate tells it."""
    pieces, marks = true_wort.profile(plan.course, ran.trace)
    drawn = wort_page.picture(pieces, marks, malts.recalled(plan.course.malt)) if pieces else []
    return [line for line in drawn if not line.strip().startswith("Iodine-negative")]
