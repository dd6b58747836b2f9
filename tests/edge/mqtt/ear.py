"""Who writes down everything that a transport tells?"""

from __future__ import annotations

import asyncio

from controller.edge.mqtt.transport import ReplyTo


class Ear:
    """Writes down everything it is told, and wakes whoever waits for news."""

    def __init__(self) -> None:
        self.got: list[tuple[str, bytes, bool, ReplyTo | None]] = []
        self.links: list[str] = []
        self.news: asyncio.Queue[tuple[str, str]] = asyncio.Queue()

    def heard(self, topic: str, payload: bytes, retained: bool, reply_to: ReplyTo | None) -> None:
        self.got.append((topic, payload, retained, reply_to))
        self.news.put_nowait(("heard", topic))

    def linked(self) -> None:
        self.links.append("up")
        self.news.put_nowait(("linked", ""))

    def unlinked(self, why: str) -> None:
        self.links.append(why)
        self.news.put_nowait(("unlinked", why))

    def refused(self, topic: str, why: str) -> None:
        self.news.put_nowait(("refused", topic))

    def payloads(self, topic: str) -> list[bytes]:
        return [payload for name, payload, *_ in self.got if name == topic]
