"""Which words of a level or flow switch count, and on which topic do too many messages come for too long?"""

from __future__ import annotations

from controller.core.nouns import Instant, Switch

RESTART_WORDS = 3  # so many rising but lower sequence numbers of a switch: it has restarted
FAR = 1000  # a number so far ahead is a slip, or a long gap: half an hour at a word every 2 s (own proposal)


class SwitchWords:
    """What has one switch said, and which of its words count?

    A bad word counts whenever it comes, and until the next tick has seen it. `ok` counts with a rising sequence only.
    Three rising words count without: lower ones are a restarted switch, once the last word that counted is old enough
    to be silence; far higher ones are believed then too, and one of them alone locks nothing.
    """

    __slots__ = ("_bad", "_other", "_other_run", "_seq", "_silent_s", "word")

    def __init__(self, silent_s: float) -> None:
        self.word: Switch | None = None
        self._bad: Switch | None = None  # since the last tick
        self._seq: int | None = None
        self._other, self._other_run = -1, 0
        self._silent_s = silent_s

    def hear(self, word: Switch, seq: int | None) -> str | None:
        """A word; the reason where it is not taken."""
        if not word.ok:
            before = self.word
            row = before.since if before is not None and not before.ok else word.at
            self.word = self._bad = word._replace(since=row)
            if seq is not None and (self._seq is None or self._seq < seq <= self._seq + FAR):
                self._seq = seq
            return None
        why = self._old(word.at, seq)
        if why is None:
            self.word, self._other, self._other_run = word, -1, 0
            self._seq = seq
        return why

    def _old(self, at: Instant, seq: int | None) -> str | None:
        if self._seq is None or (seq is not None and self._seq < seq <= self._seq + FAR):
            return None
        if seq is None:
            return "sequence missing"
        if seq == self._seq:
            return "sequence repeated"
        self._other_run = self._other_run + 1 if self._other < seq <= self._other + FAR or self._other < 0 else 1
        self._other = seq
        ahead = seq > self._seq
        silent = self.word is None or at - self.word.at > self._silent_s
        enough = self._other_run >= RESTART_WORDS and (ahead or silent)
        return None if enough else "sequence far ahead" if ahead else "sequence older"

    def take(self) -> Switch | None:
        """The word for this tick."""
        bad, self._bad = self._bad, None
        return bad or self.word


FLOOD_S = 10.0  # too many for so long are a note


class Rates:
    """How many messages came on each topic since the last look, and since when is it too many?"""

    __slots__ = ("_most_per_s", "_over_since", "counts")

    def __init__(self, heard: tuple[str, ...], most_per_s: float) -> None:
        self.counts = dict.fromkeys(heard, 0)
        self._most_per_s = most_per_s
        self._over_since: dict[str, Instant] = {}

    def flooding(self, since: Instant, now: Instant) -> str | None:
        """The first topic on which there have been too many for long, if there is one."""
        counts, over = self.counts, self._over_since
        most = self._most_per_s * max(now - since, 0.1)
        self.counts = dict.fromkeys(counts, 0)
        if not over and max(counts.values()) <= most:  # the usual case, said first
            return None
        self._over_since = {topic: over.get(topic, since) for topic, count in counts.items() if count > most}
        return next((topic for topic, first in self._over_since.items() if now - first >= FLOOD_S), None)
