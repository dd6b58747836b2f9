"""How is something waited for that another thread, process or broker does? As short as it lets us.

Nothing is judged by the time it takes: PATIENCE_S only says when a test gives up on something that hangs, long after
the slowest machine (a small board with all its cores busy) would have done it.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable

PATIENCE_S = 120.0
LOOK_S = 0.01


def until(condition: Callable[[], bool], what: str) -> None:
    """Is it so at last?"""
    end, event = time.monotonic() + PATIENCE_S, threading.Event()
    while not condition():
        assert time.monotonic() < end, f"not within {PATIENCE_S:g} s: {what}"
        event.wait(LOOK_S)


async def comes(condition: Callable[[], bool], what: str = "what was waited for") -> None:
    """Is it so at last, while the loop goes on?"""
    async with asyncio.timeout(PATIENCE_S):
        while not condition():  # noqa: ASYNC110 - other processes set no event of ours
            await asyncio.sleep(LOOK_S)
    assert condition(), what
