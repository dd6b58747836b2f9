"""What does one tick leave for the next, and what does it say?"""

from __future__ import annotations

from typing import NamedTuple

from controller.core import probe
from controller.core.control import loop, on_off, trajectory
from controller.core.guard import kept
from controller.core.guard.state import GuardState
from controller.core.heater_command import HeaterCommand
from controller.core.nouns import (
    Demand,
    Event,
    HeaterReport,
    Instant,
    Measurement,
    Motor,
    Reply,
    RunState,
    Setpoint,
    Switch,
    Target,
    View,
)
from controller.core.procedure import resume
from controller.core.procedure.orders import envelope
from controller.core.procedure.run import Run
from controller.quick_records import quick
from controller.settings.service import Settings


@quick
class State(NamedTuple):
    """Everything that one tick leaves for the next."""

    now: Instant
    boot: str  # a random word of this process
    run: Run
    guard: GuardState
    orders: envelope.OrderBook
    mash: probe.ProbeState = probe.START
    second: probe.ProbeState = probe.START
    outlet: probe.ProbeState = probe.START
    trajectory: trajectory.TrajectoryState = trajectory.START
    loop: loop.LoopState = loop.START
    on_off: on_off.OnOffState = on_off.START
    heater: HeaterReport | None = None  # newest ever
    level: Switch | None = None
    flow: Switch | None = None
    pump_on_s: float = 0.0
    stir_on_s: float = 0.0
    proof_days: float | None = None
    pending: resume.Pending | None = None  # an open run found at the start, to be decided on


class Outcome(NamedTuple):
    """What one tick says."""

    state: State
    command: HeaterCommand | None  # None: another controller owns the tun; silence on the heater's line
    stirrer: Motor
    pump: Motor
    events: tuple[Event, ...]
    replies: tuple[Reply, ...]
    seen: Measurement
    second: Measurement | None
    outlet: Measurement | None
    target: Target
    setpoint: Setpoint | None
    demand: Demand
    view: View  # what the rooms knew of the guard in this tick
    meanwhile: str = ""  # what a mash without heat does, in words for a person


def start(
    settings: Settings,
    now: Instant,
    boot: str,
    known: kept.Kept = kept.NOTHING,
    pending: resume.Pending | None = None,
    proof_days: float | None = None,
) -> State:
    """The state of a process that has just started: checking, shut, knowing what the journal told it."""
    return State(
        now=now,
        boot=boot,
        run=Run(state=RunState.CHECKING, state_since=now),
        guard=kept.recalled(settings.tun, known, now, settings.learned is not None),
        orders=envelope.renew(envelope.OrderBook(), boot, now),
        proof_days=proof_days,
        pending=pending,
    )
