"""Does a heater node keep the rules that need a person beside it?

The supply's switch, its own thermometer and contacts. While it is off, traps are laid on its topic: a command that the
broker keeps, and one that would wait for it. Whatever happens, no trap stays.
"""

from __future__ import annotations

import json
from typing import NamedTuple

from controller.commissioning.heater_line import HeaterLine
from controller.commissioning.node_rules import UNTRIED, Hands
from controller.core.nouns import FaultCode, HeaterReport
from controller.field.lease import REPORT_S
from controller.messages import incoming

WILL_S = 60.0  # one and a half keepalives of 30 s, and the broker's own rounds
BACK_S = 120.0  # a node may boot for so long
STILL_S = 6.0  # after its first word it stays off for so long, at least three reports
TRAPS = {"retained": 5, "waiting": 4}  # epochs above the newest: whatever it falls for is seen by its own
POWER = ("last will", "power-up", "new boot", "retained", "waiting")


class Provoked(NamedTuple):
    """A limit of the node's own, how a person provokes it, and what must come of it."""

    rule: str
    do: str
    within_s: float
    code: FaultCode


PROVOKED = (
    Provoked("own limit", "Warm the node's own thermometer to its limit.", 5.0, "own_limit"),
    Provoked("own probe", "Pull the plug of the node's own thermometer.", 12.0, "own_probe_silent"),
    Provoked("no liquid", "Open the level contact at the node.", 3.0, "no_liquid"),
    Provoked("no flow", "Open the flow contact at the node.", 3.0, "no_flow"),
)


class HeaterHands:
    """The rules in their order, with a person."""

    def __init__(self, line: HeaterLine, hands: Hands) -> None:
        self.line, self.bench, self.sheet, self.hands = line, line.bench, line.sheet, hands

    async def run(self) -> None:
        """Own limits under heat, then the supply."""
        for one in PROVOKED:
            if self.sheet.knows(one.rule):
                await self._provoke(one)
        self.sheet.untried("a stuck switch cannot be had by asking", "switch stuck")
        await self._power()

    async def _provoke(self, one: Provoked) -> None:
        """Under heat that is renewed: off, and with its code."""
        mark = len(self.bench.heard)
        async with self.line.renewing():
            if await self.line.report(lambda r: r.duty > 0.0, self.line.rest_s + 2.0 * REPORT_S, mark) is None:
                self.sheet.untried("its output did not go on", one.rule)
                return
            mark = len(self.bench.heard)
            if not await self.hands.do(one.rule, one.do):
                self.sheet.untried(UNTRIED, one.rule)
                return
            off = await self.line.report(lambda r: r.duty <= 0.0 and bool(r.fault), one.within_s, mark)
        self._judge(one, off)
        await self.hands.do(f"back {one.rule}", "Put it back as it was, and press the node's reset if it stays off.")

    def _judge(self, one: Provoked, off: HeaterReport | None) -> None:
        """Off in time, with the code that belongs to it?"""
        kept = off is not None and off.fault_code == one.code
        late = f"still on after {one.within_s:g} s"
        found = late if off is None else f"off, with the code {off.fault_code} in place of {one.code}"
        self.sheet.judge(one.rule, kept, "", found)

    # ------------------------------------------------------------ the supply

    async def _power(self) -> None:
        """Off and on again, with traps laid meanwhile."""
        before, mark = self.line.reports(0)[-1], len(self.bench.heard)
        if not await self.hands.do("power off", "Switch the node's supply off, and leave it off."):
            self.sheet.untried(UNTRIED, *POWER)
            return
        topics = self.bench.topics
        gone = await self.bench.find(
            lambda h: h.topic == topics.heater_online and incoming.online(h.payload) is False and not h.retained,
            WILL_S,
            mark,
        )
        self.sheet.judge("last will", gone is not None, "", f"not said within {WILL_S:g} s")
        try:
            await self.bench.say(topics.heater_command, self._trap("retained"), True)
            mark = await self.bench.say(topics.heater_command, self._trap("waiting"))
            await self._back(before, mark)
        finally:
            await self.bench.say(topics.heater_command, b"", True)
        self.line.epoch += max(TRAPS.values()) + 1

    def _trap(self, name: str) -> bytes:
        """A command that would heat."""
        fields = {"epoch": self.line.epoch + TRAPS[name], "seq": 1_000_000, "at": 0.0, "valid_s": 10.0, "duty": 1.0}
        return json.dumps(fields).encode()

    async def _back(self, before: HeaterReport, mark: int) -> None:
        """Supply on: what does it do, and what has it fallen for?"""
        await self.hands.do("power on", "Switch the node's supply on again.")
        first = await self.line.report(lambda r: True, BACK_S, mark)
        if first is None:
            self.sheet.judge("power-up", False, f"no report within {BACK_S:g} s")
            return
        await self.bench.pause(STILL_S)
        found = self.line.reports(mark)
        self.sheet.judge("new boot", first.boot != before.boot, "", f"`boot` is {first.boot!r} again")
        fallen = {rule: any(r.epoch == self.line.epoch + above for r in found) for rule, above in TRAPS.items()}
        for rule, fell in fallen.items():
            self.sheet.judge(rule, not fell, "", "it obeyed a command from before its power-up")
        on = [r.duty for r in found if r.duty > 0.0]
        self.sheet.judge("power-up", not on or any(fallen.values()), "", f"it reports {on[:1]} uncommanded")
