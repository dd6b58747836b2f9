"""Who listens to a node that is being checked, speaks to it, and sees that nobody else does?

Everything heard is kept with the time of its arrival. A command on the heater's topic that is not ours ends the check:
somebody else owns the tun.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from typing import NamedTuple

from controller.core.nouns import Instant
from controller.messages.strict_json import STATUS_CAP, document
from controller.messages.topics import Topics

OWNER_S = 5.0  # a daemon commands at least every 2 s, idle or not, and says its status as often
KEPT_S = 0.5  # the broker's own copies come at once after a subscription
Send = Callable[[str, bytes, bool], Awaitable[None]]
Ask = Callable[[Sequence[str]], Awaitable[None]]  # subscribe, anew too: the broker sends what it keeps
Fits = Callable[["Heard"], bool]


class Heard(NamedTuple):
    """One message, and when it came."""

    topic: str
    payload: bytes
    retained: bool
    at: Instant


class Stranger(Exception):
    """Somebody else commands the heater."""


class Bench:
    """The ear and the mouth of a check."""

    def __init__(self, send: Send, ask: Ask, now: Callable[[], Instant], topics: Topics) -> None:
        self._send, self._ask, self.now, self.topics = send, ask, now, topics
        self.heard: list[Heard] = []
        self._sent: set[bytes] = set()
        self._news = asyncio.Event()
        self._stranger: bytes | None = None

    def hear(self, topic: str, payload: bytes, retained: bool) -> None:
        """A message came."""
        self.heard.append(Heard(topic, payload, retained, self.now()))
        if topic == self.topics.heater_command and payload and payload not in self._sent and not retained:
            self._stranger = payload
        self._news.set()

    async def say(self, topic: str, payload: bytes, retain: bool = False) -> int:
        """Send; the place in what is heard from which an answer may come."""
        self._sent.add(payload)
        mark = len(self.heard)
        await self._send(topic, payload, retain)
        return mark

    async def find(self, fits: Fits, within_s: float, since: int) -> Heard | None:
        """The first message from there on that fits; None when none comes in that time. Raises Stranger."""
        until, looked = self.now() + within_s, since
        while True:
            for one in self.heard[looked:]:
                looked += 1
                if fits(one):
                    return one
            left = until - self.now()
            if left <= 0.0:
                return None
            await self._more(left)

    async def pause(self, for_s: float) -> None:
        """Let time pass, and listen."""
        await self.find(lambda heard: False, for_s, len(self.heard))

    async def _more(self, within_s: float) -> None:
        """Until something more is heard, or the time is over."""
        if self._stranger is not None:
            raise Stranger(self._stranger[:200].decode("utf-8", "replace"))
        self._news.clear()
        try:
            async with asyncio.timeout(within_s):
                await self._news.wait()
        except TimeoutError:
            pass

    def on(self, topic: str, since: int = 0) -> list[Heard]:
        """What was heard on a topic from there on."""
        return [one for one in self.heard[since:] if one.topic == topic]

    async def kept(self, topic: str) -> bytes | None:
        """What does the broker keep on this topic now, if anything?"""
        mark = len(self.heard)
        await self._ask([topic])
        found = await self.find(lambda h: h.topic == topic and h.retained, KEPT_S, mark)
        return None if found is None else found.payload

    async def owner(self) -> str | None:
        """Who owns the tun, in words? None when no daemon says its status and nobody commands the heater."""
        mark = len(self.heard)
        try:
            said = await self.find(lambda h: h.topic == self.topics.status and not h.retained, OWNER_S, mark)
        except Stranger as who:
            return f"somebody commands its heater: {who}"
        found = document(said.payload, STATUS_CAP) if said is not None else None
        return f"a daemon says its status ({found.get('state')})" if isinstance(found, dict) else None
