"""Which document describes every topic and payload?

AsyncAPI 3.0 (asyncapi/spec), made of the payload models; `config/asyncapi.json` holds it, and a test holds the file to
the models. Written anew with `python -m controller.messages.asyncapi config/asyncapi.json`.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, Literal, NamedTuple

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from controller import __version__
from controller.messages import payload_schemas as shape
from controller.messages.status_schema import Status

Direction = Literal["send", "receive", "both"]


class Channel(NamedTuple):
    """One topic: who speaks on it, how, and what."""

    id: str
    address: str
    direction: Direction  # as seen from the daemon
    qos: Literal[0, 1]
    retain: bool
    payload: type[BaseModel]
    says: str
    below: str = "{prefix}/{tun}"


CHANNELS = (
    Channel("status", "status", "send", 1, True, Status, "All about the tun, at least every 2 s."),
    Channel("event", "event", "send", 1, False, shape.Event, "Each line of the record as it is written."),
    Channel("history", "history", "send", 1, True, shape.History, "The run so far, at most every 30 s and 60 KiB."),
    Channel("startable", "startable", "send", 1, True, shape.Startable, "What could be started, when that changes."),
    Channel(
        "reply",
        "reply",
        "send",
        1,
        False,
        shape.Reply,
        "The answer to an order; also on a response topic of MQTT 5 below `reply/`.",
    ),
    Channel("online", "online", "send", 1, True, shape.Presence, "The daemon is here; last will `false`."),
    Channel("horn", "horn", "send", 1, True, shape.Horn, "Sound a horn; `horn_topic` of service.toml names the topic."),
    Channel("heaterCommand", "heater/command", "send", 1, False, shape.Command, "The lease on the heater, every 2 s."),
    Channel("stirrerCommand", "stirrer/command", "send", 1, False, shape.MotorCommand, "Stirrer on or off."),
    Channel("pumpCommand", "pump/command", "send", 1, False, shape.MotorCommand, "Pump on or off."),
    Channel("order", "order", "receive", 1, False, shape.OrderPayload, "Orders; retained or stale ones are refused."),
    Channel("reading", "probe/{name}", "receive", 0, False, shape.ReadingPayload, "A probe's readings."),
    Channel("probeOnline", "probe/{name}/online", "receive", 1, True, shape.Presence, "A probe node's last will."),
    Channel("heaterReport", "heater/report", "receive", 1, False, shape.Report, "What the heater node did."),
    Channel("heaterOnline", "heater/online", "receive", 1, True, shape.Presence, "The heater node's last will."),
    Channel("stirrerOnline", "stirrer/online", "receive", 1, True, shape.Presence, "The last will of its own node."),
    Channel("pumpOnline", "pump/online", "receive", 1, True, shape.Presence, "The last will of its own node."),
    Channel("level", "level", "receive", 1, False, shape.SwitchPayload, "Level switch: true when there is liquid."),
    Channel("flow", "flow", "receive", 1, False, shape.SwitchPayload, "Flow switch: true when it flows."),
    Channel(
        "supply",
        "{tun}",
        "both",
        1,
        True,
        shape.Supply,
        "Tuns on one supply agree who may draw how much; each says its own word every 2 s and hears all.",
        "{prefix}/supply/{group}",
    ),
)

_WILL = {"topic": "underback/{tun}/online", "qos": 1, "message": "false", "retain": True}
EXAMPLES = Path(__file__).with_name("examples.json")  # one payload by channel, mostly from dry runs
_REF = "#/components/schemas/{model}"
_PARAMETERS = {
    "prefix": {"description": "First part of every topic; a setting.", "default": "underback"},
    "tun": {"description": "The tun's name.", "examples": ["gannet"]},
    "name": {"description": "The probe's name.", "examples": ["mash"]},
    "group": {"description": "The name of the shared supply; a setting.", "examples": ["kitchen"]},
}


def document() -> dict[str, Any]:
    """The whole AsyncAPI document, as plain values."""
    examples = json.loads(EXAMPLES.read_text(encoding="utf-8"))
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "underback",
            "version": __version__,
            "description": "Topics of one mash tun. Topics of probes, switches and nodes may be named otherwise in the "
            "tun file. Ages are judged by the receiver's monotonic clock; `at` is a stamp for people.",
            "license": {"name": "MIT"},
        },
        "defaultContentType": "application/json",
        "servers": {
            "broker": {
                "host": "127.0.0.1:1883",
                "protocol": "mqtt",
                "description": "Any MQTT 5 or 3.1.1 broker.",
                "bindings": {"mqtt": {"cleanSession": True, "keepAlive": 10, "lastWill": _WILL}},
            }
        },
        "channels": {c.id: _channel(c, examples) for c in CHANNELS},
        "operations": {
            f"{action}{c.id[0].upper()}{c.id[1:]}": _operation(c, action)
            for c in CHANNELS
            for action in (("send", "receive") if c.direction == "both" else (c.direction,))
        },
        "components": {"schemas": _schemas()},
    }


def _channel(channel: Channel, examples: dict[str, Any]) -> dict[str, Any]:
    address = f"{channel.below}/{channel.address}"
    message = {
        "summary": channel.says,
        "contentType": "application/json",
        "payload": {"$ref": _REF.format(model=channel.payload.__name__)},
        "examples": [{"name": "ordinary", "payload": examples[channel.id]}],
    }
    return {
        "address": address,
        "description": channel.says,
        "parameters": {k: v for k, v in _PARAMETERS.items() if f"{{{k}}}" in address},
        "messages": {channel.id: message},
    }


def _operation(channel: Channel, action: str) -> dict[str, Any]:
    found: dict[str, Any] = {"action": action, **_pointing(channel.id)}
    found["bindings"] = {"mqtt": {"qos": channel.qos, "retain": channel.retain}}
    return found | ({"reply": _pointing("reply")} if channel.id == "order" else {})


def _pointing(channel: str) -> dict[str, Any]:
    there = f"#/channels/{channel}"
    return {"channel": {"$ref": there}, "messages": [{"$ref": f"{there}/messages/{channel}"}]}


def _schemas() -> dict[str, Any]:
    ordered = sorted({channel.payload for channel in CHANNELS}, key=lambda model: model.__name__)
    _, shared = models_json_schema([(model, "validation") for model in ordered], ref_template=_REF)
    schemas: dict[str, Any] = shared["$defs"]
    return dict(sorted(schemas.items()))


def text() -> str:
    """The document as it stands in the file."""
    return json.dumps(document(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(text(), encoding="utf-8")
