"""The nodes that ship, on the broker in memory: their own code from payload to pin, and from sensor to payload."""

from __future__ import annotations

from typing import Any

from controller.edge.mqtt.transport import MemoryBroker, Post
from controller.field.heater_node import HeaterNode, Limit, Pins
from controller.field.probe_node import Place, ProbeService
from controller.field.thermometer import Fault
from sim.simulated_site import SimulatedSite
from sim.world.world import World
from tests.commissioning.bench_nodes import OWN, TOPICS, Cabled, Heater, now
from tests.edge.virtual import GANNET, TRIAL, Clock
from tests.field.pins import SHAPE, FakeInput, FakeOutput, reading


class ShippedHeater(Cabled):
    """`underback node heater`, its own thermometer the mash's."""

    online, hears = TOPICS.heater_online, (TOPICS.heater_command,)

    def __init__(self, broker: MemoryBroker) -> None:
        self.celsius, self.plugged, self.level, self.seq = 40.0, True, FakeInput(), 0
        super().__init__(broker)

    def boot(self) -> None:
        self.button = FakeInput(False)
        pins = Pins(FakeOutput(), level=self.level, reset=self.button)
        self.node = HeaterNode(OWN.but(boot=f"boot{next(Heater.boots)}"), pins, Limit(SHAPE), "mash", now())

    @property
    def level_ok(self) -> bool:
        return self.level.ok is True

    @level_ok.setter
    def level_ok(self, ok: bool) -> None:
        self.level.ok = ok

    def hear(self, topic: str, payload: bytes, retained: bool) -> None:
        self.node.command(payload, now(), retained)

    def beat(self) -> None:
        if self.plugged:
            self.seq += 1
            self.node.reading(reading(self.celsius, self.seq), now(), False)
        said = self.node.beat(now())
        for topic, payload in ((TOPICS.heater_report, said.report), (str(TOPICS.level), said.level)):
            if payload is not None:
                self.say(topic, payload)

    def reset(self) -> None:
        """The button at the node, for one beat."""
        self.button.ok = True
        self.node.beat(now())
        self.button.ok = False


class ShippedProbe(Cabled):
    """`underback node probe`: this is its transport."""

    online, hears = TOPICS.probe_online, ()

    def __init__(self, broker: MemoryBroker) -> None:
        self.celsius, self.plugged, self.kept = 18.0, True, dict[str, Post]()
        super().__init__(broker)

    def boot(self) -> None:
        place = Place("mash", GANNET.tun.probes.mash, self)
        self.next_s, self.clock = now(), Clock()
        self.service = ProbeService([place], 1.0, self, self.clock)  # type: ignore[arg-type]

    def back(self) -> None:
        for post in self.kept.values():
            self.say(post.topic, post.payload, post.retain)

    def read(self) -> float | Fault:
        return self.celsius if self.plugged else Fault("unplugged")

    def beat(self) -> None:
        if now() >= self.next_s:
            self.next_s += 1.0
            self.service.got(self.service.voices[0], self.read(), self.clock.wall_s())

    def post(self, post: Post) -> None:
        self.kept[post.topic] = post
        self.say(post.topic, post.payload, post.retain)

    def heater(self, topic: str, payload: bytes, hot: bool, lifetime_s: float) -> bool:
        self.say(topic, payload)
        return self.connected

    async def run(self, ear: Any) -> None: ...

    async def flush(self, within_s: float) -> bool:
        return True


class StandIn(Cabled):
    """`underback standin`: the simulated tun, node and all."""

    online, hears = TOPICS.heater_online, (TOPICS.heater_command,)

    def __init__(self, broker: MemoryBroker) -> None:
        self.site = SimulatedSite(World(GANNET, TRIAL.course, 1, (), None, 40.0), None)
        super().__init__(broker)

    def hear(self, topic: str, payload: bytes, retained: bool) -> None:
        self.site.hear(topic, payload, now(), retained)

    def beat(self) -> None:
        for message in self.site.until(now()):
            presence = message.topic in (TOPICS.heater_online, TOPICS.probe_online)
            self.say(message.topic, message.payload, presence)
