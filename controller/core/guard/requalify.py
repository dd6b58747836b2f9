"""Is the evidence good enough for heat?"""

from __future__ import annotations

from controller.core.guard import history as physics
from controller.core.guard.registry import HEATED, Senses
from controller.core.guard.state import NO_RUN, GuardState
from controller.core.nouns import Instant, Phase, RunState

GOOD_READINGS, GOOD_S = 5, 5.0  # re-qualification
FALL_K, RISE_K = 3.0, 3.0  # re-qualification: how far the reading may be from what it should be
ADDED = frozenset({Phase.ADDING, Phase.SETTLING})  # in a hold as well: what is added may be in by now


def qualify(state: GuardState, senses: Senses) -> GuardState:
    """Is the evidence good again: five believed readings over five seconds, near where they should be, heater off?"""
    seen = senses.seen
    if state.qualified:
        fresh = seen.age_s <= senses.tun.guard.reading_gone_s
        fits = senses.state in HEATED or seen.value_c is None or _plausible(state, senses, seen.value_c)
        return state if fresh and fits else state._replace(qualified=False)
    if seen.good_run < GOOD_READINGS or seen.good_since is None or seen.at is None or seen.value_c is None:
        return state
    since = max(seen.good_since, state.qualify_from)
    if seen.at - since < GOOD_S - 1.0 or seen.doubtful or senses.now - state.qualify_from < GOOD_S:
        return state
    if not senses.link.up or not _answers_off(state, senses) or not _plausible(state, senses, seen.value_c):
        return state
    return state._replace(qualified=True)


def last_good(state: GuardState, senses: Senses) -> tuple[float | None, Instant]:
    """Where was the mash, °C, and when, as last read on good evidence?

    Heat leaves on good evidence alone, so there is none after that, and what was added before is in the reading. What
    was read before a trip or a hold stays until heat may come again. With no run on, nobody knows what is poured in.
    """
    if senses.state in NO_RUN:
        return None, senses.now
    heat = senses.state in HEATED or senses.state is RunState.CHECKING
    if not heat or not state.qualified or state.trips or senses.seen.value_c is None:
        return state.quiet_c, state.quiet_at
    return senses.seen.value_c, senses.now


def lacks(state: GuardState, senses: Senses) -> str:
    """What is missing for heat, in words for a person, the first of what is? Nothing when it is just time."""
    value_c = senses.seen.value_c
    if not senses.link.up:
        return "the broker"
    if senses.heater_online is False:
        return "the heater node: its presence topic says that it is not there. Start it, or look at its connection"
    if state.memory.fault:
        return f"the heater node to be free of its own fault ({state.memory.fault}). Look at it, and reset it there"
    if not _answers_off(state, senses):
        return "the heater node's word that it is off. Look at the node and its connection"
    if value_c is None or senses.seen.doubtful or senses.seen.good_run < GOOD_READINGS:
        return f"{GOOD_READINGS} sound readings in a row. Check the probe"
    if not _plausible(state, senses, value_c):
        fits = f"a reading that fits: it says {value_c:.1f} °C, and was {state.quiet_c:.1f} °C when last sound"
        mend = "if it is right, as measured by hand, clear what tripped, `hold`, `restart measured=true`"
        return f"{fits}. Check the probe; {mend}"
    return ""


def measured(state: GuardState, now: Instant) -> GuardState:
    """A person says that the reading is right, liquor added meanwhile or not: it counts from here."""
    return state._replace(quiet_c=None, qualified=False, qualify_from=now)


def _answers_off(state: GuardState, senses: Senses) -> bool:
    memory = state.memory
    fresh = memory.acked_at is not None and senses.now - memory.acked_at <= senses.tun.guard.heater_silent_s / 2
    off = memory.acked_duty is not None and memory.acked_duty <= 0.0 and not memory.fault
    return fresh and off and senses.heater_online is not False


def _plausible(state: GuardState, senses: Senses, value_c: float) -> bool:
    """Is the reading where a mash without heat would be by now? Unknown until it has been read on good evidence."""
    if state.quiet_c is None or senses.phase in ADDED or senses.state is RunState.IDLE:
        return True
    elapsed = senses.now - state.quiet_at
    fall = FALL_K + physics.LOSS_PER_S * max(0.0, state.quiet_c - senses.tun.room_c) * elapsed
    latched = any(t.latched for t in state.trips)
    return latched or state.quiet_c - fall <= value_c <= state.quiet_c + RISE_K
