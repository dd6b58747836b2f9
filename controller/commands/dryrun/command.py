"""`underback dryrun`: how would this program go on this tun? Real core and guard, simulated tun, no broker."""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.brewing.kinetics import malts
from controller.commands.dryrun.fault_report import NOTHING, FaultReport, fault_table, told
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.core.procedure import time_left
from controller.edge.files import config_files, output_files, plan_by_name
from controller.edge.record import calibrations
from controller.plan.forecast import Forecast, forecast
from controller.report import plan_notes, wort_page
from controller.settings.problems import Problems
from controller.settings.table import show
from controller.settings.tun import Settings
from sim import dryrun, trace, true_wort
from sim.people.person import Manner
from sim.world.faults import Fault, parse

if TYPE_CHECKING:
    from controller.brewing.advice.advice import Changes
    from controller.plan.plan import Plan

COLUMNS = (
    "  rise: until the mash is in band. over: the most over the target on the way up, K. mean: of the rest, °C.",
    "  rms: how far the rest was from its target, K (root of the mean square). All by the mash's true temperature.",
)
BAR_AFTER_S = 900.0  # simulated: below that a run is over before a bar could be read


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which program on which tun, with which faults, and where does the outcome go?"""
    parser.add_argument("program", nargs="?", metavar="PROGRAM", help="a name below programs/, or a file")
    parser.add_argument("--tun", metavar="NAME", help="a tun below tuns/; else the program's own, else the only one")
    parser.add_argument(
        "--seed",
        type=int,
        default=1,
        metavar="N",
        help="a whole number, 1 unless said; each gives another tun of this make, a little better or worse",
    )
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="SPEC",
        help="what goes wrong, such as probe_frozen@20min+300; `--fault list` names all, with the form",
    )
    parser.add_argument("--clears", action="store_true", help="the simulated brewer looks after trips and restarts")
    parser.add_argument("--why", action="store_true", help="draw the enzymes' windows against the mash temperature")
    parser.add_argument("--json", action="store_true", help="the outcome as one JSON object")
    parser.add_argument("--csv", metavar="FILE", help="every second as a row")
    parser.add_argument("--report", metavar="FILE.html", help="the run as a page")


def run(args: argparse.Namespace) -> int:
    """0: complete; 1: the run ended otherwise; 2: something is wrong with what was given."""
    if "list" in args.fault:
        sys.stdout.write(fault_table())
        return DONE
    if args.program is None:
        raise Wrong("PROGRAM: found nothing, wanted a name below programs/, or a file")
    settings, plan, faults, changes = _given(args)
    length = show("duration", 60.0 * round(plan.duration_s / 60.0))
    sys.stderr.write(f"simulating {length} of {plan.program.title} on {plan.tun.title or plan.tun.name} ...\n")
    sys.stderr.flush()
    machine = dryrun.DryRun(settings, plan, args.seed, faults, manner=Manner(clears=args.clears))
    ran = _watched(machine, plan) if _shows_bar() else machine.go()
    brewed = true_wort.follow(plan.course, ran.trace)
    answer = dryrun.document(plan, ran, _advice(plan, changes), brewed.prediction)
    more = told(machine, ran, args.fault, faults)
    if more.faults:  # the agreed object has no place for what a plain run never has
        answer["faults"] = list(more.faults)
    unwritten = _write(args, plan, ran, brewed, answer, more)
    if args.json:
        sys.stdout.write(json.dumps(answer, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        why = "".join(f"{line}\n" for line in _why(args, plan, ran))
        sys.stdout.write(page(plan, answer, forecast(plan), more) + why)
    if unwritten:
        raise Wrong(*unwritten)
    return DONE if ran.result == "complete" else NO


def _given(args: argparse.Namespace) -> tuple[Settings, Plan, list[Fault], Changes]:
    """Files and faults, read. Raises Wrong with everything that is wrong with any of them."""
    wrong: list[object] = []
    faults: list[Fault] = []
    for spec in args.fault:
        try:
            faults.append(parse(spec))
        except ValueError as why:
            wrong.append(f"--fault: {why}")
    if args.report is not None:
        wrong += _lacking()
    wrong += output_files.problems((("--csv", args.csv), ("--report", args.report)))
    try:
        config = config_files.config_dir(args.config)
        plan = plan_by_name.load_plan(config, args.program, args.tun)
        settings = config_files.settings(config, plan.tun.name)
        changes = config_files.load_advice(config)
    except Problems as problems:
        raise Wrong(*problems.problems, *wrong) from None
    if wrong:
        raise Wrong(*wrong)
    return settings, plan, faults, changes


def _lacking() -> list[str]:
    """What must be installed before a page can be made?"""
    from controller.report import missing

    return [lacks] if (lacks := missing("--report")) else []


def _advice(plan: Plan, changes: Changes) -> list[dict[str, Any]]:
    from controller.plan.advise import advise

    age = calibrations.advised_days(plan.tun, time.time())
    return [dict(said.document()) for said in advise(plan, changes, calibration_age_days=age)]


# ---------------------------------------------------------------- while it runs


def _shows_bar() -> bool:
    return sys.stderr.isatty()


def _watched(machine: dryrun.DryRun, plan: Plan) -> dryrun.Ran:
    """The run with a bar on stderr."""
    planned = plan.duration_s + 900.0
    shown = -1

    def look(now: float) -> None:
        nonlocal shown
        percent = min(100, int(100.0 * now / planned))
        if percent != shown and now > BAR_AFTER_S:
            shown = percent
            sys.stderr.write(f"\r{'█' * (percent // 4):░<25} {percent:3d} %, {now / 60:.0f} min simulated")

    ran = machine.go(every_minute=look)
    sys.stderr.write("\r" + " " * 60 + "\r")
    return ran


# ---------------------------------------------------------------- what comes of it


def _write(
    args: argparse.Namespace,
    plan: Plan,
    ran: dryrun.Ran,
    brewed: true_wort.Wort,
    answer: dict[str, Any],
    more: FaultReport,
) -> list[str]:
    """The files that were asked for. Which cannot be written, and why?"""
    columns = true_wort.COLUMNS if brewed.prediction is not None else ()
    cells = brewed.columns if brewed.prediction is not None else None
    unwritten: list[str] = []
    for option, path, make in (
        ("--csv", args.csv, lambda to: to.write_text(trace.csv(ran.trace.rows, columns, cells), encoding="utf-8")),
        ("--report", args.report, lambda to: _report(to, plan, ran, brewed, answer, more)),
    ):
        failed = output_files.write(option, path, make)
        if path is not None and not failed:
            sys.stderr.write(f"written: {path}\n")
        unwritten += failed
    return unwritten


def _report(
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
            windows="\n".join(_windows(plan, ran)),
            planned_s=plan.duration_s,
            landing_c=plan.course.landing_c,
            faults=more.faults,
            remarks=tuple(filter(None, (more.unfinished, *more.idle))),
        ),
    )


def _why(args: argparse.Namespace, plan: Plan, ran: dryrun.Ran) -> list[str]:
    """The enzymes' windows against what the mash really was, where that is asked for and grain went in."""
    return ["", *windows] if args.why and (windows := _windows(plan, ran)) else []


def _windows(plan: Plan, ran: dryrun.Ran) -> list[str]:
    """The enzymes' windows drawn; the iodine test is left out, for the estimate tells it."""
    pieces, marks = true_wort.profile(plan.course, ran.trace)
    drawn = wort_page.picture(pieces, marks, malts.recalled(plan.course.malt)) if pieces else []
    return [line for line in drawn if not line.strip().startswith("Iodine-negative")]


def page(plan: Plan, answer: dict[str, Any], expected: Forecast | None = None, more: FaultReport = NOTHING) -> str:
    """The outcome for a person: a line a step, then what went wrong."""
    lines = [
        f"{plan.program.title} on {plan.tun.title or plan.tun.name}, simulated, seed {answer['seed']}"
        + (f", with {' and '.join(more.faults)}" if more.faults else ""),
        *[f"  {line}" for line in (more.unfinished, *more.idle) if line],
        f"  {answer['result']} after {answer['duration_s'] / 60:.0f} min "
        f"({plan.duration_s / 60:.0f} planned, for a brewer who answers at once), {answer['energy_kwh']:.2f} kWh",
        "",
        f"  {'step':<22} {'target':>7} {'rise':>11} {'K/min':>6} {'over':>6} {'mean':>6} {'rms':>5}   rest",
        *[_line(step, answer["result"] == "complete", step is not answer["steps"][-1]) for step in answer["steps"]],
        "",
        *COLUMNS,
        f"  {answer['commands']} heater commands, {answer['heat_without_evidence']} with heat and no fresh reading",
    ]
    for trip in answer["trips"]:
        lines += ["", f"  {trip['at_s'] / 60:.0f} min: {trip['id']} {trip['text']}"]
    if answer["prediction"] is not None:
        lines += ["", *wort_page.lines(answer["prediction"], expected)]
    warned = _warned(plan, answer)
    if warned:
        lines += ["", *warned]
    return "\n".join(lines) + "\n"


def _warned(plan: Plan, answer: dict[str, Any]) -> list[str]:
    """What `check` warns of, in a line each."""
    lines = [f"  {note}" for note in plan_notes.notes(plan) if note.level == "warn"]
    for said in answer["advice"]:
        if said["level"] == "warn" and said["overruled"] is None:
            lines.append(f"  warn {said['rule']}: {said['text']}")
    return [*lines, "  (`underback check` says why, and what mends it)"] if lines else []


def _line(step: dict[str, Any], taken: bool, passed: bool) -> str:
    """A step's row. `passed`: another step came after it. `taken`: the mash was taken over, so that a keep shorter than
    it might be is as it should be."""
    rise = None if step["in_band_s"] is None else (step["in_band_s"] - step["ramp_started_s"]) / 60.0
    rest = "" if not step["planned_s"] else f"{step['credited_s'] / 60:.1f} of {step['planned_s'] / 60:g} min"
    if step["kind"] == "keep" and taken:
        rest = f"taken over after {step['credited_s'] / 60:.1f} min"
    cells = [
        f"{step['name'][:22]:<22}",
        f"{step['target_c']:>5.1f}°C",
        f"{_not_reached(step, passed) if rise is None else f'{rise:.1f}min':>11}",
        f"{_figure(step['climb_c_per_min'], 2):>6}",
        f"{_figure(step['overshoot_c'], 2):>6}",
        f"{_figure(step['mean_c'], 2):>6}",
        f"{_figure(step['rms_error_c'], 2):>5}",
        f"  {rest}",
    ]
    return "  " + " ".join(cells).rstrip()


def _not_reached(step: dict[str, Any], passed: bool) -> str:
    """A decoction goes on once it is back, an infusion once it is in, also where the mash lands lower than meant."""
    return {"decoction": "returned", "infusion": "added"}.get(step["kind"] if passed else "", "not reached")


def _figure(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:.{digits}f}"
