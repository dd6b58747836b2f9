"""How does the broker carry our messages? With connection.py the only place that knows the library.

A new client object for each connection, since the old one would send again what it had not got rid of. Incoming
messages are handed on where they leave the socket, not through a queue. Heater commands never wait in the client: one
is sent at once or not at all, and when the duty falls while older bytes are stuck the connection is reset, so that a
hot command cannot leave after an OFF. Time limits here are real seconds.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import random
import socket
import struct
import time
from collections import deque
from collections.abc import Collection, Iterable
from typing import Any

import aiomqtt
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from controller.edge.mqtt import connection
from controller.edge.mqtt.connection import (
    IN_FLIGHT,
    Will,
    heed_cancellation,
    make,
    plain,
    publish_properties,
    reply_to,
)
from controller.edge.mqtt.transport import Ear, Post
from controller.settings.service import Broker

BACK_OFF_S, LONGEST_BACK_OFF_S = 1.0, 30.0
KEEN_S = 2.0  # while a run is open: with the time to dial a new try at least every 5 s
STUCK_S, STUCK_FLOOR_S = 2.0, 0.25  # unacknowledged for so long (over speed): no further heat over this connection
DEAD_S, DEAD_FLOOR_S = 10.0, 1.0  # unacknowledged for so long (over speed): the connection is reset
OWN_WINDOW = 1000  # the client must never hold back: what may wait, and for how long, is decided here
NOT_AUTHORIZED = 135  # MQTT 5, section 2.4
EVENTS_KEPT = 2000  # while the broker is away; the record has them all
REPLIES_KEPT = 256  # apart from them: a flood of orders pushes no event out


class BrokerLink:
    """A `Transport` over a broker."""

    def __init__(
        self,
        broker: Broker,
        identifier: str,
        topics: Iterable[str],
        will: Will | None = None,
        speed: float = 1.0,
        passing: Collection[str] = (),
        not_own: Collection[str] = (),
    ) -> None:
        """`speed`: of the tun's clock. How late a command may leave is judged by that clock, with a floor. `passing`:
        topics of which only the newest message counts, heard at QoS 0. `not_own`: those whose messages of our own need
        not come back (MQTT 5)."""
        self.up = False
        self.keen = False
        self._stuck_s, self._dead_s = max(STUCK_FLOOR_S, STUCK_S / speed), max(DEAD_FLOOR_S, DEAD_S / speed)
        self.withheld = 0  # hot commands not sent since the link was stuck
        self._broker, self._identifier, self._topics, self._will = broker, identifier, tuple(topics), will
        self._passing, self._not_own = frozenset(passing), frozenset(not_own)
        self._ear: Ear | None = None
        self._client: aiomqtt.Client | None = None
        self._flying: dict[int, tuple[str, float, bool]] = {}  # message id: topic, when, a heater command?
        self._kept: dict[str, Post] = {}  # retained state, sent anew after each connect
        self._newest: dict[str, Post] = {}  # status, motors: the newest of each topic
        self._queue: deque[Post] = deque(maxlen=EVENTS_KEPT)
        self._replies: deque[Post] = deque(maxlen=REPLIES_KEPT)
        self._hot = False  # is there heat among the commands that are not acknowledged?
        self._quiet = asyncio.Event()
        self._expiry: dict[int, Properties] = {}

    # ------------------------------------------------------------ connecting

    async def run(self, ear: Ear) -> None:
        """Connect, listen, reconnect with back-off and jitter, until cancelled."""
        self._ear, wait = ear, BACK_OFF_S
        while True:
            began = time.monotonic()
            why = await self._session(ear)
            heed_cancellation()
            ear.unlinked(why)
            if time.monotonic() - began > LONGEST_BACK_OFF_S:
                wait = BACK_OFF_S
            await asyncio.sleep(KEEN_S if self.keen else wait * random.uniform(0.7, 1.3))
            wait = min(LONGEST_BACK_OFF_S, wait * 1.6)

    async def _session(self, ear: Ear) -> str:
        """One connection from beginning to end. Returns why it ended."""
        try:
            async with asyncio.timeout(connection.CONNECT_S) as limit:
                client = await make(self._broker, self._identifier, self._deliver, self._will, OWN_WINDOW)
                await self._until_it_ends(client, ear, limit)
        except (aiomqtt.MqttError, OSError, ValueError, TimeoutError) as error:
            return plain(error)
        finally:
            self.up, self._client = False, None
            self._flying.clear()
            self._newest.clear()  # what was newest then is old when the line is back
            self._quiet.set()
        return "the connection ended"

    async def _until_it_ends(self, client: aiomqtt.Client, ear: Ear, limit: asyncio.Timeout) -> None:
        """Subscribed within the limit; then for as long as the connection lasts."""
        async with client:
            await self._subscribe(client, ear)
            heed_cancellation()
            limit.reschedule(None)
            self._linked(client, ear)
            async for _ in client.messages:
                pass  # only the end of the connection is awaited here

    async def _subscribe(self, client: aiomqtt.Client, ear: Ear) -> None:
        if not self._topics:
            return
        five = self._broker.version == 5
        qos = {topic: 0 if topic in self._passing else 1 for topic in self._topics}
        options = [
            (topic, SubscribeOptions(qos[topic], noLocal=topic in self._not_own) if five else qos[topic])
            for topic in self._topics
        ]
        granted: Any = await client.subscribe(options, timeout=connection.CALL_S)  # type: ignore[arg-type]
        for topic, code in zip(self._topics, granted, strict=False):
            if int(getattr(code, "value", code)) >= 128:
                ear.refused(topic, "the broker refuses to let us listen")

    def _linked(self, client: aiomqtt.Client, ear: Ear) -> None:
        client._client.on_publish = self._acknowledged
        self._client, self.up = client, True
        self._flying.clear()
        self._hot = False
        for post in self._kept.values():
            self._send(post)
        ear.linked()
        self._pump()

    def _deliver(self, message: aiomqtt.Message) -> None:
        if self._ear is not None:
            data = message.payload if isinstance(message.payload, bytes) else b""
            self._ear.heard(message.topic.value, data, message.retain, reply_to(message))

    def reset(self) -> None:
        """End the connection without sending what is still in its buffers (TCP reset)."""
        sock = self._client._client.socket() if self._client is not None else None
        self.up = False
        if isinstance(sock, socket.socket):
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                socket.socket.shutdown(sock, socket.SHUT_RDWR)

    # ------------------------------------------------------------ heater commands

    def heater(self, topic: str, payload: bytes, hot: bool, lifetime_s: float) -> bool:
        """Send now, or drop. Heat is withheld while an earlier command is unacknowledged or bytes are stuck.

        An OFF after heat that has not got through tears the line instead: the heat must not arrive after it.
        """
        if not self.up or self._client is None:
            return False
        waiting, stuck = self._waiting_s(), self._stuck()
        late = waiting > self._stuck_s
        if waiting > self._dead_s or (not hot and (stuck or (late and self._hot))):
            self.reset()
            return False
        if hot and (late or stuck):
            self.withheld += 1
            return False
        self._hot = hot or (self._hot and waiting > 0.0)
        return self._publish(topic, payload, False, self._properties(lifetime_s), True)

    def _stuck(self) -> bool:
        """Are there bytes that the socket will not take?"""
        client = self._client._client if self._client is not None else None
        if client is None or not client.want_write():
            return False
        client.loop_write()  # what was only waiting for its turn on the loop leaves now
        return client.want_write()

    def _waiting_s(self) -> float:
        first = next((at for _, at, heater in self._flying.values() if heater), None)
        return 0.0 if first is None else time.monotonic() - first

    # ------------------------------------------------------------ all else

    def post(self, post: Post) -> None:
        if post.lane == "state":
            self._kept[post.topic] = post
        if post.lane == "reply":
            self._replies.append(post)
        elif post.lane in ("event", "alert"):
            self._queue.append(post)
        elif self.up:
            self._newest[post.topic] = post
        self._pump()

    def _pump(self) -> None:
        """Send as much as the broker's window allows: the newest states first, then events, then replies, in order."""
        while self.up and len(self._flying) < IN_FLIGHT:
            if self._newest:
                self._send(self._newest.pop(next(iter(self._newest))))
            elif self._queue or self._replies:
                self._send((self._queue or self._replies).popleft())
            else:
                break

    def _send(self, post: Post) -> None:
        properties = self._properties(post.lifetime_s) if post.correlation is None else None
        if post.correlation is not None and self._broker.version == 5:
            properties = publish_properties()
            properties.CorrelationData = post.correlation
        self._publish(post.topic, post.payload, post.retain, properties, False)

    def _properties(self, lifetime_s: float | None) -> Properties | None:
        """Message expiry as a second fence, where the protocol has it."""
        if lifetime_s is None or self._broker.version != 5:
            return None
        seconds = max(1, math.ceil(lifetime_s))
        if seconds not in self._expiry:
            properties = publish_properties()
            properties.MessageExpiryInterval = seconds
            self._expiry[seconds] = properties
        return self._expiry[seconds]

    def _publish(self, topic: str, payload: bytes, retain: bool, properties: Properties | None, heater: bool) -> bool:
        if self._client is None:
            return False
        try:
            info = self._client._client.publish(topic, payload, 1, retain, properties)
        except ValueError as unfit:  # this message is wrong, not the line
            self._told_refused(topic, f"it cannot be sent: {unfit}")
            return False
        except (RuntimeError, OSError):
            self.reset()
            return False
        if info.rc != 0:
            return False
        self._flying[info.mid] = (topic, time.monotonic(), heater)
        self._quiet.clear()
        return True

    def _acknowledged(self, client: Any, userdata: Any, mid: int, reason: Any, properties: Any) -> None:
        """The broker took a message, or tells that it did not (the client library itself hides that)."""
        topic = self._flying.pop(mid, ("", 0.0, False))[0]
        if not self._flying:
            self._quiet.set()
        if int(getattr(reason, "value", 0)) >= 128:
            unlisted = f"this user may not write it: {connection.LISTED}"
            self._told_refused(
                topic, unlisted if reason.value == NOT_AUTHORIZED else f"the broker refused it: {reason}"
            )
        self._pump()

    def _told_refused(self, topic: str, why: str) -> None:
        if self._ear is not None:
            self._ear.refused(topic, why)

    async def flush(self, within_s: float) -> bool:
        """Has everything sent been acknowledged within so many real seconds?"""
        if not self.up:
            return False
        try:
            async with asyncio.timeout(within_s):
                await self._quiet.wait()
        except TimeoutError:
            return False
        return self.up
