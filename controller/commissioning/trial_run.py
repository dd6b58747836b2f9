"""How are trials run on the real service, and how do they end?

Orders are given as anybody gives them, and what the nodes report is waited for. However the trials end, the run and the
service are ended in order, heater off.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
from collections.abc import Callable, Mapping
from typing import Any

from controller.commissioning.proof_record import INTERRUPTED, Trial
from controller.commissioning.tryout_rig import (
    Failed,
    Hands,
    Hushed,
    Look,
    Water,
)
from controller.core.guard.gate import NO_RUN
from controller.core.nouns import Reply, RunState
from controller.core.state import Outcome
from controller.edge.service import Service

OVER = NO_RUN | {RunState.CHECKING}
ENDS_S = 20.0  # from the end of the trials to the end of the run


class TrialRun:
    """Trials on a running service; which they are, a subclass says."""

    def __init__(self, service: Service, look: Look, hushed: Hushed, hands: Hands, by: str) -> None:
        self.service, self.look, self.hushed, self.hands, self.by = service, look, hushed, hands, by
        self.settings = service.settings
        self.trials: list[Trial] = []
        self.water: Water | None = None
        self._asked = asyncio.Event()  # to end before all is tried

    # ------------------------------------------------------------ the whole

    async def run(self, water: Water) -> list[Trial]:
        """Every trial, until one fails or somebody ends it. Run and service are ended afterwards, heater off."""
        self.water = water
        serving = asyncio.create_task(self.service.run())
        trying = asyncio.create_task(self.every_trial())
        asked = asyncio.create_task(self._asked.wait())
        try:
            await asyncio.wait({serving, trying, asked}, return_when=asyncio.FIRST_COMPLETED)
            if trying.done():
                trying.result()
            else:
                self.trials.append(Trial(INTERRUPTED, False, "ended before every trial had run to its end"))
        except Failed:
            pass  # the failed trial stands in the list
        finally:
            asked.cancel()
            await self._leave(serving, trying)
        return self.trials

    def interrupt(self) -> None:
        """Somebody wants it to end: the run is ended in order; asked again, the service is stopped at once."""
        if self._asked.is_set():
            self.service.stop()
        self._asked.set()

    async def _leave(self, serving: asyncio.Task[None], trying: asyncio.Task[None]) -> None:
        """However the trials ended: commands go out again, the limit is the tun's own, no run stays open."""
        trying.cancel()
        await asyncio.wait({trying})
        self.hushed.hush(0.0)
        self.service.settings = self.settings
        ending = asyncio.create_task(self._end_run())
        await asyncio.wait({serving, ending}, return_when=asyncio.FIRST_COMPLETED)
        ending.cancel()
        self.service.stop()
        await serving

    async def _end_run(self) -> None:
        if self.service.state.run.state in OVER:
            return
        with contextlib.suppress(Failed):
            await self._order("abort")
            await self._until(lambda o: o.state.run.state in OVER, ENDS_S)

    # ------------------------------------------------------------ tools

    def _now(self) -> float:
        return self.service.clock.now()

    async def _until(self, true: Callable[[Outcome], bool], within_s: float) -> float | None:
        """How long until this holds, s? None when it does not within that time."""
        began = self._now()
        while self._now() - began <= within_s:
            if true(await self.look.tick()):
                return self._now() - began
        return None

    async def _order(self, name: str, args: Mapping[str, Any] | None = None, trip: str | None = None) -> Reply:
        """Give an order as anybody does, and wait for its answer."""
        key = secrets.token_hex(6)
        said: dict[str, Any] = {"id": key, "order": name, "args": dict(args or {}), "by": self.by, "valid_s": 30.0}
        said |= {"at": self.service.clock.wall_s(), "nonce": self.service.state.orders.nonce}
        said |= {"trip": trip} if trip else {}
        topic = self.service.inbox.topics.order
        self.service.heard(topic, json.dumps(said).encode(), False, None)
        if await self._until(lambda o: key in self.look.replies, 20.0) is None:
            self._fail(name, f"`{name}` was not answered within 20 s")
        return self.look.replies.pop(key)

    async def _must(
        self, trial: str, name: str, args: Mapping[str, Any] | None = None, trip: str | None = None
    ) -> None:
        answer = await self._order(name, args, trip)
        if not answer.accepted:
            self._fail(trial, f"`{name}` was refused: {answer.reason}")

    def _pass(
        self, name: str, text: str, value: float | None = None, limit: float | None = None, unit: str = ""
    ) -> None:
        trial = Trial(name, True, text, None if value is None else round(value, 2), limit, unit)
        self.trials.append(trial)
        self.hands.say("passed", f"passed  {name}: {text}")

    def _fail(
        self, name: str, text: str, value: float | None = None, limit: float | None = None, unit: str = ""
    ) -> None:
        self.trials.append(Trial(name, False, text, None if value is None else round(value, 2), limit, unit))
        self.hands.say("failed", f"FAILED  {name}: {text}")
        raise Failed(name)

    async def every_trial(self) -> None:
        """The trials in their order."""
        raise NotImplementedError
