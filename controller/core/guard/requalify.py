"""Is the evidence good enough for heat?"""

from __future__ import annotations

from controller.core.guard.evidence import Evidence
from controller.core.guard.interlock import Finding
from controller.core.guard.readings import FLOW_SHARE
from controller.core.guard.senses import NO_RUN, NO_TRIP_S, TICK_S, Senses
from controller.core.guard.state import GuardState
from controller.core.nouns import Instant, Phase, RunState

GOOD_READINGS, GOOD_S = 5, 5.0  # re-qualification
GAP_READINGS, GAP_S = 3, 1.8  # after a gap of a link: received after it, so far apart (own proposal)
FALL_K, RISE_K = 3.0, 3.0  # re-qualification: how far the reading may be from what it should be
ADDED = frozenset({Phase.ADDING, Phase.SETTLING})  # in a hold as well: what is added may be in by now


def gaps(state: GuardState, senses: Senses, findings: list[Finding]) -> GuardState:
    """Which gaps of a link are on in this tick? Those that may become trips each have a time of their own."""
    on = [finding for finding in findings if finding.gap_s is not None]
    if not on:
        return _no_gap(state, senses)
    return gap(state, senses.now, *(finding.row.id for finding in on if finding.gap_s != NO_TRIP_S))


def gap(state: GuardState, now: Instant, *which: str) -> GuardState:
    """A gap of a link is on, or just ends: heat is off until evidence is back; what is remembered of the mash stays.
    A gap lasts until heat may leave."""
    evidence = state.evidence
    before = () if evidence.qualified else evidence.gaps
    begun = tuple((name, now) for name in which if name not in dict(before))
    only = evidence.in_gap or evidence.qualified
    return state._replace(evidence=evidence.anew(now)._replace(gaps=before + begun, in_gap=only))


def _no_gap(state: GuardState, senses: Senses) -> GuardState:
    """No gap is on: what is new counts, and once the evidence is good the last gap is over."""
    evidence, seen = state.evidence, senses.mash.seen
    if evidence.qualified and (evidence.gaps or evidence.in_gap):
        evidence = evidence._replace(gaps=(), in_gap=False)
    if not evidence.qualified and seen.fresh and seen.at is not None and seen.at > evidence.from_at:
        evidence = evidence._replace(new=evidence.new + 1, new_at=evidence.new_at if evidence.new else seen.at)
    return state if evidence is state.evidence else state._replace(evidence=evidence)


def qualify(state: GuardState, senses: Senses) -> GuardState:
    """Is the evidence good again: enough believed readings, near where they should be, heater off and rested?"""
    evidence, seen = state.evidence, senses.mash.seen
    if senses.run.state is RunState.HELD:
        evidence = evidence._replace(now_c=seen.value_c, span_c=_span_c(state, senses))
        state = state._replace(evidence=evidence)
    if evidence.qualified:
        fresh = seen.age_s <= senses.tun.guard.reading_gone_s
        fits = senses.heated or seen.value_c is None or _plausible(state, senses, seen.value_c)
        return state if fresh and fits else state._replace(evidence=evidence._replace(qualified=False, new=0))
    if seen.value_c is None or seen.doubtful or not _enough(evidence, senses):
        return state
    if (
        not state.line.rested(senses.now, state.plate.rest_s)
        or not senses.own.link.up
        or not _answers_off(state, senses)
    ):
        return state
    fits = _plausible(state, senses, seen.value_c)
    return state._replace(evidence=evidence._replace(qualified=True)) if fits else state


def _enough(evidence: Evidence, senses: Senses) -> bool:
    """Enough believed readings since: after a gap three that are numbered, else five."""
    seen = senses.mash.seen
    if evidence.in_gap:
        least = GAP_READINGS if seen.seq is not None else GOOD_READINGS
        return seen.at is not None and evidence.new >= least and seen.at - evidence.new_at >= GAP_S
    if seen.good_run < GOOD_READINGS or seen.good_since is None or seen.at is None:
        return False
    since = max(seen.good_since, evidence.from_at)
    return seen.at - since >= GOOD_S - TICK_S and senses.now - evidence.from_at >= GOOD_S


def last_good(state: GuardState, senses: Senses) -> Evidence:
    """Where was the mash, °C, and when, as last read on good evidence?

    Heat leaves on good evidence alone, so there is none after that, and what was added before is in the reading. What
    was read before a trip or a hold stays until heat may come again, and where the first heat is a pulse until that has
    shown. With no run on, nobody knows what is poured in.
    """
    evidence, value_c = state.evidence, senses.mash.seen.value_c
    if senses.run.state in NO_RUN:
        return evidence._replace(quiet_c=None, quiet_at=senses.now)
    heat = senses.heated or senses.run.state is RunState.CHECKING
    if not heat or not evidence.qualified or state.trips or value_c is None or state.heat.pulse is not None:
        return evidence
    own_k = state.heat.own_k / FLOW_SHARE
    return evidence._replace(quiet_c=value_c, quiet_at=senses.now, quiet_own_k=own_k)


def lacks(state: GuardState, senses: Senses) -> str:
    """What is missing for heat, in words for a person, the first of what is? Nothing when it is just time."""
    seen, quiet_c = senses.mash.seen, state.evidence.quiet_c
    if not senses.own.link.up:
        return "the broker"
    if senses.heater.online is False:
        return "the heater node: its presence topic says that it is not there. Start it, or look at its connection"
    if state.line.fault:
        return f"the heater node to be free of its own fault ({state.line.fault}). Look at it, and reset it there"
    if not _answers_off(state, senses):
        return "the heater node's word that it is off. Look at the node and its connection"
    if seen.value_c is None or seen.doubtful or seen.good_run < GOOD_READINGS:
        return f"{GOOD_READINGS} sound readings in a row. Check the probe"
    if not _plausible(state, senses, seen.value_c):
        fits = f"a reading that fits: it says {seen.value_c:.1f} °C, and was {quiet_c:.1f} °C when last sound"
        mend = (
            "if it is right, clear what tripped, `hold`, and say what a hand thermometer reads, or what was added: "
            '`restart hand="62 °C"`, or `restart liquor="4 L" liquor_at="12 °C"`'
        )
        return f"{fits}. Check the probe; {mend}"
    return ""


def measured(state: GuardState, now: Instant, hand_c: float | None = None) -> GuardState:
    """The reading is right, by a hand thermometer, by another probe or on trial: it counts from here."""
    evidence = state.evidence.anew(now)._replace(quiet_c=hand_c, quiet_at=now, quiet_own_k=0.0, span_c=None)
    return state._replace(evidence=evidence, heat=state.heat.measured(), past=state.past.begun_anew())


def _answers_off(state: GuardState, senses: Senses) -> bool:
    within_s = senses.tun.guard.heater_silent_s / 2
    return state.line.says_off(senses.now, within_s) and not state.line.fault and senses.heater.online is not False


def _plausible(state: GuardState, senses: Senses, value_c: float) -> bool:
    """Is the reading where a mash without heat would be by now? Unknown until it has been read on good evidence."""
    span_c = _span_c(state, senses)
    return span_c is None or any(t.latched for t in state.trips) or span_c[0] <= value_c <= span_c[1]


def _span_c(state: GuardState, senses: Senses) -> tuple[float, float] | None:
    """Between which temperatures may a mash without heat be by now, °C? With the heat that is still on its way."""
    quiet_c = state.evidence.quiet_c
    if quiet_c is None or senses.run.phase in ADDED or senses.run.state is RunState.IDLE:
        return None
    elapsed_s = senses.now - state.evidence.quiet_at
    per_s = state.plate.worst_loss_per_s(senses.run.capacity_j_per_k)
    fall_k = FALL_K + per_s * max(0.0, quiet_c - senses.tun.room_c) * elapsed_s
    return quiet_c - fall_k - state.evidence.quiet_own_k, quiet_c + RISE_K + state.heat.owed_k
