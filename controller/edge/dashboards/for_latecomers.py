"""What lies on the broker for whoever comes late: the run so far, and what could be started?

Both are retained; the transport says them anew after each connect, so that a broker which forgot them has them again.
What reads a disk does so off the beat.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from math import inf
from typing import Any

from controller.core.nouns import RunState
from controller.core.procedure.orders.envelope import ACTIVE
from controller.core.procedure.orders.permissives import Facts
from controller.core.state import Outcome
from controller.edge import startable
from controller.edge.log import Log
from controller.edge.mqtt.transport import Post
from controller.edge.startable import Startable
from controller.messages.history import History, Past, Sample
from controller.messages.topics import Topics

Offload = Callable[[Callable[[], Any]], Awaitable[Any]]

LOOK_S, LOOK_REAL_S = 10.0, 2.0  # what could be started is looked at so often, on the tun's clock and in real time


class ForLatecomers:
    """History and startable programs of one service. `recall` reads the record, `look` the programs."""

    def __init__(
        self,
        topics: Topics,
        recall: Callable[[], Past],
        look: Callable[[], Sequence[Startable] | None],
        log: Log,
        offload: Offload = asyncio.to_thread,
        units: str = "metric",
    ) -> None:
        """`units`: what screens show to people."""
        self.facts: Callable[[], Facts | None] = lambda: None
        self._topics, self._log = topics, log
        self._recall, self._look, self._offload, self._units = recall, look, offload, units
        self._history = History()
        self._programs: Sequence[Startable] | None = None  # None: not read yet
        self._told: dict[str, Any] = {}
        self._looked_at = -inf
        self._tasks: dict[str, asyncio.Task[None]] = {}

    def open(self) -> None:
        """Read what was before this process, and which programs there are."""
        self._begin(self._recalled, "recall")

    def close(self) -> None:
        """Nobody waits for it any more."""
        for task in self._tasks.values():
            task.cancel()

    def _begin(self, work: Callable[[], Awaitable[None]], name: str) -> None:
        """Something that reads a disk, unless it is still at it. What goes wrong is logged, never raised."""

        async def guarded() -> None:
            try:
                await work()
            except (OSError, ValueError, KeyError, TypeError) as why:
                self._log.error(f"{name}: nothing to show on screens", why=str(why))

        if name not in self._tasks or self._tasks[name].done():
            self._tasks[name] = asyncio.create_task(guarded(), name=name)

    async def _recalled(self) -> None:
        self._history.recalled(await self._offload(self._recall))

    async def _read(self) -> None:
        found = await self._offload(self._look)
        self._programs = self._programs if found is None else found

    def told(self, seq: int, event: bytes) -> None:
        """An event has gone out."""
        self._history.happened(seq, event)

    def seen(self, outcome: Outcome, status: Mapping[str, Any] | None) -> Iterator[Post]:
        """Each tick; what there is to say, where it is due."""
        state = outcome.state
        if state.run.state in ACTIVE:
            setpoint_c = outcome.setpoint.value_c if outcome.setpoint else None
            duty, target_c = state.guard.line.duty, outcome.target.target_c
            self._history.ran(state.run.begun.id, state.now, Sample(outcome.seen.value_c, setpoint_c, target_c, duty))
        if status is None:
            return
        if self._knows_past() and (told := self._history.due(state.now, status["at"], status["speed"])) is not None:
            yield Post(self._topics.history, told, "state", retain=True)
        if state.run.state is RunState.IDLE and state.now - self._looked_at >= max(
            LOOK_S, LOOK_REAL_S * status["speed"]
        ):
            self._looked_at = state.now
            yield from self._startable(status["at"])

    def _knows_past(self) -> bool:
        """Is the record read? Until then what the process before has left on the broker is better than ours."""
        return "recall" in self._tasks and self._tasks["recall"].done()

    def _startable(self, wall_s: float) -> Iterator[Post]:
        """What could be started, where that is something new; the files are looked at for the next time."""
        self._begin(self._read, "programs")
        facts = self.facts()
        if self._programs is None or facts is None:
            self._looked_at = -inf  # at the next status again
            return
        found = startable.document(self._programs, facts, self._units)
        if found != self._told:
            self._told = found
            yield Post(self._topics.startable, startable.payload(found, wall_s), "state", retain=True)
