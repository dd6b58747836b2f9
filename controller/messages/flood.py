"""Do too many messages come on a topic, and for how long?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.core.nouns import Instant

if TYPE_CHECKING:
    pass

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
