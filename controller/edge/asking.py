"""How do the commands talk to a running daemon?

Short connections of their own: read the status, send an order with the present nonce, wait for the answer.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, NamedTuple

import aiomqtt

from controller.core import words
from controller.core.settings import Settings
from controller.core.topics import topics
from controller.edge import client as mqtt

STATUS_S = 6.0  # a daemon says its status every 2 s
REPLY_S = 5.0  # it answers an order within a second
FRESH_S = 4.0  # a retained status no older than this by the wall clock will do
SILENT_S = 15.0  # while watching
VALID_S = 15.0


class NoAnswer(Exception):
    """Broker or daemon does not answer."""


class Answer(NamedTuple):
    """What came back for an order."""

    accepted: bool
    reason: str
    state: str
    id: str | None


class Line:
    """A connection to the broker, seen from a command."""

    def __init__(self, settings: Settings, client: aiomqtt.Client, inbox: asyncio.Queue[aiomqtt.Message]) -> None:
        self.settings, self.topics = settings, topics(settings)
        self._client, self._inbox = client, inbox

    async def listen(self, *names: str) -> None:
        await self._client.subscribe([(name, 1) for name in names], timeout=mqtt.CALL_S)

    async def say(self, topic: str, payload: bytes, retain: bool = False) -> None:
        await self._client.publish(topic, payload, 1, retain, timeout=mqtt.CALL_S)

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

    async def status(self, within_s: float = STATUS_S) -> dict[str, Any]:
        """The daemon's present status (listen to the topic first). Raises NoAnswer."""
        until = time.monotonic() + within_s
        old: dict[str, Any] | None = None
        while (left := until - time.monotonic()) > 0:
            message = await self.next(left)
            if message is None or message.topic.value != self.topics.status:
                continue
            found = parsed(message)
            if not message.retain or (found.get("speed") == 1.0 and abs(time.time() - found.get("at", 0)) < FRESH_S):
                return found
            old = found
        raise NoAnswer(_silent(self.settings, old))


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


@asynccontextmanager
async def line(settings: Settings, who: str) -> AsyncIterator[Line]:
    """A connection for a command. Raises NoAnswer with the broker's reason in plain words."""
    inbox: asyncio.Queue[aiomqtt.Message] = asyncio.Queue()
    broker = settings.service.broker
    try:
        async with asyncio.timeout(mqtt.CONNECT_S) as limit:
            client = await mqtt.make(broker, f"underback-{who}-{secrets.token_hex(4)}", inbox.put_nowait)
            async with client:
                limit.reschedule(None)
                yield Line(settings, client, inbox)
    except (aiomqtt.MqttError, OSError, TimeoutError) as error:
        raise NoAnswer(f"broker {broker.host}:{broker.port}: {mqtt.plain(error)}") from None


async def order(settings: Settings, values: dict[str, Any]) -> Answer:
    """Send an order and wait for its answer; what the status tells (nonce, run, question) is filled in. Or NoAnswer."""
    async with line(settings, "order") as link:
        await link.listen(link.topics.reply, link.topics.status)
        values = {"id": secrets.token_hex(6), "at": round(time.time(), 3), "valid_s": VALID_S, **values}
        if values["order"] not in ("hold", "stop", "abort"):
            status = await link.status()
            values["nonce"] = status.get("nonce")
            fill(values, status)
        await link.say(link.topics.order, words.document(values))
        until = time.monotonic() + REPLY_S
        while (left := until - time.monotonic()) > 0:
            message = await link.next(left)
            if message is None or message.topic.value != link.topics.reply:
                continue
            found = parsed(message)
            if found.get("id") == values["id"]:
                return Answer(bool(found["accepted"]), str(found["reason"]), str(found["state"]), values["id"])
    raise NoAnswer(f"the daemon of {settings.tun.name} did not answer within {REPLY_S:g} s")


def fill(values: dict[str, Any], status: dict[str, Any]) -> None:
    """What an order takes from the status: the run it is meant for, the question it answers, the only trip."""
    if status.get("run"):
        values.setdefault("run", status["run"])
    trips = [trip["id"] for trip in status.get("trips", []) if trip.get("latched")]
    if values["order"] == "clear" and "trip" not in values and len(trips) == 1:
        values["trip"] = trips[0]
    prompt = status.get("prompt")
    if values["order"] == "answer" and prompt and "answer" in values.get("args", {}):
        values["args"].setdefault("prompt", prompt["id"])


async def statuses(settings: Settings) -> AsyncIterator[dict[str, Any]]:
    """Every status as it comes, for as long as somebody looks. Raises NoAnswer when there is none at first."""
    async with line(settings, "watch") as link:
        await link.listen(link.topics.status)
        yield await link.status()
        while True:
            message = await link.next(SILENT_S)
            if message is None:
                raise NoAnswer(f"nothing has come from the daemon of {settings.tun.name} for {SILENT_S:g} s")
            if message.topic.value == link.topics.status:
                yield parsed(message)
