"""How does one connection of a command speak and listen?"""

from __future__ import annotations

import asyncio
import json
import secrets
import time
from typing import Any

import aiomqtt

from controller.edge.mqtt import connection
from controller.messages.topics import topics
from controller.settings.service import Service, Settings

STATUS_S = 6.0  # a daemon says its status every 2 s


FRESH_S = 4.0  # a retained status no older than this by the wall clock will do


TRIAL_S = 2.0


class NoAnswer(Exception):
    """Broker or daemon does not answer."""


class Link:
    """A connection to the broker, whoever it is about."""

    def __init__(self, client: aiomqtt.Client, inbox: asyncio.Queue[aiomqtt.Message]) -> None:
        self._client, self._inbox, self._refused = client, inbox, 0
        self._hear_refusals()

    def _hear_refusals(self) -> None:
        """The client library hides it when the broker does not take a message (MQTT 5 tells)."""
        told: Any = self._client._client.on_publish

        def on_publish(client: Any, userdata: Any, mid: int, reason: Any, properties: Any) -> None:
            self._refused += int(getattr(reason, "value", 0)) >= 128
            if told is not None:
                told(client, userdata, mid, reason, properties)

        self._client._client.on_publish = on_publish

    async def listen(self, *names: str) -> None:
        await self._client.subscribe([(name, 1) for name in names], timeout=connection.CALL_S)

    async def say(self, topic: str, payload: bytes, retain: bool = False) -> bool:
        """Send. False: the broker would not take it from this user (only MQTT 5 tells)."""
        before = self._refused
        await self._client.publish(topic, payload, 1, retain, timeout=connection.CALL_S)
        return self._refused == before

    def send(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Hand over without waiting for the broker's word (simulated nodes)."""
        self._client._client.publish(topic, payload, 1, retain)

    async def next(self, within_s: float) -> aiomqtt.Message | None:
        """The next message; None when there is none within so many seconds."""
        try:
            return await asyncio.wait_for(self._inbox.get(), within_s)
        except TimeoutError:
            return None

    def drop(self) -> None:
        """Forget what has arrived and was not yet asked for."""
        while not self._inbox.empty():
            self._inbox.get_nowait()


class DaemonLink(Link):
    """A connection to the broker, seen from a command about one tun."""

    def __init__(self, settings: Settings, link: Link) -> None:
        super().__init__(link._client, link._inbox)
        self.settings, self.topics = settings, topics(settings)

    async def trial(self) -> float | str:
        """How long does a message to ourselves take, s? Else which right is missing. Nobody acts on its topic."""
        topic, word = f"{self.settings.service.prefix}/{self.settings.tun.name}/doctor", secrets.token_hex(8).encode()
        await self.listen(topic)
        began = time.monotonic()
        if not await self.say(topic, word):
            return f"may not write {topic}"
        while (message := await self.next(TRIAL_S)) is not None and time.monotonic() - began < TRIAL_S:
            if message.topic.value == topic and message.payload == word:
                return time.monotonic() - began
        return (
            f"may not read {topic}" if self.settings.service.broker.version == 5 else f"may not read or write {topic}"
        )

    async def status(self, within_s: float = STATUS_S) -> dict[str, Any]:
        """The daemon's present status (listen to the topic first). Raises NoAnswer."""
        until = time.monotonic() + within_s
        old: dict[str, Any] | None = None
        while (left := until - time.monotonic()) > 0:
            message = await self.next(left)
            if message is None or message.topic.value != self.topics.status:
                continue
            if presence(message):
                return parsed(message)
            old = parsed(message)
        missing = await self.trial() if old is None else 0.0
        if isinstance(missing, str):
            raise NoAnswer(f"nothing is heard of {self.settings.tun.name}: {unlisted(self.settings.service, missing)}")
        raise NoAnswer(_silent(self.settings, old))


def unlisted(service: Service, missing: str) -> str:
    """A right of the broker's access list is missing: what to do."""
    why = "Its access list does not know this tun, or is old"
    return f"the broker's {user(service)} {missing}. {why}: {connection.LISTED}"


def user(service: Service) -> str:
    """The broker's user that we speak as, in words."""
    name = service.broker.username
    return f'user "{name}"' if name else "user without a name"


def _silent(settings: Settings, old: dict[str, Any] | None) -> str:
    name = settings.tun.name
    if old is None:
        return f"no daemon has ever said its status for {name} on this broker; start `underback serve --tun {name}`"
    ago = time.time() - old.get("at", 0)
    return f"the daemon of {name} has been silent for {ago:.0f} s; is `underback serve --tun {name}` running?"


def parsed(message: aiomqtt.Message) -> dict[str, Any]:
    """A status or reply as a dictionary; empty when it is none."""
    try:
        values = json.loads(message.payload if isinstance(message.payload, bytes) else b"")
    except ValueError:
        return {}
    return values if isinstance(values, dict) else {}


def presence(message: aiomqtt.Message) -> bool:
    """Is this a status of now? A retained one shows it by the wall clock, where that is not sped up."""
    found = parsed(message)
    return not message.retain or (found.get("speed") == 1.0 and abs(time.time() - found.get("at", 0)) < FRESH_S)
