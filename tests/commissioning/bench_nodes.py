"""Nodes on a broker in memory, on virtual time; supply, cable, thermometer and contacts are in a person's hand."""

from __future__ import annotations

import asyncio
import itertools
import json
from typing import Any

from controller.edge.mqtt.transport import MemoryBroker
from controller.field import lease
from controller.field.lease import NodeSettings, NodeState
from controller.messages.strict_json import Refused, document
from controller.messages.topics import topics
from tests.edge.virtual import GANNET

BEAT_S = 0.1
SLOW_S = 1.0  # a person takes that long
TOPICS = topics(GANNET)
OWN = NodeSettings(
    5000.0, "", min_off_s=0.0, window_s=2.0, outlet=True, level=True, outlet_limit_c=80.0, outlet_trip_c=92.0
)


def now() -> float:
    return asyncio.get_running_loop().time()


class Cabled:
    """What any node has: a supply, a cable to the broker, a last will."""

    online = ""
    hears: tuple[str, ...] = ()
    has_will = True

    def __init__(self, broker: MemoryBroker) -> None:
        self.broker = broker
        self.powered = self.connected = False
        broker.listen(None, self._carried)
        self.power(True)

    def _carried(self, topic: str, payload: bytes, retained: bool) -> None:
        if topic not in self.hears or retained:  # the broker's copies come when the node connects
            return
        if self.connected:
            self.hear(topic, payload, False)
        else:
            self.missed(topic, payload)

    def power(self, on: bool) -> None:
        """The supply's switch."""
        self.powered = on
        if on:
            self.boot()
        self.cable(on)

    def cable(self, there: bool) -> None:
        """The network's plug; the broker speaks the last will when it goes."""
        if there and not self.connected:
            self.connected = True
            self.say(self.online, b"true", True)
            for topic in self.hears:
                if topic in self.broker.retained:
                    self.hear(topic, self.broker.retained[topic], True)
            self.back()
        elif not there and self.connected:
            self.connected = False
            if self.has_will:
                self.broker.publish(self.online, b"false", True)

    def say(self, topic: str, payload: bytes, retain: bool = False) -> None:
        if self.connected:
            self.broker.publish(topic, payload, retain)

    async def live(self) -> None:
        """Beat after beat, for as long as the test lasts."""
        while True:
            if self.powered:
                self.beat()
            await asyncio.sleep(BEAT_S)

    def boot(self) -> None: ...
    def back(self) -> None: ...
    def beat(self) -> None: ...
    def hear(self, topic: str, payload: bytes, retained: bool) -> None: ...
    def missed(self, topic: str, payload: bytes) -> None: ...


class Heater(Cabled):
    """An honest heater node: the rules of lease.py on this wire. Saboteurs break one of its small parts each."""

    online, hears = TOPICS.heater_online, (TOPICS.heater_command,)
    boots = itertools.count(1)
    keeps_reports = False
    every_s = lease.REPORT_S

    def __init__(self, broker: MemoryBroker, own: NodeSettings = OWN) -> None:
        self.own, self.celsius, self.level_ok = own, 40.0, True
        self.plugged = True  # the own thermometer
        super().__init__(broker)

    def boot(self) -> None:
        self.own = self.own.but(boot=self.boot_word())
        self.state: NodeState = lease.boot(now())
        self.told, self.next_s, self.n, self.level_n, self.level_s = self.state, now(), 0, 0, now()

    def boot_word(self) -> str:
        return f"boot{next(self.boots)}"

    def read(self, payload: bytes) -> dict[str, Any] | None:
        """The fields of a payload; None where it is not taken."""
        found = document(payload)
        return None if isinstance(found, Refused) or not isinstance(found, dict) else found

    def hear(self, topic: str, payload: bytes, retained: bool) -> None:
        found = None if retained else self.read(payload)
        if found is not None:
            self.obey(found)

    def obey(self, found: dict[str, Any]) -> None:
        self.state, why = lease.obey(self.own, self.state, found, now())
        if why is None:
            self.answer()

    def answer(self) -> None:
        self.next_s = now()

    def inputs(self) -> dict[str, Any]:
        return {"outlet_c": self.celsius if self.plugged else None, "level_ok": self.level_ok}

    def beat(self) -> None:
        before = self.state
        self.state, _ = lease.beat(self.own, self.state, now(), **self.inputs())
        if now() >= self.level_s:
            self.level_n, self.level_s = self.level_n + 1, now() + 1.0
            self.say(str(TOPICS.level), json.dumps({"ok": self.level_ok, "seq": self.level_n}).encode())
        if now() >= self.next_s or lease.worth_telling(before, self.state):
            self.next_s, self.n = now() + self.every_s, self.n + 1
            self.say(TOPICS.heater_report, json.dumps(self.report()).encode(), self.keeps_reports)

    def report(self) -> dict[str, Any]:
        return {**lease.report(self.own, self.state, now()), "n": self.n}

    def reset(self) -> None:
        """The button at the node."""
        self.state = lease.reset(self.state)


class Probe(Cabled):
    """An honest probe node: one thermometer, a reading a second."""

    online, hears = TOPICS.probe_online, ()
    topic = TOPICS.probes[0][1]
    every_s = 1.0
    keeps_readings = False

    def __init__(self, broker: MemoryBroker) -> None:
        self.celsius, self.plugged, self.seq = 18.0, True, 0
        super().__init__(broker)

    def boot(self) -> None:
        self.next_s = now()
        self.failures = 0

    def beat(self) -> None:
        if now() < self.next_s:
            return
        self.next_s = now() + self.every_s
        self.read() if self.plugged else self.failed()

    def read(self) -> None:
        self.seq += 1
        if self.failures >= 3:
            self.say(self.online, b"true", True)
        self.failures = 0
        self.say(self.topic, self.payload(), self.keeps_readings)

    def payload(self) -> bytes:
        return json.dumps({"temperature": self.celsius, "seq": self.seq}).encode()

    def failed(self) -> None:
        self.failures += 1
        if self.failures == 3:
            self.say(self.online, b"false", True)


class NodeHands:
    """Hands that do at a node what they are asked."""

    def __init__(self, node: Any) -> None:
        self.node = node
        self.asked: list[str] = []

    async def do(self, key: str, text: str) -> bool:
        self.asked.append(key)
        await asyncio.sleep(SLOW_S)
        what, value = DEEDS[key]
        if callable(deed := getattr(self.node, what)):
            deed(value)
        else:
            setattr(self.node, what, value)
        if key == "back no liquid":
            self.node.reset()
        return True


DEEDS: dict[str, tuple[str, Any]] = {  # what is asked: what of the node is called with what, or set to it
    "power off": ("power", False),
    "power on": ("power", True),
    "own limit": ("celsius", 81.0),
    "back own limit": ("celsius", 40.0),
    "own probe": ("plugged", False),
    "back own probe": ("plugged", True),
    "no liquid": ("level_ok", False),
    "back no liquid": ("level_ok", True),
    "warm": ("celsius", 30.0),
    "unplug": ("plugged", False),
    "plug in": ("plugged", True),
    "cut": ("cable", False),
    "mend": ("cable", True),
}
