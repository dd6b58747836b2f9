"""How does a `start` get its program without holding up the beat?

It is read and compiled in a thread; until then the order waits, and comes back to the inbox with a course or with every
reason why there is none.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from controller.core.nouns import Course, Order

LOAD_S = 10.0  # reading and compiling a program may take so long

Compile = Callable[[Mapping[str, Any]], Course | tuple[str, ...]]
Offload = Callable[[Callable[[], Any]], Awaitable[Any]]


class ProgramLoader:
    """The programs that are being read."""

    def __init__(
        self,
        compile_program: Compile,
        offload: Offload,
        ready: Callable[[Order], None],
        failed: Callable[[BaseException], None],
    ) -> None:
        self._compile, self._offload, self._ready, self._failed = compile_program, offload, ready, failed
        self._loads: set[asyncio.Task[None]] = set()

    def prepare(self, order: Order) -> Order | None:
        """The order itself, or None where it comes back later, by `ready`."""
        if order.name != "start":
            return order
        task = asyncio.create_task(self._load(order), name="load")
        self._loads.add(task)
        task.add_done_callback(self._loads.discard)
        return None

    def cancel(self) -> None:
        """Nobody waits for them any more."""
        for task in self._loads:
            task.cancel()

    async def _load(self, order: Order) -> None:
        try:
            async with asyncio.timeout(LOAD_S):
                made = await self._offload(lambda: self._compile(order.args))
        except TimeoutError:
            made = (f"the program could not be read within {LOAD_S:g} s",)
        except Exception as bug:
            self._failed(bug)
            return
        known = order._replace(course=made) if isinstance(made, Course) else order._replace(problems=tuple(made))
        self._ready(known)
