"""`underback dryrun`: how would this program go on this tun? Real core and guard, simulated tun, no broker."""

from __future__ import annotations

import argparse
import json
import sys
import time
from typing import TYPE_CHECKING, Any

from controller.commands.dryrun.fault_report import FaultReport, fault_table, told
from controller.commands.dryrun.outcome_page import windows, write_page
from controller.commands.dryrun.outcome_text import page
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.edge.files import config_files, plan_by_name, writable
from controller.edge.record import run_header
from controller.plan.forecast import forecast
from controller.settings.problems import Problems
from controller.settings.service import Settings
from controller.settings.table import show
from sim import dryrun, trace, true_wort
from sim.people.manner import Manner
from sim.world.faults import Fault, parse_all

if TYPE_CHECKING:
    from controller.brewing.advice.advice import Changes
    from controller.plan.plan import Plan

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
    faults, unread = parse_all(args.fault)
    wrong: list[object] = [f"--fault: {why}" for why in unread]
    if args.report is not None:
        wrong += _lacking()
    wrong += writable.file_problems((("--csv", args.csv), ("--report", args.report)))
    try:
        config = config_files.config_dir(args.config, simulated=True)
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

    age = run_header.advised_days(plan.tun, time.time())
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
        ("--report", args.report, lambda to: write_page(to, plan, ran, brewed, answer, more)),
    ):
        failed = writable.write(option, path, make)
        if path is not None and not failed:
            sys.stderr.write(f"written: {path}\n")
        unwritten += failed
    return unwritten


def _why(args: argparse.Namespace, plan: Plan, ran: dryrun.Ran) -> list[str]:
    """The enzymes' windows against what the mash really was, where that is asked for and grain went in."""
    return ["", *drawn] if args.why and (drawn := windows(plan, ran)) else []
