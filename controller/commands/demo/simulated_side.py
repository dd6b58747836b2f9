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
from controller.commands.standin import LiveWorld
from controller.edge import standard_streams
from controller.edge.clock import MachineClock
from controller.edge.mqtt import requests
from controller.plan import plan
from controller.settings.service import Settings
from sim.people.manner import Manner
from sim.people.person import Person
from sim.plant.spec import STEP_S
from sim.simulated_site import SimulatedSite

ENDS = ("complete", "stopped", "aborted")


CURVE = 60  # columns


GO_S, BEHIND_S = 30.0, 0.5  # the daemon must speak within so long; the world gives way after so much at once


LONGEST = 2.0  # times the plan, and half an hour: then it is given up


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


class Demo:
    """Tun, brewer and the person who looks on."""

    def __init__(self, settings: Settings, made: plan.Plan, speed: float, seed: int) -> None:
        self.settings, self.made, self.speed = settings, made, speed
        world = LiveWorld(settings, made.course, seed, (), None, made.program.liquor.temperature_c)
        self.site = SimulatedSite(world, Person(world, Manner(start_at_s=25.0, delay_s=30.0, clears=True)))
        self.clock, self.ran, self.live = MachineClock(speed), Ran(), status_text.Live(sys.stdout)
        self._yielded_s = 0.0  # the world's time given up when this process was held up

    def _now(self) -> float:
        return self.clock.now() - self._yielded_s

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
        heard = (topics.heater_command, topics.stirrer_command, topics.pump_command, topics.status)
        await link.listen(*(t for t in (*heard, topics.reply, topics.event) if t))
        nodes = asyncio.create_task(self._nodes(link))
        try:
            await self._watch(link, daemon, nodes)
        finally:
            nodes.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await nodes

    async def _nodes(self, link: requests.DaemonLink) -> None:
        """The world, half a second at a time, as fast as `speed` says."""
        step = 0
        while True:
            at = step * STEP_S
            late = self._now() - at
            if late > BEHIND_S * self.speed:
                self._yielded_s += late  # a machine that was held up does not make up for it in a burst
            await asyncio.sleep(max(0.0, (at - self._now()) / self.speed))
            for message in self.site.until(at):
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
                self.site.hear(topic, payload, self._now())
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
