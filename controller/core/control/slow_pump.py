"""What if the pump moves less than its plate says?

In a pumped tun the bed stands between the heater and the probe. Less flow makes everything later, and the filter
(tracker.py) cannot tell a late reading from a weak heater: it takes off some of the heating rate, so it counts too
little heat on its way and gives too much. Nothing in one reading tells the two apart in time.

So a second belief runs along, on pumped tuns with grist in and without the probe behind the heater. It takes the flow
for slower, forgets before every long climb how late the tun was, and learns nothing of a warm stream at the probe, for
that looks like lateness, too. Both beliefs read the same readings. The second only holds back: no more heat than would
bring the mash, by its count, to the target and a little over. In a healthy tun it soon finds out that the reading is
early, agrees with the first, and has little say; the later it finds the tun, the stricter it is.

Figures: own bench, tests/regimes/bench/control.py, 77 pumped tuns whose flow falls to 40 %.
"""

from __future__ import annotations

from math import inf

from controller.core.control.observer import Doubt
from controller.core.nouns import Figures

FLOW = 0.55  # of the plate's flow: where the second belief begins (0.5..0.6 alike; 0.4 makes healthy tuns slow)
LAG_SD = 0.6  # its doubt of the lag when a climb begins, relative (0.5..0.8 alike)
CLIMB_K = 5.0  # K still to go at a new plateau: a climb long enough to find the lag out anew (1 K: healthy tuns wait)
HEALTHY_LAG, LATE_LAG = 0.8, 1.2  # of the slow flow's lag: with so much or less the tun is healthy, with so much late
OVER_K = 0.12  # K over the target, allowed to a healthy tun, none to a late one (0.3 lets late ones pass 0.7 K over)
SHORT_K = 0.3  # K: a mash so far under its target may be kept from its rest, which begins within 0.5 K
GIVES_WAY = (2.5, 0.25)  # times that heat takes to show, by the second belief: so long the ceiling stands all the same;
# K that it rises in each further one (own trial: a mash of 17 L lay 0.5 K short for hours)
COIL_GIVES_WAY = (
    0.5,
    2.0,
)  # the same for a coil, which is late by itself (own bench: calmer with a second belief, too)
LATE_TAU = 1.5  # closed-loop time in a late tun, over that of a healthy one: so much is added
LATE_BELOW = 2.0  # the same for how far wort leaving the bed lies under the mean: a rise in less flow (arithmetic)


def late(lag: float) -> float:
    """How sure is it, 0..1, that this tun is late? By the second belief's lag, over the slow flow's."""
    return min(max((lag - HEALTHY_LAG) / (LATE_LAG - HEALTHY_LAG), 0.0), 1.0)


def figures(first: Figures, gain: float, lag: float, own_gain: float, own_lag: float) -> Figures:
    """Which figures does the second belief go by? Those of the first with its own `gain` and `lag` taken off, later by
    what slower flow makes of bed and pipes."""
    waits_s = first.dead_s / lag + (1.0 / FLOW - 1.0) * first.loop_s
    return first._replace(
        power_w=first.power_w / gain * own_gain,
        lag_s=first.lag_s / lag * own_lag,
        dead_s=waits_s * own_lag,
        below_mean_k=first.below_mean_k * (1.0 + LATE_BELOW * late(own_lag)),
        lag_sd=LAG_SD,
    )


def opened(doubt: Doubt) -> Doubt:
    """What is doubtful when a climb begins? The lag, as if nothing were known of it; of a warm stream, nothing."""
    open_lag = doubt._replace(xd=0.0, ld=0.0, gd=0.0, dd=LAG_SD * LAG_SD, dr=0.0)
    return open_lag._replace(xr=0.0, lr=0.0, gr=0.0, rr=0.0)


def ceiling_c(target_c: float, lag: float, short: float = 0.0, *, coil: bool = False) -> float:
    """Up to where may heat on its way bring the mash, °C? `short`: so long the mash has been short of its target with
    the setpoint there, in times that heat takes to show. What has not come by then is not on its way: the ceiling gives
    way, slowly."""
    patience, gives_k = COIL_GIVES_WAY if coil else GIVES_WAY
    return target_c + OVER_K * (1.0 - late(lag)) + gives_k * max(0.0, short - patience)


def calm(lag: float) -> float:
    """By how much is the loop slower in a late tun?"""
    return 1.0 + LATE_TAU * late(lag)


def climbs(target_c: float | None, coming_c: float | None) -> bool:
    """Is a new plateau so far above where the mash is coming to that a climb begins?"""
    return (target_c if target_c is not None else -inf) - (coming_c if coming_c is not None else inf) > CLIMB_K
