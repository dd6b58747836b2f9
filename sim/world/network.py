"""How do messages get from the tun to the daemon and back, and what may befall them on the way?

The broker and the network of the simulated world. Without faults every message arrives in the instant it was sent.
"""

import heapq
import json
from collections.abc import Mapping
from random import Random
from typing import Any, NamedTuple

from controller.messages.topics import Topics
from controller.quick_records import maker
from sim.world.faults import Fault


class Message(NamedTuple):
    """One message as it arrives."""

    at: float
    topic: str
    payload: bytes
    retained: bool = False


_message = maker(Message)
Queue = list[tuple[float, int, Message]]  # of what is held up, by its arrival


def _with_held_up(messages: list[Message], queue: Queue, now: float) -> list[Message]:
    """These and what the queue lets go by now, in the order of arrival."""
    if queue:
        while queue and queue[0][0] <= now:
            messages.append(heapq.heappop(queue)[2])
        messages.sort(key=lambda message: message.at)
    return messages


class Network:
    """Two queues, to the daemon and to the nodes, and what strangers put into them."""

    def __init__(self, topics: Topics, rng: Random, node_hears: str = "") -> None:
        """`node_hears`: the probe's topic that the heater node listens to by itself."""
        self.topics, self._order_topic = topics, topics.order
        self.up = True
        self._rng, self._node_hears = rng, node_hears
        self._here: list[Message] = []  # to the daemon, at once
        self._later: Queue = []  # to the daemon, held up
        self._there: list[Message] = []  # to the nodes, at once
        self._to_nodes: Queue = []  # to the nodes, held up
        self._count = 0
        self._kept: dict[str, bytes] = {}  # retained at the broker
        self._orders: list[bytes] = []
        self._hot: bytes | None = None  # last command with power
        self._epoch = 0
        self._seq = 0

    def to_daemon(self, now: float, topic: str, payload: bytes, live: Mapping[str, Fault], keep: bool = False) -> None:
        """A node, a person or a stranger publishes."""
        if topic == self._order_topic and len(self._orders) < 200:
            self._orders.append(payload)
        if not self.up:
            return
        if keep:
            self._kept[topic] = payload
        message = _message(now, topic, payload)
        if live:
            self._hold_up(message, self._later, live)
        else:
            self._here.append(message)
        if topic == self._node_hears:
            self._hold_up(message, self._to_nodes, live) if live else self._there.append(message)

    def to_nodes(
        self, now: float, topic: str, payload: bytes, live: Mapping[str, Fault], retained: bool = False
    ) -> None:
        """The daemon publishes. What the nodes do not listen to ends here."""
        if topic == self.topics.heater_command:
            self._remember(payload)
        if not self.up:
            return
        if live:
            self._hold_up(Message(now, topic, payload, retained), self._to_nodes, live)
        else:
            self._there.append(_message(now, topic, payload, retained))

    def _hold_up(self, message: Message, held_up: Queue, live: Mapping[str, Fault]) -> None:
        for at in self._arrivals(message.at, live):
            self._push(held_up, message._replace(at=at))

    def _push(self, queue: Queue, message: Message) -> None:
        self._count += 1
        heapq.heappush(queue, (message.at, self._count, message))

    def _arrivals(self, now: float, live: Mapping[str, Fault]) -> list[float]:
        """When does it arrive, and how often?"""
        if "lost" in live and self._rng.random() < live["lost"].value:
            return []
        at = now + (live["delay"].value if "delay" in live else 0.0)
        copies = round(live["duplicate"].value) if "duplicate" in live else 1
        if "reorder" not in live:
            return [at] * copies
        return [at + self._rng.uniform(0.0, live["reorder"].value) for _ in range(copies)]

    def arrived(self, now: float) -> list[Message]:
        """What has reached the daemon by now?"""
        here, self._here = self._here, []
        return _with_held_up(here, self._later, now)

    def for_nodes(self, now: float) -> list[Message]:
        """What has reached the nodes by now?"""
        there, self._there = self._there, []
        return _with_held_up(there, self._to_nodes, now)

    def _remember(self, payload: bytes) -> None:
        """What a listener on the heater's topic could repeat later."""
        if b'"duty":0.0,' not in payload:
            self._hot = payload
        if self._epoch > 0:
            return
        try:
            said = json.loads(payload)
            self._epoch, self._seq = int(said["epoch"]), int(said["seq"])
        except (ValueError, KeyError, TypeError):
            return  # on a real broker anybody may say anything

    def link(self, now: float, up: bool) -> None:
        """The broker goes or comes back; on return everybody gets the retained messages anew."""
        if up == self.up:
            return
        self.up = up
        if up:
            self._here.extend(Message(now, topic, payload, True) for topic, payload in self._kept.items())
        else:
            for queue in (self._here, self._later, self._there, self._to_nodes):
                queue.clear()

    def retained_trap(self, now: float) -> None:
        """Somebody once published orders and commands as retained; everybody who subscribes now gets them."""
        orders = [
            {"id": "trap-1", "order": "start", "args": {"here": True}, "at": 0, "valid_s": 30, "nonce": "0"},
            {"id": "trap-2", "order": "clear", "trip": "G07", "at": 0, "valid_s": 30, "nonce": "0"},
        ]
        for order in (*(json.dumps(order).encode() for order in orders), *self._orders[-1:]):
            self._here.append(Message(now, self.topics.order, order, True))
        hot = self._hot or self._stranger(1.0, self._epoch)
        self._here.append(Message(now, self.topics.heater_command, hot, True))
        self._push(self._to_nodes, Message(now, self.topics.heater_command, hot, True))

    def replay(self, now: float) -> None:
        """Everything recorded is sent once more, as if it were new."""
        self._here.extend(Message(now, self.topics.order, order) for order in self._orders)
        if self._hot is not None:
            self._stranger_says(now, self._hot)

    def strangers(self, now: float, live: Mapping[str, Fault]) -> None:
        """Who else publishes on the heater's topic in this second?"""
        if "foreign_heat" in live:
            self._stranger_says(now, self._stranger(live["foreign_heat"].value, self._epoch))
        if "foreign_off" in live:
            self._stranger_says(now, b'{"duty": 0}')
        if "foreign_epoch" in live:
            self._stranger_says(now, self._stranger(0.0, self._epoch + round(live["foreign_epoch"].value)))

    def _stranger(self, duty: float, epoch: int) -> bytes:
        self._seq += 100_000
        said: dict[str, Any] = {"epoch": epoch, "seq": self._seq, "duty": duty, "valid_s": 10.0, "owner": "stranger"}
        return json.dumps(said).encode()

    def _stranger_says(self, now: float, payload: bytes) -> None:
        if self.up:
            self._here.append(Message(now, self.topics.heater_command, payload))
            self._push(self._to_nodes, Message(now, self.topics.heater_command, payload))
