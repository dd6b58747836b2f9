"""What if the pump moves less than its plate says?

In a pumped tun the bed stands between the heater and the probe. Less flow makes everything later, and the filter
(kalman.py) cannot tell a late reading from a weak heater: it takes off some of the heating rate, so it counts too
little heat on its way and gives too much. Nothing in one reading tells the two apart in time.

So a second belief runs along, on pumped tuns with grist in and without the probe behind the heater. It takes the flow
for slower, forgets before every long climb how late the tun was, and learns nothing of a warm stream at the probe, for
that looks like lateness, too. Both beliefs read the same readings. The second only holds back: no more heat than would
bring the mash, by its count, to the target and a little over. In a healthy tun it soon finds out that the reading is
early, agrees with the first, and has little say; the later it finds the tun, the stricter it is.

Figures: own bench, tests/regimes/bench/control.py, 77 pumped tuns whose flow falls to 40 %.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.control.belief import Belief, Doubt
from controller.core.control.feedback import tau_s
from controller.core.control.heat_path import Patience
from controller.core.control.observer import observe
from controller.core.control.plant_model import PlantModel
from controller.core.nouns import Measurement, Setpoint, Target

FLOW = 0.55  # of the plate's flow: where the second belief begins (0.5..0.6 alike; 0.4 makes healthy tuns slow)
LAG_SD = 0.6  # its doubt of the lag when a climb begins, relative (0.5..0.8 alike)
CLIMB_K = 5.0  # K still to go at a new plateau: a climb long enough to find the lag out anew (1 K: healthy tuns wait)
HEALTHY_LAG, LATE_LAG = 0.8, 1.2  # of the slow flow's lag: with so much or less the tun is healthy, with so much late
CEILING_OVER_K = 0.12  # K over target, allowed to a healthy tun, none to a late one (0.3: late ones pass 0.7 K over)
SHORT_K = 0.3  # K: a mash so far under its target may be kept from its rest, which begins within 0.5 K
LATE_TAU = 1.5  # closed-loop time in a late tun, over that of a healthy one: so much is added
LATE_BELOW = 2.0  # the same for how far wort leaving the bed lies under the mean: a rise in less flow (arithmetic)


class SlowState(NamedTuple):
    """What is believed in case the pump is slow."""

    key: int = 0  # the plateau that was wanted last
    short_s: float = 0.0  # so long has the mash been short of it with the setpoint there
    second: Belief | None = None


START = SlowState()


def watch(
    model: PlantModel, setpoint: Setpoint | None, target: Target, seen: Measurement, applied: float, before: Belief,
    after: Belief, state: SlowState, dt: float,
) -> tuple[SlowState, float]:  # fmt: skip
    """What would be believed after `dt` s if the pump were slow, and how much duty would that allow? `before`, `after`:
    what is believed otherwise, before this tick and after it."""
    short_s = _short_s(setpoint, target, seen, state, dt)
    if target.heat != "hold" or target.target_c is None:
        return state._replace(short_s=short_s, second=None), 1.0
    second = state.second or before._replace(lag=1.0)
    climbs = before.coming_c is not None and target.target_c - before.coming_c > CLIMB_K
    if climbs and target.key != state.key and second.doubt is not None:
        second = second._replace(doubt=opened(second.doubt), rise_k=0.0)
    own = slowed(model, before, second)
    second = observe(own, target, seen, applied, second, dt)
    tau = calm(second.lag) * tau_s(model, own.rate_k_per_s, after)
    most_c = ceiling_c(target.target_c, second.lag, model.path.patience, short_s / (own.lag_s + own.dead_s))
    return SlowState(key=target.key, short_s=short_s, second=second), _allowed(own, most_c, second, tau)


def _short_s(setpoint: Setpoint | None, target: Target, seen: Measurement, state: SlowState, dt: float) -> float:
    """For how long, in all, has the reading been short of this target with the setpoint there, s?"""
    if setpoint is None or setpoint.slope_k_per_s > 0.0 or target.key != state.key:
        return 0.0
    short = seen.value_c is not None and setpoint.value_c - seen.value_c > SHORT_K
    return state.short_s + dt if short else state.short_s


def _allowed(own: PlantModel, most_c: float, second: Belief, tau: float) -> float:
    """Which duty would bring the mash to the ceiling by the second belief?"""
    if second.reading_c is None or second.coming_c is None:
        return 1.0
    room_k = most_c - second.coming_c
    return (own.loss_k_per_s(second.reading_c, second.extra_k_per_s) + room_k / tau) / own.rate_k_per_s


def late(lag: float) -> float:
    """How sure is it, 0..1, that this tun is late? By the second belief's lag, over the slow flow's."""
    return min(max((lag - HEALTHY_LAG) / (LATE_LAG - HEALTHY_LAG), 0.0), 1.0)


def slowed(first: PlantModel, believed: Belief, second: Belief) -> PlantModel:
    """Which figures does the second belief go by? Those of the first without what that has found, with its own, later
    by what slower flow makes of bed and pipes."""
    waits_s = first.dead_s / believed.lag + (1.0 / FLOW - 1.0) * first.flow_s
    return first._replace(
        power_w=first.power_w / believed.gain * second.gain,
        lag_s=first.lag_s / believed.lag * second.lag,
        dead_s=waits_s * second.lag,
        below_mean_k=first.below_mean_k * (1.0 + LATE_BELOW * late(second.lag)),
        doubts=first.doubts._replace(lag_sd=LAG_SD),
    )


def opened(doubt: Doubt) -> Doubt:
    """What is doubtful when a climb begins? The lag, as if nothing were known of it; of a warm stream, nothing."""
    open_lag = doubt._replace(xd=0.0, ld=0.0, gd=0.0, dd=LAG_SD * LAG_SD, dr=0.0)
    return open_lag._replace(xr=0.0, lr=0.0, gr=0.0, rr=0.0)


def ceiling_c(target_c: float, lag: float, patience: Patience, short: float = 0.0) -> float:
    """Up to where may heat on its way bring the mash, °C? `short`: so long the mash has been short of its target with
    the setpoint there, in times that heat takes to show. What has not come by then is not on its way: the ceiling gives
    way, slowly."""
    return target_c + CEILING_OVER_K * (1.0 - late(lag)) + patience.gives_k * max(0.0, short - patience.times)


def calm(lag: float) -> float:
    """By how much is the loop slower in a late tun?"""
    return 1.0 + LATE_TAU * late(lag)
