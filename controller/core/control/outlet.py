"""How much duty keeps the heater's outlet under its limit?"""

from __future__ import annotations

from math import exp, isfinite
from typing import NamedTuple

from controller.core.nouns import HIGHEST_C, LOWEST_C
from controller.quick_records import maker

OUTLET_S = 30.0  # s, time of the cascade that keeps the heater's outlet under its limit (own proposal)
SOON_S, SMOOTH_S = 20.0, 5.0  # s: so far ahead the outlet is judged, by its slope over so long
OUTLET_MARGIN_K = 1.0  # K under the limit, where the cascade holds the outlet (own proposal)
OUTLET_RISE_K = 10.0  # K at full power between mash and outlet, where no flow is known (own proposal)


class OutletState(NamedTuple):
    """How far the cascade is."""

    cap: float = 1.0  # duty that the limit allows
    smooth_c: float | None = None


START = OutletState()
_cascade = maker(OutletState)


def cascade(
    rise_k: float, state: OutletState, outlet_c: float | None, limit_c: float | None, applied: float, dt: float
) -> OutletState:
    """How much duty does the limit allow? It follows the room left under the limit, judged where the outlet will be
    shortly at its present slope; when that passes the limit it starts from what is given now."""
    if outlet_c is None or limit_c is None or not (LOWEST_C <= outlet_c <= 2.0 * HIGHEST_C) or not isfinite(limit_c):
        return START
    before_c = state.smooth_c if state.smooth_c is not None else outlet_c
    smooth_c = before_c + (1.0 - exp(-dt / SMOOTH_S)) * (outlet_c - before_c)
    soon_c = outlet_c + SOON_S * max(outlet_c - smooth_c, 0.0) / SMOOTH_S
    room_k = limit_c - OUTLET_MARGIN_K - soon_c
    start = min(state.cap, max(applied, 0.05)) if room_k < 0.0 else state.cap
    cap = start + room_k * dt / (OUTLET_S * max(rise_k, OUTLET_RISE_K))
    return _cascade(cap=min(max(cap, 0.0), 1.0), smooth_c=smooth_c)
