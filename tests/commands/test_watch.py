"""Does `watch` leave its connection tidily, whatever ends it?"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator

from controller.commands import watch
from controller.commands.shared.all_tuns import Heard, Status


def test_a_watch_that_ends_has_closed_what_it_heard_from() -> None:
    """Ended with --until-end in the middle of the statuses, it closes their source itself, before it is over."""
    closed: list[bool] = []

    async def coming() -> AsyncGenerator[tuple[Status, Heard], None]:
        heard = Heard(["gannet"])
        try:
            for state in ("running", "complete", "idle"):
                status: Status = {"tun": "gannet", "state": state}
                yield status, heard
        finally:
            await asyncio.sleep(0)
            closed.append(True)

    async def ended() -> tuple[int, list[bool]]:
        return await watch._watch(coming(), as_json=True, until_end=True), list(closed)

    assert asyncio.run(ended()) == (0, [True])
