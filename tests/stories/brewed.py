"""A whole brewing day in the simulator, with the record that it leaves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from controller.commands.dryrun.outcome import NOTHING, recorded
from controller.edge.files import config_files, plan_by_name
from controller.edge.record import run_header
from controller.report import RunRecord
from sim import dryrun, true_wort
from sim.people.manner import PATIENT, Manner


def brewed(config: Path, program: str, manner: Manner = PATIENT, **entered: Any) -> tuple[RunRecord, Mapping[str, Any]]:
    """The record of a day, what was entered after it counted, and the outcome as `dryrun --json` has it."""
    made = plan_by_name.load_plan(config, program, None)
    settings = config_files.settings(config, made.tun.name)
    filed = run_header.at_start(config, made, settings, 0.0)
    made = made._replace(course=made.course._replace(people=made.course.people._replace(filed=filed)))
    ran = dryrun.run(settings, made, manner=manner)
    wort = true_wort.follow(made.course, ran.trace)
    answer = dryrun.document(made, ran, [], wort.prediction)
    record = recorded(made, ran, wort, answer, NOTHING)
    late = {"kind": "entry", "at": record.rows[-1].t_s, "by": "brewer", "data": entered}
    return replace(record, grist_kg=made.course.grist_kg, liquor_kg=made.liquor_kg, added=(late,)), answer
