"""What does the guard remember from tick to tick?"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.guard import history as physics
from controller.core.guard.registry import Memory
from controller.core.nouns import Instant, RunState, Trip

S = RunState
NO_RUN = frozenset({S.IDLE, S.STOPPED, S.ABORTED, S.COMPLETE})  # a process that is checking may resume a run


class GuardState(NamedTuple):
    """What the guard remembers. A fresh one is shut: it opens by evidence only."""

    started_at: Instant = 0.0
    trips: tuple[Trip, ...] = ()
    gone: tuple[tuple[str, Instant], ...] = ()  # trips whose cause is absent, since when
    off_until: Instant = 0.0
    qualified: bool = False
    qualify_from: Instant = 0.0  # readings count from here
    quiet_c: float | None = None  # the mash at the last tick on good evidence, trips apart: no heat after that
    quiet_at: Instant = 0.0
    incidents: tuple[Instant, ...] = ()  # self-clearing ones
    epoch: int = 1
    seq: int = 0
    duty: float = 0.0  # last let out
    lost: bool = False
    link_up: bool = False
    link_since: Instant = 0.0  # of that connection
    need_durable: bool = False  # something was decided that must reach the disk before any heat
    durable_need: int = 0
    notes: tuple[tuple[str, str], ...] = ()
    said: tuple[tuple[str, Instant], ...] = ()
    longer_s: float = 0.0  # time that a person gave this run beyond its limit (G23)
    memory: Memory = Memory()
    past: physics.Past = physics.Past()
