"""`underback runs`: which runs are on record, and how did the last ones of a program compare?"""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from typing import Any

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.commands.shared.run_on_record import tuns
from controller.edge.record import reader
from controller.report import from_disk
from controller.report.from_disk import Glance
from controller.report.run_record import RunRecord
from controller.settings.service import Settings

SIDE_BY_SIDE = 5


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="one tun's runs; else those of all tuns")
    parser.add_argument("--program", metavar="NAME", help="runs of this program only")
    side = f"with --program: its last {SIDE_BY_SIDE} runs side by side"
    parser.add_argument("--compare", action="store_true", help=side)
    parser.add_argument("--json", action="store_true", help="a JSON list")


def run(args: argparse.Namespace) -> int:
    if args.compare and args.program is None:
        raise Wrong("--compare: found no program, wanted --program NAME beside it")
    found = [seen for tun in tuns(args.config, args.tun) for seen in _runs(tun)]
    found = [seen for seen in found if args.program in (None, seen[1].program)]
    found.sort(key=lambda seen: seen[1].at)
    if args.compare:
        return _compare(found[-SIDE_BY_SIDE:], args.json)
    lines = _table(found) if found else ["No runs are on record here."]
    terminal.show(args.json, [_values(*seen) for seen in found], lines)
    return DONE


def _runs(settings: Settings) -> list[tuple[str, Glance]]:
    folder = reader.record_folder(settings)
    return [(settings.tun.name, seen) for seen in from_disk.runs(folder)] if folder.is_dir() else []


def _values(tun: str, seen: Glance) -> dict[str, Any]:
    named = {key: getattr(seen, key) for key in ("number", "run", "program", "title", "state")}
    return {"tun": tun, **named, "began_at": seen.at, "ran_s": round(seen.ran_s, 1)}


def _table(found: list[tuple[str, Glance]]) -> list[str]:
    lines = [f"{'tun':<12} {'number':>6}  {'begun':<16} {'lasted':>8}  {'state':<10} program"]
    for tun, seen in found:
        began = datetime.fromtimestamp(seen.at, UTC).astimezone()
        lasted = f"{seen.ran_s / 60:.0f} min"
        lines.append(f"{tun:<12} {seen.number:>6}  {began:%Y-%m-%d %H:%M} {lasted:>8}  {seen.state:<10} {seen.title}")
    return [*lines, "", "A run's report: underback report NUMBER --tun TUN, or underback report last"]


def _compare(found: list[tuple[str, Glance]], as_json: bool) -> int:
    """Deviation per step, the newest run last."""
    records = [from_disk.read([seen.path]) for _, seen in found]
    lines = _side_by_side(records) if records else ["No runs of this program are on record here."]
    terminal.show(as_json, [_deviations(record) for record in records], lines)
    return DONE


def _deviations(record: RunRecord) -> dict[str, Any]:
    steps = [
        {
            "name": step.name,
            "credited_s": step.credited_s,
            "short_s": min(0.0, step.credited_s - step.planned_s) if step.kind != "keep" else 0.0,
            "mean_error_c": None if step.mean_c is None else round(step.mean_c - step.target_c, 3),
            "overshoot_c": step.overshoot_c,
            "climb_c_per_min": step.climb_c_per_min,
        }
        for step in record.steps
    ]
    return {"run": record.run, "tun": record.tun, "state": record.state, "began_at": record.began_s, "steps": steps}


def _side_by_side(records: list[RunRecord]) -> list[str]:
    names = list(dict.fromkeys(step.name for record in records for step in record.steps))
    heads = [f"{datetime.fromtimestamp(r.began_s or 0.0, UTC).astimezone():%m-%d %H:%M}" for r in records]
    lines = [
        "Mean error of the rest in K, credited minutes; - where a step was not reached.",
        f"{'step':<20}" + "".join(f"{head:>18}" for head in heads),
    ]
    lines += [f"{name[:20]:<20}" + "".join(f"{_cell(record, name):>18}" for record in records) for name in names]
    return [*lines, f"{'ended':<20}" + "".join(f"{record.state:>18}" for record in records)]


def _cell(record: RunRecord, name: str) -> str:
    step = next((s for s in record.steps if s.name == name), None)
    if step is None or step.mean_c is None:
        return "-"
    return f"{step.mean_c - step.target_c:+.2f} K {step.credited_s / 60:.1f} min"
