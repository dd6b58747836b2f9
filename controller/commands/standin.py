"""`underback standin`: a simulated tun in place of a real one, on a real broker.

It is probe node and heater node at once, each with its own connection and last will, and keeps the heater node's
contract. The daemon cannot tell it from hardware. Hands are there as well: when the daemon asks for grain, liquor or a
decoction, the simulated tun gets it; with `--brewer` the brewer gives the orders and the answers too.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import itertools
import sys
import time
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from pathlib import Path

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.edge.clock import FASTEST, MachineClock
from controller.edge.files import config_files, plan_by_name
from controller.edge.log import Log
from controller.edge.mqtt.broker_link import BrokerLink
from controller.edge.mqtt.connection import Will
from controller.edge.mqtt.transport import Lane, Post, ReplyTo
from controller.edge.systemd import Notifier
from controller.field import reset_line
from controller.plan.plan import Plan, make
from controller.settings.problems import Problems
from controller.settings.service import Broker, Settings
from sim.people.manner import Manner
from sim.people.person import Person
from sim.plant.spec import STEP_S
from sim.simulated_site import SimulatedSite
from sim.world.faults import Fault, parse_all
from sim.world.network import Message
from sim.world.world import World

BEHIND_S = 0.5  # real time: a machine that was held up longer does not make up for it in a burst
LEAVE_S = 2.0
USERS = ("heater", "probe", "operator")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which tun, filled for which program, how fast, with which faults?"""
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where there is only one")
    parser.add_argument("--program", metavar="PROGRAM", help="filled for this program; else for the first that fits")
    parser.add_argument("--speed", type=float, default=1.0, help=f"times real time, at most {FASTEST:g}; as `serve`")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another seed: another tun of this make")
    parser.add_argument("--fault", action="append", default=[], metavar="SPEC", help="as in `dryrun`")
    parser.add_argument("--brewer", action="store_true", help="the simulated brewer gives orders and answers too")
    parser.add_argument("--clears", action="store_true", help="and looks after trips")
    parser.add_argument("--quiet", action="store_true", help="log warnings and errors only")


def run(args: argparse.Namespace) -> int:
    """Runs until told to end (SIGTERM, SIGINT)."""
    settings, plan, faults = _given(args)
    world = LiveWorld(settings, plan.course, args.seed, faults, None, plan.program.liquor.temperature_c)
    person = Person(world, Manner(speaks=args.brewer, clears=args.clears))
    log = Log("warning" if args.quiet else "info")
    log.info(f"standing in for {settings.tun.name}", program=plan.program.name, speed=args.speed, seed=args.seed)
    return asyncio.run(Nodes(settings, SimulatedSite(world, person), args.speed, log).run())


class LiveWorld(World):
    """The simulated tun with this machine's wall clock on its messages, as real nodes would have."""

    @property
    def wall_s(self) -> float:
        return time.time()


def _given(args: argparse.Namespace) -> tuple[Settings, Plan, list[Fault]]:
    """Files and faults, read. Raises Wrong with everything that is wrong."""
    faults, unread = parse_all(args.fault)
    wrong: list[object] = [f"--fault: {why}" for why in unread]
    if not (0.0 < args.speed <= FASTEST):
        wrong.append(f"--speed: found {args.speed:g}, wanted above 0 and at most {FASTEST:g}")
    try:
        config = config_files.config_dir(args.config)
        settings = config_files.settings(config, args.tun)
        named = args.program
        plan = plan_by_name.load_plan(config, named, settings.tun.name) if named else program_for(config, settings)
    except Problems as problems:
        raise Wrong(*problems.problems, *wrong) from None
    if not settings.tun.simulated:
        wrong.append(
            f"tun {settings.tun.name}: found simulated = false, wanted true: nothing stands in for a real tun; "
            f"`underback rehearse --tun {settings.tun.name}` practises on a copy of it with simulated nodes"
        )
    if wrong:
        raise Wrong(*wrong)
    return settings, plan, faults


def program_for(config: Path, settings: Settings) -> Plan:
    """The first program, by name, that was written for this tun or fits it. Raises Wrong when there is none."""
    fitting: list[Plan] = []
    for name in config_files.names(config / "programs"):
        with contextlib.suppress(Problems):
            made = make(config_files.load_program(config, name), settings.tun)
            fitting += [made] if not made.problems else []
    written_for = [plan for plan in fitting if plan.program.tun == settings.tun.name]
    if not fitting:
        wanted = f"a program that fits {settings.tun.name}; none below programs/ does"
        raise Wrong(f"--program: found nothing, wanted {wanted}")
    return (written_for or fitting)[0]


class Pace:
    """The simulated world, half a second at a time, as fast as `speed` says; `now` is its time, s."""

    def __init__(self, site: SimulatedSite, speed: float) -> None:
        self.site, self.speed = site, speed
        self._clock = MachineClock(speed)
        self._yielded_s = 0.0  # given up when this process was held up: nothing is made up for in a burst

    def now(self) -> float:
        """Seconds of the simulated world."""
        return self._clock.now() - self._yielded_s

    async def steps(self) -> AsyncIterator[tuple[int, Iterable[Message]]]:
        """Each step's number, when it is due, and what the world says in it."""
        for step in itertools.count():
            at = step * STEP_S
            late = self.now() - at
            if late > BEHIND_S * self.speed:
                self._yielded_s += late
            await asyncio.sleep(max(0.0, (at - self.now()) / self.speed))
            yield step, self.site.until(at)


class _Ear:
    """One connection's ear: what is heard goes to the stand-in."""

    def __init__(self, nodes: Nodes, name: str) -> None:
        self._nodes, self._name = nodes, name

    def heard(self, topic: str, payload: bytes, retained: bool, reply_to: ReplyTo | None) -> None:
        self._nodes.site.hear(topic, payload, self._nodes.pace.now(), retained)

    def linked(self) -> None:
        self._nodes.log.info(f"{self._name} connected")

    def unlinked(self, why: str) -> None:
        self._nodes.log.warning(f"{self._name} has no broker", why=why)

    def refused(self, topic: str, why: str) -> None:
        self._nodes.log.error(f"{self._name} was refused by the broker", topic=topic, why=why)


class Nodes:
    """Probe node, heater node and brewer, each on its own connection, and as a user of its own where it has one."""

    def __init__(
        self,
        settings: Settings,
        site: SimulatedSite,
        speed: float,
        log: Log,
        users: Mapping[str, Broker] | None = None,
        each_second: Callable[[], None] = lambda: None,
        before_leaving: Callable[[], None] = lambda: None,
    ) -> None:
        """`users`: access to the broker of `heater`, `probe` and `operator`; the service's own unless said."""
        self.settings, self.site, self.log = settings, site, log
        self._each_second, self._before_leaving = each_second, before_leaving
        topics, name = site.world.topics, settings.tun.name
        heater, probe, operator = ((users or {}).get(who, settings.service.broker) for who in USERS)
        commands = [t for t in (topics.heater_command, topics.stirrer_command, topics.pump_command) if t]
        self._heater = BrokerLink(heater, f"{name}-heater-node", commands, Will(topics.heater_online, b"false"))
        self._probe = BrokerLink(probe, f"{name}-probe-node", (), Will(topics.probe_online, b"false"))
        self._brewer = BrokerLink(operator, f"{name}-brewer", (topics.status, topics.reply))
        self._links = {"heater node": self._heater, "probe node": self._probe, "brewer": self._brewer}
        wired = (topics.heater_report, topics.heater_online, topics.level, topics.flow)  # to the heater's node
        self._by_topic = {topic: self._heater for topic in wired if topic} | {topics.order: self._brewer}
        self.pace = Pace(site, speed)
        self._stop = asyncio.Event()
        self._notifier = Notifier()

    def stop(self) -> None:
        """Leave the broker, with a word."""
        self._stop.set()

    async def run(self) -> int:
        terminal.on_signals(self.stop)
        running = [link.run(_Ear(self, name)) for name, link in self._links.items()]
        tasks = [asyncio.ensure_future(one) for one in (*running, self._go(), self._stop.wait(), self._resets())]
        self._notifier.ready(f"standing in for {self.settings.tun.name}")
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        await self._leave()
        for task in tasks:
            task.cancel()
        for done in await asyncio.gather(*tasks, return_exceptions=True):
            if isinstance(done, Exception):
                raise done
        return DONE

    async def _resets(self) -> None:
        """The simulated heater node can be reset from this machine as a real one is, where no other has the place."""
        name, heater = self.settings.tun.name, self.site.world.heater
        with contextlib.suppress(OSError):
            async with await reset_line.listen(name, heater.reset) as line:
                await line.serve_forever()
        await self._stop.wait()

    async def _go(self) -> None:
        async for step, said in self.pace.steps():
            for message in said:
                self._publish(message)
            if step % max(1, round(self.pace.speed / STEP_S)) == 0:
                self._notifier.beat()  # about once a second of real time
                self._each_second()

    def _publish(self, message: Message) -> None:
        topics = self.site.world.topics
        presence = message.topic in (topics.heater_online, topics.probe_online)
        lane: Lane = "state" if presence else "reply" if message.topic == topics.order else "motor"
        link = self._by_topic.get(message.topic, self._probe)
        if message.topic != topics.heater_command:
            link.post(Post(message.topic, message.payload, lane, retain=presence or message.retained))
        else:
            self._heater.heater(message.topic, message.payload, True, 10.0)  # a stranger's, by a fault

    async def _leave(self) -> None:
        """An orderly end says so: the last wills are not needed."""
        await asyncio.to_thread(self._before_leaving)
        topics = self.site.world.topics
        self._heater.post(Post(topics.heater_online, b"false", "state", retain=True))
        self._probe.post(Post(topics.probe_online, b"false", "state", retain=True))
        await asyncio.gather(self._heater.flush(LEAVE_S), self._probe.flush(LEAVE_S))
        sys.stdout.flush()
