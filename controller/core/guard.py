"""May this heat leave the house?

The last room before the heater, with its own senses and limits, and it starts shut. `check` is the only maker of a
heater command with power. It replaces a demand it does not trust with OFF; it never drops the command, since a heater
keeps its last state. Trips are kept here, first-out marked; latched ones need a person's clear, never leading to heat.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from controller.core import interlocks, physics
from controller.core.interlocks import BY_ID, HEATED, Finding, Senses
from controller.core.model import (
    _GUARD_SEAL,
    Demand,
    Event,
    HeaterCommand,
    Instant,
    Order,
    Reply,
    RunState,
    Trip,
    View,
)

EVIDENCE_S = 12.0  # no lease outlives its reading by more than this
GOOD_READINGS, GOOD_S = 5, 5.0  # re-qualification
LATCH_AFTER_S = 900.0  # a self-clearing trip that lasts so long waits for a person
INCIDENT_WINDOW_S = 1800.0
FALL_K, RISE_K = 3.0, 3.0  # re-qualification: how far the reading may be from what it should be
LONGER_S = 3600.0  # clearing G23 gives the run so much more time (own proposal)
OVER_NOTE_K = 2.0  # over target: said, for heat destroys beta-amylase in minutes (own proposal)
REPEAT_S = 60.0  # the same words at most once a minute


class GuardState(NamedTuple):
    """What the guard remembers. A fresh one is shut: it opens by evidence only."""

    started_at: Instant = 0.0
    trips: tuple[Trip, ...] = ()
    gone: tuple[tuple[str, Instant], ...] = ()  # trips whose cause is absent, since when
    off_until: Instant = 0.0
    qualified: bool = False
    qualify_from: Instant = 0.0  # readings count from here
    quiet_c: float | None = None  # temperature when heat was last cut
    quiet_at: Instant = 0.0
    incidents: tuple[Instant, ...] = ()  # self-clearing ones
    epoch: int = 1
    seq: int = 0
    duty: float = 0.0  # last let out
    lost: bool = False
    link_up: bool = False
    need_durable: bool = False  # something was decided that must reach the disk before any heat
    durable_need: int = 0
    notes: tuple[tuple[str, str], ...] = ()
    said: tuple[tuple[str, Instant], ...] = ()
    longer_s: float = 0.0  # time that a person gave a run beyond its limit (G23)
    memory: interlocks.Memory = interlocks.Memory()
    past: physics.Past = physics.Past()


class Gate(NamedTuple):
    """What comes out of the guard."""

    state: GuardState
    command: HeaterCommand | None  # None: another controller owns the tun; silence
    events: tuple[Event, ...]
    replies: tuple[Reply, ...] = ()


def begin(now: Instant, epoch: int, start_lock_s: float, trips: tuple[Trip, ...] = ()) -> GuardState:
    """The guard of a process that has just started: shut, with the trips that were latched before."""
    return GuardState(
        started_at=now,
        epoch=epoch,
        off_until=now + start_lock_s,
        qualify_from=now,
        trips=trips,
        quiet_at=now,
        memory=interlocks.Memory(off_since=now),
    )


def check(state: GuardState, senses: Senses, demand: Demand, calibrated: bool, disk_durable: int) -> Gate:
    """One tick: watch everything, then let out as much of the demand as all conditions allow."""
    events: list[Event] = []
    state = _epoch(state, senses)
    if state.epoch != senses.epoch or state.longer_s:
        senses = senses._replace(epoch=state.epoch, run_s=senses.run_s - state.longer_s)
    state = _interruptions(state, senses)
    state, findings = _watch(state, senses, calibrated, demand)
    state = _trips(state, senses, findings, events)
    state = _notes(state, senses, events)
    state = _qualify(state, senses)
    state = _give_back(state, senses, findings, events)
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
    returned = senses.link.up and not state.link_up
    if slept or returned:
        until = max(state.off_until, senses.now + senses.tun.guard.start_lock_s)
        past = physics.forget(state.past)
        state = state._replace(off_until=until, qualified=False, qualify_from=senses.now, past=past)
    return state if state.link_up == senses.link.up else state._replace(link_up=senses.link.up)


# ---------------------------------------------------------------- watching


def _watch(state: GuardState, senses: Senses, calibrated: bool, demand: Demand) -> tuple[GuardState, list[Finding]]:
    """Every interlock, in every state; each says for itself where it keeps quiet."""
    findings: list[Finding] = []
    memory = state.memory
    for rule in interlocks.QUICK:
        memory, finding = rule(senses, memory)
        if finding is not None:
            findings.append(finding)
    if state.duty > 0.0:
        memory = memory._replace(heat_on_s=memory.heat_on_s + senses.dt)
    past, finding = physics.judge(physics.record(state.past, senses, state.duty), senses, calibrated)
    if finding is not None:
        findings.append(finding)
    if not (isfinite(demand.duty) and 0.0 <= demand.duty <= 1.0):
        findings.append(Finding("G26", demand.duty if isfinite(demand.duty) else -1.0, 1.0))
    return state._replace(memory=memory, past=past), findings


def _trips(state: GuardState, senses: Senses, findings: list[Finding], events: list[Event]) -> GuardState:
    """New findings become trips; the first of an incident is marked."""
    if not findings and not state.trips:
        return state
    active = {trip.id for trip in state.trips}
    fresh = sorted((f for f in findings if not f.cut_only and f.id not in active), key=lambda f: BY_ID[f.id].priority)
    for finding in fresh:
        state = _trip(state, senses, finding, events)
    gone = dict(state.gone)
    present = {f.id for f in findings}
    now_gone = tuple((t.id, gone.get(t.id, senses.now)) for t in state.trips if t.id not in present)
    state = _long_lasting(state, senses, events)
    return state._replace(gone=now_gone) if now_gone != state.gone else state


def _trip(state: GuardState, senses: Senses, finding: Finding, events: list[Event]) -> GuardState:
    row = BY_ID[finding.id]
    first = not state.trips
    latched = row.clears == "latched" if finding.latched is None else finding.latched
    trip = Trip(
        row.id, senses.now, words(row, finding), finding.value, finding.limit, row.unit, row.priority, latched, first
    )
    events.append(_event(trip))
    heat = senses.state in HEATED
    incidents = tuple(t for t in state.incidents if senses.now - t < INCIDENT_WINDOW_S)
    if first and not latched and heat:
        incidents = (*incidents, senses.now)
    state = state._replace(
        trips=(*state.trips, trip),
        off_until=max(state.off_until, senses.now + senses.tun.guard.requalify_off_s),
        qualified=False,
        qualify_from=senses.now,
        quiet_c=senses.seen.value_c if senses.seen.value_c is not None else senses.seen.raw_c,
        quiet_at=senses.now,
        incidents=incidents,
        need_durable=True,
        lost=state.lost or row.id == "G19",
        past=physics.forget(state.past),
    )
    limit = senses.tun.guard.trips_in_window
    if row.id == "G24" or len(incidents) < limit or latched:
        return state
    return _trip(state._replace(incidents=()), senses, Finding("G24", float(len(incidents)), float(limit)), events)


def words(row: interlocks.Interlock, finding: Finding) -> str:
    """The interlock's sentence, with value, limit and what to do."""
    return f"{row.says.format(value=finding.value, limit=finding.limit)} {row.do}"


def _event(trip: Trip) -> Event:
    return Event(
        "trip", trip.id, trip.text, trip.value, trip.limit, trip.unit, trip.first_out, trip.latched, trip.priority
    )


def _long_lasting(state: GuardState, senses: Senses, events: list[Event]) -> GuardState:
    """A self-clearing trip that has lasted a quarter of an hour waits for a person."""
    old = [t for t in state.trips if not t.latched and senses.now - t.at > LATCH_AFTER_S]
    if not old:
        return state
    text = "lasted over 15 min; it now waits for a person"
    events.extend(Event("latched", t.id, f"{t.id} {text}", latched=True, priority=2) for t in old)
    trips = tuple(t._replace(latched=True) if t in old else t for t in state.trips)
    return state._replace(trips=trips, need_durable=True)


# ---------------------------------------------------------------- notes


def _notes(state: GuardState, senses: Senses, events: list[Event]) -> GuardState:
    """What is worth knowing and takes no heat away. Said when it begins, at most once a minute."""
    notes = tuple(_notes_now(state, senses))
    if notes == state.notes:
        return state
    had = {key for key, _ in state.notes}
    said = dict(state.said)
    for key, text in notes:
        if key not in had and senses.now - said.get(key, -REPEAT_S) >= REPEAT_S:
            said[key] = senses.now
            events.append(Event("note", key, text, priority=3))
    return state._replace(notes=notes, said=tuple(said.items()))


def _notes_now(state: GuardState, senses: Senses) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    limits, seen, memory = senses.tun.guard, senses.seen, state.memory
    if senses.state in HEATED and limits.reading_late_s < seen.age_s <= limits.reading_gone_s:
        found.append(("G01", f"No new mash temperature for over {limits.reading_late_s:g} s."))
    if memory.differ_noted_since is not None and senses.now - memory.differ_noted_since >= 120.0:
        found.append(("G05", f"The two mash probes differ by more than {limits.probes_differ_k / 2:g} K."))
    if senses.gap_s > limits.clock_odd_s:
        found.append(("G18", "The machine slept; every reading so far counts as stale."))
    if not senses.disk_ok:
        found.append(("G20", f"{BY_ID['G20'].says} {BY_ID['G20'].do}"))
    if senses.link.flooding:
        found.append(("G22", f"More than {limits.flood_per_s:g} messages a second arrive on {senses.link.flooding}."))
    over = senses.target.target_c is not None and seen.value_c is not None and senses.target.heat == "hold"
    if over and senses.state in HEATED and _over_k(senses) > OVER_NOTE_K:
        found.append(("over", f"The mash is {_over_k(senses):.0f} K over its target and the rest clock stands still. "
                              "Stir with the lid open, or add cold liquor."))  # fmt: skip
    if state.past.idle_alarm:
        found.append(("G10", "The reading rises with the heater off. If no hot liquor is being added, cut the mains."))
    if senses.link.foreign is not None and senses.link.foreign.duty <= 0.0:
        found.append(("G19", "Somebody else sent OFF on the heater topic; it was obeyed."))
    return found


def _over_k(senses: Senses) -> float:
    """By how much is the mash over the plateau, K?"""
    target, value = senses.target.target_c, senses.seen.value_c
    return 0.0 if target is None or value is None else value - target


# ---------------------------------------------------------------- giving heat back


def _qualify(state: GuardState, senses: Senses) -> GuardState:
    """Is the evidence good again: five believed readings over five seconds, near where they should be, heater off?"""
    if state.qualified:
        return state if senses.seen.age_s <= senses.tun.guard.reading_gone_s else state._replace(qualified=False)
    seen = senses.seen
    if seen.good_run < GOOD_READINGS or seen.good_since is None or seen.at is None or seen.value_c is None:
        return state
    since = max(seen.good_since, state.qualify_from)
    if seen.at - since < GOOD_S - 1.0 or seen.doubtful or senses.now - state.qualify_from < GOOD_S:
        return state
    if not senses.link.up or not _answers_off(state, senses) or not _plausible(state, senses, seen.value_c):
        return state
    return state._replace(qualified=True)


def _answers_off(state: GuardState, senses: Senses) -> bool:
    memory = state.memory
    fresh = memory.acked_at is not None and senses.now - memory.acked_at <= senses.tun.guard.heater_silent_s / 2
    return fresh and memory.acked_duty is not None and memory.acked_duty <= 0.0 and senses.heater_online is not False


def _plausible(state: GuardState, senses: Senses, value_c: float) -> bool:
    """Is the reading where a mash without heat would be by now? Unknown until heat has first been cut."""
    if state.quiet_c is None or senses.target.heat == "blocked" or senses.state is RunState.IDLE:
        return True
    elapsed = senses.now - state.quiet_at
    fall = FALL_K + physics.LOSS_PER_S * max(0.0, state.quiet_c - senses.tun.room_c) * elapsed
    latched = any(t.latched for t in state.trips)
    return latched or state.quiet_c - fall <= value_c <= state.quiet_c + RISE_K


def _give_back(state: GuardState, senses: Senses, findings: list[Finding], events: list[Event]) -> GuardState:
    """Self-clearing trips end once their cause is gone, heat was off for a minute and the evidence is good."""
    if not state.trips:
        return state
    gone = dict(state.gone)
    adding = senses.target.heat == "blocked"
    kept: list[Trip] = []
    for trip in state.trips:
        if trip.latched or trip.id not in gone or senses.now < state.off_until or not (state.qualified or adding):
            kept.append(trip)
        else:
            events.append(Event("cleared", trip.id, f"{trip.id} {BY_ID[trip.id].name}: over", latched=False))
    return state if len(kept) == len(state.trips) else state._replace(trips=tuple(kept))


def clear(
    state: GuardState, order: Order, run_state: RunState, now: Instant, off_s: float
) -> tuple[GuardState, Reply, Event | None]:
    """May this latched trip be cleared? Names one trip; refused while its cause is present or heat was just cut."""
    name = order.trip or str(order.args.get("trip", ""))
    why = _why_not_clear(state, order, name, now, off_s)
    if why is not None:
        return state, Reply(order.id, False, why, run_state, "clear"), None
    trips = tuple(t for t in state.trips if t.id != name)
    # a person has looked: what the reading was when heat was cut is no measure any more
    longer = state.longer_s + (LONGER_S if name == "G23" else 0.0)
    state = state._replace(
        trips=trips, need_durable=True, qualify_from=now, qualified=False, quiet_c=None, longer_s=longer
    )
    said = f"{name} cleared by {order.by}; heat stays off until `restart`"
    event = Event("cleared", name, said, latched=False, data={"by": order.by})
    return state, Reply(order.id, True, said, run_state, "clear"), event


def _why_not_clear(state: GuardState, order: Order, name: str, now: Instant, off_s: float) -> str | None:
    trip = next((t for t in state.trips if t.id == name), None)
    active = ", ".join(t.id for t in state.trips) or "none"
    if trip is None:
        return f"no trip {name or '(none named)'} is active; active: {active}"
    if state.lost:
        return "another controller owns this tun; stop one of the two and start this service anew"
    if name not in dict(state.gone):
        return f"{name}: its cause is still there. {trip.text}"
    if now - trip.at < off_s:
        return f"{name}: {now - trip.at:.0f} s ago; look first, clear after {off_s:g} s"
    if name == "G24" and order.args.get("inspected") is not True:
        return "G24: three interruptions; say inspected=true once you have found the cause"
    return None


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
    if senses.state not in (RunState.RUNNING, RunState.PAUSED, RunState.PAUSING):
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
    return Gate(state._replace(seq=seq, duty=duty, memory=memory), command, tuple(events))


def view(state: GuardState, senses_now: Instant, heater_silent_s: float, flow_ok: bool) -> View:
    """What the other rooms may know."""
    memory = state.memory
    acked = memory.acked_at is not None and senses_now - memory.acked_at <= heater_silent_s
    off = acked and memory.acked_duty is not None and memory.acked_duty <= 0.0
    waits = "" if senses_now >= state.off_until else f"at least {state.off_until - senses_now:.0f} s more without heat"
    ready = state.qualified and senses_now >= state.off_until and not state.trips and not state.lost
    return View(state.trips, any(t.latched for t in state.trips), state.lost, ready, off, flow_ok, waits)
