"""How do the commands talk to a running daemon?

Short connections of their own (`Link`): read the status, send an order with the present nonce, wait for the answer.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from typing import Any, NamedTuple

import aiomqtt
from pydantic import ValidationError

from controller.edge.mqtt import connection
from controller.messages import outgoing
from controller.messages.status_schema import Status
from controller.messages.topics import base, topics
from controller.settings.service import Broker, Service, Settings

REPLY_S = 5.0  # it answers an order within a second
SILENT_S = 15.0  # while watching
STATUS_S = 6.0  # a daemon says its status every 2 s
VALID_S = 15.0
FIND_S = 1.0  # retained messages come right after the subscription


class Answer(NamedTuple):
    """What came back for an order."""

    accepted: bool
    reason: str
    state: str
    id: str | None


def _no_orders(service: Service) -> str:
    """What a person does whose user may give no orders."""
    if service.broker.username == "operator":
        return unlisted(service, "may not write orders, or not hear their answers")
    do = "use the operator's: config/operator/service.toml, see config/mosquitto/README.md"
    return f"the broker's {user(service)} may not be allowed to write orders; {do}"


@asynccontextmanager
async def linked(broker: Broker, who: str) -> AsyncIterator[Link]:
    """A connection for which the broker alone need be known. Raises NoAnswer with its reason in plain words."""
    inbox: asyncio.Queue[aiomqtt.Message] = asyncio.Queue()
    try:
        async with asyncio.timeout(connection.CONNECT_S) as limit:
            client = await connection.make(broker, f"underback-{who}-{secrets.token_hex(4)}", inbox.put_nowait)
            async with client:
                limit.reschedule(None)
                yield Link(client, inbox)
    except (aiomqtt.MqttError, OSError, TimeoutError) as error:
        named = f', user "{broker.username}"' if broker.username else ""
        raise NoAnswer(f"broker {broker.host}:{broker.port}{named}: {connection.plain(error)}") from None


@asynccontextmanager
async def line(settings: Settings, who: str) -> AsyncIterator[DaemonLink]:
    """A connection for a command about one tun. Raises NoAnswer."""
    async with linked(settings.service.broker, who) as link:
        yield DaemonLink(settings, link)


async def answering(service: Service, said_on: Mapping[str, str]) -> list[str]:
    """Of which of these tuns (topic: tun) is somebody there, by presence, reading or present status? Or NoAnswer."""
    tuns, there = list(dict.fromkeys(said_on.values())), set[str]()
    async with linked(service.broker, "find") as link:
        await link.listen(*said_on)
        until = time.monotonic() + FIND_S
        while len(there) < len(tuns) and (left := until - time.monotonic()) > 0:
            message = await link.next(left)
            if message is None:
                break
            topic = message.topic.value
            if topic.endswith("/online"):
                on = message.payload == outgoing.online(True)
            else:
                on = presence(message) if topic.endswith("/status") else not message.retain
            there |= {said_on[topic]} if on else set()
    return [tun for tun in tuns if tun in there]


def daemons(service: Service, tuns: Sequence[str]) -> dict[str, str]:
    """Where do the daemons of these tuns say that they are there? Topic: tun."""
    return {f"{base(service.prefix, tun)}/{name}": tun for tun in tuns for name in ("online", "status")}


def fill(values: dict[str, Any], status: dict[str, Any]) -> None:
    """What an order takes from the status: the run it is meant for, the question it answers, the only trip."""
    if status.get("run"):
        values.setdefault("run", status["run"])
    trips = [trip["id"] for trip in status.get("trips", []) if trip.get("latched")]
    if values["order"] == "clear" and "trip" not in values and len(trips) == 1:
        values["trip"] = trips[0]
    prompt = status.get("prompt")
    said = values.setdefault("args", {})
    if values["order"] == "answer" and prompt and (not said or "answer" in said):  # an entry answers no question
        said.setdefault("prompt", prompt["id"])


async def order(
    settings: Settings, values: dict[str, Any], complete: Callable[[dict[str, Any], dict[str, Any]], None] = fill
) -> Answer:
    """Send an order and wait for its answer; what the status tells (nonce, run, question) is filled in. Or NoAnswer."""
    async with line(settings, "order") as link:
        await link.listen(link.topics.reply, link.topics.status)
        status = await link.status()
        values = {**_enveloped(values), "nonce": status.get("nonce")}
        complete(values, status)
        return await _answered(link, settings.service, settings.tun.name, values)


async def heat_off(service: Service, tun: str, values: dict[str, Any]) -> Answer:
    """Send `hold`, `stop` or `abort`, which take heat away: broker, prefix and the tun's name are enough. Or NoAnswer.

    Whatever may be wrong with a file meanwhile, it must not stand between a person and the heater.
    """
    async with linked(service.broker, "order") as link:
        await link.listen(*(f"{base(service.prefix, tun)}/{name}" for name in ("reply", "status")))
        return await _answered(link, service, tun, _enveloped(values))


def _enveloped(values: dict[str, Any]) -> dict[str, Any]:
    return {"id": secrets.token_hex(6), "at": round(time.time(), 3), "valid_s": VALID_S, **values}


async def _answered(link: Link, service: Service, tun: str, values: dict[str, Any]) -> Answer:
    below = base(service.prefix, tun)
    if not await link.say(f"{below}/order", outgoing.document(values)):
        raise NoAnswer(f"no order was given: {_no_orders(service)}")
    until, alive = time.monotonic() + REPLY_S, False
    while (left := until - time.monotonic()) > 0:
        message = await link.next(left)
        if message is None or message.topic.value != f"{below}/reply":
            alive = alive or (message is not None and not message.retain)
            continue
        found = parsed(message)
        if found.get("id") == values["id"]:
            return Answer(bool(found["accepted"]), str(found["reason"]), str(found["state"]), values["id"])
    why = f", though it says its status: {_no_orders(service)}" if alive else ""
    raise NoAnswer(f"the daemon of {tun} did not answer within {REPLY_S:g} s{why}")


async def present(settings: Settings, within_s: float = STATUS_S) -> dict[str, Any]:
    """The daemon's present status. Raises NoAnswer."""
    async with line(settings, "status") as link:
        await link.listen(link.topics.status)
        return await link.status(within_s)


async def statuses(settings: Settings) -> AsyncGenerator[dict[str, Any], None]:
    """Every status as it comes, for as long as somebody looks. Raises NoAnswer when there is none at first."""
    async with line(settings, "watch") as link:
        await link.listen(link.topics.status)
        yield await link.status()
        while True:
            message = await link.next(SILENT_S)
            if message is None:
                raise NoAnswer(f"nothing has come from the daemon of {settings.tun.name} for {SILENT_S:g} s")
            if message.topic.value == link.topics.status and (status := status_in(message)):
                yield status


FRESH_S = 4.0  # a retained status no older than this by the wall clock will do
TRIAL_S = 2.0


class NoAnswer(Exception):
    """Broker or daemon does not answer."""


class Link:
    """A connection to the broker, whoever it is about."""

    def __init__(self, client: aiomqtt.Client, inbox: asyncio.Queue[aiomqtt.Message]) -> None:
        self._client, self._inbox, self._refused = client, inbox, 0
        told: Any = client._client.on_publish

        def on_publish(client: Any, userdata: Any, mid: int, reason: Any, properties: Any) -> None:
            self._refused += int(getattr(reason, "value", 0)) >= 128
            if told is not None:
                told(client, userdata, mid, reason, properties)

        client._client.on_publish = on_publish  # the library hides that the broker does not take a message (MQTT 5)

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
        """The next message; None when there is none within so many seconds. (`wait_for` of Python 3.11 loses a Ctrl-C
        that comes in the turn of the loop in which a message does.)"""
        try:
            async with asyncio.timeout(within_s):
                return await self._inbox.get()
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
        return f"may not {'read' if self.settings.service.broker.version == 5 else 'read or write'} {topic}"

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
            old = status_in(message)
        missing = await self.trial() if old is None else 0.0
        if isinstance(missing, str):
            raise NoAnswer(f"nothing is heard of {self.settings.tun.name}: {unlisted(self.settings.service, missing)}")
        name = self.settings.tun.name
        started = f"start `underback serve --tun {name}`"
        if old is None:
            raise NoAnswer(f"no daemon has ever said its status for {name} on this broker; {started}")
        if not old:
            odd = f"what stands on {self.topics.status} is no status that this version reads"
            raise NoAnswer(f"{odd}; where no daemon of {name} runs, {started}, which writes it anew")
        ago_s, running = time.time() - old["at"], f"is `underback serve --tun {name}` running?"
        raise NoAnswer(f"the daemon of {name} has been silent for {ago_s:.0f} s; {running}")


def unlisted(service: Service, missing: str) -> str:
    """A right of the broker's access list is missing: what to do."""
    why = "Its access list does not know this tun, or is old"
    return f"the broker's {user(service)} {missing}. {why}: {connection.LISTED}"


def user(service: Service) -> str:
    """The broker's user that we speak as, in words."""
    name = service.broker.username
    return f'user "{name}"' if name else "user without a name"


def parsed(message: aiomqtt.Message) -> dict[str, Any]:
    """A status or reply as a dictionary; empty when it is none."""
    try:
        values = json.loads(message.payload if isinstance(message.payload, bytes) else b"")
    except (ValueError, RecursionError):  # the second: lists in lists without end
        return {}
    return values if isinstance(values, dict) else {}


def status_in(message: aiomqtt.Message) -> dict[str, Any]:
    """The daemon's status; empty where anything in it is missing or of another kind. Keys that are new do no harm."""
    found = parsed(message)
    try:
        Status.model_validate(found)
    except ValidationError as refused:
        if any(one["type"] != "extra_forbidden" for one in refused.errors(include_input=False, include_url=False)):
            return {}
    return found


def presence(message: aiomqtt.Message) -> bool:
    """Is this a status of now? A retained one shows it by the wall clock, where that is not sped up."""
    found = status_in(message)
    return bool(found) and (not message.retain or (found["speed"] == 1.0 and abs(time.time() - found["at"]) < FRESH_S))
