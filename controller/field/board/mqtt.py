"""How does a small board speak MQTT 3.1.1, without ever keeping the loop at the pin waiting?

A clean session, a last will, the retain flag handed on, and of what is to be said the newest word a topic: what could
not leave is replaced or dropped, never sent late. Facts: OASIS, MQTT 3.1.1.
"""

import asyncio

MYPY = False  # true for the type checker alone: a small board has no such module
if MYPY:
    from collections.abc import Awaitable, Callable
    from typing import Any

KEEPALIVE_S = 10
CONNECT_S = 8  # for address, connection, greeting and subscription together
BACK_OFF_S = 3
LONGEST = 2048  # bytes of a message that is kept; of a longer one only its beginning is handed on
TAIL = 64  # bytes thrown away at a time
CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK, PINGREQ = 0x10, 0x20, 0x30, 0x40, 0x82, 0x90, 0xC0


class Ended(Exception):
    """The connection is of no more use, in words."""


def _length(count: int) -> bytes:
    """The remaining length as the wire has it (2.2.3)."""
    out = bytearray()
    while True:
        count, low = count >> 7, count & 0x7F
        out.append(low | 0x80 if count else low)
        if not count:
            return bytes(out)


def _text(said: bytes) -> bytes:
    return bytes((len(said) >> 8, len(said) & 0xFF)) + said


def packet(kind: int, body: bytes) -> bytes:
    """A packet of this kind."""
    return bytes((kind,)) + _length(len(body)) + body


class Link:
    """One board's link. `broker`: host, port, user, password, and `ssl` where the connection is encrypted."""

    def __init__(
        self,
        broker: "dict[str, Any]",
        name: str,
        will: str,
        topics: list[str],
        hear: "Callable[[str, bytes, bool], None]",
    ) -> None:
        """`will`: the topic that says `true` while the board is there. `hear`: is told topic, payload, retained."""
        self.broker, self.name, self.will, self.topics, self.hear = broker, name, will, topics, hear
        self.up = False
        self.there = True  # what is said on the topic of the will after a connect
        self.why = "not connected yet"
        self._due: dict[str, bytes] = {}  # by topic: the newest packet that has not left
        self._news = asyncio.Event()

    def say(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Hand over; it leaves at once, is replaced by the next of its topic, or is dropped."""
        if self.up:
            self._due[topic] = packet(PUBLISH | retain, _text(topic.encode()) + payload)
            self._news.set()

    async def run(self, ready: "Callable[[], Awaitable[None]]") -> None:
        """For ever: connect once `ready` lets us, listen, speak."""
        while True:
            await ready()
            try:
                await self._session()
            except (OSError, EOFError, Ended, asyncio.TimeoutError) as why:  # noqa: UP041 - another class on a board
                self.why = str(why) or "no answer in time"
            self.up = False
            self._due.clear()
            await asyncio.sleep(BACK_OFF_S)

    async def _session(self) -> None:
        """One connection, until it ends with an exception."""
        broker = self.broker
        opening = asyncio.open_connection(broker["host"], broker["port"], ssl=broker.get("ssl"))
        reader, writer = await asyncio.wait_for(opening, CONNECT_S)
        tasks: list[asyncio.Task[None]] = []
        try:
            await asyncio.wait_for(self._greet(reader, writer), CONNECT_S)
            self.up, self.why = True, ""
            self.say(self.will, b"true" if self.there else b"false", True)
            tasks += [asyncio.create_task(self._send(writer)), asyncio.create_task(self._ping())]
            while not tasks[0].done():
                await asyncio.wait_for(self._one(reader), 2 * KEEPALIVE_S)
        finally:
            self.up = False
            for task in tasks:
                task.cancel()
            writer.close()

    async def _greet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Connect with a clean session and a last will, subscribe."""
        user, word = str(self.broker.get("user") or "").encode(), str(self.broker.get("password") or "").encode()
        flags = 0x02 | 0x04 | 0x08 | 0x20 | (0xC0 if user else 0)  # clean, will with QoS 1, retained; user, password
        body = _text(b"MQTT") + bytes((4, flags, 0, KEEPALIVE_S)) + _text(self.name.encode())
        body += _text(self.will.encode()) + _text(b"false") + (_text(user) + _text(word) if user else b"")
        await self._write(writer, packet(CONNECT, body))
        kind, said = await self._packet(reader)
        if kind != CONNACK or said[1:2] != b"\x00":
            raise Ended(f"the broker refuses us (code {said[1] if len(said) > 1 else -1})")
        if self.topics:
            wanted = b"".join([_text(topic.encode()) + b"\x01" for topic in self.topics])
            await self._write(writer, packet(SUBSCRIBE, b"\x00\x01" + wanted))

    async def _send(self, writer: asyncio.StreamWriter) -> None:
        """What is due, as it comes."""
        while True:
            await self._news.wait()
            self._news.clear()
            while self._due:
                topic = next(iter(self._due))
                await asyncio.wait_for(self._write(writer, self._due.pop(topic)), CONNECT_S)

    async def _ping(self) -> None:
        """A sign of life every few seconds, to be answered: so a dead line is noticed."""
        while True:
            await asyncio.sleep(KEEPALIVE_S // 2)
            self._due["ping"] = packet(PINGREQ, b"")
            self._news.set()

    async def _write(self, writer: asyncio.StreamWriter, data: bytes) -> None:
        writer.write(data)
        await writer.drain()

    async def _one(self, reader: asyncio.StreamReader) -> None:
        """The next packet: a message is handed on, and acknowledged where it wants that."""
        kind, body = await self._packet(reader)
        if kind & 0xF0 != PUBLISH:
            if kind == SUBACK and 0x80 in body[2:]:
                raise Ended("the broker refuses to let us listen")
            return
        size = body[0] << 8 | body[1]
        rest = 2 + size
        topic = body[2:rest].decode()
        if kind & 0x06:
            self._due[f"ack {body[rest] << 8 | body[rest + 1]}"] = packet(PUBACK, body[rest : rest + 2])
            self._news.set()
            rest += 2
        self.hear(topic, body[rest:], bool(kind & 1))

    async def _packet(self, reader: asyncio.StreamReader) -> tuple[int, bytes]:
        """Kind and body. Of what is longer than a board should keep the rest is thrown away as it comes."""
        kind = (await reader.readexactly(1))[0]
        size, shift = 0, 0
        while True:
            low = (await reader.readexactly(1))[0]
            size, shift = size | (low & 0x7F) << shift, shift + 7
            if not low & 0x80:
                break
            if shift > 21:
                raise Ended("a length that is none")
        body = await reader.readexactly(min(size, LONGEST))
        for left in range(size - len(body), 0, -TAIL):
            await reader.readexactly(min(TAIL, left))
        return kind, body
