"""What lies on the broker for whoever comes late: the run so far, and what could be started?

Both are retained; the transport says them anew after each connect, so that a broker which forgot them has them again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from controller.core.procedure.orders.envelope import ACTIVE
from controller.core.state import Outcome
from controller.edge.log import Log
from controller.edge.mqtt.transport import Post
from controller.messages.history import History, Past, Sample
from controller.messages.topics import Topics

Offload = Callable[[Callable[[], Any]], Any]


class ForLatecomers:
    """The history of one service. `recall` reads the record, off the beat."""

    def __init__(
        self, topics: Topics, recall: Callable[[], Past], log: Log, offload: Offload = asyncio.to_thread
    ) -> None:
        self._topics = topics
        self._recall, self._log, self._offload = recall, log, offload
        self._history = History()
        self._task: asyncio.Task[None] | None = None

    def open(self) -> None:
        """Read what was before this process."""
        self._task = asyncio.create_task(self._recalled(), name="recall")

    def close(self) -> None:
        """Nobody waits for it any more."""
        if self._task is not None:
            self._task.cancel()

    async def _recalled(self) -> None:
        try:
            self._history.recalled(await self._offload(self._recall))
        except (OSError, ValueError, KeyError, TypeError) as why:
            self._log.error("the past cannot be shown", why=str(why))

    def told(self, seq: int, event: bytes) -> None:
        """An event has gone out."""
        self._history.happened(seq, event)

    def seen(self, outcome: Outcome, status: Mapping[str, Any] | None) -> Iterator[Post]:
        """Each tick; what there is to say, where it is due."""
        state = outcome.state
        if state.run.state in ACTIVE:
            setpoint_c = outcome.setpoint.value_c if outcome.setpoint else None
            duty, target_c = state.guard.line.duty, outcome.target.target_c
            self._history.ran(state.run.run_id, state.now, Sample(outcome.seen.value_c, setpoint_c, target_c, duty))
        if status is None:
            return
        if (told := self._history.due(state.now, status["at"], status["speed"])) is not None:
            yield Post(self._topics.history, told, "state", retain=True)
