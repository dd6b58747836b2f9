"""May this heat leave the house?

The last room before the heater, with its own senses and limits, and it starts shut. `check` is the only maker of a
heater command with power. It replaces a demand it does not trust with OFF; it never drops the command, since a heater
keeps its last state. What is watched is in `watch_mash`, `watch_plant` and `physics`; what becomes of it in `trips`.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from controller.core.guard import causes, trips, watch_mash, watch_plant
from controller.core.guard import history as physics
from controller.core.guard import notes as guard_notes
from controller.core.guard import requalify as evidence
from controller.core.guard.registry import BY_ID, HEATED, Finding, Memory, Senses
from controller.core.guard.state import NO_RUN as NO_RUN
from controller.core.guard.state import GuardState as GuardState
from controller.core.guard.trips import clear as clear
from controller.core.nouns import (
    _GUARD_SEAL,
    Demand,
    Event,
    HeaterCommand,
    Instant,
    Reply,
    RunState,
    Trip,
    View,
)

QUICK = (
    watch_mash.hot,
    watch_mash.above,
    watch_mash.reading,
    watch_mash.probes,
    watch_mash.outlet,
    watch_mash.outlet_over_mash,
    watch_plant.switches,
    watch_plant.heater_answers,
    watch_plant.heater_obeys,
    watch_plant.heater_fault,
    watch_plant.heater_draws,
    watch_plant.broker,
    watch_plant.beat,
    watch_plant.owner,
    watch_plant.duration,
)
SENT_KEPT = 31  # as many commands before the newest are remembered: longer ago is too long ago for any limit
EVIDENCE_S = 12.0  # no lease outlives its reading by more than this


class Gate(NamedTuple):
    """What comes out of the guard."""

    state: GuardState
    command: HeaterCommand | None  # None: another controller owns the tun; silence
    events: tuple[Event, ...]
    replies: tuple[Reply, ...] = ()


def begin(
    now: Instant,
    epoch: int,
    start_lock_s: float,
    trips: tuple[Trip, ...] = (),
    off_until: Instant = 0.0,
    incidents: tuple[Instant, ...] = (),
) -> GuardState:
    """The guard of a process that has just started: shut, with trips, time off and incidents of the one before."""
    return GuardState(
        started_at=now,
        epoch=epoch,
        off_until=max(off_until, now + start_lock_s),
        qualify_from=now,
        trips=trips,
        incidents=incidents,
        quiet_at=now,
        memory=Memory(off_since=now, above_armed=False),
    )


def check(state: GuardState, senses: Senses, demand: Demand, calibrated: bool, disk_durable: int) -> Gate:
    """One tick: watch everything, then let out as much of the demand as all conditions allow."""
    events: list[Event] = []
    state = _epoch(state, senses)
    if state.epoch != senses.epoch or state.longer_s:
        senses = senses._replace(epoch=state.epoch, run_s=senses.run_s - state.longer_s)
    state = _interruptions(state, senses)
    state, findings = _watch(state, senses, calibrated, demand)
    state = _between_runs(state, senses)
    state = trips.follow(state, senses, findings, events)
    state = guard_notes.follow(state, senses, events)
    state = evidence.qualify(state, senses)
    state = trips.give_back(state, senses, findings, events)
    duty, reason = _allowed(state, senses, findings, demand, disk_durable)
    return _command(state, senses, duty, reason, events)


def settle(state: GuardState, disk_ok: bool, disk_written: int) -> GuardState:
    """Up to which record must the disk have come before any heat? Asked before a tick decides anything new: by now
    the record of the last tick's decision has been handed over."""
    if not state.need_durable or not disk_ok:
        return state
    return state._replace(need_durable=False, durable_need=disk_written)


def _epoch(state: GuardState, senses: Senses) -> GuardState:
    """While checking, take a number above every owner heard of; afterwards a higher one means we have lost."""
    if senses.state is RunState.CHECKING and senses.epoch_seen >= state.epoch:
        return state._replace(epoch=senses.epoch_seen + 1)
    return state


def _interruptions(state: GuardState, senses: Senses) -> GuardState:
    """A new connection or a machine that slept: every reading so far is stale, heat waits."""
    slept = senses.gap_s > senses.tun.guard.clock_odd_s
    link = senses.link
    returned = link.up and (not state.link_up or link.since != state.link_since)
    if slept or returned:
        until = max(state.off_until, senses.now + senses.tun.guard.start_lock_s)
        past = physics.forget(state.past)
        state = state._replace(off_until=until, qualified=False, qualify_from=senses.now, past=past)
    known = (state.link_up, state.link_since) == (link.up, link.since)
    return state if known else state._replace(link_up=link.up, link_since=link.since)


# ---------------------------------------------------------------- watching


def _watch(state: GuardState, senses: Senses, calibrated: bool, demand: Demand) -> tuple[GuardState, list[Finding]]:
    """Every interlock, in every state; each says for itself where it keeps quiet."""
    findings: list[Finding] = []
    memory = state.memory
    for rule in QUICK:
        memory, finding = rule(senses, memory)
        if finding is not None and all(finding.id != other.id for other in findings):
            findings.append(finding)
    if state.duty > 0.0:
        memory = memory._replace(heat_on_s=memory.heat_on_s + senses.dt)
    past, finding = physics.judge(physics.record(state.past, senses, state.duty), senses, calibrated)
    if finding is not None:
        findings.append(finding)
    if not (isfinite(demand.duty) and 0.0 <= demand.duty <= 1.0):
        findings.append(Finding("G26", demand.duty if isfinite(demand.duty) else -1.0, 1.0))
    if state.trips and senses.state not in HEATED:
        known = {finding.id for finding in findings}
        findings += [f for f in causes.still_there(state.trips, senses, memory, past) if f.id not in known]
    return state._replace(memory=memory, past=past), findings


def _between_runs(state: GuardState, senses: Senses) -> GuardState:
    """What belongs to one run begins anew with the next: what G23 counts and what a person gave on top of it, what G25
    has judged, the heat by which rises are judged, and what G06 has seen of the program."""
    if senses.state not in NO_RUN:
        return state
    past, memory = state.past, state.memory
    if past.fitted or past.heat_since is not None:
        past = physics.forget(past)._replace(fitted=())
    if memory.heat_on_s > 0.0 or memory.highest_c is not None or not memory.above_armed:
        memory = memory._replace(heat_on_s=0.0, highest_c=None, above_armed=True)
    if past is state.past and memory is state.memory and not state.longer_s:
        return state
    return state._replace(past=past, memory=memory, longer_s=0.0)


# ---------------------------------------------------------------- the gate


def _allowed(
    state: GuardState, senses: Senses, findings: list[Finding], demand: Demand, disk_durable: int
) -> tuple[float, str]:
    """How much may leave? Every reason to say no stands here, in one place."""
    why = shut(state, senses, disk_durable)
    if why:
        return 0.0, why
    if findings:
        return 0.0, f"{findings[0].id} {BY_ID[findings[0].id].name}"
    if senses.target.heat != "hold":
        return 0.0, f"heat is {senses.target.heat} in {senses.phase}"
    if not (isfinite(demand.duty) and 0.0 <= demand.duty <= 1.0):
        return 0.0, "demand was no number"
    duty = min(demand.duty, senses.tun.heater.duty_cap)
    if senses.seen.age_s > senses.tun.guard.reading_late_s:
        duty = min(duty, state.duty)
    return duty, demand.reason


def shut(state: GuardState, senses: Senses, disk_durable: int) -> str:
    """Why no heat at all may leave now; empty when it may."""
    if state.lost:
        return "another controller owns this tun"
    if state.trips:
        return f"{state.trips[0].id} {BY_ID[state.trips[0].id].name}"
    if senses.state not in HEATED:
        return str(senses.state)
    if senses.now < state.off_until:
        return f"heat stays off for another {state.off_until - senses.now:.0f} s"
    if not state.qualified:
        return "waiting for good readings and an answering heater"
    if not (senses.seen.age_s <= senses.tun.guard.reading_gone_s) or senses.seen.value_c is None:
        return "no fresh reading"
    if state.need_durable or disk_durable < state.durable_need:
        return "the record of the last decision is not on disk yet"
    if not senses.link.up:
        return "broker out of reach"
    return _unmixed(senses)


def _unmixed(senses: Senses) -> str:
    """Heat needs liquid over the heater, and motion where the tun has a stirrer or a pump."""
    tun = senses.tun
    if tun.level is not None and (senses.level is None or not senses.level.ok):
        return "no liquid at the heater"
    flow_bad = senses.flow is None or not senses.flow.ok or senses.now - senses.flow.at > tun.guard.switch_gone_s
    if tun.flow is not None and flow_bad:
        return "flow is not proven"
    return "" if senses.stirred else "stirrer or pump is not running"


def _command(state: GuardState, senses: Senses, duty: float, reason: str, events: list[Event]) -> Gate:
    """The only place where a heater command with power is made."""
    if state.lost and senses.epoch_seen > state.epoch:
        return Gate(state._replace(duty=0.0), None, tuple(events))
    seq, age = state.seq + 1, senses.seen.age_s
    lease = senses.tun.heater.lease_s
    valid = lease if duty <= 0.0 else max(0.0, min(lease, EVIDENCE_S - age))
    quoted = age if isfinite(age) else None
    command = HeaterCommand(state.epoch, seq, duty, valid, reason, senses.seen.seq, quoted, seal=_GUARD_SEAL)
    memory = state.memory
    if duty > 0.0:
        memory = memory if memory.off_seq < 0 else memory._replace(off_seq=-1, contradict_since=None)
    elif state.duty > 0.0 or memory.off_seq < 0:
        memory = memory._replace(off_seq=seq, off_since=senses.now, contradict_since=None)
    memory = memory._replace(sent=(*memory.sent[-SENT_KEPT:], (seq, senses.now)))
    quiet_c, quiet_at = evidence.last_good(state, senses)
    state = state._replace(seq=seq, duty=duty, memory=memory, quiet_c=quiet_c, quiet_at=quiet_at)
    return Gate(state=state, command=command, events=tuple(events), replies=())


def view(state: GuardState, senses_now: Instant, heater_silent_s: float, flow_ok: bool) -> View:
    """What the other rooms may know."""
    memory, trips, lost, left_s = state.memory, state.trips, state.lost, state.off_until - senses_now
    acked = memory.acked_at is not None and senses_now - memory.acked_at <= heater_silent_s
    off = acked and memory.acked_duty is not None and memory.acked_duty <= 0.0
    waits = "" if senses_now >= state.off_until else f"at least {left_s:.0f} s more without heat"
    ready = state.qualified and not waits and not trips and not lost
    latched = any(t.latched for t in trips) if trips else False
    return View(trips=trips, latched=latched, lost=lost, ready=ready, heater_off=off, flow_ok=flow_ok, waits_for=waits)
