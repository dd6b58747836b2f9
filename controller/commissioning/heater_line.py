"""How does a check command a heater node, and hear what it reports?"""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import NamedTuple

from controller.commissioning.node_bench import Bench, Heard
from controller.commissioning.node_rules import Sheet
from controller.core.nouns import HeaterReport
from controller.field.lease import CONTACTOR_REST_S
from controller.messages import incoming
from controller.settings.tun import Tun

ANSWER_S = 1.0  # the contract's, from the command to the report
SLACK_S = 0.5  # for the broker and the network, both ways
RENEW_S = 2.0  # the daemon's own pace
FullReport = Callable[[HeaterReport], bool]


class Told(NamedTuple):
    """A command that was sent: from where its answer may be heard, and what it was."""

    mark: int
    epoch: int
    seq: int


class HeaterLine:
    """The line to one heater node: epoch, sequence, reports."""

    def __init__(self, bench: Bench, sheet: Sheet, tun: Tun) -> None:
        self.bench, self.sheet = bench, sheet
        self.rest_s = max(CONTACTOR_REST_S if tun.heater.kind in ("contactor", "gas") else 0.0, tun.heater.min_off_s)
        self.shares = tun.heater.kind in ("proportional", "ssr")  # a relay without contacts may give a share as it is
        self.epoch, self.seq = 1, 0

    # ------------------------------------------------------------ hearing

    def read(self, heard: Heard) -> HeaterReport | None:
        """The report in a message; None where it is none."""
        if heard.topic != self.bench.topics.heater_report or heard.retained:
            return None
        found = incoming.report(heard.payload, heard.at)
        return found if isinstance(found, HeaterReport) else None

    def reports(self, since: int) -> list[HeaterReport]:
        """What the node has reported from there on."""
        return [found for one in self.bench.heard[since:] if (found := self.read(one)) is not None]

    async def report(self, fits: FullReport, within_s: float, since: int) -> HeaterReport | None:
        """The first report that fits; None when none comes in that time."""
        heard = await self.bench.find(lambda h: (r := self.read(h)) is not None and fits(r), within_s, since)
        return None if heard is None else self.read(heard)

    # ------------------------------------------------------------ speaking

    async def tell(self, **fields: object) -> int:
        """A payload on the command topic, as JSON."""
        return await self.bench.say(self.bench.topics.heater_command, json.dumps(fields).encode())

    async def heat(self, duty: float = 1.0, valid_s: float = 5.0, **other: float) -> Told:
        """Ask for heat, numbered anew unless another epoch or sequence is given."""
        self.seq += 1
        fields = {"epoch": self.epoch, "seq": self.seq, "at": 0.0, "valid_s": valid_s, "duty": duty} | other
        mark = await self.tell(**fields)
        return Told(mark, int(fields["epoch"]), int(fields["seq"]))

    async def off(self) -> Told:
        """A numbered OFF."""
        return await self.heat(0.0)

    async def bare_off(self) -> int:
        """An OFF that needs nothing."""
        return await self.tell(duty=0)

    # ------------------------------------------------------------ both

    async def answered(self, told: Told) -> HeaterReport | None:
        """The report that answers a command; the rule of answers is judged by the way."""
        sent_s = self.bench.now()
        found = await self.report(
            lambda r: (r.epoch, r.seq) == (told.epoch, told.seq), ANSWER_S + SLACK_S + RENEW_S, told.mark
        )
        took_s = self.bench.now() - sent_s
        late = f"sequence {told.seq} was answered after {took_s:.1f} s" if found else f"{told.seq} was not answered"
        in_time = found is not None and took_s <= ANSWER_S + SLACK_S
        self.sheet.judge("answer", in_time, "", late)
        return found

    async def refused(self, told: Told) -> bool:
        """Was it not obeyed? A numbered OFF afterwards must be the next that is answered, and nothing may be on."""
        await self.bench.pause(SLACK_S)
        marker = await self.off()
        await self.answered(marker)
        return not any(r.duty > 0.0 or (r.epoch, r.seq) == (told.epoch, told.seq) for r in self.reports(told.mark))

    async def heated(self, valid_s: float = 10.0) -> HeaterReport | None:
        """Ask for heat until it is reported, for as long as a contactor may rest. None when it does not come."""
        until = self.bench.now() + self.rest_s + RENEW_S
        while True:
            told = await self.heat(1.0, valid_s)
            on = await self.report(lambda r: r.duty > 0.0, RENEW_S, told.mark)
            if on is not None or self.bench.now() >= until:
                return on

    async def gone_off(self, within_s: float, since: int) -> HeaterReport | None:
        """The first report of no output from there on."""
        return await self.report(lambda r: r.duty <= 0.0, within_s, since)

    @asynccontextmanager
    async def renewing(self) -> AsyncIterator[None]:
        """Heat is asked for again and again, as a daemon does, for as long as the block lasts."""

        async def renew() -> None:
            while True:
                await self.heat(1.0, 10.0)
                await asyncio.sleep(RENEW_S)

        task = asyncio.create_task(renew())
        try:
            yield
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task
            await self.off()
