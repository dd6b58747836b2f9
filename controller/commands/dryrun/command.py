"""`underback dryrun`: how would this program go on this tun? Real core and guard, simulated tun, no broker."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from typing import Any

from controller.brewing.advice.advice import Changes
from controller.commands.dryrun import days
from controller.commands.dryrun.outcome import FaultReport, fault_table, page, recorded, told
from controller.commands.shared import own_streams, terminal
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.edge.files import config_files, plan_by_name, writable
from controller.edge.record import run_header
from controller.plan.advise import advise
from controller.plan.plan import Plan
from controller.report import RunRecord, lesson_text, lessons, missing, write
from controller.settings.problems import Problems
from controller.settings.service import Settings
from controller.settings.table import show
from sim import days as sim_days
from sim import dryrun, trace, true_wort
from sim.people.manner import Manner
from sim.world.faults import Fault, parse_all

BAR_AFTER_S = 900.0  # simulated: below that a run is over before a bar could be read


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which program on which tun, with which faults, and where does the outcome go?"""
    parser.add_argument("program", nargs="?", metavar="PROGRAM", help="a name below programs/, or a file")
    parser.add_argument("--tun", metavar="NAME", help="a tun below tuns/; else the program's own, else the only one")
    seed = "a whole number, 1 unless said; each gives another tun of this make, a little better or worse"
    parser.add_argument("--seed", type=int, default=1, metavar="N", help=seed)
    fault = "what goes wrong, such as probe_frozen@20min+300; `--fault list` names all, with the form"
    parser.add_argument("--fault", action="append", default=[], metavar="SPEC", help=fault)
    parser.add_argument("--clears", action="store_true", help="the simulated brewer looks after trips and restarts")
    parser.add_argument("--why", action="store_true", help="draw the enzymes, and tell what each rest did")
    parser.add_argument("--sources", action="store_true", help="with --why: where each figure comes from")
    parser.add_argument("--json", action="store_true", help="the outcome as one JSON object")
    parser.add_argument("--csv", metavar="FILE", help="every second as a row")
    parser.add_argument("--report", metavar="FILE.html", help="the run as a page; with --days a fan of all")
    days.arguments(parser)


def run(args: argparse.Namespace) -> int:
    """0: complete; 1: the run ended otherwise; 2: something is wrong with what was given."""
    if "list" in args.fault:
        sys.stdout.write(fault_table())
        return DONE
    if args.program is None:
        raise Wrong("PROGRAM: found nothing, wanted a name below programs/, or a file")
    settings, plan, faults, changes = _given(args)
    if args.days is not None and args.day is None:
        return days.run(args, settings, plan)
    length = show("duration", 60.0 * round(plan.duration_s / 60.0))
    sys.stderr.write(f"simulating {length} of {plan.program.title} on {plan.tun.title or plan.tun.name} ...\n")
    sys.stderr.flush()
    machine = (
        dryrun.DryRun(settings, plan, args.seed, faults, manner=Manner(clears=args.clears))
        if args.day is None
        else sim_days.machine(settings, plan, sim_days.draw(settings, args.days, args.seed)[args.day - 1])
    )
    ran = _watched(machine, plan)
    plain = dryrun.run(settings, plan, args.seed) if faults else None
    brewed = true_wort.follow(plan.course, ran.trace)
    said = advise(plan, changes, calibration_age_days=run_header.advised_days(plan.tun, time.time()))
    answer = dryrun.document(plan, ran, [dict(line.document()) for line in said], brewed.prediction)
    more = told(machine, ran, args.fault, faults, plain)
    if more.faults:  # the agreed object has no place for what a plain run never has
        answer["faults"], answer["story"] = list(more.faults), list(more.story)
    if more.off:
        answer["warnings"] = list(more.off)
    record = recorded(plan, ran, brewed, answer, more)
    unwritten = _write(args, ran, brewed, record)
    terminal.show(args.json, answer, _lines(args, plan, record, answer, more), allow_nan=False)
    if unwritten:
        raise Wrong(*unwritten)
    return DONE if ran.result == "complete" else NO


def _given(args: argparse.Namespace) -> tuple[Settings, Plan, list[Fault], Changes]:
    """Files and faults, read. Raises Wrong with everything that is wrong with any of them."""
    faults, unread = parse_all(args.fault)
    wrong: list[object] = [*(f"--fault: {why}" for why in unread), *days.problems(args)]
    wrong += [lacks] if args.report is not None and (lacks := missing("--report")) else []
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


def _watched(machine: dryrun.DryRun, plan: Plan) -> dryrun.Ran:
    """The run, with a bar where somebody looks."""
    bar = terminal.Bar()

    def look(now: float) -> None:
        if now > BAR_AFTER_S:
            bar.tell(min(1.0, now / (plan.duration_s + 900.0)), f"{now / 60:.0f} min simulated")

    ran = machine.go(every_minute=look)
    bar.clear()
    return ran


def _lines(
    args: argparse.Namespace, plan: Plan, record: RunRecord, answer: dict[str, Any], more: FaultReport
) -> Iterator[str]:
    """The outcome; the lesson too, where that is asked for and grain went in."""
    yield from page(plan, answer, more)
    if (args.why or args.sources) and (lesson := lessons.of_record(record)):
        yield from ("", *lesson_text.lines(lesson, args.sources))


def _write(args: argparse.Namespace, ran: dryrun.Ran, brewed: true_wort.Wort, record: RunRecord) -> list[str]:
    """The files that were asked for. Which cannot be written, and why?"""
    columns, cells = ((), None) if brewed.prediction is None else (true_wort.COLUMNS, brewed.columns)
    unwritten: list[str] = []
    for option, path, make in (
        ("--csv", args.csv, lambda to: to.write_text(trace.csv(ran.trace.rows, columns, cells), encoding="utf-8")),
        ("--report", args.report, lambda to: write(to, record, own_streams.chosen(args.units, args.config))),
    ):
        failed = writable.write(option, path, make)
        if path is not None and not failed:
            sys.stderr.write(f"written: {path}\n")
        unwritten += failed
    return unwritten
