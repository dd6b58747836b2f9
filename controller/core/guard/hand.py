"""Does a restart want a hand thermometer's word, and is the word that was given one?

A person's word replaces a measurement only if it is one. The panel's figure may be typed back, so one colder than
any mash can be by now is refused, however sure the hand: heat would go on without end. Liquor that was added must be
named, and then, as without any second opinion, the first heat is one pulse. Where its amount and its temperature make
what the probe reads, that is an opinion of its own. Hotter it may well be, by a heater that did not obey.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import NamedTuple

from controller.core.guard import requalify
from controller.core.guard.state import GuardState
from controller.core.nouns import ALONE_K, Instant

HAND_K = 3.0  # the probe and the hand thermometer agree this closely (own proposal)
SAY = 'say what a hand thermometer reads in the mash now: restart hand="62 °C"'
ADDED = 'Liquor was added? restart liquor="4 L" liquor_at="12 °C"'
ELSE = f"{ADDED}. Without either: restart prove=true, and the first heat is one small pulse that the reading must show"
J_PER_L_K = 4190.0  # liquor is water (as controller/brewing/water.py has it)
MOST_ADDED = 0.3  # of the heat capacity there was: more would make any reading one that fits (own proposal)
FELL_K = 3.0  # in three minutes: what was added without a word, or a probe that slipped out (as G09 waits)
LATE = 'is it in already, or has the probe slipped out? Say what a hand thermometer reads: announce hand="58 °C"'
FRESH_S = 10.0  # so new must be what another thermometer says (own proposal)


class Other(NamedTuple):
    """What a second probe, or the heater node's own thermometer, says."""

    value_c: float | None
    at: Instant


def restarted(
    state: GuardState,
    said: Mapping[str, object],
    reading_c: float | None,
    others: tuple[Other, ...],
    now: Instant,
    capacity_j_per_k: float,
) -> tuple[GuardState, str]:
    """After this `restart`, or why it is refused."""
    if "added_l" in said or "added_c" in said:
        wrong = _does_not_mix(state, said, reading_c, capacity_j_per_k)
        return (state, f"not restarted: {wrong}") if wrong else (_believed(state, None, now, on_trial=False), "")
    tried = state.heat.pulse is not None
    hand, added, prove = _figure(said.get("hand_c")), said.get("added") is True, said.get("prove") is True
    why = _wanted(state)
    if hand is None and said.get("hand_c") is not None:
        return state, f"not restarted: `hand` is no temperature; {SAY}"
    if hand is None and not why:
        return state, ""
    agreed = hand is None and _agreed(reading_c, others, now)
    if hand is None and not prove and not agreed:
        offered = ADDED if reading_c is not None and _too_cold(state, reading_c) else ELSE
        return state, f"not restarted: {why}; {SAY}. {offered}"
    if hand is not None and (wrong := _differs(hand, reading_c)):
        return state, f"not restarted: {wrong}"
    at_c, apart_k = (
        (reading_c, 0.0) if hand is None or tried else (hand, HAND_K)
    )  # where a pulse comes, the probe must fit
    cold = not agreed and at_c is not None and _too_cold(state, at_c + apart_k)
    if cold and not added:
        mend = "if cold liquor was added meanwhile, say added=true as well; else `stop`, look, `start`"
        was = f"it was {state.evidence.quiet_c:.1f} °C when last sound"
        return state, f"not restarted: no mash can be at {at_c:.1f} °C by now, {was}; {mend}"
    was_c = state.evidence.quiet_c
    if tried and not agreed and not cold and (was_c is None or at_c is None or at_c <= was_c):
        # one pulse, and until it has shown no word makes the mash colder than it was; hotter it may be
        heat = state.heat.on_trial() if hand is None else state.heat.measured()
        return state._replace(hand_for="", evidence=state.evidence.anew(now), heat=heat), ""
    return _believed(state, hand, now, on_trial=prove or cold), ""


def announced(
    state: GuardState, said: Mapping[str, object], reading_c: float | None, now: Instant
) -> tuple[GuardState, str]:
    """After this `announce`, or why it is refused: where the reading has fallen already, the probe may as well have
    slipped out, and an addition that is said afterwards would hide it."""
    hand, fell_k = _figure(said.get("hand_c")), state.past.fallen_k()
    own_k = ALONE_K if state.plate.behind_heater else 0.0
    if hand is None and fell_k <= FELL_K + own_k:
        return state, ""
    if hand is None:
        return state, f"not announced: the reading has fallen by {fell_k:.1f} K already; {LATE}"
    was_c = fell_k + (reading_c or 0.0)
    wrong = _differs(hand, reading_c)
    if not wrong and hand < was_c / (1.0 + MOST_ADDED) - HAND_K:
        wrong = f"no addition makes {hand:.1f} °C of {was_c:.1f} °C; `hold`, and look at the probe"
    return (state, f"not announced: {wrong}") if wrong else (_believed(state, hand, now, on_trial=False), "")


def _figure(said: object) -> float | None:
    """A finite number."""
    if isinstance(said, bool) or not isinstance(said, int | float) or not isfinite(said):
        return None
    return float(said)


def _probe(reading_c: float | None) -> str:
    return "the probe says nothing" if reading_c is None else f"the probe reads {reading_c:.1f} °C"


def _differs(hand_c: float, reading_c: float | None) -> str:
    """Does the probe say something else than the hand thermometer? Empty: it does not."""
    if reading_c is not None and abs(hand_c - reading_c) <= HAND_K:
        return ""
    return f"by hand {hand_c:.1f} °C, and {_probe(reading_c)}; they must agree to {HAND_K:g} K"


def _does_not_mix(
    state: GuardState, said: Mapping[str, object], reading_c: float | None, capacity_j_per_k: float
) -> str:
    """Is the reading not where a mash may be by now, with so much liquor in it? Empty: it is."""
    litres, liquor_c, span_c = _figure(said.get("added_l")), _figure(said.get("added_c")), state.evidence.span_c
    if litres is None or liquor_c is None or litres <= 0.0:
        return f"how much liquor, and how warm was it? {ADDED}"
    more = litres * J_PER_L_K
    if span_c is None or more > MOST_ADDED * capacity_j_per_k:
        return f"nobody knows what that makes of the mash; {SAY}"
    low_c, high_c = ((capacity_j_per_k * c + more * liquor_c) / (capacity_j_per_k + more) for c in span_c)
    if reading_c is not None and low_c <= reading_c <= high_c:
        return ""
    makes = f"{litres:g} L at {liquor_c:.0f} °C make a mash of {low_c:.1f} to {high_c:.1f} °C"
    return f"{makes}, and {_probe(reading_c)}; stir, wait three minutes, or {SAY}"


def _wanted(state: GuardState) -> str:
    """Why is a hand reading wanted? Empty: it is not."""
    if state.hand_for:
        return f"after {state.hand_for} the probe needs a second opinion"
    evidence = state.evidence
    if evidence.now_c is None or evidence.quiet_c is None or evidence.span_c is None:
        return ""
    low_c, high_c = evidence.span_c
    if low_c <= evidence.now_c <= high_c:
        return ""
    return f"the probe reads {evidence.now_c:.1f} °C, and was {evidence.quiet_c:.1f} °C when last sound"


def _too_cold(state: GuardState, at_c: float) -> bool:
    """Is it colder than a mash can be by now? Hotter it may be: a heater that did not obey, liquor that went in."""
    if state.evidence.quiet_c is None or state.evidence.span_c is None:
        return False
    return at_c < state.evidence.span_c[0]


def _agreed(reading_c: float | None, others: tuple[Other, ...], now: Instant) -> bool:
    """Does another thermometer say the same?"""
    near = (
        one.value_c is not None and reading_c is not None and abs(one.value_c - reading_c) <= HAND_K for one in others
    )
    return any(close and now - one.at <= FRESH_S for close, one in zip(near, others, strict=True))


def _believed(state: GuardState, hand_c: float | None, now: Instant, *, on_trial: bool) -> GuardState:
    """The reading counts from here."""
    state = requalify.measured(state, now, hand_c)
    heat = state.heat.on_trial() if on_trial else state.heat
    return state._replace(hand_for="", heat=heat)
