"""What came of a demonstration, for a person: words, table and page?"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from controller.commands.demo.simulated_side import Ran
from controller.commands.shared import status_text
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.edge.files import writable
from controller.edge.record import reader
from controller.plan import plan
from controller.settings.service import Settings

CALM = 30.0  # times real time that a busy machine keeps up with


LATE = frozenset({"G02", "G13", "G14", "G16", "G17", "G24"})  # trips of a machine too busy for its speed


def greet(settings: Settings, made: plan.Plan, speed: float, name: str, port: int) -> None:
    minutes = made.duration_s / 60.0
    print(f"{made.course.title} on {settings.tun.title or settings.tun.name}, simulated, {speed:g} times real time.")
    print(f"The daemon speaks to it through {name} on 127.0.0.1:{port} only.")
    planned = status_text.span(made.duration_s)
    print(f"Planned {planned}; this takes about {minutes / speed + 0.3:.1f} min. Ctrl-C ends it.\n")


def tell(ran: Ran, settings: Settings, made: plan.Plan, speed: float, complaint: str) -> int:
    record = _record(settings)
    print()
    print(f"{made.course.title}: {ran.last.get('state', 'no word from the daemon')}")
    if record is not None:
        for line in summary(record, settings):
            print(line)
    trips = [event for event in ran.events if event.get("kind") == "trip"]
    print(f"trips    {'; '.join(t['id'] + ' ' + t['text'] for t in trips) if trips else 'none'}")
    if trips and speed > CALM and all(trip["id"] in LATE for trip in trips):
        print(f"         The simulated tun is sound; this machine is probably too busy for {speed:g} times real time.")
        print(f"         Try --speed {CALM:g}.")
    print(
        f"time     {time.monotonic() - ran.began:.0f} s for {status_text.span(ran.curve[-1][0] if ran.curve else 0.0)}"
    )
    print(f"record   {record if record is not None else 'none'}")
    if complaint.strip():
        print(f"\nThe daemon's log:\n{complaint}", file=sys.stderr)
    return DONE if ran.complete else NO


def page(path: Path, settings: Settings) -> None:
    """The run's report as one file. Raises Wrong where it cannot be written."""
    from controller import report
    from controller.report import from_disk

    record = _record(settings)
    if record is None:
        raise Wrong("--report: there is no record to make a page of")
    read = from_disk.read([record], settings.tun.heater.power_w)
    if unwritten := writable.write("--report", str(path), lambda to: report.write(to, read)):
        raise Wrong(*unwritten)
    print(f"report   {path}")


def _record(settings: Settings) -> Path | None:
    """The newest run's record."""
    from controller.edge.record import line_format

    runs = [p for p in line_format.files(reader.record_folder(settings)) if p.stem.endswith("-run")]
    return runs[-1] if runs else None


def summary(path: Path, settings: Settings) -> list[str]:
    """A table of the run, step by step, and the curve, from its record."""
    from controller.commands import report
    from controller.report import from_disk

    record = from_disk.read([path], settings.tun.heater.power_w)
    drawn = status_text.chart([(row.t_s, row.mash_c) for row in record.rows])
    return ["", *report.steps(record), "", *drawn, "", f"heat     {record.energy_kwh or 0.0:.2f} kWh"]
