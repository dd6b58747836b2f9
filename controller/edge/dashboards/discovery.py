"""How do dashboards of others learn what there is to see?

One retained discovery document for home-automation platforms (MQTT device discovery), the Homie 5 tree, and OpenMetrics
text, all made of the status document. Buttons exist only for orders that a fixed text may give: those that take heat
away, and hearing an alert. `Board` says what to publish, the service publishes it.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Mapping
from typing import Any

from controller import __version__
from controller.core.nouns import RunState
from controller.core.procedure.orders import envelope
from controller.edge.dashboards.homie import Homie, hold
from controller.edge.mqtt.transport import Post
from controller.messages import incoming, outgoing
from controller.messages.topics import topics
from controller.settings.service import Settings

EXPIRE_S = 10  # a value that old is no value; the status comes every 2 s
BORN = b"online"  # the platform's own birth word, on `<prefix>/status`
FIXED_TEXT = {  # orders that a plain button may give, and what stands on it
    "hold": "Hold: heat off, program kept",
    "stop": "Stop: heat off, run ends",
    "abort": "Abort: heat off, program dropped",
    "acknowledge": "Alert heard",
}


class Board:
    """What is to be sent for the dashboards that are switched on? Keeps only what Homie last said."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.on = settings.service.dashboards
        self.birth_topic = f"{self.on.discovery_prefix}/status"
        started_s = int(time.time())  # rises from start to start, as the version of a description must
        self.homie = Homie(self.on.homie_prefix, settings, started_s) if self.on.homie else None
        self._will: asyncio.Task[None] | None = None

    def topics(self) -> tuple[str, ...]:
        """Which topics must be heard? The platform's birth, for it gets the document again then; and what an earlier
        life said of the Homie device."""
        described = () if self.homie is None else (f"{self.homie.base}/$description",)
        return ((self.birth_topic,) if self.on.discovery else ()) + described

    def connected(self) -> list[Post]:
        """What goes out after each connect? A dashboard switched off is taken away with an empty payload."""
        if self.homie is None:
            return [announcement(self.settings)]
        if self._will is None:
            identifier = f"{self.homie.base.rsplit('/', 1)[1]}-homie-will"
            holding = hold(self.settings.service.broker, identifier, self.homie)
            self._will = asyncio.create_task(holding, name="homie will")
        return [announcement(self.settings), *self.homie.announce()]

    def heard(self, topic: str, payload: bytes) -> list[Post]:
        """What does a message on one of these topics call for?"""
        if self.homie is not None and topic == f"{self.homie.base}/$description":
            return self.homie.met(payload)
        born = self.on.discovery and topic == self.birth_topic and payload.strip().lower() == BORN
        return [announcement(self.settings)] if born else []

    def status(self, document: Mapping[str, Any]) -> list[Post]:
        """What has changed for Homie? The other dashboards read the status topic themselves."""
        return [] if self.homie is None else self.homie.values(document)

    def leaving(self) -> list[Post]:
        """What is said before an orderly end?"""
        if self._will is not None:
            self._will.cancel()
        return [] if self.homie is None else [self.homie.state("disconnected")]


def announcement(settings: Settings) -> Post:
    """The discovery document, or the empty payload that removes it where discovery is switched off."""
    topic, document = discovery(settings)
    payload = outgoing.document(document) if settings.service.dashboards.discovery else b""
    return Post(topic, payload, "event", retain=True)


def discovery(settings: Settings) -> tuple[str, dict[str, Any]]:
    """Topic and document of MQTT device discovery (field names: the platforms' published MQTT schemas)."""
    tun, mqtt = settings.tun, topics(settings)
    ours = re.sub(r"[^A-Za-z0-9_-]", "_", f"{settings.service.prefix}_{tun.name}")
    components = {**_sensors(settings), **_truths(), **_buttons(mqtt.order), "event": _event(mqtt.event)}
    for key, component in components.items():
        component["unique_id"] = f"{ours}_{key}"
    model = f"{tun.volume_l:g} L mash tun" + (", simulated" if tun.simulated else "")
    device = {"identifiers": [ours], "name": tun.title or tun.name, "manufacturer": "underback", "model": model}
    document = {
        "device": device | {"sw_version": __version__},
        "origin": {"name": "underback", "sw_version": __version__},
        "availability_topic": mqtt.online,
        "payload_available": outgoing.TRUE.decode(),
        "payload_not_available": outgoing.FALSE.decode(),
        "state_topic": mqtt.status,
        "qos": 1,
        "components": components,
    }
    return f"{settings.service.dashboards.discovery_prefix}/device/{ours}/config", document


def _sensor(name: str, template: str, platform: str = "sensor", **more: Any) -> dict[str, Any]:
    value = f"{{{{ {template} }}}}"
    return {"platform": platform, "name": name, "value_template": value, "expire_after": EXPIRE_S, **more}


def _measured(name: str, template: str, device_class: str | None, unit: str, digits: int) -> dict[str, Any]:
    more: dict[str, Any] = {"device_class": device_class} if device_class else {}
    more |= {"unit_of_measurement": unit, "state_class": "measurement", "suggested_display_precision": digits}
    return _sensor(name, template, **more)


def _celsius(name: str, key: str, digits: int = 1) -> dict[str, Any]:
    return _measured(name, f"value_json.{key}", "temperature", "°C", digits)


def _sensors(settings: Settings) -> dict[str, dict[str, Any]]:
    probes = settings.tun.probes
    step = "value_json.step.{0} if value_json.step else {1}"
    finish = "value_json.finish_at | as_datetime if value_json.finish_at else none"
    found = {
        "temperature": _celsius("Mash", "temperature_c", 2),
        "setpoint": _celsius("Setpoint", "setpoint_c", 2),
        "target": _measured("Target", step.format("target_c", "none"), "temperature", "°C", 1),
        "duty": _measured("Heat", "(value_json.duty * 100) | round(1)", None, "%", 0),
        "remaining": _measured("Rest left", step.format("remaining_s", "none"), "duration", "s", 0),
        "finish": _sensor("Finish", finish, device_class="timestamp"),
        "step": _sensor("Step", step.format("name", "'none'")),
        "state": _sensor("State", "value_json.state", device_class="enum", options=[str(s) for s in RunState]),
        "prompt": _sensor("Asked", "(value_json.waiting_for or 'nothing')[:250]"),
        "trips": _sensor("Trips", "(value_json.trips | map(attribute='text') | join('; ') or 'none')[:250]"),
        "health": _sensor("Health", "value_json.health", entity_category="diagnostic"),
    }
    if probes.second is not None:
        found["second"] = _celsius("Second probe", "second_c", 2)
    if probes.outlet is not None:
        found["outlet"] = _celsius("Heater outlet", "outlet_c")
    return found


def _truth(name: str, condition: str, device_class: str | None) -> dict[str, Any]:
    more = {"device_class": device_class} if device_class else {}
    return _sensor(name, f"'ON' if {condition} else 'OFF'", "binary_sensor", **more)


def _truths() -> dict[str, dict[str, Any]]:
    return {
        "tripped": _truth("Tripped", "value_json.trips", "problem"),
        "heating": _truth("Heating", "value_json.duty > 0", "running"),
        "waiting": _truth("Waiting for a person", "value_json.waiting_for", None),
    }


def fixed_text_orders() -> tuple[str, ...]:
    """Which orders may a plain button give? Those that are taken as a bare word, without an envelope."""
    orders = [incoming.order(name.encode(), 0.0) for name in FIXED_TEXT]
    book, held = envelope.OrderBook(), RunState.HELD
    refused = [envelope.judge(book, order, held, None, 0.0, 0.0, False)[1] or order.problems for order in orders]
    return tuple(order.name for order, why in zip(orders, refused, strict=True) if order.name in FIXED_TEXT and not why)


def _buttons(topic: str) -> dict[str, dict[str, Any]]:
    found = {}
    for order in fixed_text_orders():
        pressed = {"command_topic": topic, "payload_press": order, "retain": False}
        found[order] = {"platform": "button", "name": FIXED_TEXT[order], **pressed}
    return found


def _event(topic: str) -> dict[str, Any]:
    kinds = ["state", "step", "trip", "prompt", "note"]
    template = (
        "{{ {'event_type': value_json.kind if value_json.kind in " + repr(kinds) + " else 'note',"
        " 'id': value_json.id, 'text': value_json.text} | to_json }}"
    )
    event = {"platform": "event", "name": "Event", "state_topic": topic}
    return {**event, "event_types": kinds, "value_template": template}
