"""The transport on a real Mosquitto: what leaves, what never leaves, and what comes back after an outage."""

from __future__ import annotations

import asyncio
import os
import signal
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import aiomqtt
import pytest

from controller.edge.mqtt import broker_link, connection
from controller.edge.mqtt.broker_link import BrokerLink
from controller.edge.mqtt.connection import Will
from controller.edge.mqtt.transport import Post, ReplyTo
from controller.settings.service import Broker
from tests.edge.mqtt.ear import Ear
from tests.regimes.chaos.field import Field, needs_mosquitto
from tests.waiting import PATIENCE_S, comes

pytestmark = needs_mosquitto


@asynccontextmanager
async def linked(
    port: int, *topics: str, name: str, version: int = 5, speed: float = 1.0, **more: Any
) -> AsyncIterator[tuple[BrokerLink, Ear]]:
    ear = Ear()
    broker = Broker.model_validate({"host": "127.0.0.1", "port": port, "version": version})
    transport = BrokerLink(broker, name, topics, Will(f"{name}/online", b"false"), speed, **more)
    task = asyncio.create_task(transport.run(ear))
    try:
        await comes(lambda: transport.up)
        yield transport, ear
    finally:
        task.cancel()
        await asyncio.wait({task}, timeout=PATIENCE_S)


@pytest.fixture
def there(tmp_path: Path) -> Iterator[Field]:
    field = Field(tmp_path, "gannet", "short", 1.0)
    field.broker()
    yield field
    field.end()


@pytest.mark.parametrize("version", [5, 3])
async def test_messages_come_and_go_in_both_versions(there: Field, version: int) -> None:
    """A heater command, a status and an event arrive; retained copies are marked; nothing is left unacknowledged."""
    async with (
        linked(there.port, "t/#", name="hears", version=version) as (_, ear),
        linked(there.port, name="says", version=version) as (transport, _),
    ):
        assert transport.heater("t/heater", b"1", True, 10.0)
        transport.post(Post("t/status", b"2", "status", retain=True))
        transport.post(Post("t/event", b"3", "event"))
        assert await transport.flush(PATIENCE_S)
        await comes(lambda: len(ear.got) == 3)
        assert sorted(ear.got) == [
            ("t/event", b"3", False, None),
            ("t/heater", b"1", False, None),
            ("t/status", b"2", False, None),
        ]
    async with linked(there.port, "t/#", name="late", version=version) as (_, ear):
        await comes(lambda: len(ear.got) == 1)
        assert ear.got == [("t/status", b"2", True, None)]


async def test_a_command_carries_its_lifetime_to_whoever_hears_it(there: Field) -> None:
    """MQTT 5: the broker is told when to drop a command, in whole seconds rounded up, and says so to a subscriber."""
    async with aiomqtt.Client("127.0.0.1", there.port, protocol=aiomqtt.ProtocolVersion.V5) as hears:
        await hears.subscribe("t/heater", qos=1)
        async with linked(there.port, name="says") as (transport, _):
            for lifetime_s, told in ((10.0, 10), (60.2, 61)):
                assert transport.heater("t/heater", b"1", False, lifetime_s)
                message = await anext(hears.messages)
                assert message.properties is not None
                # the broker takes off what has passed meanwhile
                assert 1 <= vars(message.properties)["MessageExpiryInterval"] <= told


async def test_own_words_stay_away_where_they_are_not_wanted_and_others_come(there: Field) -> None:
    """MQTT 5: of a status on its own topic only the other sender's copy comes back; a reading heard at QoS 0 comes."""
    async with (
        linked(there.port, "t/status", "t/probe", name="own", passing=("t/probe",), not_own=("t/status",)) as (
            transport,
            ear,
        ),
        linked(there.port, name="other") as (other, _),
    ):
        transport.post(Post("t/status", b"own", "status"))
        assert await transport.flush(PATIENCE_S)
        other.post(Post("t/status", b"other", "status"))
        assert await other.flush(PATIENCE_S)
        other.post(Post("t/probe", b"63.0", "status"))
        await comes(lambda: len(ear.got) == 2)
        assert [(topic, payload) for topic, payload, *_ in ear.got] == [("t/status", b"other"), ("t/probe", b"63.0")]


async def test_after_an_outage_state_and_events_are_there_and_old_heat_is_not(there: Field) -> None:
    """Broker killed: heater commands are dropped, events wait in order, retained state is sent anew."""
    async with linked(there.port, "t/order", name="says") as (transport, ear):
        transport.post(Post("t/online", b"true", "state", retain=True))
        await transport.flush(PATIENCE_S)
        there.kill("broker")
        await comes(lambda: not transport.up)
        assert not transport.heater("t/heater", b"hot", True, 10.0)
        transport.post(Post("t/status", b"old", "status", retain=True))
        for n in range(30):
            transport.post(Post("t/event", b"%d" % n, "event"))
        there.broker()
        async with linked(there.port, "t/#", name="hears") as (listener, heard):
            await comes(lambda: transport.up)
            await comes(lambda: len(heard.payloads("t/event")) == 30)
            assert heard.payloads("t/event") == [b"%d" % n for n in range(30)]
            assert heard.payloads("t/online") == [b"true"]
            assert heard.payloads("t/heater") == heard.payloads("t/status") == []
            listener.post(Post("t/order", b"again", "reply"))
            await comes(lambda: ear.payloads("t/order") == [b"again"])


@pytest.mark.parametrize("heat", [True, False])
async def test_a_frozen_broker_gets_no_more_heat_and_an_off_after_heat_tears_the_line(
    there: Field, heat: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Unacknowledged for over a quarter of a second at twenty times: no more heat; an OFF behind heat resets."""
    hand = [0.0]  # the transport's clock, put on by the test
    monkeypatch.setattr(broker_link, "time", SimpleNamespace(monotonic=lambda: hand[0]))
    async with linked(there.port, name="says", speed=20.0) as (transport, ear):
        os.kill(there.processes["broker"].pid, signal.SIGSTOP)
        assert transport.heater("t/heater", b"first", heat, 10.0)
        hand[0] += 0.3
        assert not transport.heater("t/heater", b"hot", True, 10.0)
        assert transport.withheld == 1
        assert transport.heater("t/heater", b"off", False, 10.0) is not heat
        assert transport.up is not heat
        hand[0] += 0.8
        assert not transport.heater("t/heater", b"off", False, 10.0)
        await comes(lambda: len(ear.links) > 1)
        os.kill(there.processes["broker"].pid, signal.SIGCONT)
        await comes(lambda: transport.up)
        assert transport.heater("t/heater", b"hot", True, 10.0)
        assert await transport.flush(PATIENCE_S)
        assert transport.heater("t/heater", b"off", False, 10.0)


async def test_what_is_stuck_in_the_client_never_leaves_after_an_off(there: Field) -> None:
    """Bytes that the socket does not take: an OFF resets the line, and nothing of the old line arrives later."""
    async with (
        linked(there.port, "t/heater", name="hears") as (_, ear),
        linked(there.port, name="says") as (transport, _),
    ):
        os.kill(there.processes["broker"].pid, signal.SIGSTOP)
        filler = b"x" * 60_000
        for _ in range(400):
            transport._publish("t/filler", filler, False, None, False)
            if transport._stuck():
                break
        assert transport._stuck()
        assert not transport.heater("t/heater", b"hot", True, 10.0)
        assert not transport.heater("t/heater", b"off", False, 10.0)
        assert not transport.up
        os.kill(there.processes["broker"].pid, signal.SIGCONT)
        await comes(lambda: transport.up)
        assert transport.heater("t/heater", b"fresh off", False, 10.0)
        await comes(lambda: bool(ear.payloads("t/heater")))
        assert ear.payloads("t/heater") == [b"fresh off"]


async def test_a_state_that_waited_for_room_is_not_sent_over_the_next_line(
    there: Field, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no room in the window the newest status waits; when the line is lost it is old, and it stays away."""
    monkeypatch.setattr(broker_link, "IN_FLIGHT", 0)
    async with (
        linked(there.port, "t/#", name="hears") as (_, ear),
        linked(there.port, name="says") as (transport, _),
    ):
        transport.post(Post("t/status", b"old", "status"))
        transport.reset()
        await comes(lambda: not transport.up)
        monkeypatch.setattr(broker_link, "IN_FLIGHT", 14)
        await comes(lambda: transport.up)
        transport.post(Post("t/event", b"new", "event"))
        await comes(lambda: bool(ear.got))
        assert [payload for _, payload, *_ in ear.got] == [b"new"]


async def test_the_last_will_is_heard_when_a_process_dies(there: Field) -> None:
    """The line is torn without a word: the broker says `false` for us."""
    hears, gone = linked(there.port, "gone/online", name="hears"), linked(there.port, name="gone")
    async with hears as (_, ear), gone as (transport, _):
        transport.post(Post("gone/online", b"true", "state", retain=True))
        await comes(lambda: ear.payloads("gone/online") == [b"true"])
        transport.reset()
        await comes(lambda: ear.payloads("gone/online")[:2] == [b"true", b"false"])


async def test_a_response_topic_comes_with_the_order_and_its_mark_goes_back(there: Field) -> None:
    """MQTT 5: where the sender wants the answer, and the correlation data unchanged."""
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    async with linked(there.port, "t/order", name="daemon") as (transport, ear):
        broker = Broker.model_validate({"host": "127.0.0.1", "port": there.port})
        inbox: asyncio.Queue[object] = asyncio.Queue()
        client = await connection.make(broker, "sender", inbox.put_nowait)
        async with client:
            await client.subscribe("my/box", 1)
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.ResponseTopic, properties.CorrelationData = "my/box", b"mark"
            await client.publish("t/order", b"{}", 1, properties=properties)
            await comes(lambda: len(ear.got) == 1)
            assert ear.got[0][3] == ReplyTo("my/box", b"mark")
            transport.post(Post("my/box", b"done", "reply", correlation=b"mark"))
            message = await asyncio.wait_for(inbox.get(), PATIENCE_S)
            assert getattr(message, "properties").CorrelationData == b"mark"  # noqa: B009


def _text(value: str) -> bytes:
    return len(value.encode()).to_bytes(2, "big") + value.encode()


async def _raw(port: int, properties: bytes, flags: int) -> None:
    """A client of somebody else's publishes an order by hand: MQTT 5, these properties, these flags."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    hello = _text("MQTT") + b"\x05\x02\x00\x3c\x00" + _text("raw")
    mid = b"\x00\x07" if flags & 6 else b""
    body = _text("t/order") + mid + bytes([len(properties)]) + properties + b"{}"
    writer.write(b"\x10" + bytes([len(hello)]) + hello)
    await reader.read(64)
    writer.write(bytes([0x30 | flags, len(body)]) + body)
    await writer.drain()
    writer.close()


@pytest.mark.parametrize("flags", [0x00, 0x02, 0x01], ids=["once at most", "once at least", "retained"])
async def test_no_property_of_a_message_ends_the_connection(there: Field, flags: int) -> None:
    """A property that the library cannot read is left out; message and connection stay, also when it is retained."""
    odd = b"\x08" + _text("a/\ufeff") + b"\x26" + _text("key") + _text("\ufeff")
    async with linked(there.port, "t/order", name="daemon") as (_, ear):
        await _raw(there.port, odd, flags)
        await comes(lambda: len(ear.got) == 1)
        assert ear.got[0] == ("t/order", b"{}", False, None) and ear.links == ["up"]
    async with linked(there.port, "t/order", name="later") as (_, ear):
        await comes(lambda: len(ear.got) == flags & 1)
        assert ear.links == ["up"]


async def test_what_cannot_be_sent_is_told_and_a_flood_of_answers_pushes_no_event_out(there: Field) -> None:
    """A topic that no message may have costs that message alone; events keep their places beside many replies."""
    async with linked(there.port, "e/#", name="daemon") as (transport, ear):
        transport.post(Post("e/+", b"x", "reply"))
        for n in range(4 * broker_link.EVENTS_KEPT):
            transport._replies.append(Post("r/x", b"", "reply"))
            if n < 20:
                transport._queue.append(Post("e/x", b"%d" % n, "event"))
        transport._pump()
        await comes(lambda: len(ear.payloads("e/x")) == 20)
        told = [ear.news.get_nowait() for _ in range(ear.news.qsize())]
        assert ("refused", "e/+") in told and ear.links == ["up"] and len(transport._replies) <= 256


@pytest.mark.parametrize(
    ("error", "words"),
    [
        ("[code:135] Not authorized", "user name or password"),
        ("[code:132] Unsupported protocol version", "version = 3 under [broker]"),
        ("[SSL: CERTIFICATE_VERIFY_FAILED] certificate verify failed: certificate has expired", "out of date"),
        ("[SSL: CERTIFICATE_VERIFY_FAILED] certificate verify failed: unable to get local issuer", "ca_file"),
        ("[SSL: WRONG_VERSION_NUMBER] wrong version number", "does not speak TLS"),
        ("[Errno 111] Connection refused", "nothing listens"),
        ("[Errno -2] Name or service not known", "host name"),
        ("Operation timed out", "in time; one that speaks MQTT 3.1.1 alone wants version = 3 under [broker]"),
    ],
)
def test_errors_are_said_in_one_plain_sentence(error: str, words: str) -> None:
    """What went wrong and what to look at, without the library's words."""
    said = connection.plain(OSError(error))
    assert words in said
    assert "\n" not in said
