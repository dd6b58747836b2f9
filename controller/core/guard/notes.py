"""What is worth knowing, takes no heat away, and belongs to no interlock? And when is it said?"""

from __future__ import annotations

from controller.core.guard import node_notes
from controller.core.guard.interlock import Finding, Note
from controller.core.guard.requalify import lacks
from controller.core.guard.senses import Senses
from controller.core.guard.state import GuardState, Noted
from controller.core.nouns import Event, Instant, Phase, RunState

OVER_NOTE_K = 2.0  # over target: said, for heat destroys beta-amylase in minutes (own proposal)
REPEAT_S = 60.0  # the same words at most once a minute
WAITS_S = 30.0  # restarting takes some 10 s; after so long it is said what heat waits for (own proposal)
OPEN_S = 1800.0  # an addition has stood open for so long: heat and three watches wait for it (own proposal)
ARRIVALS = 9  # so many believed readings show how far apart they come


def follow(state: GuardState, senses: Senses, findings: list[Finding], events: list[Event]) -> GuardState:
    """What is noted now? Said when it begins, at most once a minute."""
    noted, known = node_notes.remembered(_remembered(state.noted, senses), senses), state.known
    state = state if noted is state.noted else state._replace(noted=noted)
    now = _now(state, senses)
    if findings:
        now += _gaps(state, senses, findings)
    for interlock in state.interlocks:
        now += interlock.notes(senses, known)
    notes = tuple(now)
    if notes == noted.now:
        return state
    had, said = {note.key for note in noted.now}, dict(noted.said)
    for note in notes:
        if note.key not in had and senses.now - said.get(note.key, -REPEAT_S) >= REPEAT_S:
            said[note.key] = senses.now
            events.append(Event("note", note.key, note.text, priority=note.priority))
    return state._replace(noted=noted._replace(now=notes, said=tuple(said.items())))


def cold(state: GuardState, now: Instant, wanted: bool, why: str) -> GuardState:
    """Since when has the program wanted heat that does not leave, and why not?"""
    noted = state.noted
    if not wanted:
        return state if noted.cold_since is None else state._replace(noted=noted._replace(cold_since=None, cold_why=""))
    since = now if noted.cold_since is None else noted.cold_since
    return state._replace(noted=noted._replace(cold_since=since, cold_why=why))


def _remembered(noted: Noted, senses: Senses) -> Noted:
    """Since when has an addition stood open, and, for a start, when did the last few believed readings arrive?"""
    seen, adding = senses.mash.seen, senses.run.phase is Phase.ADDING
    if adding != (noted.adding_since is not None):
        noted = noted._replace(adding_since=senses.now if adding else None)
    if not senses.heated and seen.fresh and seen.at is not None:
        noted = noted._replace(believed_at=(*noted.believed_at[1 - ARRIVALS :], seen.at))
    return noted


def _gaps(state: GuardState, senses: Senses, findings: list[Finding]) -> list[Note]:
    """What has cut the heat and is no trip yet?"""
    tripped = {trip.id for trip in state.trips}
    cuts = (f for f in findings if f.gap_s is not None and f.row.id not in tripped)
    return [Note(finding.row.id, finding.words) for finding in cuts] if senses.heated else []


def _now(state: GuardState, senses: Senses) -> list[Note]:
    found = _machine(senses)
    found += node_notes.found(state.noted, senses)
    found += _waiting(state, senses)
    if not senses.heated:
        return found
    found += state.link_gaps.notes(senses.now)
    limits, age_s = senses.tun.guard, senses.mash.seen.age_s
    if limits.reading_late_s < age_s <= limits.reading_gone_s:
        found.append(Note("late", f"No new mash temperature for over {limits.reading_late_s:g} s."))
    over_k = _over_k(senses)
    if over_k > OVER_NOTE_K and senses.run.target.heat == "hold":
        over = f"The mash is {over_k:.0f} K over its target and the rest clock stands still."
        found.append(Note("over", f"{over} Stir with the lid open, or add cold liquor."))
    return found


def _machine(senses: Senses) -> list[Note]:
    """What is odd about clock, sleep and the messages that arrive?"""
    own, limits, found = senses.own, senses.tun.guard, []
    if not (abs(own.wall_set_s) <= limits.clock_odd_s):
        was_set = f"The wall clock was set by {own.wall_set_s:+.0f} s (limit {limits.clock_odd_s:g} s)."
        found.append(Note("clock", f"{was_set} Rest times are not affected. Nothing to do, if you set the clock."))
    if own.gap_s > limits.clock_odd_s:
        found.append(Note("clock", "The machine slept; every reading so far counts as stale."))
    if own.link.flooding:
        flood = f"More than {limits.flood_per_s:g} messages a second arrive on {own.link.flooding}."
        found.append(Note("flood", flood))
    return found


def _waiting(state: GuardState, senses: Senses) -> list[Note]:
    """What is waited for, by heat or by an addition?"""
    evidence, since, found = state.evidence, state.noted.adding_since, []
    cold_s = 0.0 if state.noted.cold_since is None else senses.now - state.noted.cold_since
    if cold_s >= WAITS_S and not state.trips:
        found.append(Note("cold", f"The program wants heat, and none leaves: {state.noted.cold_why}.", 2))
    waits = not evidence.qualified and senses.run.state in (RunState.RESTARTING, RunState.HELD)
    if waits and senses.now - max(evidence.from_at, evidence.off_until) > WAITS_S and (what := lacks(state, senses)):
        key = "waits" if senses.run.state is RunState.RESTARTING else "held"  # after `restart` it is said anew
        found.append(Note(key, f"Heat still waits for {what}."))
    if since is not None and senses.now - since >= OPEN_S and senses.heated and senses.blocked:
        stood = f"The addition has stood open for {(senses.now - since) / 60:.0f} min (limit {OPEN_S / 60:g} min)."
        stays = "Until it is over heat stays off, and a broken or stuck heater is not looked for (G09, G10, G12)."
        found.append(Note("adding", f"{stood} {stays} Answer the question, or `stop`.", 2))
    return found


def _over_k(senses: Senses) -> float:
    """By how much is the mash over the plateau, K?"""
    target_c, value_c = senses.run.target.target_c, senses.mash.seen.value_c
    return 0.0 if target_c is None or value_c is None else value_c - target_c
