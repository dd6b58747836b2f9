"""What has a level or flow switch said, and which of its words count?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.core.nouns import Instant, Switch

if TYPE_CHECKING:
    pass

RESTART_WORDS = 3  # so many rising but lower sequence numbers of a switch: it has restarted


class SwitchWords:
    """What has one switch said, and which of its words count?

    A bad word counts whenever it comes, and until the next tick has seen it. `ok` counts with a rising sequence only;
    lower ones are a restarted switch once three have risen and the last word that counted is old enough to be silence.
    """

    __slots__ = ("_bad", "_lower", "_lower_run", "_seq", "_silent_s", "word")

    def __init__(self, silent_s: float) -> None:
        self.word: Switch | None = None
        self._bad: Switch | None = None  # since the last tick
        self._seq: int | None = None
        self._lower, self._lower_run = -1, 0
        self._silent_s = silent_s

    def hear(self, word: Switch, seq: int | None) -> str | None:
        """A word; the reason where it is not taken."""
        if not word.ok:
            self.word = self._bad = word
            if seq is not None and (self._seq is None or seq > self._seq):
                self._seq = seq
            return None
        why = self._old(word.at, seq)
        if why is None:
            self.word, self._lower, self._lower_run = word, -1, 0
            self._seq = seq
        return why

    def _old(self, at: Instant, seq: int | None) -> str | None:
        if self._seq is None or (seq is not None and seq > self._seq):
            return None
        if seq is None:
            return "sequence missing"
        if seq == self._seq:
            return "sequence repeated"
        self._lower_run = self._lower_run + 1 if seq > self._lower else 1
        self._lower = seq
        silent = self.word is None or at - self.word.at > self._silent_s
        return None if self._lower_run >= RESTART_WORDS and silent else "sequence older"

    def take(self) -> Switch | None:
        """The word for this tick."""
        bad, self._bad = self._bad, None
        return bad or self.word
