"""What else sees the run, beside the control path: dashboards, metrics, alerts.

Everything here may fail without touching the mash: a failure is counted and logged, never raised.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from controller.core.nouns import Event
from controller.core.procedure.orders.permissives import Facts
from controller.core.state import Outcome
from controller.edge.dashboards import metrics
from controller.edge.dashboards.alerts import Bell
from controller.edge.dashboards.discovery import Board
from controller.edge.dashboards.for_latecomers import ForLatecomers
from controller.edge.log import Log
from controller.edge.mqtt.transport import Post
from controller.messages.inbox import Inbox
from controller.settings.service import Settings

METRICS_S = 10.0  # the file for a collector is written so often, scaled clock


class Outward:
    """Dashboards, metrics and alerts of one service."""

    def __init__(self, settings: Settings, log: Log, late: ForLatecomers | None = None) -> None:
        self._settings, self._log, self._late = settings, log, late
        self._board = Board(settings)
        self._send: Callable[[Post], None] = lambda post: None
        self._bell: Bell | None = None
        self._status: Mapping[str, Any] | None = None
        self._metrics_at = -METRICS_S
        self._server: asyncio.Server | None = None
        self._task: asyncio.Task[None] | None = None

    def topics(self) -> tuple[str, ...]:
        """What has to be heard beside the tun's own topics."""
        return self._board.topics()

    def attach(self, inbox: Inbox, send: Callable[[Post], None], facts: Callable[[], Facts | None]) -> None:
        """The service is made: here is how to send, and where failures are counted."""
        alerts = self._settings.service.alerts
        self._send = send
        if self._late is not None:
            self._late.facts = facts
        self._bell = Bell(
            alerts,
            self._settings.tun.name,
            lambda payload: send(Post(alerts.horn_topic, payload, "state", retain=True)),
            inbox.counters,
            lambda why: self._log.error("an alert was not delivered", why=why),
        )

    async def open(self) -> None:
        """Read the past; serve metrics on loopback where the settings ask for it."""
        if self._late is not None:
            self._late.open()
        own, common = self._settings.tun.metrics_port, self._settings.service.dashboards.metrics_port
        port = common if own is None else own
        if not port:
            return
        try:
            self._server = await metrics.serve(port, lambda: self._status)
        except OSError as why:
            do = "another tun's has it? metrics_port in the tun's file gives each its own"
            self._log.error(f"metrics cannot be served; {do}", port=port, why=why.strerror)

    def close(self) -> None:
        if self._server is not None:
            self._server.close()
        if self._late is not None:
            self._late.close()
        self._all(self._board.leaving())

    def linked(self) -> None:
        self._all(self._board.connected())

    def heard(self, topic: str, payload: bytes) -> bool:
        """Was it for the dashboards?"""
        if topic not in self._board.topics():
            return False
        self._all(self._board.heard(topic, payload))
        return True

    def told(self, seq: int, event: bytes) -> None:
        """An event has gone out."""
        if self._late is not None:
            self._late.told(seq, event)

    def seen(self, outcome: Outcome, events: tuple[Event, ...], status: Mapping[str, Any] | None) -> None:
        """Each tick, after the command has gone."""
        if self._bell is not None:
            self._bell.seen(outcome, events, status)
        if self._late is not None:
            self._all(self._late.seen(outcome, status))
        if status is None:
            return
        self._status = status
        self._all(self._board.status(status))
        path, now = self._settings.service.dashboards.metrics_file, outcome.state.now
        free = self._task is None or self._task.done()
        if path and free and now - self._metrics_at >= METRICS_S:
            self._metrics_at = now
            own = metrics.file_of(path, self._settings.tun.name)
            self._task = asyncio.create_task(self._write(own, metrics.text(status)))

    async def _write(self, path: Path, text: str) -> None:
        try:
            await asyncio.to_thread(metrics.write, path, text)
        except OSError as why:
            self._log.error("the metrics file cannot be written", path=str(path), why=why.strerror)

    def _all(self, posts: Iterable[Post]) -> None:
        for post in posts:
            self._send(post)
