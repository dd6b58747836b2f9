"""Does a heater node keep the rules that the broker alone can show?

Config/wiring.md, section 4: reports, answers, OFF, lease, owners, sequences, and what must be
refused.
"""

from __future__ import annotations

from itertools import pairwise

from controller.commissioning.heater_line import ANSWER_S, SLACK_S, HeaterLine
from controller.commissioning.node_refusals import REFUSALS, payload
from controller.core.nouns import HeaterReport
from controller.field.lease import CEILING_S, REPORT_S
from controller.messages import incoming
from controller.messages.strict_json import Refused, document

WATCH_S = 7.0  # three unasked reports
UNASKED_S = REPORT_S + 2.0 * SLACK_S
LEASE_S, EARLY_S = 3.0, 0.5  # the lease that is tried; how much earlier than asked it may end (own proposal)
HALF_S = 5.0  # half a share is looked at for so long, beyond a contactor's rest
SHARE_SLACK = 0.02  # of a proportional output (own proposal)


class HeaterCheck:
    """The rules in their order, on one node."""

    def __init__(self, line: HeaterLine) -> None:
        self.line, self.bench, self.sheet = line, line.bench, line.sheet

    async def run(self) -> bool:
        """Everything that needs nobody. False when the rest cannot be tried: nothing heard, or no heat."""
        if not await self._watch():
            return False
        if not await self._heat():
            return False
        for trial in (self._off, self._lease, self._owners, self._sequence, self._clock, self._share, self._rest):
            await self._cold()
            await trial()
        await self._cold()
        for rule, texts in REFUSALS.items():
            await self._refusals(rule, texts)
        return True

    async def _cold(self) -> None:
        """Off, and so for as long as the output rests."""
        mark = await self.line.bare_off()
        await self.line.gone_off(ANSWER_S + REPORT_S, mark)

    # ------------------------------------------------------------ listening

    async def _watch(self) -> bool:
        """What the node says when nobody asks."""
        mark, began = len(self.bench.heard), self.bench.now()
        await self.bench.pause(WATCH_S)
        said = [one for one in self.bench.on(self.bench.topics.heater_report, mark) if not one.retained]
        judge = self.sheet.judge
        if not judge("reports", bool(said), f"{len(said)} in {WATCH_S:g} s", f"nothing came in {WATCH_S:g} s"):
            return False
        gap = max(b - a for a, b in pairwise([began, *(one.at for one in said), self.bench.now()]))
        judge("unasked", gap <= UNASKED_S, f"at most {gap:.1f} s apart")
        read = [incoming.report(one.payload, one.at) for one in said]
        unread = [why for why in read if not isinstance(why, HeaterReport)]
        if not judge("readable", not unread, "", str(unread[0]) if unread else ""):
            return False
        found = self.line.reports(mark)
        judge("off uncommanded", all(r.duty == 0.0 for r in found), "", f"it reports {max(r.duty for r in found):g}")
        self._counted([document(one.payload) for one in said])
        await self._kept()
        self._words()
        self.line.epoch = max(r.epoch for r in found) + 1
        return True

    def _counted(self, found: list[dict[str, object]]) -> None:
        """Does `n` rise by one? A node may do without: then a late report counts as a lie only after 30 s."""
        counts = [one.get("n") for one in found]
        if not any(counts):
            self.sheet.untried("its reports carry no `n`", "counted")
            return
        whole = [n for n in counts if isinstance(n, int) and not isinstance(n, bool)]
        rises = len(whole) == len(counts) and all(b == a + 1 for a, b in pairwise(whole))
        self.sheet.judge("counted", rises, "", f"found {', '.join(map(str, counts[:3]))}")

    async def _kept(self) -> None:
        """Is a report kept by the broker, and the node's presence?"""
        kept = await self.bench.kept(self.bench.topics.heater_report)
        self.sheet.judge("kept", kept is None, "", f"the broker keeps {kept[:60]!r}" if kept else "")
        word = await self.bench.kept(self.bench.topics.heater_online)
        there = word is not None and incoming.online(word) is True
        self.sheet.judge("there", there, "", f"it keeps {word[:20]!r}" if word else "nothing is kept there")

    def _words(self) -> None:
        """Do level and flow switch speak?"""
        for rule, topic in (("level word", self.bench.topics.level), ("flow word", self.bench.topics.flow)):
            if topic is None or not self.sheet.knows(rule):
                continue
            said = [one for one in self.bench.on(topic) if not one.retained]
            read = [incoming.switch(one.payload, one.at) for one in said]
            bad = [found for found in read if isinstance(found, Refused)]
            few = len(said) < WATCH_S / UNASKED_S
            seqs = [found[1] for found in read if not isinstance(found, Refused)]
            rising = all(a is not None and b is not None and b > a for a, b in pairwise(seqs))
            why = str(bad[0]) if bad else f"{len(said)} in {WATCH_S:g} s" if few else f"sequences {seqs[:3]}"
            self.sheet.judge(rule, not bad and not few and rising, f"{len(said)} in {WATCH_S:g} s", why)

    # ------------------------------------------------------------ commanding

    async def _heat(self) -> bool:
        """Does it heat at all?"""
        on = await self.line.heated()
        latest = self.line.reports(0)[-1]
        why = f"it says: {latest.fault} ({latest.fault_code})" if latest.fault else "its output stays off"
        if self.sheet.judge("heat", on is not None, "", why):
            await self.line.answered(await self.line.heat())
        return on is not None

    async def _off(self) -> None:
        """OFF with nothing, and OFF of a former owner."""
        for rule, fields in (("off", {}), ("off from anybody", {"epoch": self.line.epoch - 1, "seq": 1, "valid_s": 5})):
            if await self.line.heated() is None:
                self.sheet.untried("its output did not go on again", rule)
                continue
            mark = await self.line.tell(duty=0, **fields)
            off = await self.line.gone_off(ANSWER_S + SLACK_S, mark)
            self.sheet.judge(rule, off is not None, "", f"still on {ANSWER_S:g} s later")
            await self.line.off()
            await self.line.gone_off(ANSWER_S + REPORT_S, mark)

    async def _lease(self) -> None:
        """A lease of 3 s, and one of an hour."""
        for rule, asked_s, most_s in (("lease", LEASE_S, LEASE_S), ("ceiling", 3600.0, CEILING_S)):
            if await self.line.heated() is None:
                self.sheet.untried("its output did not go on again", rule)
                continue
            told, began = await self.line.heat(1.0, asked_s), self.bench.now()
            off = await self.line.gone_off(most_s + ANSWER_S + SLACK_S, told.mark)
            took = self.bench.now() - began
            self.sheet.judge(rule, off is not None, f"off after {took:.1f} s", f"still on after {took:.1f} s")
            if rule == "lease" and off is not None:
                self.sheet.judge(rule, took >= LEASE_S - EARLY_S, "", f"off after {took:.1f} s of {LEASE_S:g} s")
            await self._cold()

    async def _owners(self) -> None:
        """A former owner is not obeyed; a new one is, from its first sequence on."""
        await self.line.answered(await self.line.off())
        lower = await self.line.heat(epoch=self.line.epoch - 1)
        self.sheet.judge("epoch", await self.line.refused(lower), "", f"it heats for epoch {lower.epoch}")
        self.line.epoch, self.line.seq = self.line.epoch + 1, 0
        found = await self.line.answered(await self.line.heat())
        self.sheet.judge("takeover", found is not None, "", "sequence 1 of a higher epoch was not taken")

    async def _sequence(self) -> None:
        """The same sequence again, and an older one."""
        for back in (0, 1):
            await self.line.answered(await self.line.off())
            told = await self.line.heat(seq=self.line.seq - back)
            await self.bench.pause(SLACK_S)
            taken = any(r.duty > 0.0 for r in self.line.reports(told.mark))
            await self.line.answered(await self.line.off())
            taken = taken or any(r.duty > 0.0 for r in self.line.reports(told.mark))
            self.sheet.judge("sequence", not taken, "", f"it heats for sequence {told.seq} after {told.seq + back}")

    async def _clock(self) -> None:
        """A stamp long past, and one far ahead."""
        for at in (0.0, 4_000_000_000.0):
            found = await self.line.answered(await self.line.heat(at=at))
            self.sheet.judge("wall clock", found is not None, "", f"a command with `at` {at:g} was not taken")

    async def _share(self) -> None:
        """Half a share: on or off at each moment, or half where the output can be that."""
        await self.line.heated()
        mark, until = len(self.bench.heard), self.bench.now() + self.line.rest_s + HALF_S
        while self.bench.now() < until:
            await self.line.heat(0.5)
            await self.bench.pause(1.0)
        half = [0.5 - SHARE_SLACK, 0.5 + SHARE_SLACK] if self.line.shares else [1.0, 1.0]
        duties = [r.duty for r in self.line.reports(mark)]
        odd = [duty for duty in duties if duty not in (0.0, 1.0) and not (half[0] <= duty <= half[1])]
        self.sheet.judge("present duty", not odd, "", f"it reports {odd[:1]}")

    async def _rest(self) -> None:
        """On again right after OFF: not before the contactor's rest is over."""
        if not self.sheet.knows("rest") or await self.line.heated() is None:
            return
        mark = await self.line.bare_off()
        off = await self.line.gone_off(ANSWER_S + SLACK_S, mark)
        began = self.bench.now()
        on = await self.line.heated()
        took = self.bench.now() - began
        kept = off is not None and on is not None and took >= self.line.rest_s - 2.0 * SLACK_S
        self.sheet.judge("rest", kept, f"on again after {took:.1f} s")

    async def _refusals(self, rule: str, texts: tuple[str, ...]) -> None:
        """Payloads of one kind, then an OFF that must be the next thing obeyed."""
        mark, line = len(self.bench.heard), self.line
        tried: dict[int, str] = {}
        for text in texts:
            line.seq += 1
            tried[line.seq] = text
            await self.bench.say(self.bench.topics.heater_command, payload(text, line.epoch, line.seq))
        await self.bench.pause(SLACK_S)
        await line.answered(await line.off())
        found = line.reports(mark)
        taken = next((tried[r.seq] for r in found if r.seq in tried), None)
        hot = any(r.duty > 0.0 for r in found)
        what = f"it obeyed {taken[:60]}" if taken else "its output went on"
        self.sheet.judge(rule, not hot and taken is None, f"{len(texts)} tried", what)
