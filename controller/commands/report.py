"""`underback report RUN`: one run for a person, as a page, as a batch record; signatures and corrections to it."""

from __future__ import annotations

import argparse
import csv
import json
import sys
import time
from pathlib import Path
from typing import Any

from controller import report
from controller.commands.shared import own_streams, terminal, typed_entries
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.commands.shared.run_on_record import run_on_record
from controller.core.procedure import entries
from controller.edge.files import config_files, plan_by_name, writable
from controller.edge.record import reader
from controller.edge.user import login
from controller.plan.recipe import Program
from controller.report import (
    amendments,
    batch_entries,
    batch_record,
    from_disk,
    laboratory,
    lesson_text,
    lessons,
    planned_got,
)
from controller.report.amendments import Amendments
from controller.report.from_disk import Glance
from controller.report.run_record import RunRecord
from controller.settings.problems import Problems
from controller.settings.service import Settings

OVER = ("complete", "stopped", "aborted")
KEYS = (*entries.FIGURES, *entries.TEXTS)


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("wanted", metavar="RUN", help="a number from `underback runs`, a run's name, `last`, or a file")
    parser.add_argument("--tun", metavar="NAME", help="whose run; not needed where only one tun has it")
    parser.add_argument("--html", metavar="FILE", help="the report as one page that needs nothing else")
    parser.add_argument("--batch", metavar="FILE", help="the batch record as JSON")
    parser.add_argument("--csv", metavar="FILE", help="the samples, a row each")
    parser.add_argument("--json", action="store_true", help="print the batch record")
    parser.add_argument("--by", metavar="NAME", help="who signs or corrects; else the user of this machine")
    parser.add_argument("--sign", metavar="WORDS", help='sign the record, such as --sign "brewed and checked"')
    parser.add_argument("--correct", metavar="WORDS", help="add a correction; the record itself stays as it is")
    parser.add_argument("--remark", metavar="WORDS", help="add a remark")
    parser.add_argument("--why", action="store_true", help="draw the enzymes, and tell what each rest did")
    parser.add_argument("--sources", action="store_true", help="with --why: where each figure comes from")
    enter = f"enter what was measured late; keys: {', '.join(KEYS)}"
    parser.add_argument("--enter", metavar="KEY=VALUE", action="append", default=[], help=enter)
    parser.add_argument("--about", metavar="WHAT", default="", help="what the correction or remark is about")


def run(args: argparse.Namespace) -> int:
    """0: told; 1: told, but the record or what was added to it has been changed or damaged; 2: no such run."""
    wrong = writable.file_problems((("--html", args.html), ("--batch", args.batch), ("--csv", args.csv)))
    if args.html is not None and (lacks := report.missing("--html")):
        wrong.append(lacks)
    if wrong:
        raise Wrong(*wrong)
    settings, glances = run_on_record(args.config, args.tun, args.wanted)
    paths = [seen.path for seen in glances]
    beside = amendments.place(reader.record_folder(settings), glances[0].number)
    try:
        to_add = _to_add(args)
        _over(args, from_disk.runs(reader.record_folder(settings)), glances[-1])
        record, more, unwritten = _read_and_written(args, settings, beside, paths)
        if to_add and not unwritten:  # nothing is added where what was asked for with it cannot be had
            for line in to_add:
                amendments.add(beside, paths, **line)
            record, more, unwritten = _read_and_written(args, settings, beside, paths)  # with what stands there now
    except OSError as why:
        raise Wrong(f"{why.filename}: {why.strerror}") from None
    told = [*page(record, more), *_taught(args, record)]
    terminal.show(args.json, _batch(args, record, settings, paths) if args.json else None, told)
    if unwritten:
        raise Wrong(*unwritten)
    return NO if record.damage or more.problems else DONE


def _read_and_written(
    args: argparse.Namespace, settings: Settings, beside: Path, paths: list[Path]
) -> tuple[RunRecord, Amendments, list[str]]:
    """The record with what was added to it, and which of the files that were asked for cannot be written."""
    more = amendments.read(beside, paths)
    record = from_disk.read(paths, settings.tun.heater.power_w, more.lines)
    return record, more, _write(args, record, settings, paths)


def _taught(args: argparse.Namespace, record: RunRecord) -> list[str]:
    """What each rest did, where that is asked for and there was a mash."""
    lesson = lessons.of_record(record) if args.why or args.sources else None
    return [] if lesson is None else ["", *lesson_text.lines(lesson, args.sources)]


def _to_add(args: argparse.Namespace) -> list[dict[str, Any]]:
    """What was asked to be added, in the order: entries, correction, remark, signature. Raises Wrong."""
    kinds = (("correction", args.correct), ("remark", args.remark), ("signature", args.sign))
    if any(words is not None and not words.strip() for _, words in kinds):
        raise Wrong("--sign, --correct, --remark: found nothing, wanted words")
    by, late = args.by or login(), _late(args.enter)
    lines: list[dict[str, Any]] = []
    if late:
        lines.append({"kind": "entry", "by": by, "text": entries.words(late), "data": late, "at_s": time.time()})
    for kind, words in kinds:
        if words is not None:
            lines.append({"kind": kind, "by": by, "text": words, "about": args.about, "at_s": time.time()})
    return lines


def _over(args: argparse.Namespace, known: list[Glance], last: Glance) -> None:
    """A run that is not over is not signed. Raises Wrong. One that a newer run came after is over, whatever it says."""
    if args.sign is not None and known[-1].path == last.path and last.state not in OVER:
        raise Wrong(f"--sign: found a run that is {last.state}, wanted one that is over: {', '.join(OVER)}")


def _late(given: list[str]) -> dict[str, Any]:
    """What was entered after the run. Raises Wrong with everything that is wrong of it."""
    pairs = [word.partition("=") for word in given]
    values = {name: value for key, _, text in pairs for name, value in typed_entries.filed(key, text).items()}
    if problems := entries.problems(values):
        raise Wrong(*(f"--enter {problem}" for problem in problems))
    return values


def _write(args: argparse.Namespace, record: RunRecord, settings: Settings, paths: list[Path]) -> list[str]:
    """The files that were asked for. Which cannot be written, and why?"""

    def batch(to: Path) -> None:
        text = json.dumps(_batch(args, record, settings, paths), ensure_ascii=False, indent=1)
        to.write_text(text + "\n", encoding="utf-8")

    def table(to: Path) -> None:
        with to.open("w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file, lineterminator="\n")
            keys = list(record.enzymes)
            rows.writerow([*(record.rows[0]._fields if record.rows else ()), *keys])
            for row, *left in zip(record.rows, *(record.enzymes[key] for key in keys), strict=True):
                rows.writerow([*row, *left])

    return [
        *writable.write(
            "--html", args.html, lambda to: report.write(to, record, own_streams.chosen(args.units, args.config))
        ),
        *writable.write("--batch", args.batch, batch),
        *writable.write("--csv", args.csv, table),
    ]


def _batch(args: argparse.Namespace, record: RunRecord, settings: Settings, paths: list[Path]) -> dict[str, Any]:
    return batch_record.document(record, settings.tun, _program(args.config, record, settings), paths)


def _program(config: str | None, record: RunRecord, settings: Settings) -> Program | None:
    """The program file, where it still means what was brewed; else None."""
    try:
        plan = plan_by_name.load_plan(config_files.config_dir(config), record.program, settings.tun.name)
    except Problems:
        return None
    return plan.program if plan.course.digest == record.meta.get("Program digest") else None


def page(record: RunRecord, more: Amendments) -> list[str]:
    """The run in a few lines for the terminal."""
    lines = [
        f"{record.title} on {record.tun}: {record.state}, {record.ended_s / 60:.0f} min"
        + ("" if record.energy_kwh is None else f", {record.energy_kwh:.2f} kWh"),
        f"run {record.run}",
        "",
        *steps(record),
    ]
    lines += [f"  trip {e.id} at {e.t_s / 60:.0f} min: {e.text}" for e in record.events if e.kind == "trip"]
    lines += [f"  {line['kind']} by {line['by']}: {line['text']}" for line in more.lines]
    gained = batch_entries.extract_yield(record)
    lines += [] if gained is None else [f"  extract yield: {batch_entries.yield_words(gained)}"]
    lines += [f"  {title}: {text}" for title, text in (*laboratory.lines(record), *planned_got.lines(record))]
    gaps = batch_entries.missing(record, batch_record.initial_heat_c(record))
    lines += [f"  not on record: {'; '.join(gaps)}"] if gaps else []
    lines += [f"  DAMAGED: {record.damage}"] if record.damage else []
    lines += [f"  CHANGED: {problem}" for problem in more.problems]
    if sys.stdout.isatty():
        lines += ["", "As a page: --html FILE; to file it: --batch FILE, --sign WORDS"]
    return lines


def steps(record: RunRecord) -> list[str]:
    """A table of the steps as they went, counted from 1."""
    lines = [f"  {'':>2} {'step':<22}{'target':>9}{'rest':>18}{'min':>10}{'mean':>10}{'max':>10}"]
    for number, step in enumerate(record.steps, 1):
        rest = f"{step.credited_s / 60:.1f} of {step.planned_s / 60:g} min" if step.planned_s else ""
        figures = "".join(f"{'-' if v is None else f'{v:.2f} °C':>10}" for v in (step.min_c, step.mean_c, step.max_c))
        lines.append(f"  {number:>2} {step.name[:22]:<22}{step.target_c:>6.1f} °C{rest:>18}{figures}")
    return lines
