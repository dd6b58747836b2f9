"""What do both nodes' services have in common: the link to the broker, a thread's way onto the loop, the last words?"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable

from controller.edge.log import Log
from controller.edge.mqtt.transport import Post, ReplyTo, Transport
from controller.edge.systemd import Notifier
from controller.messages import outgoing

FAREWELL_S = 1.5  # for the last words, once everything is off


class NodeService:
    """A node's link. What it hears, what begins with it, and what is off before it ends, a subclass says."""

    lost = ""  # what a lost connection means here

    def __init__(self, transport: Transport, notifier: Notifier | None, log: Log | None, online: list[str]) -> None:
        """`online`: the topics that say whether the node is there."""
        self._transport, self._notifier, self._log = transport, notifier or Notifier({}), log or Log("error")
        self._online = online
        self._halt = threading.Event()
        self._ended = asyncio.Event()
        self._asked = False
        self._loop: asyncio.AbstractEventLoop | None = None

    def begin(self) -> None:
        """Start the threads, and tell the service manager."""
        raise NotImplementedError

    def off(self) -> None:
        """Everything off, at once."""

    def heard(self, topic: str, payload: bytes, retained: bool, reply_to: ReplyTo | None) -> None:
        return

    def linked(self) -> None:
        self._log.info("connected to the broker")

    def unlinked(self, why: str) -> None:
        self._log.warning(f"no connection: {why}{self.lost}")

    def refused(self, topic: str, why: str) -> None:
        self._log.error(f"{topic}: {why}; check the list of rights of the broker")

    def _tell_presence(self, topic: str, there: bool) -> None:
        self._transport.post(Post(topic, outgoing.online(there), "state", retain=True))

    def _soon(self, call: Callable[..., None], *args: object) -> None:
        """From a thread: call this on the event loop."""
        assert self._loop is not None
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(call, *args)

    def stop(self) -> None:
        """Asked to end: by a signal, on the event loop."""
        self.off()
        self._asked = True
        self._ended.set()

    async def run(self) -> bool:
        """Until `stop`, or until something fails. True when it was asked to end."""
        self._loop = asyncio.get_running_loop()
        link = asyncio.create_task(self._transport.run(self))
        link.add_done_callback(lambda _: self._ended.set())
        try:
            self.begin()
            await self._ended.wait()
            return self._asked
        finally:
            self.off()  # before anything that could wait
            self._halt.set()
            self._notifier.stopping()
            for topic in self._online:
                self._tell_presence(topic, False)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(FAREWELL_S):
                    await self._transport.flush(FAREWELL_S)
            link.cancel()
            await asyncio.gather(link, return_exceptions=True)
