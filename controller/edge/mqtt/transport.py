"""How do messages get in and out, whatever carries them?

The service speaks to a `Transport`; a broker (broker_link.py) is one, the memory of this process another, for tests on
virtual time. Sending never waits: what cannot leave now is dropped (heater commands), replaced by the newest (status)
or kept in order (events, replies), so that nothing slow ever stands in front of an OFF.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from typing import Literal, NamedTuple, Protocol

Lane = Literal["state", "status", "event", "reply", "motor", "alert"]


class ReplyTo(NamedTuple):
    """Where the sender of an order wants its answer (MQTT 5)."""

    topic: str
    correlation: bytes | None


class Post(NamedTuple):
    """One message that goes out, other than a heater command."""

    topic: str
    payload: bytes
    lane: Lane
    retain: bool = False
    correlation: bytes | None = None
    lifetime_s: float | None = None


class Ear(Protocol):
    """Who is told of what comes in. Called on the event loop, in the order of arrival; must not block."""

    def heard(self, topic: str, payload: bytes, retained: bool, reply_to: ReplyTo | None) -> None: ...
    def linked(self) -> None: ...
    def unlinked(self, why: str) -> None: ...
    def refused(self, topic: str, why: str) -> None: ...


class Transport(Protocol):
    """What the service asks of whatever carries its messages."""

    keen: bool  # a run is open: a lost connection is tried anew every few seconds

    async def run(self, ear: Ear) -> None:
        """Connect, listen, reconnect, until cancelled."""

    def heater(self, topic: str, payload: bytes, hot: bool, lifetime_s: float) -> bool:
        """Hand over a heater command at once. False: not sent and never will be (no link, or the link is stuck)."""

    def post(self, post: Post) -> None:
        """Send when there is room, by the rule of its lane. Never waits, never raises."""

    async def flush(self, within_s: float) -> bool:
        """Has everything that was sent been acknowledged? Waits at most `within_s` real seconds."""


class MemoryBroker:
    """A broker in this process' memory: exact topics or a last level `+`, retained messages, delivery at once."""

    def __init__(self) -> None:
        self.retained: dict[str, bytes] = {}
        self.history: list[tuple[str, bytes, bool]] = []
        self._ears: list[tuple[frozenset[str] | None, Callable[[str, bytes, bool], None]]] = []

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Deliver to everybody who listens on this topic, after the present callback."""
        self.history.append((topic, payload, retain))
        if retain:
            self.retained[topic] = payload
        loop = asyncio.get_running_loop()
        for wanted, ear in self._ears:
            if _fits(topic, wanted):
                loop.call_soon(ear, topic, payload, False)

    def listen(self, topics: Iterable[str] | None, ear: Callable[[str, bytes, bool], None]) -> Callable[[], None]:
        """Hear topics (None: all), retained copies first. Returns what ends it."""
        wanted = None if topics is None else frozenset(topics)
        entry = (wanted, ear)
        self._ears.append(entry)
        for topic, payload in self.retained.items():
            if _fits(topic, wanted):
                asyncio.get_running_loop().call_soon(ear, topic, payload, True)
        return lambda: self._ears.remove(entry)


def _fits(topic: str, wanted: frozenset[str] | None) -> bool:
    return wanted is None or topic in wanted or f"{topic.rpartition('/')[0]}/+" in wanted


class MemoryTransport:
    """A transport over a `MemoryBroker`. `cut` and `mend` play a lost and a found connection."""

    def __init__(self, broker: MemoryBroker, topics: Iterable[str], will: tuple[str, bytes] | None = None) -> None:
        self.up, self.keen = False, False
        self._broker, self.topics, self._will = broker, tuple(topics), will
        self._ear: Ear | None = None
        self._end: Callable[[], None] | None = None
        self._over: asyncio.Future[None] | None = None

    async def run(self, ear: Ear) -> None:
        self._ear = ear
        self._over = asyncio.get_running_loop().create_future()
        self.mend()
        try:
            await self._over
        finally:
            self.cut("leaving", will=False)

    def end(self) -> None:
        """Play a transport that ends by itself, which none should."""
        if self._over is not None:
            self._over.set_result(None)

    def mend(self) -> None:
        if self._ear is None or self.up:
            return
        ear = self._ear
        self.up = True
        self._end = self._broker.listen(self.topics, lambda t, p, r: ear.heard(t, p, r, None))
        ear.linked()

    def cut(self, why: str, will: bool = True) -> None:
        if not self.up or self._ear is None:
            return
        self.up = False
        if self._end is not None:
            self._end()
        if will and self._will is not None:
            self._broker.publish(*self._will, retain=True)
        self._ear.unlinked(why)

    def heater(self, topic: str, payload: bytes, hot: bool, lifetime_s: float) -> bool:
        if self.up:
            self._broker.publish(topic, payload)
        return self.up

    def post(self, post: Post) -> None:
        if self.up:
            self._broker.publish(post.topic, post.payload, post.retain)

    async def flush(self, within_s: float) -> bool:
        await asyncio.sleep(0)
        return self.up
