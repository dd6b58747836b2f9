"""Learn how fast a tun really heats and how late its probe is, from plain water.

    underback learn --tun gannet --water "26 L"              from the last run on record
    underback learn --tun gannet --water "26 L" --run WM-7   from that one
    underback learn --tun gannet --dry                       from a dry run of the water trial on the simulated tun

Run a program with plain water first, such as `water-trial`: the heat in it is let out by the guard like any other. What
counts is the record from the first heat to the end of the first rest, or to dough-in where strike liquor was heated.
What is found is held against the plate, shown with a picture, and written to learned/NAME.toml in the data folder. The
guard never reads that file.
"""

from __future__ import annotations

import argparse
import datetime
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from controller.brewing import water
from controller.commands.shared import terminal
from controller.commands.shared.connection import worked_at
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.commissioning.learn import EVERY_S, Identified, Known, Point, Refused, by_file, course_c, identify
from controller.core.control.heat_path import heat_path
from controller.edge.files import config_files, plan_by_name, program_file, writable
from controller.edge.record import reader
from controller.settings.problems import Problems
from controller.settings.service import Settings
from controller.settings.tun import Tun

TRIAL = "water-trial"
BEFORE_S, MOST_S = 120.0, 5400.0  # s of record before the first heat, and in all
HEIGHT, WIDTH = 14, 72  # of the picture, characters
KEPT = ("power_w", "power_sd", "lag_s", "lag_sd_s", "dead_s", "dead_sd_s", "loss_w_per_k", "loss_sd")


class HeatSample(NamedTuple):
    """One moment of a record: s, °C, duty that went out from here on."""

    t_s: float
    probe_c: float | None
    duty: float
    phase: str


class Source(NamedTuple):
    """Where the figures come from."""

    rows: list[HeatSample]
    liquor_kg: float
    text: str


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which tun, which record, and how much water was in it?"""
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where only one answers, or its nodes do")
    parser.add_argument("--run", metavar="RUN", default="last", help="a run on record; the last unless said")
    parser.add_argument("--water", metavar="VOLUME", help='plain water that was in the tun, such as "26 L"')
    parser.add_argument("--dry", action="store_true", help=f"a dry run of {TRIAL} on the simulated tun instead")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="with --dry: which tun of this make, 1")
    parser.add_argument("--keep", action="store_true", help="show what was found, write nothing")
    parser.add_argument("--json", action="store_true", help="the outcome as one JSON object")


def run(args: argparse.Namespace) -> int:
    """0: learned; 1: refused; 2: something is wrong with what was given."""
    config = config_files.config_dir(args.config)
    if not args.keep and (problems := writable.folder_problems(config)):
        raise Problems(problems)
    settings = config_files.settings(config, worked_at(args.config, args.tun))
    source = _dry(config, settings, args.seed) if args.dry else _recorded(settings, args.run, args.water)
    tun = settings.tun
    trace = tuple(points(source.rows))
    known = by_file(tun, source.liquor_kg * water.SPECIFIC_HEAT_J_PER_KG_K + tun.metal_j_per_k)
    found = identify(trace, known)
    if isinstance(found, Refused):
        told = ["nothing learned; the plate's figures stay in use:", *(f"  {why}" for why in found.reasons)]
        terminal.show(args.json, {"learned": None, "refused": list(found.reasons)}, told)
        return NO
    path = None if args.keep else write(settings, found)
    document = {"learned": found._asdict(), "file": str(path) if path else None, "from": source.text}
    written = f"written: {path}" if path else "nothing written (--keep)"
    terminal.show(args.json, document, [*page(tun, found, source.text), *picture(trace, found, known), written])
    return DONE


# ---------------------------------------------------------------- where the record comes from


def _dry(config: Path, settings: Settings, seed: int) -> Source:
    from sim import dryrun

    if not settings.tun.simulated:
        raise Wrong(f"--dry: tun {settings.tun.name} is real (simulated = false); give --run and --water")
    plan = plan_by_name.load_plan(config, TRIAL, settings.tun.name)
    ran = dryrun.run(settings._replace(learned=None), plan, seed)
    rows = [HeatSample(row.t_s, row.probe_c, row.duty, row.phase) for row in ran.trace.rows]
    return Source(rows, plan.course.liquor_kg, f"dry run of {TRIAL}, seed {seed}")


def _recorded(settings: Settings, wanted: str, water: str | None) -> Source:
    from controller.report import from_disk

    litres = terminal.water(water, "26 L")
    folder = reader.record_folder(settings)
    glances = from_disk.find(folder, wanted) if folder.is_dir() else []
    if not glances:
        raise Wrong(f"--run: found {wanted!r}, wanted a run on record; `underback runs` lists them")
    record = from_disk.read([glance.path for glance in glances])
    rows = [HeatSample(row.t_s, row.mash_c, row.duty, row.phase) for row in record.rows]
    return Source(rows, litres, f"run {record.run}")


def points(rows: Iterable[HeatSample]) -> list[Point]:
    """The part of a record that tells: from shortly before the first heat to the end of the first rest or to
    dough-in, in steps of 2 s with the mean duty of each. Nothing where there was no heat."""
    sound = [row for row in rows if row.probe_c is not None]
    first = next((i for i, row in enumerate(sound) if row.duty), None)
    if first is None:
        return []
    began_s = sound[first].t_s - BEFORE_S
    out: list[Point] = []
    heat_s, last, rested = 0.0, None, False
    for row in sound:
        if row.t_s < began_s:
            continue
        if row.t_s > began_s + MOST_S or row.phase == "adding" or (rested and row.phase == "ramping"):
            break
        rested = rested or row.phase == "resting"
        heat_s += last.duty * (row.t_s - last.t_s) if last is not None else 0.0
        last = row
        since = row.t_s - began_s - (out[-1].t_s if out else -EVERY_S)
        if since >= EVERY_S:
            out.append(Point(row.t_s - began_s, row.probe_c or 0.0, min(heat_s / since, 1.0)))
            heat_s = 0.0
    return out


# ---------------------------------------------------------------- what is shown and written


def page(tun: Tun, found: Identified, text: str) -> list[str]:
    """The figures, with their doubt and beside the plate's."""
    path = heat_path(tun)
    told = f"  loss                          {found.loss_w_per_k:8.1f} +- {found.loss_sd:.1f} W/K"
    if not found.loss_told:
        told += ", not told by this record: ten minutes without a rise would tell it; the plate's counts, too"
    return [
        f"{tun.name}: {text}, {found.rise_k:.1f} K rise, fits within {found.residual_k:.2f} K",
        f"  power into liquor and vessel  {found.power_w:8.0f} +- {found.power_sd:.0f} W   plate {path.power_w:.0f} W",
        f"  lag                           {found.lag_s:8.0f} +- {found.lag_sd_s:.0f} s   assumed {path.lag_s:.0f} s",
        f"  dead time                     {found.dead_s:8.0f} +- {found.dead_sd_s:.0f} s   assumed {path.dead_s:.0f} s",
        f"{told}   plate {tun.loss_w_per_k:.1f} W/K",
    ]


def picture(trace: tuple[Point, ...], found: Identified, known: Known) -> list[str]:
    """Reading (o) and model (.) over time, as text."""
    model = course_c(trace, found, known)
    shown = [point.reading_c for point in trace]
    low, high = min(*shown, *model), max(*shown, *model) + 1e-9
    cells = [[" "] * WIDTH for _ in range(HEIGHT)]
    for curve, mark in ((model, "."), (shown, "o")):
        for i, value in enumerate(curve):
            column = min(i * WIDTH // len(curve), WIDTH - 1)
            cells[HEIGHT - 1 - int((value - low) / (high - low) * (HEIGHT - 1))][column] = mark
    edge = {0: f"{high:6.1f}", HEIGHT - 1: f"{low:6.1f}"}
    lines = [f"  {edge.get(i, ''):6} |{''.join(row).rstrip()}" for i, row in enumerate(cells)]
    return [*lines, f"  °C      0 to {trace[-1].t_s / 60.0:.0f} min; o reading, . model"]


def write(settings: Settings, found: Identified) -> Path:
    """Put the figures where the daemon looks for them at its next start."""
    folder = Path(settings.service.data_dir) / "learned"
    folder.mkdir(parents=True, exist_ok=True)
    values: dict[str, Any] = {key: round(getattr(found, key), 1) for key in KEPT} | {"tun_digest": settings.digest}
    today = datetime.datetime.now(datetime.UTC).date().isoformat()
    text = "# Learned from plain water by `underback learn`. Remove this file to go back to the plate's figures.\n"
    text += "".join(f"{key} = {program_file.toml_value(value)}\n" for key, value in values.items()) + f"on = {today}\n"
    path = folder / f"{settings.tun.name}.toml"
    fresh = path.with_suffix(".new")
    fresh.write_text(text, encoding="utf-8")
    fresh.replace(path)
    return path
