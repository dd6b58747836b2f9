"""How do the commands talk to a running daemon?

Short connections of their own: read the status, send an order with the present nonce, wait for the answer.
"""

from __future__ import annotations

import asyncio
import secrets
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from typing import Any, NamedTuple

import aiomqtt

from controller.edge.mqtt import connection
from controller.edge.mqtt.daemon_link import DaemonLink, Link, NoAnswer, parsed, presence, unlisted, user
from controller.messages import outgoing
from controller.messages.topics import base
from controller.settings.service import Broker, Service, Settings

REPLY_S = 5.0  # it answers an order within a second
SILENT_S = 15.0  # while watching
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


async def answering(service: Service, tuns: Sequence[str]) -> list[str]:
    """Of which of these tuns is a daemon there, by its presence or its present status? Raises NoAnswer."""
    there: dict[str, bool] = {}
    async with linked(service.broker, "find") as link:
        await link.listen(*(f"{base(service.prefix, tun)}/{name}" for tun in tuns for name in ("online", "status")))
        until = time.monotonic() + FIND_S
        while len(there) < len(tuns) and (left := until - time.monotonic()) > 0:
            message = await link.next(left)
            if message is None:
                break
            tun, name = message.topic.value.split("/")[-2:]
            if name == "online":
                there[tun] = message.payload == outgoing.online(True)
            elif presence(message):
                there[tun] = True
    return [tun for tun in tuns if there.get(tun)]


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
    """The order sent, and the answer to it."""
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
