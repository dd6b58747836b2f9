"""How is a share of the power given by a heater that is only on or off, or that cannot burn low?

Heat asked for and not yet given is carried in a small account (s of full power). The relay closes when the account has
grown by an eighth of the window and opens when it is overdrawn by as much: on and off together last at least one window
at half power and longer elsewhere, the mean over any stretch is exact, and a change is answered at once.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from controller.core.nouns import Demand
from controller.quick_records import maker

BAND_SHARE = 0.125  # of the window: half the account's band. A relay with band +-h has the cycle 2h/d + 2h/(1-d),
# shortest at d = 0.5 with 8h (arithmetic)
FULL, NOTHING = 0.999, 0.001  # shares taken for all and nothing
LEAST_BURNER_WINDOW_S = 20.0  # below its minimum fire a burner goes on and off no faster than this (own proposal)


class Switching(NamedTuple):
    """How may this heater be switched?"""

    duty_cap: float = 1.0
    window_s: float = 0.0  # relay window; 0 = proportional
    min_on_s: float = 0.0
    min_off_s: float = 0.0
    min_fire: float = 0.0  # smallest share a burner can modulate to; 0 = none


class OnOffState(NamedTuple):
    """What the relay does, for how long, and what is owed."""

    on: bool = False
    since_s: float = 1e9  # in this position, s
    owed_s: float = 0.0  # heat asked for and not given, s of full power
    cycles: int = 0  # times switched on since the process began: contactors wear by this


START = OnOffState()
_position_of = maker(OnOffState)


def modulate(limits: Switching, demand: Demand, state: OnOffState, dt: float) -> tuple[OnOffState, float]:
    """Which duty goes out, 0..1? 0 or 1 for a relay, 0 or at least the minimum fire for a burner. `dt` in s.

    A demand of 0 opens a relay at once, minimum on-time or not. What is not a number gives 0.
    """
    asked = demand.duty
    if not isfinite(asked) or not isfinite(dt) or dt < 0.0 or asked <= 0.0:
        return _off(state, dt), 0.0
    asked = min(asked, limits.duty_cap, 1.0)
    if limits.window_s > 0.0:
        return _switched(limits, asked, 1.0, limits.window_s, state, dt)
    if limits.min_fire > 0.0:
        window_s = max(limits.min_on_s + limits.min_off_s, LEAST_BURNER_WINDOW_S)
        return _switched(limits, asked, max(limits.min_fire, asked), window_s, state, dt)
    return _position_of(on=True, since_s=0.0, owed_s=0.0, cycles=state.cycles), asked


def _off(state: OnOffState, dt: float) -> OnOffState:
    since = state.since_s + dt if not state.on and isfinite(dt) and dt > 0.0 else 0.0
    return _position_of(on=False, since_s=since, owed_s=0.0, cycles=state.cycles)


def _switched(
    limits: Switching, asked: float, high: float, window_s: float, state: OnOffState, dt: float
) -> tuple[OnOffState, float]:
    """One step of the account, and the relay's or burner's position after it."""
    gives = high if state.on else 0.0
    most = max(window_s, dt)
    owed = min(max(state.owed_s + (asked - gives) * dt, -most), most)
    since = state.since_s + dt
    on = _position(limits, asked / high, state.on, since, owed / (BAND_SHARE * window_s))
    if on != state.on:
        since = 0.0
    return _position_of(
        on=on, since_s=since, owed_s=owed, cycles=state.cycles + (on and not state.on)
    ), high if on else 0.0


def _position(limits: Switching, share: float, on: bool, since_s: float, owed_bands: float) -> bool:
    """On or off? Minimum times first, then the account."""
    if on:
        return share >= FULL or since_s < limits.min_on_s or owed_bands > -1.0
    if share <= NOTHING or since_s < limits.min_off_s:
        return False
    return share >= FULL or owed_bands >= 1.0
