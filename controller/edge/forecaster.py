"""When is the end of the mash worked out anew? Off the beat, in a thread, at most once a minute and at each new step.

The status carries the newest outcome beside the estimate so far. A failure costs the forecast and nothing else.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from controller.core.procedure import estimate
from controller.core.procedure.run import Run
from controller.core.state import Outcome
from controller.edge.log import Log
from controller.plan import wort_ahead

EVERY_S, EVERY_REAL_S = 60.0, 5.0  # so often on the scaled clock, no more often in real time


class Ahead:
    """The `predict` of a service."""

    def __init__(
        self, log: Log, speed: float = 1.0, offload: Callable[[Callable[[], Any]], Awaitable[Any]] = asyncio.to_thread
    ) -> None:
        self._log, self._offload, self._every_s = log, offload, max(EVERY_S, EVERY_REAL_S * speed)
        self._found: Mapping[str, Any] | None = None
        self._made: tuple[object, ...] = ()
        self._at = 0.0
        self._task: asyncio.Task[None] | None = None

    def predict(self, outcome: Outcome) -> Mapping[str, Any] | None:
        """The estimate so far with `ahead`; None before dough-in. Begins to work the end out anew where that is due."""
        run, now = outcome.state.run, outcome.state.now
        so_far = estimate.document(run.mash)
        if so_far is None or run.course is None:
            self._found, self._made = None, ()
            return None
        place = (run.begun.id, run.leg, run.course)
        if run.begun.id not in self._made[:1]:
            self._found = None
        busy = self._task is not None and not self._task.done()
        if not busy and (place != self._made or now - self._at >= self._every_s):
            self._made, self._at = place, now
            self._task = asyncio.create_task(self._work(run), name="ahead")
        return {**so_far, "ahead": self._found}

    async def _work(self, run: Run) -> None:
        try:
            self._found = await self._offload(lambda: wort_ahead.at_end(run))
        except Exception as bug:
            self._found = None
            self._log.error("the end of the mash cannot be worked out", why=repr(bug))
