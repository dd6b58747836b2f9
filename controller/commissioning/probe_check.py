"""Does a probe node keep the rules of config/wiring.md, section 5? By what the broker shows, and with a person."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from controller.commissioning.node_bench import Bench, Fits, Heard
from controller.commissioning.node_rules import UNTRIED, Hands, Sheet
from controller.core.nouns import FALSE_VALUES_C, HIGHEST_C, LOWEST_C, Reading
from controller.messages import incoming
from controller.settings.tun import Probe

WATCH_S = 7.0  # long enough for two readings of the slowest node that serves
PACE_S = 3.0  # the contract's
SLACK_S = 0.5  # for the broker and the network
GONE_S = 15.0  # from the plug pulled to silence and `false` (three failures at the slowest pace, own proposal)
WILL_S = 60.0  # one and a half keepalives of 30 s, and the broker's own rounds
BACK_S = 120.0  # a node may boot for so long
AWAY_S = 12.0  # long enough for a backlog to show
MOVED_K = 1.0  # a sensor in the hand moves by so much within HAND_S
HAND_S = 60.0
AWAY = ("last will", "no backlog")
FIRST = "one connection has one last will: the node's first probe speaks for all of them"


class ProbeCheck:
    """One probe of the tun, and its node."""

    def __init__(self, bench: Bench, sheet: Sheet, probe: Probe, hands: Hands, has_will: bool) -> None:
        """`has_will`: is this the node's first probe, of which its last will tells?"""
        self.bench, self.sheet, self.probe, self.hands, self._has_will = bench, sheet, probe, hands, has_will
        self.online = f"{probe.topic}/online"
        self._form = incoming.form(probe.pointer, probe.unit, probe.unit_pointer, probe.seq_pointer, probe.at_pointer)

    async def run(self) -> None:
        """What the broker shows; then what a person must do."""
        await self._watch()
        if not self._readings(0):
            return
        await self._hand()
        await self._unplugged()
        await self._away()

    def _reading(self, heard: Heard) -> Reading | None:
        """The reading in a message, if there is one."""
        sample = incoming.reading(self._form, heard.payload, heard.at, 0.0)
        return sample if isinstance(sample, Reading) else None

    def _live(self, since: int) -> list[Heard]:
        return [one for one in self.bench.on(self.probe.topic, since) if not one.retained]

    def _readings(self, since: int) -> list[Reading]:
        return [found for one in self._live(since) if (found := self._reading(one)) is not None]

    async def _watch(self) -> None:
        """Pace, form, numbers, nothing retained."""
        mark = len(self.bench.heard)
        await self.bench.pause(WATCH_S)
        live, judge = self._live(mark), self.sheet.judge
        if not judge("readings", bool(live), f"{len(live)} in {WATCH_S:g} s", f"nothing came in {WATCH_S:g} s"):
            return
        bad = [one for one in live if self._reading(one) is None]
        why = incoming.reading(self._form, bad[0].payload, 0.0, 0.0) if bad else ""
        judge("readable", not bad, "", f"{bad[0].payload[:60]!r}: {getattr(why, 'why', '')}" if bad else "")
        times = [mark_s.at for mark_s in live]
        gap = max((b - a for a, b in pairwise(times)), default=WATCH_S)
        judge("pace", gap <= PACE_S + SLACK_S, f"at most {gap:.1f} s apart")
        self._numbers(self._readings(mark))
        kept = await self.bench.kept(self.probe.topic)
        judge("kept", kept is None, "", f"the broker keeps {kept[:60]!r}" if kept else "")
        await self._presence()

    def _numbers(self, found: Sequence[Reading]) -> None:
        """Rising sequence where there is one, and values that can be."""
        seqs = [reading.seq for reading in found if reading.seq is not None]
        if seqs:
            still = next((b for a, b in pairwise(seqs) if b <= a), None)
            self.sheet.judge("new", still is None, f"up to {seqs[-1]}", f"{still} does not rise")
        else:
            self.sheet.untried("its readings carry no number", "new")
        odd = [r.value_c for r in found if r.value_c in FALSE_VALUES_C or not (LOWEST_C <= r.value_c <= HIGHEST_C)]
        self.sheet.judge("possible", not odd, f"{found[-1].value_c:g} °C" if found else "", f"{odd[:1]}")

    async def _presence(self) -> None:
        """What does the broker keep on the online topic?"""
        kept = await self.bench.kept(self.online)
        if kept is None and not self._has_will:
            self.sheet.untried(FIRST, "there")
            return
        said = incoming.online(kept) if kept is not None else None
        self.sheet.judge("there", said is True, "", f"it keeps {kept[:20]!r}" if kept else "nothing is kept there")

    async def _hand(self) -> None:
        """Warm the sensor: is it this one?"""
        before = self._readings(0)[-1].value_c
        mark = len(self.bench.heard)
        if not await self.hands.do("warm", f"Take the sensor of {self.probe.topic} in your hand, or in warm water."):
            self.sheet.untried(UNTRIED, "follows")
            return
        moved = await self.bench.find(
            lambda h: (
                h.topic == self.probe.topic
                and (read := self._reading(h)) is not None
                and abs(read.value_c - before) >= MOVED_K
            ),
            HAND_S,
            mark,
        )
        still = f"less than {MOVED_K:g} K in {HAND_S:g} s"
        self.sheet.judge("follows", moved is not None, f"from {before:.1f} °C by {MOVED_K:g} K", still)

    async def _unplugged(self) -> None:
        """Pull the sensor's plug: silence, and the word for it."""
        if not await self.hands.do("unplug", "Pull the sensor's plug at the node."):
            self.sheet.untried(UNTRIED, "silent", "gone")
            return
        mark = len(self.bench.heard)
        said = await self.bench.find(self._says(False), GONE_S, max(0, mark - 20))
        self.sheet.judge("gone", said is not None, "", f"not said within {GONE_S:g} s")
        after = len(self.bench.heard)
        await self.bench.pause(PACE_S)
        late = self._live(after)
        found = late[0].payload[:60] if late else b""
        self.sheet.judge("silent", not late, f"silent for {PACE_S:g} s", f"still says {found!r}")
        await self.hands.do("plug in", "Plug the sensor in again.")
        back = await self.bench.find(lambda h: h.topic == self.probe.topic, BACK_S, after)
        self.sheet.judge("silent", back is not None, "", f"no reading within {BACK_S:g} s of the plug")

    def _says(self, there: bool) -> Fits:
        return lambda h: h.topic == self.online and incoming.online(h.payload) is there and not h.retained

    async def _away(self) -> None:
        """Cut the node off: the last will; and after it is back, nothing old."""
        if not self._has_will:
            self.sheet.untried(FIRST, *AWAY)
            return
        mark = len(self.bench.heard)
        if not await self.hands.do(
            "cut", "Take the node off the network (its Wi-Fi, or the cable), not off its supply."
        ):
            self.sheet.untried(UNTRIED, *AWAY)
            return
        gone = await self.bench.find(self._says(False), WILL_S, mark)
        self.sheet.judge("last will", gone is not None, "", f"not said within {WILL_S:g} s")
        await self.bench.pause(AWAY_S)
        mark = len(self.bench.heard)
        await self.hands.do("mend", "Put the node back on the network.")
        first = await self.bench.find(lambda h: h.topic == self.probe.topic, BACK_S, mark)
        if (
            not self.sheet.judge("no backlog", first is not None, "", f"no reading within {BACK_S:g} s")
            or first is None
        ):
            return
        await self.bench.pause(PACE_S)
        burst = [one for one in self._live(mark) if one.at - first.at < 0.2]
        self.sheet.judge("no backlog", len(burst) < 3, "", f"{len(burst)} readings came at once")
