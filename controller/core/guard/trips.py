"""Which interlock has taken the heat away, and when is it given back?

A finding becomes a trip, the first of an incident is marked. Latched ones need a person's clear, which never leads to
heat; the others end once their cause is gone and the evidence is good.
"""

from __future__ import annotations

from controller.core.guard import history as physics
from controller.core.guard.registry import BY_ID, HEATED, Finding, Interlock, Senses
from controller.core.guard.state import GuardState
from controller.core.nouns import Event, Instant, Order, Reply, RunState, Trip

LATCH_AFTER_S = 900.0  # a self-clearing trip that lasts so long waits for a person
INCIDENT_WINDOW_S = 1800.0
LONGER_S = 3600.0  # clearing G23 gives the run so much more time, and its heater (own proposal)


def follow(state: GuardState, senses: Senses, findings: list[Finding], events: list[Event]) -> GuardState:
    """New findings become trips; the first of an incident is marked."""
    if not findings and not state.trips:
        return state
    active = {trip.id for trip in state.trips}
    fresh = sorted((f for f in findings if not f.cut_only and f.id not in active), key=lambda f: BY_ID[f.id].priority)
    for finding in fresh:
        state = _trip(state, senses, finding, events)
    state = _worse(state, findings, events)
    gone = dict(state.gone)
    present = {f.id for f in findings}
    now_gone = tuple((t.id, gone.get(t.id, senses.now)) for t in state.trips if t.id not in present)
    state = _long_lasting(state, senses, events)
    return state._replace(gone=now_gone) if now_gone != state.gone else state


def _trip(state: GuardState, senses: Senses, finding: Finding, events: list[Event]) -> GuardState:
    row = BY_ID[finding.id]
    first = not state.trips
    latched = row.clears == "latched" if finding.latched is None else finding.latched
    unit = finding.unit or row.unit
    trip = Trip(
        row.id, senses.now, words(row, finding), finding.value, finding.limit, unit, row.priority, latched, first
    )
    events.append(_event(trip))
    heat = senses.state in HEATED
    incidents = tuple(t for t in state.incidents if senses.now - t < INCIDENT_WINDOW_S)
    if first and not latched and heat:
        incidents = (*incidents, senses.now)
    if state.quiet_c is None:
        read_c = senses.seen.value_c if senses.seen.value_c is not None else senses.seen.raw_c
        state = state._replace(quiet_c=read_c, quiet_at=senses.now)
    state = state._replace(
        trips=(*state.trips, trip),
        off_until=max(state.off_until, senses.now + senses.tun.guard.requalify_off_s),
        qualified=False,
        qualify_from=senses.now,
        incidents=incidents,
        need_durable=True,
        lost=state.lost or row.id == "G19",
        past=physics.forget(state.past),
    )
    limit = senses.tun.guard.trips_in_window
    if row.id == "G24" or len(incidents) < limit or latched:
        return state
    return _trip(state._replace(incidents=()), senses, Finding("G24", float(len(incidents)), float(limit)), events)


def _worse(state: GuardState, findings: list[Finding], events: list[Event]) -> GuardState:
    """A trip that would have ended by itself waits for a person once its cause has become one that does."""
    worse = {f.id: f for f in findings if f.latched and not f.cut_only}
    risen = [t for t in state.trips if not t.latched and t.id in worse]
    if not risen:
        return state
    trips = list(state.trips)
    for trip in risen:
        finding = worse[trip.id]
        told = words(BY_ID[trip.id], finding)
        trips[trips.index(trip)] = trip._replace(text=told, value=finding.value, limit=finding.limit, latched=True)
        text = f"{told} It now waits for a person"
        events.append(
            Event("latched", trip.id, text, finding.value, finding.limit, trip.unit, False, True, trip.priority)
        )
    return state._replace(trips=tuple(trips), need_durable=True)


def words(row: Interlock, finding: Finding) -> str:
    """The interlock's sentence, with value, limit and what to do."""
    return f"{(finding.says or row.says).format(value=finding.value, limit=finding.limit)} {row.do}"


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


# ---------------------------------------------------------------- giving heat back


def give_back(state: GuardState, senses: Senses, findings: list[Finding], events: list[Event]) -> GuardState:
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
            events.append(Event("cleared", trip.id, f"{trip.id} ({BY_ID[trip.id].name}) is over", latched=False))
    return state if len(kept) == len(state.trips) else state._replace(trips=tuple(kept))


def clear(
    state: GuardState, order: Order, run_state: RunState, now: Instant, off_s: float
) -> tuple[GuardState, Reply, Event | None]:
    """May this latched trip be cleared? Names one trip; refused while its cause is present or heat was just cut."""
    name = order.trip or str(order.args.get("trip", ""))
    why = _why_not_clear(state, order, name, now, off_s)
    if why is not None:
        return state, Reply(order.id, False, why, run_state, "clear"), None
    latched = any(t.latched for t in state.trips if t.id == name)
    trips = tuple(t for t in state.trips if t.id != name)
    state = state._replace(trips=trips, need_durable=True, qualify_from=now, qualified=False)
    if latched:  # a person has looked: what the reading was when heat was cut is no measure any more
        state = state._replace(quiet_c=None)
    state = _longer(state) if name == "G23" else state
    said = f"{name} cleared by {order.by}; heat stays off until `restart`"
    event = Event("cleared", name, said, latched=False, data={"by": order.by})
    return state, Reply(order.id, True, said, run_state, "clear"), event


def _longer(state: GuardState) -> GuardState:
    """So much more for both that G23 counts: how long the run lasts, and how long its heater is on."""
    memory = state.memory._replace(heat_on_s=max(0.0, state.memory.heat_on_s - LONGER_S))
    return state._replace(longer_s=state.longer_s + LONGER_S, memory=memory)


def _why_not_clear(state: GuardState, order: Order, name: str, now: Instant, off_s: float) -> str | None:
    trip = next((t for t in state.trips if t.id == name), None)
    active = ", ".join(t.id for t in state.trips)
    if trip is None:
        named = f"{name} is not active" if name else "no trip is named"
        return f"{named}; active: {active}" if active else "no trip is active"
    if state.lost:
        return "another controller owns this tun; stop one of the two and start this service anew"
    if name not in dict(state.gone):
        late = f" To be sure that the mash has stopped warming takes {physics.RISE_WINDOW_S:g} s." * (name == "G10")
        return f"{name}: its cause is still there. {trip.text}{late}"
    if now - trip.at < off_s:
        return f"{name}: {now - trip.at:.0f} s ago; look first, clear after {off_s:g} s"
    if name == "G24" and order.args.get("inspected") is not True:
        return "G24: three interruptions; say inspected=true once you have found the cause"
    return None
