"""A whole mash on this machine, sped up, over real MQTT.

The daemon is a process of its own, as in earnest; the simulated tun and the simulated brewer speak to it through a real
broker only. No question and no permissive is skipped. Ends with a table of the run and the place of its record.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from controller.commands.demo.broker import broker
from controller.commands.demo.outcome import greet, page, tell
from controller.commands.demo.simulated_side import Demo
from controller.commands.shared.exit_codes import Wrong
from controller.edge.clock import FASTEST
from controller.edge.files import config_files, plan_by_name, program_file, shipped, writable
from controller.plan import plan
from controller.settings.problems import Problem, Problems
from controller.settings.service import Settings

PROGRAM, SEED = "linnet", 7
ENDINGS = (signal.SIGTERM, signal.SIGHUP)


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("program", nargs="?", default=PROGRAM, help=f"a program's name or file; {PROGRAM} unless said")
    parser.add_argument("--tun", metavar="NAME", help="the program's own tun unless said")
    parser.add_argument("--speed", type=float, default=FASTEST, help=f"times real time, at most {FASTEST:g}")
    parser.add_argument("--seed", type=int, default=SEED, help="another tun of the same kind, another brewer's hand")
    parser.add_argument("--broker", choices=("any", "mosquitto", "embedded"), default="any", help="which broker")
    parser.add_argument("--report", metavar="FILE.html", help="the run as a page, at the end")
    kept = "where the record is kept, in a folder of its own; data/demo, or below ~/.local/share/underback, unless said"
    parser.add_argument("--data", metavar="DIR", help=kept)


def run(args: argparse.Namespace) -> int:
    if not (1.0 <= args.speed <= FASTEST):
        raise Wrong(f"--speed: found {args.speed:g}, wanted 1 to {FASTEST:g}")
    if args.report:
        _can_make_a_page()
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
        greet(settings, made, args.speed, name, port)
        daemon = _daemon(copied, settings, args.speed, Path(scratch))
        try:
            ran = asyncio.run(Demo(settings, made, args.speed, args.seed).go(daemon))
        finally:
            _end(daemon)
        complaint = (Path(scratch) / "daemon.log").read_text()
        code = tell(ran, settings, made, args.speed, complaint)
        if args.report:
            page(Path(args.report), settings)
        return code


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
    """Configuration, tun and program; the tun that the program names where none is said. Raises Wrong."""
    try:
        folder = config_files.config_dir(config, simulated=True)
        made = plan_by_name.load_plan(folder, program, tun)
        settings = config_files.settings(folder, made.tun.name)
    except Problems as wrong:
        raise Wrong(*wrong.problems) from None
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


def _daemon(config: Path, settings: Settings, speed: float, scratch: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "controller", "--config", str(config), "serve", "--tun", settings.tun.name]
    log = (scratch / "daemon.log").open("wb")
    with log:
        return subprocess.Popen(
            [*command, "--speed", f"{speed:g}", "--quiet"],
            stdout=log,
            stderr=subprocess.STDOUT,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            start_new_session=True,
        )


def _end(daemon: subprocess.Popen[bytes]) -> None:
    """Orderly: SIGTERM, heater off, at most five seconds."""
    if daemon.poll() is None:
        daemon.send_signal(signal.SIGTERM)
    try:
        daemon.wait(6)
    except subprocess.TimeoutExpired:
        daemon.kill()
        daemon.wait()


def _can_make_a_page() -> None:
    """Raises Wrong where the page needs a package that is not there: told before the mash, not after it."""
    from controller.report import missing

    if lacks := missing("--report"):
        raise Wrong(lacks)
