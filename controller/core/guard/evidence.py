"""What is known of the mash, and is it good enough for heat?"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.nouns import Instant
from controller.quick_records import quick


@quick
class Evidence(NamedTuple):
    """Is what is known good enough for heat, and since when does it count?"""

    off_until: Instant = 0.0  # no heat before
    qualified: bool = False
    from_at: Instant = 0.0  # readings count from here
    quiet_c: float | None = None  # the mash at the last tick on good evidence, trips apart: no heat after that
    quiet_at: Instant = 0.0
    quiet_own_k: float = 0.0  # of it the heater's, at the probe behind it: gone with the heat
    now_c: float | None = None  # in a hold: what is read ...
    span_c: tuple[float, float] | None = None  # ... and between what a mash may be by now; None: anything
    gaps: tuple[tuple[str, Instant], ...] = ()  # link gaps since heat was last allowed: which, since when
    in_gap: bool = False  # what was lost was lost in a gap alone: three readings after it will do
    new: int = 0  # believed readings since what was lost
    new_at: Instant = 0.0  # the first of them

    def anew(self, now: Instant) -> Evidence:
        """Lost, and no reading so far counts any more."""
        return self._replace(qualified=False, from_at=now, in_gap=False, new=0)
