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
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from controller.commands.demo.broker import broker
from controller.commands.shared import status_text
from controller.commands.shared.exit_codes import DONE, NO, Unreachable, Wrong
from controller.commands.standin import LiveWorld
from controller.edge import standard_streams
from controller.edge.clock import FASTEST, MachineClock
from controller.edge.files import config_files, data_folder, output_files, plan_by_name, toml_writer
from controller.edge.mqtt import requests
from controller.edge.record import reader
from controller.plan import plan
from controller.settings.problems import Problem, Problems
from controller.settings.tun import Settings
from sim.people.person import Manner, Person
from sim.plant.spec import STEP_S
from sim.simulated_site import SimulatedSite

PROGRAM, SEED = "linnet", 7
ENDS = ("complete", "stopped", "aborted")
CURVE = 60  # columns
GO_S, BEHIND_S = 30.0, 0.5  # the daemon must speak within so long; the world gives way after so much at once
LONGEST = 2.0  # times the plan, and half an hour: then it is given up
ENDINGS = (signal.SIGTERM, signal.SIGHUP)
CALM = 30.0  # times real time that a busy machine keeps up with
LATE = frozenset({"G02", "G13", "G14", "G16", "G17", "G24"})  # trips of a machine too busy for its speed


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("program", nargs="?", default=PROGRAM, help=f"a program's name or file; {PROGRAM} unless said")
    parser.add_argument("--tun", metavar="NAME", help="the program's own tun unless said")
    parser.add_argument("--speed", type=float, default=FASTEST, help=f"times real time, at most {FASTEST:g}")
    parser.add_argument("--seed", type=int, default=SEED, help="another tun of the same kind, another brewer's hand")
    parser.add_argument("--broker", choices=("any", "mosquitto", "embedded"), default="any", help="which broker")
    parser.add_argument("--report", metavar="FILE.html", help="the run as a page, at the end")
    kept = "where the record is kept, in a folder of its own; data/demo unless said"
    parser.add_argument("--data", metavar="DIR", help=kept)


def run(args: argparse.Namespace) -> int:
    if not (1.0 <= args.speed <= FASTEST):
        raise Wrong(f"--speed: found {args.speed:g}, wanted 1 to {FASTEST:g}")
    if args.report:
        _can_make_a_page()
    if wrong := output_files.problems((("--report", args.report),)):
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
        _greet(settings, made, args.speed, name, port)
        daemon = _daemon(copied, settings, args.speed, Path(scratch))
        try:
            ran = asyncio.run(_Demo(settings, made, args.speed, args.seed).go(daemon))
        finally:
            _end(daemon)
        complaint = (Path(scratch) / "daemon.log").read_text()
        code = _report(ran, settings, made, args.speed, complaint)
        if args.report:
            _page(Path(args.report), settings)
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
        folder = config_files.config_dir(config)
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
    if named is None and (problems := data_folder.problems(config)):
        raise Wrong(*problems)
    whole = Path(named) if named is not None else Path(settings.service.data_dir) / "demo"
    if why := data_folder.unusable(str(whole) if named != "" else ""):
        raise Wrong(Problem("--data" if named is not None else "data_dir", f"{str(whole)!r}{why}", data_folder.WANTED))
    return Path(tempfile.mkdtemp(prefix=time.strftime("%Y-%m-%d-"), dir=whole))


def _copy(config: Path, scratch: Path, port: int, data: Path, made: plan.Plan, program: str) -> Path:
    """The same files with another broker and another data folder; the program by its name, wherever it came from."""
    copied = scratch / "config"
    shutil.copytree(config / "tuns", copied / "tuns")
    (copied / "programs").mkdir()
    source = config_files.program_path(config, program)
    shutil.copy(source, copied / "programs" / f"{made.program.name}{source.suffix}")
    kept = f"data_dir = {toml_writer.value(str(data))}\n"
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


# ---------------------------------------------------------------- the simulated tun on a real broker


class Ran:
    """What the demonstration saw: the curve, the steps, what was said."""

    def __init__(self) -> None:
        self.began = time.monotonic()
        self.last: dict[str, Any] = {}
        self.curve: list[tuple[float, float | None, float | None, float]] = []  # s, mash, setpoint, duty
        self.events: list[dict[str, Any]] = []
        self.run = ""

    @property
    def complete(self) -> bool:
        return self.last.get("state") == "complete"


class _Demo:
    """Tun, brewer and the person who looks on."""

    def __init__(self, settings: Settings, made: plan.Plan, speed: float, seed: int) -> None:
        self.settings, self.made, self.speed = settings, made, speed
        world = LiveWorld(settings, made.course, seed, (), None, made.program.liquor.temperature_c)
        self.stand_in = SimulatedSite(world, Person(world, Manner(start_at_s=25.0, delay_s=30.0, clears=True)))
        self.clock, self.ran, self.live = MachineClock(speed), Ran(), status_text.Live(sys.stdout)
        self._yielded_s = 0.0  # the world's time given up when this process was held up

    def _now(self) -> float:
        return self.clock.now() - self._yielded_s

    async def go(self, daemon: subprocess.Popen[bytes]) -> Ran:
        """Until the run ends or the daemon does."""
        try:
            async with requests.line(self.settings, "demo") as link:
                topics = link.topics
                heard = (topics.heater_command, topics.stirrer_command, topics.pump_command, topics.status)
                await link.listen(*(t for t in (*heard, topics.reply, topics.event) if t))
                nodes = asyncio.create_task(self._nodes(link))
                try:
                    await self._watch(link, daemon, nodes)
                finally:
                    nodes.cancel()
                    with contextlib.suppress(asyncio.CancelledError):
                        await nodes
        except requests.NoAnswer as silent:
            raise Unreachable(str(silent)) from None
        return self.ran

    async def _nodes(self, link: requests.DaemonLink) -> None:
        """The world, half a second at a time, as fast as `speed` says."""
        step = 0
        while True:
            at = step * STEP_S
            late = self._now() - at
            if late > BEHIND_S * self.speed:
                self._yielded_s += late  # a machine that was held up does not make up for it in a burst
            await asyncio.sleep(max(0.0, (at - self._now()) / self.speed))
            for message in self.stand_in.until(at):
                link.send(message.topic, message.payload, message.topic.endswith("/online"))
            step += 1

    async def _watch(
        self, link: requests.DaemonLink, daemon: subprocess.Popen[bytes], nodes: asyncio.Task[None]
    ) -> None:
        """What the daemon says goes to the nodes, the brewer and the screen."""
        topics, quiet = link.topics, time.monotonic()
        longest_s = LONGEST * self.made.duration_s + 1800.0
        while daemon.poll() is None and not nodes.done() and not standard_streams.gone() and self._now() < longest_s:
            message = await link.next(1.0)
            if message is None:
                if time.monotonic() - quiet > GO_S:
                    raise Unreachable(f"the daemon has said nothing for {GO_S:g} s")
                continue
            quiet, topic = time.monotonic(), message.topic.value
            payload = message.payload if isinstance(message.payload, bytes) else b""
            if not message.retain:
                self.stand_in.hear(topic, payload, self._now())
            if topic == topics.event:
                self._event(requests.parsed(message))
            elif topic == topics.status and not message.retain:
                self._status(requests.parsed(message))
                if self.ran.run and self.ran.last.get("state") in ENDS:
                    return
        if nodes.done():
            nodes.result()

    def _event(self, event: Mapping[str, Any]) -> None:
        self.ran.events.append(dict(event))
        minutes = self._now() / 60.0
        self.live.say(f"{minutes:6.1f} min  {event.get('kind', ''):<8} {event.get('text', '')}")

    def _status(self, status: dict[str, Any]) -> None:
        ran = self.ran
        ran.last, ran.run = status, status.get("run") or ran.run
        ran.curve.append((self._now(), status["temperature_c"], status["setpoint_c"], status["duty"]))
        text = status_text.lines(status)
        drawn = [status_text.painted(line, status) for line in text]
        mash = [row[1] for row in _thinned(ran.curve, CURVE)]
        self.live.draw([*drawn, f"curve   {status_text.curve(mash, 10.0, 80.0)}"], " | ".join(text[:4]))


def _thinned(curve: list[Any], columns: int) -> list[Any]:
    step = max(1, -(-len(curve) // columns))
    return curve[::step]


# ---------------------------------------------------------------- words


def _greet(settings: Settings, made: plan.Plan, speed: float, name: str, port: int) -> None:
    minutes = made.duration_s / 60.0
    print(f"{made.course.title} on {settings.tun.title or settings.tun.name}, simulated, {speed:g} times real time.")
    print(f"The daemon speaks to it through {name} on 127.0.0.1:{port} only.")
    planned = status_text.span(made.duration_s)
    print(f"Planned {planned}; this takes about {minutes / speed + 0.3:.1f} min. Ctrl-C ends it.\n")


def _report(ran: Ran, settings: Settings, made: plan.Plan, speed: float, complaint: str) -> int:
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


def _can_make_a_page() -> None:
    """Raises Wrong where the page needs a package that is not there: told before the mash, not after it."""
    from controller.report import missing

    if lacks := missing("--report"):
        raise Wrong(lacks)


def _page(path: Path, settings: Settings) -> None:
    """The run's report as one file. Raises Wrong where it cannot be written."""
    from controller import report
    from controller.report import from_disk

    record = _record(settings)
    if record is None:
        raise Wrong("--report: there is no record to make a page of")
    read = from_disk.read([record], settings.tun.heater.power_w)
    if unwritten := output_files.write("--report", str(path), lambda to: report.write(to, read)):
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
