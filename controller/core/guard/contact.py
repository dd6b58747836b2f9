"""What has a level or flow switch said so far? Nothing rests on one word, and nothing on a bounce: a float at the brim
dances, a contact chatters."""

from __future__ import annotations

from typing import NamedTuple

from controller.core.nouns import Instant, Switch

CLOSED_S = 3.0  # closed for so long without a break before heat comes back (own proposal)
OPEN_S = 1.0  # two words so far apart that it is open, none between that it is closed: it is (own proposal)
BOUNCED_S, WITHIN_S = 5.0, 60.0  # open for longer than this in so long, bounces counted, is open too (own proposal)
WORD_S = 2.0  # a word that it is open counts for so long at most: where the next is lost, nobody knows (own proposal)


class Contact(NamedTuple):
    """One switch, by its words."""

    heard_at: Instant | None = None  # its newest word that it is open
    open_since: Instant | None = None  # the first of the words in a row that it is open; None: closed
    closed_since: Instant | None = None  # it closed after having been open
    bounces: tuple[tuple[Instant, float], ...] = ()  # when each ended, and how long it was open, s

    def heard(self, word: Switch | None) -> Contact:
        """With its newest word, if there is a new one."""
        if word is None:
            return self
        if word.ok:
            return self._closed(word.at)
        if word.at == self.heard_at and self.open_since is not None:
            return self
        since = word.at if word.since is None else word.since
        if self.open_since is not None and (word.since is None or since <= self.open_since):
            return self._replace(heard_at=word.at)
        return self._closed(since)._replace(heard_at=word.at, open_since=since)

    def _closed(self, at: Instant) -> Contact:
        if self.open_since is None:
            return self
        recent = tuple(bounce for bounce in self.bounces if at - bounce[0] < WITHIN_S)
        bounce = (at, max(0.0, min(at - self.open_since, WORD_S)))
        return self._replace(open_since=None, closed_since=at, bounces=(*recent, bounce))

    def not_asked(self) -> Contact:
        """It may be open now: what it does counts for nothing."""
        if not self.bounces and self.closed_since is None:
            return self
        return self._replace(closed_since=None, bounces=())

    def is_open(self, now: Instant) -> bool:
        """Is it open beyond doubt: by two words, or by many bounces?"""
        row_s = 0.0
        if self.open_since is not None and self.heard_at is not None:
            row_s = self.heard_at - self.open_since
        bounced_s = sum(lasted_s for ended, lasted_s in self.bounces if now - ended < WITHIN_S)
        return row_s >= OPEN_S or row_s + bounced_s > BOUNCED_S

    def settled(self, now: Instant) -> bool:
        """Is it closed, and was it long enough?"""
        return self.open_since is None and (self.closed_since is None or now - self.closed_since >= CLOSED_S)
