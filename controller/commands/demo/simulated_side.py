"""What speaks to the daemon of a demonstration: the simulated tun, the brewer, and what was seen of them?"""

from __future__ import annotations

import asyncio
import contextlib
import subprocess
import sys
import time
from collections.abc import Mapping
from typing import Any

from controller.commands.shared import status_text
from controller.commands.shared.exit_codes import Unreachable
from controller.commands.standin import LiveWorld, Pace
from controller.edge import standard_streams
from controller.edge.mqtt import requests
from controller.plan import plan
from controller.settings.service import Settings
from sim.people.manner import Manner
from sim.people.person import Person
from sim.simulated_site import SimulatedSite

CURVE = 60  # columns
GO_S = 30.0  # the daemon must speak within so long
LONGEST = 2.0  # times the plan, and half an hour: then it is given up


LATE = frozenset({"G02", "G13", "G14", "G17", "G24"})  # trips of a machine too busy for its speed


class TooBusy(Exception):
    """The tun is sound, and the daemon trips: the machine does not keep up with the speed."""


class Ran:
    """What the demonstration saw: the curve, the steps, what was said."""

    def __init__(self) -> None:
        self.began = time.monotonic()
        self.last: dict[str, Any] = {}
        self.curve: list[tuple[float, float | None]] = []  # s, °C of the mash
        self.events: list[dict[str, Any]] = []
        self.run = ""

    @property
    def complete(self) -> bool:
        return self.last.get("state") == "complete"


class Demo:
    """Tun, brewer and the person who looks on."""

    def __init__(
        self, settings: Settings, made: plan.Plan, speed: float, seed: int, *, heeds_late: bool = False
    ) -> None:
        """`heeds_late`: a trip that tells of a busy machine ends it with TooBusy."""
        self.settings, self.made, self._heeds_late = settings, made, heeds_late
        world = LiveWorld(settings, made.course, seed, (), None, made.program.liquor.temperature_c)
        self.site = SimulatedSite(world, Person(world, Manner(start_at_s=25.0, delay_s=30.0, clears=True)))
        self.pace, self.ran, self.live = Pace(self.site, speed), Ran(), status_text.Live(sys.stdout)

    async def go(self, daemon: subprocess.Popen[bytes]) -> Ran:
        """Until the run ends or the daemon does."""
        try:
            async with requests.line(self.settings, "demo") as link:
                await self._with_nodes(link, daemon)
        except requests.NoAnswer as silent:
            raise Unreachable(str(silent)) from None
        return self.ran

    async def _with_nodes(self, link: requests.DaemonLink, daemon: subprocess.Popen[bytes]) -> None:
        topics = link.topics
        motors = (t for t in (topics.stirrer_command, topics.pump_command) if t)
        await link.listen(topics.heater_command, *motors, topics.status, topics.reply, topics.event)
        nodes = asyncio.create_task(self._nodes(link))
        try:
            await self._watch(link, daemon, nodes)
        finally:
            nodes.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await nodes

    async def _nodes(self, link: requests.DaemonLink) -> None:
        async for _, said in self.pace.steps():
            for message in said:
                link.send(message.topic, message.payload, message.topic.endswith("/online"))

    async def _watch(
        self, link: requests.DaemonLink, daemon: subprocess.Popen[bytes], nodes: asyncio.Task[None]
    ) -> None:
        """What the daemon says goes to the nodes, the brewer and the screen."""
        topics, quiet = link.topics, time.monotonic()
        longest_s = LONGEST * self.made.duration_s + 1800.0
        while (
            daemon.poll() is None and not nodes.done() and not standard_streams.gone() and self.pace.now() < longest_s
        ):
            message = await link.next(1.0)
            if message is None:
                if time.monotonic() - quiet > GO_S:
                    raise Unreachable(f"the daemon has said nothing for {GO_S:g} s")
                continue
            quiet, topic = time.monotonic(), message.topic.value
            payload = message.payload if isinstance(message.payload, bytes) else b""
            if not message.retain:
                self.site.hear(topic, payload, self.pace.now())
            if topic == topics.event:
                self._event(requests.parsed(message))
            elif topic == topics.status and not message.retain:
                self._status(requests.parsed(message))
                if self.ran.run and self.ran.last.get("state") in status_text.ENDS:
                    return
        if nodes.done():
            nodes.result()

    def _event(self, event: Mapping[str, Any]) -> None:
        self.ran.events.append(dict(event))
        if self._heeds_late and event.get("kind") == "trip" and event.get("id") in LATE:
            raise TooBusy(f"{event['id']} {event.get('text')}")
        minutes = self.pace.now() / 60.0
        self.live.say(f"{minutes:6.1f} min  {event.get('kind', ''):<8} {event.get('text', '')}")

    def _status(self, status: dict[str, Any]) -> None:
        ran = self.ran
        ran.last, ran.run = status, status.get("run") or ran.run
        ran.curve.append((self.pace.now(), status["temperature_c"]))
        text = status_text.lines(status)
        drawn = (status_text.painted(line, status) for line in text)
        mash = [mash_c for _, mash_c in ran.curve[:: -(-len(ran.curve) // CURVE)]]
        self.live.draw([*drawn, f"curve   {status_text.curve(mash, 10.0, 80.0)}"], status_text.short(status))
