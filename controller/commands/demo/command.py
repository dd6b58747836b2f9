"""A whole mash on this machine, sped up, over real MQTT.

The daemon is a process of its own, as in earnest; the simulated tun and the simulated brewer speak to it through a real
broker only. No question and no permissive is skipped. Ends with a table of the run and the place of its record.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from controller import report
from controller.commands.demo.broker import broker
from controller.commands.demo.simulated_side import Demo, Ran, TooBusy
from controller.commands.report import steps
from controller.commands.shared import daemons, status_text
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.edge.clock import FASTEST
from controller.edge.files import config_files, plan_by_name, program_file, shipped, writable
from controller.edge.record import line_format, reader
from controller.plan import plan
from controller.report import from_disk
from controller.settings.problems import Problem
from controller.settings.service import Settings

PROGRAM, SEED = "linnet", 7
ENDINGS = (signal.SIGTERM, signal.SIGHUP)
SLOWEST = 5.0  # times real time: a machine too busy for that shows no mash in a reasonable time
LATE_S = 2.0  # of the tun's time: so late the beat may be; half of it is left to what else the machine does
NAPS, NAP_S = 40, 0.005


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("program", nargs="?", default=PROGRAM, help=f"a program's name or file; {PROGRAM} unless said")
    parser.add_argument("--tun", metavar="NAME", help="the program's own tun unless said")
    parser.add_argument(
        "--speed",
        type=float,
        default=FASTEST,
        help=f"times real time, at most {FASTEST:g}; slower where the machine is busy",
    )
    parser.add_argument("--seed", type=int, default=SEED, help="another tun of the same kind, another brewer's hand")
    parser.add_argument("--broker", choices=("any", "mosquitto", "embedded"), default="any", help="which broker")
    parser.add_argument("--report", metavar="FILE.html", help="the run as a page, at the end")
    kept = "where the record is kept, in a folder of its own; data/demo, or below ~/.local/share/underback, unless said"
    parser.add_argument("--data", metavar="DIR", help=kept)


def run(args: argparse.Namespace) -> int:
    if not (1.0 <= args.speed <= FASTEST):
        raise Wrong(f"--speed: found {args.speed:g}, wanted 1 to {FASTEST:g}")
    if args.report and (lacks := report.missing("--report")):
        raise Wrong(lacks)  # told before the mash, not after it
    if wrong := writable.file_problems((("--report", args.report),)):
        raise Wrong(*wrong)
    config, settings, made = _read(args.config, args.program, args.tun)
    data = _data(config, settings, args.data)
    with (
        _ends_like_ctrl_c(),
        tempfile.TemporaryDirectory(prefix="underback-") as scratch,
        broker(Path(scratch), args.broker) as (port, name),
    ):
        copied = _copy(config, Path(scratch), port, data.resolve(), made, args.program)
        _, settings, made = _read(str(copied), made.program.name, settings.tun.name)
        speed = fitting(args.speed, [_late_s() for _ in range(NAPS)])
        _greet(settings, made, speed, name, port)
        ran = _ran(copied, settings, made, speed, args.seed)
        complaint = (copied / "daemon.log").read_text()
        record = _record(settings)
        _tell(ran, settings, made, record)
        if complaint.strip():
            print(f"\nThe daemon's log:\n{complaint}", file=sys.stderr)
        if args.report:
            _page(Path(args.report), settings, record)
        return DONE if ran.complete else NO


def _ran(copied: Path, settings: Settings, made: plan.Plan, speed: float, seed: int) -> Ran:
    """The mash at this speed, or begun anew at half of it each time that the machine proves too busy."""
    log, data = copied / "daemon.log", Path(settings.service.data_dir)
    while True:
        daemon = daemons.started(copied, settings, speed, log)
        try:
            return asyncio.run(Demo(settings, made, speed, seed, heeds_late=speed > SLOWEST).go(daemon))
        except TooBusy as busy:
            speed = max(SLOWEST, speed / 2.0)
            print(f"\n{busy}\nThis machine is busy with other work: begun anew at {speed:g} times real time.\n")
        finally:
            daemons.end(daemon)
        log.unlink()
        shutil.rmtree(data)  # what was broken off is no record
        data.mkdir()


def _late_s() -> float:
    """How much later than asked does a nap end here?"""
    began = time.perf_counter()
    time.sleep(NAP_S)
    return time.perf_counter() - began - NAP_S


def fitting(speed: float, late_s: Sequence[float]) -> float:
    """The speed asked for, or the one at which a machine that wakes up so late keeps its beat."""
    return min(speed, max(SLOWEST, float(round(LATE_S / 2.0 / max(*late_s, 1e-3)))))


@contextlib.contextmanager
def _ends_like_ctrl_c() -> Iterator[None]:
    """SIGTERM and a closed terminal end it as Ctrl-C does: daemon, broker and folder go. More change nothing."""

    def end(number: int, frame: object) -> None:
        for signals in ENDINGS:
            signal.signal(signals, signal.SIG_IGN)
        raise KeyboardInterrupt

    before = {number: signal.signal(number, end) for number in ENDINGS}
    try:
        yield
    finally:
        for number, was in before.items():
            signal.signal(number, was)


# ---------------------------------------------------------------- files


def _read(config: str | None, program: str, tun: str | None) -> tuple[Path, Settings, plan.Plan]:
    """Configuration, tun and program; the tun that the program names where none is said. Raises Problems or Wrong."""
    folder = config_files.config_dir(config, simulated=True)
    made = plan_by_name.load_plan(folder, program, tun)
    settings = config_files.settings(folder, made.tun.name)
    if not settings.tun.simulated:
        raise Wrong(f"tun {settings.tun.name}: found simulated = false, wanted true: a demo never touches a real tun")
    return folder, settings, made


def _data(config: Path, settings: Settings, named: str | None) -> Path:
    """A folder of its own for the record of this demonstration. Raises Wrong where it cannot be made.

    One that others have used may hold an open run, which would go on here on another tun.
    """
    own = config != shipped.folder()  # with the shipped files away from a clone: below the user's own data
    if named is None and own and (problems := writable.folder_problems(config)):
        raise Wrong(*problems)
    home = Path(settings.service.data_dir) if own else shipped.data_home()
    whole = Path(named) if named is not None else home / "demo"
    if why := writable.unusable(str(whole) if named != "" else ""):
        raise Wrong(
            Problem("--data" if named is not None else "data_dir", f"{str(whole)!r}{why}", writable.FOLDER_WANTED)
        )
    return Path(tempfile.mkdtemp(prefix=time.strftime("%Y-%m-%d-"), dir=whole))


def _copy(config: Path, scratch: Path, port: int, data: Path, made: plan.Plan, program: str) -> Path:
    """The same files with another broker and another data folder; the program by its name, wherever it came from."""
    copied = scratch / "config"
    shutil.copytree(config / "tuns", copied / "tuns")
    (copied / "programs").mkdir()
    source = config_files.program_path(config, program)
    shutil.copy(source, copied / "programs" / f"{made.program.name}{source.suffix}")
    kept = f"data_dir = {program_file.toml_value(str(data))}\n"
    service = f'{kept}[broker]\nhost = "127.0.0.1"\nport = {port}\n[dashboards]\ndiscovery = false\n'
    (copied / "service.toml").write_text(service)
    return copied


# ---------------------------------------------------------------- what is told


def _greet(settings: Settings, made: plan.Plan, speed: float, name: str, port: int) -> None:
    print(f"{made.course.title} on {settings.tun.title or settings.tun.name}, simulated, {speed:g} times real time.")
    print(f"The daemon speaks to it through {name} on 127.0.0.1:{port} only.")
    takes_min = made.duration_s / 60.0 / speed + 0.3
    print(f"Planned {status_text.span(made.duration_s)}; this takes about {takes_min:.1f} min. Ctrl-C ends it.\n")


def _tell(ran: Ran, settings: Settings, made: plan.Plan, record: Path | None) -> None:
    print(f"\n{made.course.title}: {ran.last.get('state', 'no word from the daemon')}")
    if record is not None:
        print("\n".join(_summary(record, settings)))
    trips = [event for event in ran.events if event.get("kind") == "trip"]
    print(f"trips    {'; '.join(t['id'] + ' ' + t['text'] for t in trips) if trips else 'none'}")
    simulated = status_text.span(ran.curve[-1][0] if ran.curve else 0.0)
    print(f"time     {time.monotonic() - ran.began:.0f} s for {simulated}")
    print(f"record   {record if record is not None else 'none'}")


def _record(settings: Settings) -> Path | None:
    """The newest run's record."""
    runs = [p for p in line_format.files(reader.record_folder(settings)) if p.stem.endswith("-run")]
    return runs[-1] if runs else None


def _summary(path: Path, settings: Settings) -> list[str]:
    """A table of the run, step by step, and the curve, from its record."""
    record = from_disk.read([path], settings.tun.heater.power_w)
    drawn = status_text.chart([(row.t_s, row.mash_c) for row in record.rows])
    return ["", *steps(record), "", *drawn, "", f"heat     {record.energy_kwh or 0.0:.2f} kWh"]


def _page(path: Path, settings: Settings, record: Path | None) -> None:
    """The run's report as one file. Raises Wrong where it cannot be written."""
    if record is None:
        raise Wrong("--report: there is no record to make a page of")
    read = from_disk.read([record], settings.tun.heater.power_w)
    if unwritten := writable.write("--report", str(path), lambda to: report.write(to, read)):
        raise Wrong(*unwritten)
    print(f"report   {path}")
