"""How is one connection to a broker made?

A fresh client with our settings: MQTT 5 or 3.1.1, clean start, last will, TLS, no delays in the socket; and the
client's errors in plain words. Together with broker_link.py the only place that knows the client library.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import aiomqtt
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.exception import MalformedPacket
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from controller.edge.mqtt.transport import ReplyTo
from controller.edge.systemd import credential
from controller.settings.service import Broker

KEEPALIVE_S = 10
CONNECT_S = 8.0  # for the whole of a connection attempt, subscriptions included
DIAL_S = 3.0  # for the TCP connection alone; runs in a thread that an exit waits for
CALL_S = 4.0  # for any one call of the client
IN_FLIGHT = 14  # below the 20 that a broker's receive maximum commonly allows; heater commands come on top
QUICKACK: int | None = getattr(socket, "TCP_QUICKACK", None)  # Linux

LISTED = "run config/mosquitto/make-users.sh with all your tuns, this one too, and reload the broker"

OLDER = "version = 3 under [broker] in service.toml"

QUIET = logging.getLogger("underback.mqtt")
QUIET.addHandler(logging.NullHandler())
QUIET.propagate = False


class Will(NamedTuple):
    topic: str
    payload: bytes


def _spout(
    deliver: Callable[[aiomqtt.Message], None], client: list[aiomqtt.Client]
) -> type[asyncio.Queue[aiomqtt.Message]]:
    """A queue that keeps nothing: each message goes on at once, stamped where it leaves the socket."""

    class Spout(asyncio.Queue[aiomqtt.Message]):
        def put_nowait(self, item: aiomqtt.Message) -> None:
            deliver(item)
            acknowledge_at_once(client[0])

    return Spout


def acknowledge_at_once(client: aiomqtt.Client) -> None:
    """Tell the kernel not to delay its next acknowledgement (tcp(7), TCP_QUICKACK; it has to be told again and again).

    A broker that leaves Nagle's algorithm on holds the next message back until then: 40 ms each, measured.
    """
    sock = client._client.socket()
    if QUICKACK is not None and isinstance(sock, socket.socket):
        with contextlib.suppress(OSError):
            sock.setsockopt(socket.IPPROTO_TCP, QUICKACK, 1)


def plain(error: BaseException) -> str:
    """The client's error as a sentence for a person."""
    text = str(error) or type(error).__name__
    low = text.lower()
    if "not authori" in low or "bad user name" in low:
        check = "check username and password_file in service.toml, or make the password anew"
        anew = "config/mosquitto/make-users.sh --renew USER FOLDER TUN..."
        return f"the broker refuses this user name or password; {check}: {anew}"
    if "protocol version" in low:
        return f"the broker speaks MQTT 3.1.1 alone; it wants {OLDER}"
    if isinstance(error, OSError) and error.filename:
        unread = f"{error.filename} cannot be read ({error.strerror})"
        return f"{unread}; check [broker] in service.toml, and who may read it"
    if "certificate has expired" in low or "not yet valid" in low:
        return "the broker's TLS certificate is out of date, or this machine's clock is wrong"
    if "certificate verify failed" in low or "unknown ca" in low:
        return "the broker's TLS certificate is not signed by the authority in ca_file; check ca_file in service.toml"
    if "wrong version number" in low or "record layer" in low:
        return "the broker does not speak TLS on this port; check tls and port in service.toml"
    if "refused" in low:
        return "nothing listens at the broker's address; is the broker running, and are host and port right?"
    if "name or service" in low or "name resolution" in low or "nodename" in low:
        return "the broker's host name is not known; check host in service.toml"
    if "timed out" in low or isinstance(error, TimeoutError):
        return f"the broker does not answer in time; one that speaks MQTT 3.1.1 alone wants {OLDER}"
    return text


def password(broker: Broker) -> str | None:
    """The broker's password: from its own file, else from systemd's credential. Never logged, never shown."""
    path = Path(broker.password_file) if broker.password_file else credential("broker-password")
    return path.read_text("utf-8").rstrip("\r\n") if path is not None else None


def tls(broker: Broker) -> ssl.SSLContext | None:
    """The TLS settings, 1.2 at least; None where TLS is off."""
    if not broker.tls:
        return None
    context = ssl.create_default_context(cafile=broker.ca_file or None)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    key = broker.key_file or str(credential("tls-client.key") or "")
    if broker.cert_file:
        context.load_cert_chain(broker.cert_file, key or None)
    return context


async def make(
    broker: Broker,
    identifier: str,
    deliver: Callable[[aiomqtt.Message], None] | None = None,
    will: Will | None = None,
    window: int = IN_FLIGHT,
) -> aiomqtt.Client:
    """A client for one connection. OSError when the password or the certificates cannot be read.

    `window`: how many messages may be on their way unacknowledged before the client itself holds back.
    """
    five = broker.version == 5
    word, context = await asyncio.to_thread(lambda: (password(broker), tls(broker)))  # both read files
    made: list[aiomqtt.Client] = []
    client = aiomqtt.Client(
        broker.host,
        broker.port,
        username=broker.username or None,
        password=word,
        identifier=identifier,
        protocol=aiomqtt.ProtocolVersion.V5 if five else aiomqtt.ProtocolVersion.V311,
        clean_start=True if five else 3,
        clean_session=None if five else True,
        keepalive=KEEPALIVE_S,
        timeout=CALL_S,
        tls_context=context,
        will=aiomqtt.Will(will.topic, will.payload, 1, True) if will else None,
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        queue_type=_spout(deliver, made) if deliver else None,
        max_inflight_messages=window,
        logger=QUIET,
    )
    made.append(client)
    client._client.connect_timeout = DIAL_S
    _bear_odd_properties(client)
    return client


def _bear_odd_properties(client: aiomqtt.Client) -> None:
    """Take a message whose properties the library cannot read without them, where it would end the connection.

    Whoever may write a topic that we hear could send one: Mosquitto 2.0.11 passes on U+FEFF in a property (own trial).
    """
    inner = client._client
    read = inner._handle_publish

    def bearing() -> MQTTErrorCode:
        try:
            return read()
        except (MalformedPacket, UnicodeDecodeError):
            numbered = bool(inner._in_packet["command"] & 0x06)
            inner._in_packet["packet"] = without_properties(inner._in_packet["packet"], numbered)
            return read()

    inner._handle_publish = bearing  # type: ignore[method-assign]


def without_properties(packet: bytearray, numbered: bool) -> bytearray:
    """What a PUBLISH of MQTT 5 (section 3.3) says after its fixed header, its properties left out. `numbered`: it
    carries a packet identifier."""
    begin = 2 + int.from_bytes(packet[:2], "big") + (2 if numbered else 0)
    length, end = packet[begin] & 0x7F, begin + 1
    while packet[end - 1] & 0x80:
        length |= (packet[end] & 0x7F) << 7 * (end - begin)
        end += 1
    return packet[:begin] + b"\0" + packet[end + length :]


def heed_cancellation() -> None:
    """End the task here if it was cancelled and the client's own waiting forgot it.

    `asyncio.wait_for` of Python 3.11 gives its result and drops a cancellation that comes in the same turn of the loop,
    and an error while a connection is being left takes a cancellation's place.
    """
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


def publish_properties() -> Properties:
    return Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]


def reply_to(message: aiomqtt.Message) -> ReplyTo | None:
    """Where should the answer go? Only MQTT 5 says."""
    topic = getattr(message.properties, "ResponseTopic", None)
    return ReplyTo(str(topic), getattr(message.properties, "CorrelationData", None)) if topic else None
