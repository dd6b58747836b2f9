"""What do the brewery's measured worts say of the model? `underback compose --calibrate records`, or FILE.

Each batch brings its temperatures, from the record of its run or as its program plans them, and the limit attenuation
that was measured: entered on the record once the wort was fermented out (`limit_pct`), or written in a file. The fit is
bounded, shown, and recorded in the data folder.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from pathlib import Path

from controller.brewing.kinetics import calibration
from controller.brewing.kinetics.calibration import Batch, Calibration, Implausible
from controller.brewing.kinetics.model import DEFAULT_MALT, Deed, Malt, Span
from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.edge.files import config_files, measured_worts, plan_by_name
from controller.edge.files.measured_worts import Measured
from controller.plan import forecast
from controller.plan.plan import malt_basis
from controller.report import amendments, batch_entries, from_disk
from controller.settings.problems import Problem, Problems
from controller.settings.service import Service

RECORDS = "records"


def run(config: Path, listed: str, as_json: bool) -> int:
    """Fit, record, show. Raises Problems or Wrong with every problem at once."""
    service = config_files.load_service(config)
    measured = on_record(config, service) if listed == RECORDS else measured_worts.load_batches(Path(listed))
    batches = _batches(config, service, measured)
    try:
        found = calibration.calibrate(batches)
    except Implausible as wrong:
        raise Wrong(*wrong.problems) from None
    try:
        path = measured_worts.save(service, found, measured, datetime.datetime.now(datetime.UTC).date().isoformat())
    except OSError as why:
        raise Wrong(f"{why.filename}: {why.strerror}") from None
    terminal.show(as_json, {**found.as_record(), "file": str(path)}, _page(found, path))
    return DONE


def on_record(config: Path, service: Service) -> tuple[Measured, ...]:
    """Every run of every tun whose limit was entered. Raises Wrong where there is none."""
    found = []
    for tun in config_files.names(config / "tuns"):
        folder = Path(service.data_dir) / "record" / tun
        for seen in {one.run: one for one in reversed(from_disk.runs(folder))}.values():  # its first file names it
            paths = [one.path for one in from_disk.find(folder, seen.run)]
            added = amendments.read(amendments.place(folder, seen.number), paths).lines
            try:
                limit_pct = batch_entries.newest(from_disk.read(paths, added=added), "limit_pct")
            except (OSError, ValueError) as why:
                raise Wrong(f"--calibrate: run {seen.run} cannot be read: {why}") from None
            if limit_pct is not None:
                found.append(Measured(run=seen.run, tun=tun, limit_attenuation=float(limit_pct) / 100.0))
    if not found:
        enter = "underback report RUN --enter limit_pct=80"
        raise Wrong(f"--calibrate: found no run with its limit on record, wanted one or more: `{enter}` enters it")
    return tuple(found)


def _batches(config: Path, service: Service, measured: Sequence[Measured]) -> list[Batch]:
    problems: list[Problem] = []
    found = []
    for at, one in enumerate(measured, start=1):
        try:
            profile, malt = _ran(config, service, one) if one.run else _planned(config, one)
            found.append(Batch(profile, 100.0 * one.limit_attenuation, malt))
        except Problems as wrong:
            problems += [problem._replace(where=f"batch {at}: {problem.where}") for problem in wrong.problems]
    if problems:
        raise Problems(problems)
    return found


def _planned(config: Path, one: Measured) -> tuple[list[Span | Deed], Malt]:
    """The temperatures of a program as planned, and its malt without any calibration."""
    plan = plan_by_name.load_plan(config, one.program, one.tun or None)
    expected = forecast.forecast(plan)
    if expected is None:
        raise Problems([Problem("program", f'"{one.program}", a run with water alone', "a program with grist")])
    return expected.profile, malt_basis(plan.program).malt


def _ran(config: Path, service: Service, one: Measured) -> tuple[list[Span | Deed], Malt]:
    """The measured temperatures of a run; its program's malt, where that program is still there."""
    tun = one.tun or config_files.only_tun(config)
    files_of_run = [seen.path for seen in from_disk.find(Path(service.data_dir) / "record" / tun, one.run)]
    wanted = f"a run of {tun} with grain in it, as `underback runs` lists them"
    if not files_of_run:
        raise Problems([Problem("run", f'"{one.run}", which is not on record', wanted)])
    try:
        record = from_disk.read(files_of_run)
    except (OSError, ValueError) as why:
        raise Problems([Problem("run", f'"{one.run}": {why}', wanted)]) from None
    profile = record.profile
    if not profile:
        raise Problems([Problem("run", f'"{one.run}", whose record shows no dough-in', wanted)])
    return list(profile), _malt(config, record.program)


def _malt(config: Path, program: str) -> Malt:
    try:
        return malt_basis(config_files.load_program(config, program)).malt
    except Problems:
        return DEFAULT_MALT


def _page(found: Calibration, path: Path) -> Iterator[str]:
    yield f"The estimate was fitted to {found.batches} measured worts."
    before, after = found.rms_before_points, found.rms_after_points
    yield f"  miss before {before:.1f} points, after {after:.1f} points (root mean square)"
    yield f"  limit-dextrin share {found.from_share:.3f} -> {found.limit_dextrin_share:.3f}"
    yield f"  beta-amylase is lost {found.beta_loss_factor:.2f} times as fast as before"
    for name in found.at_bound:
        yield f"  {name} stopped at its bound: these worts ask for more than the model can give; check the measurements"
    yield f"  recorded in {path}; delete that file to undo it"
