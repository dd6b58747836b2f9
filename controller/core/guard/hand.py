"""Does a restart want a hand thermometer's word, and is the word that was given one?

A person's word replaces a measurement only if it is one. The panel's figure may be typed back, so one colder than
any mash can be by now is refused, however sure the hand: heat would go on without end. Liquor that was added must be
named, and then, as without any second opinion, the first heat is one pulse. Hotter it may well be, by a heater that did
not obey.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import NamedTuple

from controller.core.guard import requalify
from controller.core.guard.state import GuardState
from controller.core.nouns import Instant

HAND_K = 3.0  # the probe and the hand thermometer agree this closely (own proposal)
SAY = 'say what a hand thermometer reads in the mash now: restart hand="62 °C"'
ELSE = "Without one: restart prove=true, and the first heat is one small pulse that the reading must show"
FRESH_S = 10.0  # so new must be what another thermometer says (own proposal)


class Other(NamedTuple):
    """What a second probe, or the heater node's own thermometer, says."""

    value_c: float | None
    at: Instant


def restarted(
    state: GuardState, said: Mapping[str, object], reading_c: float | None, others: tuple[Other, ...], now: Instant
) -> tuple[GuardState, str]:
    """After this `restart`, or why it is refused."""
    hand, added, prove = said.get("hand_c"), said.get("added") is True, said.get("prove") is True
    why = _wanted(state)
    if hand is None and not why:
        return state, ""
    if hand is None:
        if not prove and not _agreed(reading_c, others, now):
            return state, f"not restarted: {why}; {SAY}. {ELSE}"
        return _believed(state, None, now, on_trial=prove), ""
    if not isinstance(hand, int | float) or isinstance(hand, bool) or not isfinite(hand):
        return state, f"not restarted: `hand` is no temperature; {SAY}"
    if reading_c is None or not (abs(hand - reading_c) <= HAND_K):
        probe = "says nothing" if reading_c is None else f"reads {reading_c:.1f} °C"
        return state, f"not restarted: by hand {hand:.1f} °C, and the probe {probe}; they must agree to {HAND_K:g} K"
    cold = _too_cold(state, float(hand))
    if cold and not added:
        mend = "if cold liquor was added meanwhile, say added=true as well; else `stop`, look, `start`"
        was = f"it was {state.evidence.quiet_c:.1f} °C when last sound"
        return state, f"not restarted: no mash can be at {hand:.1f} °C by now, {was}; {mend}"
    return _believed(state, float(hand), now, on_trial=prove or cold), ""


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


def _too_cold(state: GuardState, hand_c: float) -> bool:
    """Is it colder than a mash can be by now? Hotter it may be: a heater that did not obey, liquor that went in."""
    if state.evidence.quiet_c is None or state.evidence.span_c is None:
        return False
    return hand_c < state.evidence.span_c[0] - HAND_K


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
