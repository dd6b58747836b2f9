"""Does the home-automation platform's own code take a discovery document? Run by an environment that holds it.

Documents come on the standard input, a JSON list of texts; for each a line of JSON: how many parts, what was refused.
"""

from __future__ import annotations

import asyncio
import importlib
import json
import sys
import tempfile
from typing import Any

import voluptuous as vol
from homeassistant.components.mqtt import discovery
from homeassistant.core import HomeAssistant
from homeassistant.helpers import frame


def refused(text: str) -> dict[str, Any]:
    """What the platform has against this document; it reads it as it would from a broker."""
    document = discovery._parse_device_payload(None, text, "tun", None)
    if not document:
        return {"parts": 0, "refused": ["the document as a whole"]}
    why = []
    for key, part in document["components"].items():
        config = discovery.MQTTDiscoveryPayload(part)
        discovery._merge_common_device_options(config, document)
        config["device"], config["origin"] = document["device"], document["origin"]
        platform = importlib.import_module(f"homeassistant.components.mqtt.{config.pop('platform')}")
        try:
            platform.DISCOVERY_SCHEMA(config)
        except vol.Invalid as problem:
            why.append(f"{key}: {problem}")
    return {"parts": len(document["components"]), "refused": why}


async def main() -> None:
    """The platform's own frame, which its templates ask for, then document by document."""
    with tempfile.TemporaryDirectory() as folder:
        home = HomeAssistant(folder)
        frame.async_setup(home)
        for one in json.load(sys.stdin):
            print(json.dumps(refused(one)))
        await home.async_stop(force=True)


asyncio.run(main())
