"""Is this machine fit to run a mash, and is its broker?

Each check says what was found and, where it is not well, what to do. Nothing is changed; nothing is sent to the heater.
Ends with 0 when nothing failed, 1 when something did, 3 when the broker cannot be reached.
"""

from __future__ import annotations

import argparse
import asyncio
import platform
import stat
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal, NamedTuple

from controller import __version__
from controller.commands.shared import installed, terminal
from controller.commands.shared.connection import reach, served
from controller.commands.shared.exit_codes import DONE, NO, UNREACHABLE
from controller.commissioning.proof_record import proof_days
from controller.core.nouns import RunState
from controller.edge import clock
from controller.edge.files import shared_topics
from controller.edge.mqtt import requests
from controller.edge.mqtt.connection import LISTED
from controller.edge.record import run_header
from controller.edge.record.disks import RealDisks
from controller.edge.systemd import credential
from controller.field import gpio_output
from controller.settings.service import Settings

Level = Literal["good", "note", "bad"]
CALIBRATE = "run `underback calibrate`"
FREE_MB, SYNC_S, ROUND_TRIP_S = 500.0, 0.2, 0.2


class Finding(NamedTuple):
    """One check's answer."""

    check: str
    level: Level
    found: str
    do: str = ""


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--tun", metavar="NAME", help="which tun; without it the only one whose daemon answers, else all"
    )
    parser.add_argument("--json", action="store_true", help="a JSON list")


def run(args: argparse.Namespace) -> int:
    looked = [reach(args.config, name, data=True) for name in served(args.config, args.tun)]
    every = [settings for _, settings in looked]
    found = [*machine(every[0]), packages(), *disk(Path(every[0].service.data_dir)), *gpio()]
    for config, settings in looked:
        found += _named(settings, every, [*tun(settings), *copied(config, settings)])
    reached = True
    try:
        found += asyncio.run(broker(every))
    except requests.NoAnswer as silent:
        reached, away = False, "nothing listens" in str(silent)
        do = "start it, or mend [broker] in service.toml" if away else "see config/mosquitto"
        found.append(Finding("broker", "bad", str(silent), do))
    terminal.show(args.json, [f._asdict() for f in found], lines(found))
    if not reached:
        return UNREACHABLE
    return NO if any(f.level == "bad" for f in found) else DONE


def _named(settings: Settings, every: Sequence[Settings], found: Sequence[Finding]) -> list[Finding]:
    """Where several tuns are looked at, each finding says of which it is."""
    name = settings.tun.name
    return [one._replace(found=f"{name}: {one.found}") for one in found] if len(every) > 1 else list(found)


def lines(found: list[Finding]) -> list[str]:
    """A line a check; what to do stands below it."""
    return [
        f"{one.level:<5} {one.check:<14} {one.found}" + (f"\n{'':20} -> {one.do}" if one.do else "") for one in found
    ]


# ---------------------------------------------------------------- this machine


def machine(settings: Settings) -> list[Finding]:
    """Versions and clock."""
    version = f"underback {__version__}, Python {platform.python_version()}, {platform.machine()}"
    found = [Finding("version", "good", version)]
    if clock.in_step():
        found.append(Finding("clock", "good", "the kernel says the clock is in step"))
    else:
        do = "switch on time synchronisation; until then outages count as unknown and no delayed start is accepted"
        found.append(Finding("clock", "note", "the kernel does not say that the clock is in step", do))
    if not hasattr(time, "CLOCK_BOOTTIME"):
        found.append(Finding("clock", "note", "no clock that counts suspend", "never let this machine sleep in a mash"))
    return [*found, _password(settings)]


def packages() -> Finding:
    """Are the packages that run here underback's own, and nobody else's of the same names beside them?"""
    do = "install underback in an environment of its own: python3 -m venv, then pip install there"
    ours, others = installed.own(), installed.strangers()
    spoilt = installed.overwritten(ours) if ours is not None else []
    if spoilt:
        more = f" and {len(spoilt) - 1} more" if len(spoilt) > 1 else ""
        return Finding("packages", "bad", f"{spoilt[0]}{more} is not the file that was installed", do)
    if others:
        return Finding("packages", "bad", f"{', '.join(others)} brings a package controller or sim of its own", do)
    return Finding("packages", "good", "controller and sim are underback's own")


def _password(settings: Settings) -> Finding:
    """May others read the broker's password?"""
    named = settings.service.broker.password_file
    path = Path(named) if named else credential("broker-password")
    if path is None:
        return Finding("password", "note", "none is set for the broker", "see config/mosquitto for users and rights")
    try:
        mode = path.stat().st_mode
    except OSError as why:
        return Finding("password", "bad", f"{path}: {why.strerror}", "mend password_file in service.toml")
    if mode & (stat.S_IRWXO | stat.S_IWGRP):
        return Finding("password", "bad", f"{path} can be read by everybody", f"chmod 600 {path}")
    return Finding("password", "good", "in a file of its own, not readable by everybody")


def disk(data: Path, disks: RealDisks | None = None, now: Callable[[], float] = time.monotonic) -> list[Finding]:
    """Can the record be written, how fast does it reach the disk, and is there room?"""
    disks = disks or RealDisks()
    try:
        data.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=data) as folder:
            fd = disks.create(Path(folder) / "00000001-idle.jsonl")
            began = now()
            for _ in range(10):
                disks.write(fd, b"x" * 400 + b"\n")
                disks.sync(fd)
            took = (now() - began) / 10
            disks.close(fd)
        free = disks.free_mb(data)
    except OSError as why:
        return [Finding("record", "bad", f"{data}: {why.strerror}", "give the service a data folder it may write to")]
    record = Finding("record", "good", f"{data}: a synced line takes {took * 1000:.1f} ms")
    if took > SYNC_S:
        record = record._replace(level="note", do="a slow disk or card; control does not wait for it, heat may")
    room = Finding("room", "good", f"{free:.0f} MB free")
    if free < FREE_MB:
        room = room._replace(level="bad" if free < 100 else "note", do="free some room: a run needs up to 30 MB")
    return [record, room]


def gpio(root: Path = Path("/")) -> list[Finding]:
    """On a Raspberry Pi: does an output fall back when its process dies? Nothing is said of other machines."""
    persist = gpio_output.outputs_persist(root)
    if persist is None:
        return []
    if persist:
        return [Finding("gpio", "bad", "outputs stay on when their process dies", gpio_output.ADVICE)]
    return [Finding("gpio", "good", "outputs fall back when their process dies")]


# ---------------------------------------------------------------- tun and broker


def tun(settings: Settings) -> list[Finding]:
    """What the tun file leaves unprotected, and the proof test's age."""
    found, tun = [], settings.tun
    if tun.level is None and tun.flow is not None and tun.heater.place == "line":
        said = "none; the flow switch cuts the heat in the line where nothing flows"
        found.append(Finding("level switch", "note", said, "only a delayed start needs one too"))
    elif tun.level is None:
        do = "fit one: a dry element glows within half a minute; no delayed start without it"
        found.append(Finding("level switch", "note", "none is fitted", do))
    if tun.probes.second is None:
        found.append(Finding("second probe", "note", "none: a slow drift of the only probe cannot be seen"))
    days, limit = proof_days(settings, time.time()), tun.guard.proof_test_days
    if days is None:
        found.append(Finding("proof test", "note", "none on record", "run `underback tryout` with plain water"))
    else:
        proof = Finding("proof test", "good", f"{days:.0f} days old, limit {limit}")
        found.append(proof if days <= limit else proof._replace(level="note", do="run `underback tryout`"))
    if tun.probes.mash.calibrated_on is None:
        found.append(Finding("calibration", "note", "the mash probe has none", CALIBRATE))
    return found + [Finding("calibration", "note", said, CALIBRATE) for said in run_header.not_own(settings)]


def copied(config: Path, settings: Settings) -> list[Finding]:
    """Has another tun of this folder the same topics, as after a copy?"""
    found = []
    for one in shared_topics.shared(config, settings.tun):
        do = f"give {one.key} in tuns/{settings.tun.name}.toml a topic of its own"
        if one.hot:
            do += ": two controllers would command one heater"
        found.append(Finding("topics", "bad" if one.hot else "note", f"{one.topic} is tun {one.other}'s too", do))
    return found


async def broker(every: Sequence[Settings]) -> list[Finding]:
    """Round trip, rights of our own user, the daemons' presence, a stranger's rights."""
    found: list[Finding] = []
    for settings in every:
        async with requests.line(settings, "doctor") as link:
            found += _named(settings, every, [await _rights(link), *await _daemon(link)])
    return [*found, await _stranger(every[0])]


async def _rights(link: requests.DaemonLink) -> Finding:
    """Does what we say come back to us, and how soon?"""
    service = link.settings.service
    seconds = await link.trial()
    if isinstance(seconds, str):
        return Finding("rights", "bad", f"{requests.user(service)} {seconds}", LISTED)
    protocol = "MQTT 5" if service.broker.version == 5 else "MQTT 3.1.1"
    round_trip = Finding("broker", "good", f"{protocol}, round trip {seconds * 1000:.1f} ms")
    do = "set_tcp_nodelay true in the broker's configuration; look at the network"
    return round_trip if seconds < ROUND_TRIP_S else round_trip._replace(level="note", do=do)


async def _daemon(link: requests.DaemonLink) -> list[Finding]:
    """Is the daemon there, and does the broker take and give all that it should?"""
    await link.listen(link.topics.status)
    try:
        status = await link.status(4.0)
    except requests.NoAnswer as silent:
        return [Finding("daemon", "note", str(silent))]
    state = str(status.get("state"))
    busy = state not in (RunState.IDLE, RunState.COMPLETE, RunState.STOPPED, RunState.ABORTED)
    found = [Finding("daemon", "good", f"version {status.get('version')}, {state}{', a run is open' if busy else ''}")]
    if refused := status.get("counters", {}).get("refused by the broker"):
        said = f"the broker has refused the daemon {refused} times since its start; its log names the topics"
        found.append(Finding("daemon's rights", "bad", said, f"{LISTED}; then restart the daemon"))
    return found


async def _stranger(settings: Settings) -> Finding:
    """May anybody without a name connect?"""
    service = settings.service
    nameless = service.broker.model_copy(update={"username": "", "password_file": "", "cert_file": "", "key_file": ""})
    unknown = settings._replace(service=service.model_copy(update={"broker": nameless}))
    try:
        async with requests.line(unknown, "stranger"):
            pass
    except requests.NoAnswer:
        return Finding("open broker", "good", "a client without a name is turned away")
    if service.broker.host in ("127.0.0.1", "::1", "localhost"):
        do = "well enough while only this machine reaches it; see config/mosquitto before others may"
        return Finding("open broker", "note", "anybody on this machine may connect and command the heater", do)
    anybody = "anybody on the network may connect and command the heater"
    return Finding("open broker", "bad", anybody, "set users, rights and TLS: config/mosquitto")
