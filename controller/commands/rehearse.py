"""A rehearsal on your own broker, with its users and rights: simulated nodes and the daemon, as on a brewing day.

    underback rehearse --tun gannet --program sandpiper --speed 10

In a second terminal give the orders as on the day: `underback order start sandpiper --ask`, `underback watch`. A tun of
your own is practised on as a copy; its real nodes must be off the broker. End it with Ctrl-C, kill the daemon, cut the
power: started again, the mash is as warm as it was, and the daemon goes by its record.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import re
import shutil
import subprocess
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from controller.commands.serve import read
from controller.commands.shared import daemons
from controller.commands.shared.exit_codes import NO, WRONG, Unreachable, Wrong
from controller.commands.standin import USERS, LiveWorld, Nodes, program_for
from controller.edge.clock import FASTEST
from controller.edge.files import plan_by_name, program_file
from controller.edge.log import Log
from controller.edge.mqtt import requests
from controller.settings.service import Broker, Settings
from sim.people.manner import Manner
from sim.people.person import Person
from sim.simulated_site import SimulatedSite

LISTEN_S = 4.0  # a real node reports at least every 3 s
KEPT_S = 2.0  # real time between two notes of how warm the mash is
AGAIN_S = 3.0  # a daemon that was killed is started again, as systemd would
TELL_S = 300.0  # simulated, between two readings of the hand thermometer
RUN_OVER = ("idle", "stopped", "aborted", "complete")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where there is only one")
    parser.add_argument("--program", metavar="PROGRAM", help="filled for this program; else for the first that fits")
    parser.add_argument("--speed", type=float, default=1.0, help=f"times real time, at most {FASTEST:g}")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another seed: another tun of this make")
    parser.add_argument("--brewer", action="store_true", help="a simulated brewer gives the orders and the answers")
    users = "what make-users.sh wrote: the nodes' passwords; beside the daemon's own unless said"
    parser.add_argument("--passwords", metavar="DIR", help=users)
    parser.add_argument("--new", action="store_true", help="fill the tun anew, and begin a new record")


def run(args: argparse.Namespace) -> int:
    if not (0.0 < args.speed <= FASTEST):
        raise Wrong(f"--speed: found {args.speed:g}, wanted above 0 and at most {FASTEST:g}")
    config, real = read(args.config, args.tun, 1.0)
    users = _users(real, args.passwords)
    if not real.tun.simulated:
        _nobody_there(real, users["operator"])
    place = Path(real.service.data_dir).resolve() / "rehearsal" / real.tun.name
    if args.new:
        shutil.rmtree(place, ignore_errors=True)
    copied = _copy(config, real, place)
    config, settings = read(str(copied), real.tun.name, args.speed)
    plan = (
        plan_by_name.load_plan(config, args.program, real.tun.name) if args.program else program_for(config, settings)
    )
    world = LiveWorld(settings, plan.course, args.seed, (), None, plan.program.liquor.temperature_c)
    person = Person(world, Manner(speaks=args.brewer))
    kept, site = _Kept(place / "tun.json", person, f"{plan.program.name} {args.seed}"), SimulatedSite(world, person)
    _greet(settings, args.speed, kept.taken_up(), world)
    child = _Daemon(partial(daemons.started, config, settings, args.speed, place / "daemon.log"), place)
    nodes = Nodes(settings, site, args.speed, Log("warning"), users, kept.each_second, child.end)
    try:
        return asyncio.run(_together(nodes, child))
    finally:
        child.end()
        kept.note()


# ---------------------------------------------------------------- files


def _copy(config: Path, real: Settings, place: Path) -> Path:
    """The same files, with a data folder of its own and the tun marked as simulated."""
    copied = place / "config"
    shutil.rmtree(copied, ignore_errors=True)
    shutil.copytree(config / "programs", copied / "programs")
    (copied / "tuns").mkdir(parents=True)
    tun = (config / "tuns" / f"{real.tun.name}.toml").read_text(encoding="utf-8")
    bare = re.sub(r"(?m)^simulated\s*=.*$", "", tun)
    (copied / "tuns" / f"{real.tun.name}.toml").write_text(f"simulated = true\n{bare}", encoding="utf-8")
    service = config / "service.toml"
    text = service.read_text(encoding="utf-8") if service.is_file() else ""
    bare = re.sub(r"(?m)^data_dir\s*=.*$", "", text)
    kept = f"data_dir = {program_file.toml_value(str(place / 'data'))}\n"
    (copied / "service.toml").write_text(kept + bare, encoding="utf-8")
    return copied


def _users(settings: Settings, named: str | None) -> dict[str, Broker]:
    """Each node's access to the broker; none of its own on a broker without users. Raises Wrong with what to do."""
    broker = settings.service.broker
    if named is None and not broker.password_file:
        return dict.fromkeys(USERS, broker)
    folder = Path(named) if named is not None else Path(broker.password_file).parent
    tun = settings.tun.name
    files = {who: folder / (who if who == "operator" else f"{who}-{tun}") for who in USERS}
    lacking = [str(path) for path in files.values() if not path.is_file()]
    if lacking:
        do = f"bash config/mosquitto/make-users.sh FOLDER {tun}, then --passwords FOLDER/passwords"
        raise Wrong(f"--passwords: found no {' and no '.join(lacking)}, wanted what make-users.sh writes: {do}")
    return {
        who: broker.model_copy(update={"username": path.name, "password_file": str(path)})
        for who, path in files.items()
    }


def _nobody_there(real: Settings, operator: Broker) -> None:
    """A real tun's nodes would obey this rehearsal. Raises Wrong where one is heard, or Unreachable."""
    asking = real._replace(service=real.service.model_copy(update={"broker": operator}))
    try:
        heard = asyncio.run(_heard(asking))
    except requests.NoAnswer as silent:
        raise Unreachable(str(silent)) from None
    if heard:
        do = "take the nodes' supply away (pull the heater's plug), wait a minute, and say it again"
        raise Wrong(f"{real.tun.name} is a real tun and its nodes are on this broker ({', '.join(heard)}): {do}")


async def _heard(real: Settings) -> list[str]:
    """On which topics do the nodes of this tun speak, or say that they are there?"""
    found: set[str] = set()
    async with requests.line(real, "rehearse") as link:
        topics = link.topics
        said = (topics.heater_report, topics.heater_online, topics.probe_online, real.tun.probes.mash.topic)
        await link.listen(*said)
        until = time.monotonic() + LISTEN_S
        while (left := until - time.monotonic()) > 0 and (message := await link.next(left)) is not None:
            if not message.retain or message.payload in (b"true", b"online"):
                found.add(message.topic.value)
    return sorted(found)


class _Kept:
    """What is in the tun, noted every few seconds; taken up by the next rehearsal where a run was open."""

    def __init__(self, path: Path, person: Person, what: str) -> None:
        self._path, self._person, self._world, self._what = path, person, person.world, what
        self._at = self._told_s = 0.0

    def taken_up(self) -> bool:
        """Does the tun stand as it stood when the last rehearsal ended?"""
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
            noted = json.loads(self._path.read_text(encoding="utf-8"))
            if noted["what"] == self._what and noted["state"] not in RUN_OVER:
                self._world.tun.refill(noted["tun"])
                self._person.deeds.pulled.update(noted["pulled"])
                return True
        return False

    def each_second(self) -> None:
        """Note it, and tell now and then what a hand thermometer reads."""
        if time.monotonic() - self._at >= KEPT_S:
            self._at = time.monotonic()
            self.note()
        if self._world.now >= self._told_s:
            self._told_s = self._world.now + TELL_S
            minutes = self._world.now / 60.0
            print(f"{minutes:5.0f} min  a hand thermometer reads {self._world.hand_c():.1f} °C", flush=True)

    def note(self) -> None:
        """Whole or not at all: the power may go at any moment."""
        kept = {"what": self._what, "state": self._person.heard_state(), "tun": self._world.tun.contents()}
        new = self._path.with_suffix(".new")
        new.write_text(json.dumps(kept | {"pulled": sorted(self._person.deeds.pulled)}), encoding="utf-8")
        new.replace(self._path)


class _Daemon:
    """The daemon, started again when it is killed, as systemd would."""

    def __init__(self, start: Callable[[], subprocess.Popen[bytes]], place: Path) -> None:
        self._start, self._log, self._over = start, place / "daemon.log", False
        self._child = start()

    def end(self) -> None:
        """Orderly, with the heater off."""
        self._over = True
        daemons.end(self._child)

    async def again(self) -> None:
        """Where it has ended, once more. Raises Wrong where it would end again for the same reason."""
        code = self._child.poll()
        if code is None or self._over:
            return
        if code in (NO, WRONG):
            raise Wrong(f"the daemon ended; its log says why: {self._log}")
        print(f"the daemon has ended ({code}); it is started again in {AGAIN_S:g} s, as systemd would", flush=True)
        await asyncio.sleep(AGAIN_S)
        self._child = self._start()


async def _together(nodes: Nodes, child: _Daemon) -> int:
    """Nodes and daemon until told to end."""
    running = asyncio.create_task(nodes.run())
    while not running.done():
        await asyncio.wait([running], timeout=1.0)
        await child.again()
    return running.result()


def _greet(settings: Settings, speed: float, taken_up: bool, world: LiveWorld) -> None:
    broker, tun, program = settings.service.broker, world.tun, world.course.program
    stands = "stands as it stood" if taken_up else f"holds {tun.liquor_kg:.0f} kg of liquor for {program}"
    print(f"Rehearsal on {settings.tun.name}: simulated nodes, {broker.host}:{broker.port}, {speed:g} times real time.")
    print(f"The tun {stands}. Ctrl-C ends it; said again, it goes on. In a second terminal:")
    order = "watch" if taken_up else f"order start {program} --ask"
    print(f"  underback {order} --tun {settings.tun.name}", flush=True)
