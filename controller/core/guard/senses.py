"""What does the guard look at in one tick?

Raw samples and plate figures, no other room's opinion but the program's target. Four small records, so that each value
has one place and a name of its own; all are built by keyword, for two readings that change places would pass any check.
"""

from __future__ import annotations

from math import inf
from typing import NamedTuple

from controller.core.nouns import HeaterReport, Instant, Link, Measurement, Phase, RunState, Sample, Switch, Target
from controller.settings.tun import Tun

S = RunState
EVERY = frozenset(S)
HEATED = frozenset({S.RUNNING, S.PAUSING, S.PAUSED})  # heat may flow
NO_RUN = frozenset({S.IDLE, S.STOPPED, S.ABORTED, S.COMPLETE})  # a process that is checking may resume a run
TRIP_S, AWAY_TRIP_S = 10.0, 20.0  # a silence that has cut heat, or a node that is gone, is a trip so long after (own
# proposal): before, it is a gap, and gaps are no news about the mash
NO_TRIP_S = inf  # a gap that is never a trip by itself
TICK_S = 1.0  # a tick comes so often: what must happen within a time happens at the last tick before its end


class Probed(NamedTuple):
    """One probe: every sample since the last tick, for no filter may blind the guard, and what is believed of it."""

    seen: Measurement
    raw: tuple[Sample, ...] = ()
    gone: bool = False  # its presence topic says so, and it was not heard since


class Run(NamedTuple):
    """What the program is about."""

    state: RunState
    phase: Phase
    target: Target
    setpoint_c: float | None
    highest_c: float | None  # highest target that remains
    capacity_j_per_k: float  # of all that is warmed, a coil's own liquor included where the tun file names it
    run_s: float  # run time, waited and held time left out
    planned_s: float


class AtHeater(NamedTuple):
    """What the heater node and the switches around the heater say."""

    report: HeaterReport | None  # newest of this tick
    online: bool | None
    movers: bool | None  # are the nodes of what must move there? None: the heater's node drives it
    level: Switch | None  # newest ever
    flow: Switch | None
    pump_on_s: float  # commanded on for so long
    stirred: bool  # what must move for heat is told to


class Own(NamedTuple):
    """This process: its line to the broker, its clock, its disk, its number among owners."""

    link: Link
    late_s: float
    gap_s: float
    wall_set_s: float  # by how much the wall clock was set since the last tick
    epoch: int
    epoch_seen: int
    disk_ok: bool
    durable_seq: int  # records up to this one are on disk


class Senses(NamedTuple):
    """Everything the guard looks at."""

    tun: Tun
    now: Instant
    dt: float
    run: Run
    mash: Probed
    second: Probed | None  # None: not fitted
    outlet: Probed | None
    heater: AtHeater
    own: Own

    @property
    def heated(self) -> bool:
        """May heat flow in this state?"""
        return self.run.state in HEATED

    @property
    def silence_trip_s(self) -> float:
        """After how long is a silence that has cut heat a trip? While the line is down, it is the line's alone."""
        return TRIP_S if self.own.link.up else NO_TRIP_S

    @property
    def asked_as(self) -> RunState:
        """In which state do the interlocks look? An armed run heats nothing yet, so nothing trips."""
        return RunState.IDLE if self.run.phase is Phase.ARMED and self.heated else self.run.state

    @property
    def blocked(self) -> bool:
        """Is something being added, so that heat is blocked and another level is no wonder?"""
        return self.run.target.heat == "blocked"
