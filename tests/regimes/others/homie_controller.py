"""What does a Homie 5 controller of others see on a broker? Run by an environment that holds it: PORT.

A line of JSON for each thing it noticed, until the standard input ends: device, state, description, value. Of a value
it says what that library's reader of the datatype has against it.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from ebus_sdk import homie

EMPTY = "\x00"


def say(what: str, **more: Any) -> None:
    print(json.dumps({"what": what, **more}), flush=True)


def value(device: str, node: str, key: str, text: str, _before: str | None) -> None:
    """A property's value, held to its datatype and format in the description."""
    if not text:
        say("value", key=f"{node}/{key}", text="", wrong=None)  # taken away
        return
    found = controller.get_device(device).get_node_properties(node).get(key)
    if found is None:
        say("value", key=f"{node}/{key}", text=text, wrong="not in the description")
        return
    datatype = homie.PropertyDatatype(found["datatype"])
    _, wrong = homie._parse_set_payload(text, datatype, found.get("format"), None)
    say("value", key=f"{node}/{key}", text=text, wrong=wrong)


def described(device: Any) -> None:
    found = device.description or {}
    say("description", version=found.get("version"), homie=found.get("homie"), nodes=device.get_nodes())


controller = homie.Controller(mqtt_cfg={"host": "127.0.0.1", "port": int(sys.argv[1])}, homie_domain="homie")
controller.set_on_device_discovered_callback(lambda device: say("device", id=device.device_id))
controller.set_on_device_state_changed_callback(lambda device, old, new: say("state", old=old, new=new))
controller.set_on_description_received_callback(described)
controller.set_on_property_changed_callback(value)
controller.start_discovery()
sys.stdin.read()
