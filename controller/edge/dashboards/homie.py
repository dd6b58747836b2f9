"""How does a tun look by the Homie 5 convention?

One device, three nodes (mash, run, heater), nothing settable: orders go through the order topic, where they are judged.
Facts: homieiot/convention, convention.md, version 5 (CC-BY 4.0). The convention wants `$state` = lost as the root
device's last will; a connection has one will only, so a Homie device with its will (`will`) takes a second connection.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
from collections.abc import Callable
from typing import Any, Literal, NamedTuple

import aiomqtt

from controller.core.nouns import Phase, RunState
from controller.edge.dashboards.metrics import Status, of_step
from controller.edge.mqtt.connection import Will, heed_cancellation, make
from controller.edge.mqtt.transport import Post
from controller.settings.service import Broker, Settings


class Property(NamedTuple):
    """One value on the wire: what it is called, what it is, and where it comes from."""

    node: str
    id: str
    name: str
    datatype: str
    read: Callable[[Status], Any]
    unit: str = ""
    format: str = ""


def _number(key: str, digits: int) -> Callable[[Status], Any]:
    return lambda status: None if status[key] is None else round(status[key], digits)


_STATES = ",".join(RunState)
_PHASES = ",".join((*Phase, "none"))

PROPERTIES = (
    Property("mash", "temperature", "Mash temperature", "float", _number("temperature_c", 1), "°C"),
    Property("mash", "setpoint", "Setpoint", "float", _number("setpoint_c", 1), "°C"),
    Property("mash", "target", "Target of the step", "float", of_step("target_c"), "°C"),
    Property("run", "state", "State", "enum", lambda s: s["state"], format=_STATES),
    Property("run", "program", "Program", "string", lambda s: s["title"] or s["program"] or ""),
    Property("run", "step", "Step", "string", lambda s: of_step("name")(s) or ""),
    Property("run", "phase", "Phase", "enum", lambda s: of_step("phase")(s) or "none", format=_PHASES),
    Property("run", "remaining", "Rest time left", "duration", lambda s: _iso(of_step("remaining_s")(s))),
    Property("run", "asked", "Asked of a person", "string", lambda s: s["waiting_for"] or ""),
    Property("heater", "duty", "Share of heater power", "float", lambda s: round(100 * s["duty"], 1), "%", "0:100"),
)
NODES = {"mash": "Mash", "run": "Run", "heater": "Heater"}


def _iso(seconds: float | None) -> str | None:
    """ISO 8601 duration, to the half minute: finer would be a message a second and help nobody."""
    if seconds is None:
        return None
    half = round(seconds / 30.0) * 30
    return f"PT{half // 3600}H{half % 3600 // 60}M{half % 60}S"


def device_id(settings: Settings) -> str:
    """The tun's id: a-z, 0-9 and `-` only."""
    return re.sub(r"[^a-z0-9-]", "-", f"{settings.service.prefix}-{settings.tun.name}".lower())


def description(settings: Settings, version: int) -> dict[str, Any]:
    """The `$description`. Its version must rise with each change; a time stamp does (convention, description)."""
    nodes: dict[str, Any] = {node: {"name": name, "properties": {}} for node, name in NODES.items()}
    for prop in PROPERTIES:
        entry: dict[str, Any] = {"name": prop.name, "datatype": prop.datatype}
        entry |= {"unit": prop.unit} if prop.unit else {}
        entry |= {"format": prop.format} if prop.format else {}
        nodes[prop.node]["properties"][prop.id] = entry
    name = settings.tun.title or settings.tun.name
    return {"homie": "5.0", "version": version, "name": name, "type": "mash tun", "nodes": nodes}


def encode(value: Any) -> bytes:
    """A value as the convention writes it; an empty text is one zero byte."""
    if isinstance(value, bool):
        return b"true" if value else b"false"
    return str(value).encode("utf-8", "replace") or b"\x00"


class Homie:
    """What has this device said so far? Only changes go out."""

    def __init__(self, prefix: str, settings: Settings, version: int) -> None:
        self.base = f"{prefix}/5/{device_id(settings)}"
        self.describes = description(settings, version)
        self.stage: Literal["", "init", "said", "ready"] = ""  # said: `ready` is on its way; ready: it is surely out
        self._said: dict[str, bytes] = {}
        self._alerts: set[str] = set()

    def will(self) -> Post:
        """The last will of a connection that shows the device."""
        return self.state("lost")

    def state(self, word: str) -> Post:
        """init, ready, disconnected or lost."""
        return self._post("$state", word.encode())

    def announce(self) -> list[Post]:
        """After a connect: init and the description; all values follow anew, and ready after them."""
        self._said.clear()
        self.stage = "init"
        document = json.dumps(self.describes, ensure_ascii=False, separators=(",", ":")).encode()
        return [self.state("init"), self._post("$description", document)]

    def met(self, payload: bytes) -> list[Post]:
        """A description on the broker: where its version is ahead of ours (an earlier life had its clock ahead) ours
        goes past it, and the device is described anew."""
        try:
            version = json.loads(payload)["version"]
        except (ValueError, KeyError, TypeError, RecursionError):
            return []
        if not isinstance(version, int) or not self.describes["version"] < version < 2**53:
            return []
        self.describes = {**self.describes, "version": version + 1}
        return self.announce()

    def values(self, status: Status) -> list[Post]:
        """Which values differ from what was said last? A value that is not known is taken away, never invented. Nothing
        is said before the device was described."""
        if not self.stage:
            return []
        read = {f"{p.node}/{p.id}": p.read(status) for p in PROPERTIES}
        found = {place: b"" if value is None else encode(value) for place, value in read.items()}
        changed = {place: payload for place, payload in found.items() if self._said.get(place, b"") != payload}
        self._said.update(changed)
        posts = [self._post(place, payload) for place, payload in changed.items()] + self._alert(status)
        first = self.stage == "init"
        self.stage = "said" if first else "ready"
        return [*posts, self.state("ready")] if first else posts

    def _post(self, place: str, payload: bytes) -> Post:
        return Post(f"{self.base}/{place}", payload, "event", retain=True)

    def _alert(self, status: Status) -> list[Post]:
        now = {re.sub(r"[^a-z0-9-]", "-", str(trip["id"]).lower()): encode(trip["text"]) for trip in status["trips"]}
        gone, new = self._alerts - now.keys(), now.keys() - self._alerts
        self._alerts = set(now)
        cleared = [self._post(f"$alert/{key}", b"") for key in sorted(gone)]
        return cleared + [self._post(f"$alert/{key}", now[key]) for key in sorted(new)]


AGAIN_S = 10.0


async def hold(broker: Broker, identifier: str, homie: Homie) -> None:
    """Keep the will in place until cancelled; when its connection is back, a device that was ready says so again."""
    will = Will(homie.will().topic, homie.will().payload)
    while True:
        with contextlib.suppress(aiomqtt.MqttError, OSError, ValueError, TimeoutError):
            await _held(await make(broker, identifier, None, will), homie)
        heed_cancellation()
        await asyncio.sleep(AGAIN_S)


async def _held(client: aiomqtt.Client, homie: Homie) -> None:
    """One connection, until it ends."""
    async with client:
        if homie.stage == "ready":  # before that the other connection says it, after the values
            await client.publish(homie.state("ready").topic, b"ready", 1, retain=True)
        heed_cancellation()
        async for _ in client.messages:
            pass  # nothing is subscribed to: only the end of the connection is awaited
