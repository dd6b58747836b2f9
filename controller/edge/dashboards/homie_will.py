"""Who says that a Homie device is lost?

A connection has one last will, and the service's own says that the daemon is gone. The convention wants `$state` = lost
as well, so a second connection is kept that does nothing but hold this will. It touches nothing else; when it fails it
is tried again.
"""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

import aiomqtt

from controller.edge.mqtt.connection import Will, heed_cancellation, make

if TYPE_CHECKING:
    from controller.edge.dashboards.homie import Homie
    from controller.settings.service import Broker

AGAIN_S = 10.0


async def hold(broker: Broker, identifier: str, homie: Homie) -> None:
    """Keep the will in place until cancelled; each time the connection comes up the device is said to be ready."""
    will = Will(homie.will().topic, homie.will().payload)
    while True:
        with contextlib.suppress(aiomqtt.MqttError, OSError, ValueError, TimeoutError):
            await _held(await make(broker, identifier, None, will), homie)
        heed_cancellation()
        await asyncio.sleep(AGAIN_S)


async def _held(client: aiomqtt.Client, homie: Homie) -> None:
    """One connection, until it ends."""
    async with client:
        ready = homie.state("ready")
        await client.publish(ready.topic, ready.payload, 1, retain=True)
        heed_cancellation()
        async for _ in client.messages:
            pass  # nothing is subscribed to: only the end of the connection is awaited
