"""`underback compare`: two programs, or two days on record, over each other; and three comparisons that ship."""

from __future__ import annotations

import argparse
from typing import Any

from controller.brewing.kinetics.comparisons import SHIPPED, verdict
from controller.brewing.kinetics.lesson import Lesson
from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.commands.shared.run_on_record import run_on_record
from controller.edge.files import config_files, plan_by_name, writable
from controller.plan.forecast import forecast
from controller.report import compare_page, from_disk, lessons
from controller.report.compare_page import Compared
from controller.settings.problems import Problems


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which two mashes, or which of the shipped comparisons?"""
    names = ", ".join(SHIPPED)
    what = f"a program, a file, or a run on record by its number or `last`; or one of {names}; none lists these"
    parser.add_argument("mash", nargs="*", metavar="MASH", help=what)
    parser.add_argument("--tun", metavar="NAME", help="a tun below tuns/; else each program's own")
    parser.add_argument("--sources", action="store_true", help="where each figure and window comes from")
    parser.add_argument("--html", metavar="FILE", help="the comparison as a page")
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """0: told; 2: something is wrong."""
    if wrong := writable.file_problems((("--html", args.html),)):
        raise Wrong(*wrong)
    if not args.mash:
        lines = [f"{name:<14}{one.title}" for name, one in SHIPPED.items()]
        terminal.show(args.json, {name: one.title for name, one in SHIPPED.items()}, lines)
        return DONE
    found = _asked(args)
    unwritten = writable.write(
        "--html", args.html, lambda to: to.write_text(compare_page.page(found), encoding="utf-8")
    )
    terminal.show(args.json, _document(found), compare_page.lines(found, args.sources))
    if unwritten:
        raise Wrong(*unwritten)
    return DONE


def _asked(args: argparse.Namespace) -> Compared:
    """The mashes. Raises Problems or Wrong."""
    if len(args.mash) == 1 and args.mash[0] in SHIPPED:
        chosen = SHIPPED[args.mash[0]]
        return Compared(chosen.title, chosen.question, chosen.mashes(), chosen.pairs)
    if len(args.mash) == 1:
        raise Wrong(f"MASH: found {args.mash[0]!r} alone, wanted two programs or runs, or one of {', '.join(SHIPPED)}")
    wrong: list[object] = []
    found = []
    for name in args.mash:
        try:
            found.append(_run(args, name) if name == "last" or name.isdigit() else _program(args, name))
        except Problems as problems:
            wrong += problems.problems
        except Wrong as problem:
            wrong.append(problem)
    if wrong:
        raise Wrong(*wrong)
    pairs = [(0, n) for n in range(1, len(found))]
    return Compared(" against ".join(one.title for one in found), "", found, pairs)


def _program(args: argparse.Namespace, name: str) -> Lesson:
    """The lesson of a program, as planned. Raises Problems or Wrong."""
    plan = plan_by_name.load_plan(config_files.config_dir(args.config, simulated=True), name, args.tun)
    expected = None if plan.problems else forecast(plan)
    if expected is None:
        raise Wrong(*plan.problems) if plan.problems else Wrong(f"{name}: found water alone, wanted a mash")
    return lessons.of_plan(plan, expected)


def _run(args: argparse.Namespace, wanted: str) -> Lesson:
    """The lesson of a run on record. Raises Wrong."""
    settings, glances = run_on_record(args.config, args.tun, wanted)
    record = from_disk.read([seen.path for seen in glances], settings.tun.heater.power_w)
    found = lessons.of_record(record)
    if found is None:
        raise Wrong(f"run {wanted}: found no mash in it, wanted one with grain")
    return found._replace(title=f"{found.title}, run {glances[0].number}")


def _document(found: Compared) -> dict[str, Any]:
    mashes = [{"title": one.title, "prediction": one.prediction.as_json()} for one in found.lessons]
    return {"title": found.title, "mashes": mashes, "verdict": list(verdict(found.lessons, found.pairs))}
