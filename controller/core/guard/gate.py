"""May this heat leave the house?

The last room before the heater, with its own senses and limits, and it starts shut. `check` is the only maker of a
heater command with power. It replaces a demand it does not trust with OFF; it never drops the command, since a heater
keeps its last state. What is watched stands in interlocks/, one file each; what becomes of it in trips.py.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from controller.core.guard import liquid, notes, plate, requalify, trips
from controller.core.guard.evidence import Evidence
from controller.core.guard.heater_line import HeaterLine
from controller.core.guard.interlock import Finding, Interlock
from controller.core.guard.registry import ALL, BY_ID
from controller.core.guard.senses import HEATED, NO_RUN, Senses
from controller.core.guard.state import GuardState
from controller.core.heater_command import _GUARD_SEAL, HeaterCommand
from controller.core.nouns import Demand, Event, Instant, Reply, RunState, Trip, View
from controller.quick_records import maker
from controller.settings.tun import Tun

EVIDENCE_S = 12.0  # no lease outlives its reading by more than this


class Gate(NamedTuple):
    """What comes out of the guard."""

    state: GuardState
    command: HeaterCommand | None  # None: another controller owns the tun; silence
    events: tuple[Event, ...]
    replies: tuple[Reply, ...] = ()


_gate, _view = maker(Gate), maker(View)


def begin(
    tun: Tun,
    now: Instant,
    epoch: int,
    measured: bool = False,
    standing: tuple[Trip, ...] = (),
    off_until: Instant = 0.0,
    interlocks: tuple[Interlock, ...] = ALL,
) -> GuardState:
    """The guard of a process that has just started: shut, with trips, time off and memory of the one before.

    `measured`: the tun was measured with water.
    """
    off_until = max(off_until, now + tun.guard.start_lock_s)
    return GuardState(
        plate=plate.of(tun, measured),
        started_at=now,
        epoch=epoch,
        evidence=Evidence(off_until=off_until, from_at=now, quiet_at=now),
        trips=standing,
        line=HeaterLine(off_since=now),
        interlocks=interlocks,
    )


def check(state: GuardState, senses: Senses, demand: Demand) -> Gate:
    """One tick: watch everything, then let out as much of the demand as all conditions allow. Raises ValueError for a
    demand that is no share: a bug of ours, after which the process says OFF and ends."""
    if not _a_share(demand):
        raise ValueError(f"a duty of {demand.duty:g} was asked for ({demand.reason})")
    events: list[Event] = []
    lost = state.lost
    state = _epoch(state, senses)
    if state.epoch != senses.own.epoch:
        senses = senses._replace(own=senses.own._replace(epoch=state.epoch))
    state = _interruptions(state, senses)
    state, findings = _watch(state, senses, demand)
    state = _between_runs(state, senses)
    state = requalify.gaps(state, senses, findings)
    state = trips.follow(state, senses, findings, events)
    state = notes.follow(state, senses, findings, events)
    state = requalify.qualify(state, senses)
    state = trips.give_back(state, senses, events)
    gaps = state.link_gaps.follow(senses, demand, state.evidence, state.trips)
    state = state if gaps is state.link_gaps else state._replace(link_gaps=gaps)
    duty, reason = _allowed(state, senses, findings, demand)
    wanted = senses.heated and senses.run.target.heat == "hold" and demand.duty > 0.0
    state = notes.cold(state, senses.now, wanted and duty <= 0.0, reason)
    if lost and senses.own.epoch_seen > state.epoch:  # the tick that lost the tun still says OFF
        return Gate(state=state._replace(line=state.line._replace(duty=0.0)), command=None, events=tuple(events))
    return _command(state, senses, duty, reason, events)


def settle(state: GuardState, disk_ok: bool, disk_written: int) -> GuardState:
    """Up to which record must the disk have come before any heat? Asked before a tick decides anything new: by now
    the record of the last tick's decision has been handed over."""
    if not state.need_durable or not disk_ok:
        return state
    return state._replace(need_durable=False, durable_need=disk_written)


def _epoch(state: GuardState, senses: Senses) -> GuardState:
    """While checking, take a number above every owner heard of; afterwards a higher one means we have lost."""
    if senses.run.state is RunState.CHECKING and senses.own.epoch_seen >= state.epoch:
        return state._replace(epoch=senses.own.epoch_seen + 1)
    return state


def _interruptions(state: GuardState, senses: Senses) -> GuardState:
    """A machine that slept, or a new connection: the end of a gap, seen or not between two ticks."""
    slept = senses.own.gap_s > senses.tun.guard.clock_odd_s
    link = senses.own.link
    returned = link.up and (not state.link_up or link.since != state.link_since)
    if slept or returned:
        state = requalify.gap(state, senses.now)
    known = state.link_up is link.up and state.link_since == link.since
    return state if known else state._replace(link_up=link.up, link_since=link.since)


# ---------------------------------------------------------------- watching


def _watch(state: GuardState, senses: Senses, demand: Demand) -> tuple[GuardState, list[Finding]]:
    """Every interlock in the states that it names; the trips that are on, in every other."""
    state = state._replace(
        line=state.line.heard(senses.heater.report, senses.own.epoch),
        past=state.past.follow(senses, state.line.duty, state.plate),
        heat=state.heat.follow(senses, state.line.duty, state.plate),
    )
    known = state.known
    findings: list[Finding] = []
    after: list[Interlock] = []
    for interlock in state.interlocks:
        if senses.asked_as not in interlock.STATES:
            after.append(interlock.asleep(senses))
            continue
        remembers, finding = interlock.watch(senses, known)
        after.append(remembers)
        if finding is not None:
            findings.append(finding)
    state = state._replace(interlocks=tuple(after))
    if state.trips and not senses.heated:
        found = {finding.row.id for finding in findings}
        findings += [finding for finding in _still_there(state, senses) if finding.row.id not in found]
    return state, findings


def _still_there(state: GuardState, senses: Senses) -> list[Finding]:
    """For the trips that are on, as if the run went on: is the cause still there? A trip must not be cleared, nor end
    by itself, over a cause that anybody could see."""
    running = senses._replace(run=senses.run._replace(state=RunState.RUNNING))
    own = {interlock.ROW.id: interlock for interlock in state.interlocks}
    asked = ((own[trip.id], trip) for trip in state.trips if trip.id in own)
    found = (interlock.still_there(trip, running, state.known) for interlock, trip in asked)
    return [finding for finding in found if finding is not None]


def _between_runs(state: GuardState, senses: Senses) -> GuardState:
    """What belongs to one run begins anew with the next: each interlock says what, and the heat by which rises are
    judged."""
    if senses.run.state not in NO_RUN:
        return state
    past = state.past if state.past.heat_since is None else state.past.begun_anew()
    return state._replace(
        past=past,
        heat=state.heat.next_run(),
        hand_for="",
        interlocks=tuple(interlock.next_run() for interlock in state.interlocks),
    )


# ---------------------------------------------------------------- the gate


def _a_share(demand: Demand) -> bool:
    return isfinite(demand.duty) and 0.0 <= demand.duty <= 1.0


def _allowed(state: GuardState, senses: Senses, findings: list[Finding], demand: Demand) -> tuple[float, str]:
    """How much may leave? Every reason to say no stands here, in one place."""
    if findings and senses.heated and not state.trips and not state.lost:
        return 0.0, f"{findings[0].row.id} {findings[0].row.name}"
    why = shut(state, senses)
    if why:
        return 0.0, why
    if senses.run.target.heat != "hold":
        return 0.0, f"heat is {senses.run.target.heat} in {senses.run.phase}"
    duty = min(demand.duty, senses.tun.heater.duty_cap)
    if senses.mash.seen.age_s > senses.tun.guard.reading_late_s:
        duty = min(duty, state.line.duty)
    return duty, demand.reason


def shut(state: GuardState, senses: Senses) -> str:
    """Why no heat at all may leave now; empty when it may."""
    if state.lost:
        return "another controller owns this tun"
    if state.trips:
        return f"{state.trips[0].id} {BY_ID[state.trips[0].id].name}"
    if senses.run.state not in HEATED:
        return str(senses.run.state)
    if senses.now < state.evidence.off_until:
        return f"heat stays off for another {state.evidence.off_until - senses.now:.0f} s"
    if not state.evidence.qualified:
        return "waiting for good readings and an answering heater"
    seen = senses.mash.seen
    if not (seen.age_s <= senses.tun.guard.reading_gone_s) or seen.value_c is None:
        return "no fresh reading"
    if state.need_durable or senses.own.durable_seq < state.durable_need:
        return "the record of the last decision is not on disk yet"
    if not senses.own.link.up:
        return "broker out of reach"
    return _unmixed(senses)


def _unmixed(senses: Senses) -> str:
    """Heat needs liquid over the heater, and motion where the tun has a stirrer or a pump."""
    if not liquid.wet(senses.tun, senses.heater.level, senses.now):
        return "no liquid at the heater"
    if not liquid.flows(senses.tun, senses.heater.flow, senses.now):
        return "flow is not proven"
    return "" if senses.heater.stirred else "stirrer or pump is not running"


def _command(state: GuardState, senses: Senses, duty: float, reason: str, events: list[Event]) -> Gate:
    """The only place where a heater command with power is made."""
    seen, lease_s = senses.mash.seen, senses.tun.heater.lease_s
    valid_s = lease_s if duty <= 0.0 else max(0.0, min(lease_s, EVIDENCE_S - seen.age_s))
    line = state.line.gave(duty, senses.now, valid_s)
    command = HeaterCommand(
        epoch=state.epoch,
        seq=line.seq,
        duty=duty,
        valid_s=valid_s,
        reason=reason,
        reading_seq=seen.seq,
        reading_age_s=seen.age_s if isfinite(seen.age_s) else None,
        seal=_GUARD_SEAL,
    )
    state = state._replace(line=line, evidence=requalify.last_good(state, senses))
    return _gate(state=state, command=command, events=tuple(events))


def view(state: GuardState, tun: Tun, now: Instant, flow_ok: bool) -> View:
    """What the other rooms may know."""
    evidence, found = state.evidence, state.trips
    left_s = evidence.off_until - now
    waits = "" if left_s <= 0.0 else f"at least {left_s:.0f} s more without heat"
    return _view(
        trips=found,
        latched=bool(found) and any(t.latched for t in found),
        lost=state.lost,
        ready=evidence.qualified and not waits and not found and not state.lost,
        heater_off=state.line.says_off(now, tun.guard.heater_silent_s),
        flow_ok=flow_ok,
        waits_for=waits,
        link_gone=state.link_gaps.ask,
    )
