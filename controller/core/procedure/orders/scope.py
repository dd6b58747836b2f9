"""What may an order's effect look at, and how does it end?"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.nouns import Event, Instant, Measurement, View
from controller.core.procedure.run import Run

ADJUST_LOW_C = 20.0  # no target below it


class Situation(NamedTuple):
    """What an order's effect may look at."""

    view: View
    seen: Measurement
    now: Instant
    wall_s: float
    ceiling_c: float  # highest target the tun allows
    missing: tuple[str, ...]  # start permissives not met
    wall_confirmed: bool


class Refused(NamedTuple):
    why: str


Done = tuple[Run, str, tuple[Event, ...]]  # run, what was done in words, events
