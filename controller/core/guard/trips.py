"""Which interlock has taken the heat away, and when is it given back?

A finding becomes a trip, the first of an incident is marked. Latched ones need a person's clear, which never leads to
heat; the others end once their cause is gone and the evidence is good.
"""

from __future__ import annotations

from controller.core.guard.interlock import Finding, Interlock
from controller.core.guard.registry import BY_ID
from controller.core.guard.senses import Senses
from controller.core.guard.state import GuardState
from controller.core.nouns import Event, Instant, Order, Reply, RunState, Trip

LATCH_AFTER_S = 900.0  # a self-clearing trip that lasts so long waits for a person; a link's is the program's to ask


def follow(state: GuardState, senses: Senses, findings: list[Finding], events: list[Event]) -> GuardState:
    """New findings become trips; the first of an incident is marked."""
    if not findings and not state.trips:
        return state
    state = _no_gap_any_more(state, findings)
    active = {trip.id for trip in state.trips}
    due = (f for f in findings if not f.cut_only and f.row.id not in active and _lasted(state, senses, f))
    fresh = sorted(due, key=lambda f: f.row.priority)
    for finding in fresh:
        state = _trip(state, senses, finding, events)
    state = _worse(state, findings, events)
    gone = dict(state.gone)
    present = {f.row.id for f in findings}
    now_gone = tuple((t.id, gone.get(t.id, senses.now)) for t in state.trips if t.id not in present)
    state = _long_lasting(state, senses, events)
    return state._replace(gone=now_gone) if now_gone != state.gone else state


def _no_gap_any_more(state: GuardState, findings: list[Finding]) -> GuardState:
    """A silence that turns out to be a fault (a switch that speaks again, and says no) trips as what it is."""
    told = {f.row.id for f in findings if f.gap_s is None and not f.cut_only}
    trips = tuple(trip for trip in state.trips if not (trip.link and trip.id in told))
    return state if len(trips) == len(state.trips) else state._replace(trips=trips)


def _lasted(state: GuardState, senses: Senses, finding: Finding) -> bool:
    """Is it a trip by now? A gap of a link is one only once it has lasted, and what was silent while our own line was
    down has been silent since it came up: nobody could be heard before."""
    if finding.gap_s is None:
        return True
    since, link = dict(state.evidence.gaps).get(finding.row.id, senses.now), senses.own.link
    return senses.now - (max(since, link.since) if link.up else since) >= finding.gap_s


def _trip(state: GuardState, senses: Senses, finding: Finding, events: list[Event]) -> GuardState:
    row, seen = finding.row, senses.mash.seen
    trip = Trip(
        id=row.id,
        at=senses.now,
        text=finding.words,
        value=finding.value,
        limit=finding.limit,
        unit=finding.unit or row.unit,
        priority=row.priority,
        latched=finding.latches,
        first_out=not state.trips,
        link=finding.gap_s is not None,
    )
    events.append(_event(trip))
    if state.evidence.quiet_c is None:
        read_c = seen.value_c if seen.value_c is not None else seen.raw_c
        state = state._replace(evidence=state.evidence._replace(quiet_c=read_c, quiet_at=senses.now))
    if not trip.link:
        state = state.shut_until(senses.now + senses.tun.guard.requalify_off_s, senses.now)
    lost = state.lost or _of(state, trip.id).TAKES_THE_TUN
    state = state._replace(trips=(*state.trips, trip), need_durable=True, lost=lost)
    asked = [interlock.tripped(trip, senses) for interlock in state.interlocks]
    state = state._replace(interlocks=tuple(interlock for interlock, _ in asked))
    for _, more in asked:
        state = state if more is None else _trip(state, senses, more, events)
    return state


def _of(state: GuardState, name: str) -> Interlock:
    """The interlock of a trip; one that finds nothing for the gate's own."""
    return next((interlock for interlock in state.interlocks if interlock.ROW.id == name), Interlock())


def _worse(state: GuardState, findings: list[Finding], events: list[Event]) -> GuardState:
    """A trip that would have ended by itself waits for a person once its cause has become one that does."""
    worse = {f.row.id: f for f in findings if f.latched and not f.cut_only}
    risen = [t for t in state.trips if not t.latched and t.id in worse]
    if not risen:
        return state
    trips = list(state.trips)
    for trip in risen:
        finding = worse[trip.id]
        told = finding.words
        trips[trips.index(trip)] = trip._replace(text=told, value=finding.value, limit=finding.limit, latched=True)
        text = f"{told} It now waits for a person"
        events.append(
            Event("latched", trip.id, text, finding.value, finding.limit, trip.unit, False, True, trip.priority)
        )
    return state._replace(trips=tuple(trips), need_durable=True)


def _event(trip: Trip) -> Event:
    return Event(
        "trip",
        trip.id,
        trip.text,
        trip.value,
        trip.limit,
        trip.unit,
        trip.first_out,
        trip.latched,
        trip.priority,
        trip.link,
    )


def _long_lasting(state: GuardState, senses: Senses, events: list[Event]) -> GuardState:
    """A self-clearing trip that has lasted a quarter of an hour waits for a person."""
    old = [t for t in state.trips if not (t.latched or t.link) and senses.now - t.at > LATCH_AFTER_S]
    if not old:
        return state
    text = "lasted over 15 min; it now waits for a person"
    events.extend(Event("latched", t.id, f"{t.id} {text}", latched=True, priority=2) for t in old)
    trips = tuple(t._replace(latched=True) if t in old else t for t in state.trips)
    return state._replace(trips=trips, need_durable=True)


# ---------------------------------------------------------------- giving heat back


def give_back(state: GuardState, senses: Senses, events: list[Event]) -> GuardState:
    """Self-clearing trips end once their cause is gone, heat was off for a minute and the evidence is good."""
    if not state.trips:
        return state
    gone, evidence = dict(state.gone), state.evidence
    waits = senses.now < evidence.off_until or not (evidence.qualified or senses.blocked)
    kept: list[Trip] = []
    for trip in state.trips:
        if trip.latched or trip.id not in gone or waits:
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
    state = state._replace(
        trips=tuple(t for t in state.trips if t.id != name),
        need_durable=True,
        evidence=state.evidence.anew(now),
        hand_for=name if _of(state, name).ASKS_HAND else state.hand_for,
        heat=state.heat.on_trial() if _of(state, name).ON_TRIAL else state.heat,
        interlocks=tuple(i.cleared() if i.ROW.id == name else i for i in state.interlocks),
    )
    said = f"{name} cleared by {order.by}; heat stays off until `restart`"
    event = Event("cleared", name, said, latched=False, data={"by": order.by, **_reason(order)})
    return state, Reply(order.id, True, said, run_state, "clear"), event


def _reason(order: Order) -> dict[str, str]:
    """Why it was cleared, where somebody said so."""
    reason = order.args.get("reason")
    return {"reason": reason} if isinstance(reason, str) else {}


def _why_not_clear(state: GuardState, order: Order, name: str, now: Instant, off_s: float) -> str | None:
    trip = next((t for t in state.trips if t.id == name), None)
    active = ", ".join(t.id for t in state.trips)
    if trip is None:
        named = f"{name} is not active" if name else "no trip is named"
        return f"{named}; active: {active}" if active else "no trip is active"
    if state.lost:
        return "another controller owns this tun; stop one of the two and start this service anew"
    interlock = _of(state, name)
    if name not in dict(state.gone):
        return f"{name}: its cause is still there. {trip.text}{interlock.LATE}"
    if now - trip.at < off_s:
        return f"{name}: {now - trip.at:.0f} s ago; look first, clear after {off_s:g} s"
    owed = interlock.why_not_clear(order.args.get(interlock.OWES))
    return f"{name}: {owed}" if owed else None
