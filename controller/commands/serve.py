"""The daemon: one process a tun, until it is told to end.

Holds a lock so that this machine never serves a tun twice, reads the record, connects, and runs. SIGTERM and SIGINT end
it with the heater off.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import ctypes
import fcntl
import gc
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.commissioning.proof_record import proof_days
from controller.edge import startable, supply_link
from controller.edge.clock import FASTEST, MachineClock
from controller.edge.dashboards.for_latecomers import ForLatecomers
from controller.edge.dashboards.observers import Outward
from controller.edge.files import config_files, writable
from controller.edge.forecaster import Ahead
from controller.edge.log import Log
from controller.edge.mqtt.broker_link import BrokerLink
from controller.edge.mqtt.connection import Will
from controller.edge.record import past, reader
from controller.edge.service import Service
from controller.edge.start_orders import compiler, unchanged
from controller.edge.systemd import Notifier
from controller.edge.watchdog import Watchdog
from controller.messages.topics import topics
from controller.settings.problems import Problem, Problems, gathered
from controller.settings.service import Settings

SETTLED_S = 15.0  # after so long the connection stands and the start-up's memory can go


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where there is only one")
    speed = f"a simulated tun only: times real time, to {FASTEST:g}"
    parser.add_argument("--speed", type=float, default=1.0, help=speed)
    parser.add_argument("--quiet", action="store_true", help="log warnings and errors only")


def run(args: argparse.Namespace) -> int:
    config, settings = read(args.config, args.tun, args.speed)
    folder = reader.record_folder(settings)
    log = Log("warning" if args.quiet else "info")
    with lock(folder) as mine:
        if not mine:
            log.error(f"another underback on this machine serves {settings.tun.name}; this one ends")
            return NO
        return asyncio.run(serve(config, settings, args.speed, log))


def read(config: str | None, tun: str | None, speed: float, *, data: bool = True) -> tuple[Path, Settings]:
    """The files, checked. Raises Problems, all at once, or Wrong.

    `data`: the data folder is needed too, to be written and for what was learned of the tun.
    """
    folder = config_files.config_dir(config)
    problems = [*writable.folder_problems(folder)] if data else []
    settings = gathered(problems, lambda: config_files.settings(folder, tun, learned=data and not problems))
    if problems or settings is None:
        raise Problems(dict.fromkeys(problems))
    if not (0.0 < speed <= FASTEST):
        raise Wrong(f"--speed: found {speed:g}, wanted above 0 and at most {FASTEST:g}")
    if speed != 1.0 and not settings.tun.simulated:
        raise Wrong(
            f"--speed: found {speed:g}, wanted 1: the tun {settings.tun.name} is real (simulated = false); "
            f"`underback rehearse --tun {settings.tun.name} --speed {speed:g}` practises on a copy of it"
        )
    return folder, settings


@contextlib.contextmanager
def lock(folder: Path) -> Iterator[bool]:
    """Is this the only process on this machine that serves the tun? The lock goes with the process, however it ends.

    Raises Wrong where the record's folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        fd = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError as error:
        raise Wrong(Problem(str(folder), str(error.strerror), writable.FOLDER_WANTED)) from None
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield True
    except BlockingIOError:
        yield False
    finally:
        os.close(fd)


async def serve(config: Path, settings: Settings, speed: float, log: Log) -> int:
    """Make the service and run it to its end."""
    service = make(config, settings, speed, log)
    terminal.on_signals(service.stop)
    shrink()
    gc.freeze()  # what the start made stays; the collector need not look at it again
    asyncio.get_running_loop().call_later(SETTLED_S, shrink)
    log.info(f"serving {settings.tun.name}", speed=speed, broker=f"{settings.service.broker.host}")
    await service.run()
    return DONE


def shrink() -> None:
    """Give back to the system what the start needed and the beat does not (malloc_trim(3); a Pi has little)."""
    gc.collect()
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)


def make(config: Path, settings: Settings, speed: float, log: Log) -> Service:
    """The service with everything it needs, ready to run."""
    boot = secrets.token_hex(6)
    clock = MachineClock(speed)
    proof = proof_days(settings, clock.wall_s())
    begun = reader.begin(settings, reader.record_folder(settings), clock, boot, unchanged(config, settings), proof)
    named = topics(settings)
    recall, look = lambda: past.recall(reader.record_folder(settings), clock), startable.looker(config, settings)
    late = ForLatecomers(named, recall, look, log, units=settings.service.units)
    outward = Outward(settings, log, late)
    shared = supply_link.of(settings, clock.now())
    transport = BrokerLink(
        settings.service.broker,
        f"underback-{settings.tun.name}-{boot}",
        (*named.heard(), *outward.topics(), *([shared.topic] if shared is not None else [])),
        Will(named.online, b"false"),
        speed,
        passing=named.passing(),
        not_own=[named.status],
    )
    return Service(
        settings,
        transport,
        begun,
        clock,
        compiler(config, settings),
        notifier=Notifier(),
        watchdog=Watchdog(),
        log=log,
        watcher=outward,
        supply=shared,
        predict=Ahead(log, speed).predict,
    )
