"""One life of the service in the middle of a mash, with something done to it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.edge.virtual import GANNET, TRIAL, Rig, run, site


def lived(folder: Path, boot: str, what: Callable[[Rig], Any], *, disks: Any = None, kept: Any = None) -> Rig:
    """One life of the service in the middle of a mash; `kept`: what the broker still holds of the life before."""
    rigs: list[Rig] = []

    async def main() -> None:
        rigs.append(Rig(GANNET, site(GANNET, TRIAL, 3), folder, boot, disks=disks))
        rigs[0].broker.retained |= kept or {}
        world, service = (asyncio.create_task(each) for each in (rigs[0].world(), rigs[0].service.run()))
        await what(rigs[0])
        rigs[0].service.stop()
        await service
        world.cancel()

    run(main(), -0.75)
    return rigs[0]


async def heating(bench: Rig) -> None:
    while bench.service.state.guard.line.duty <= 0.0 or bench.service.state.now < 60.0:  # noqa: ASYNC110
        await asyncio.sleep(1.0)
