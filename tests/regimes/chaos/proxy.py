"""A TCP proxy that can be told to be a bad network: slow, narrow, deaf, mute, or broken."""

from __future__ import annotations

import contextlib
import select
import socket
import struct
import threading
import time
from collections import deque
from dataclasses import dataclass, field

CHUNK = 65536


@dataclass
class Mood:
    """How the network behaves now. Times in real seconds."""

    delay_s: float = 0.0
    bytes_per_s: float = 0.0  # 0: unlimited
    deaf: bool = False  # nothing gets from the client to the broker
    mute: bool = False  # nothing gets from the broker to the client


@dataclass
class _Way:
    """One direction of one connection."""

    source: socket.socket
    sink: socket.socket
    outward: bool
    waiting: deque[tuple[float, bytes]] = field(default_factory=deque)


class Proxy:
    """Listens on a port of its own and passes everything on to `target`, in the present mood."""

    def __init__(self, target: int) -> None:
        self.target, self.mood = target, Mood()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._ways: list[_Way] = []
        self._lock = threading.Lock()
        self._open = True
        self._thread = threading.Thread(target=self._run, name="proxy", daemon=True)
        self._thread.start()

    def reset(self) -> None:
        """Break every connection (TCP reset)."""
        with self._lock:
            for way in self._ways:
                self._break(way)
            self._ways.clear()

    def close(self) -> None:
        self._open = False
        self._thread.join(2.0)
        self.reset()
        self._listener.close()

    def _break(self, way: _Way) -> None:
        for sock in (way.source, way.sink):
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                sock.close()

    def _run(self) -> None:
        budget, filled = 0.0, time.monotonic()
        while self._open:
            with self._lock:
                sources = [w.source for w in self._ways]
            ready, _, _ = select.select([self._listener, *sources], [], [], 0.005)
            now = time.monotonic()
            budget = min(CHUNK, budget + (now - filled) * self.mood.bytes_per_s)
            filled = now
            if self._listener in ready:
                self._accept()
            with self._lock:
                for way in list(self._ways):
                    if way.source in ready:
                        self._take(way, now)
                    budget = self._give(way, now, budget)

    def _accept(self) -> None:
        client, _ = self._listener.accept()
        try:
            broker = socket.create_connection(("127.0.0.1", self.target), 2.0)
        except OSError:
            client.close()
            return
        for sock in (client, broker):
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with self._lock:
            self._ways += [_Way(client, broker, True), _Way(broker, client, False)]

    def _take(self, way: _Way, now: float) -> None:
        try:
            data = way.source.recv(CHUNK)
        except OSError:
            data = b""
        if not data:
            for other in [w for w in self._ways if w.source in (way.source, way.sink)]:
                self._ways.remove(other)
            self._break(way)
            return
        lost = self.mood.deaf if way.outward else self.mood.mute
        if not lost:
            way.waiting.append((now + self.mood.delay_s, data))

    def _give(self, way: _Way, now: float, budget: float) -> float:
        while way.waiting and way.waiting[0][0] <= now:
            at, data = way.waiting[0]
            if self.mood.bytes_per_s:
                part = data[: int(budget)]
                if not part:
                    break
                way.waiting[0] = (at, data[len(part) :])
                budget -= len(part)
                data = part
                if not way.waiting[0][1]:
                    way.waiting.popleft()
            else:
                way.waiting.popleft()
            with contextlib.suppress(OSError):
                way.sink.sendall(data)
        return budget
