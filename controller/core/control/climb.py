"""How long does a rise take on this tun, when does the probe show it, and what limits it?"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from controller.brewing import heat
from controller.core.control.heat_path import HeatPath, heat_path
from controller.settings.tun import Tun

LimitedBy = Literal["limit", "heater", "program", "addition", "cooling", ""]

BAND_K = 0.5  # in band: within this of the target (own proposal, as in the trade's habit of +-0.5 K)
HEATER_LIMITS = 1.005  # the rise takes so much longer than its limit allows: the heater is what limits it


class Climb(NamedTuple):
    """A rise: how long, and what limits it."""

    seconds: float
    limited_by: LimitedBy
    late_s: float = 0.0  # from its arithmetic end until the reading is in band; negative where it is there before

    @property
    def in_band_s(self) -> float:
        """How long until the reading is in band, s?"""
        return self.seconds + self.late_s


def power_w(tun: Tun) -> float:
    """How much heat reaches the mash at the most, W?"""
    path = heat_path(tun)
    return path.power_w * path.switching.duty_cap


def climb(tun: Tun, capacity_j_per_k: float, from_c: float, to_c: float, wanted_k_per_s: float | None) -> Climb:
    """How long does the rise take, within the tun's ceiling, the program's wish and the heater's power?

    The liquor of a coil or jacket is warmed, and cools, with the mash.
    Exact at constant power (brewing formula 12), in two parts where the heater meets the limit only below some
    temperature. Downwards: the time to cool by itself.
    """
    path = heat_path(tun)
    capacity_j_per_k += path.bath_j_per_k
    loss_k_per_s = tun.loss_w_per_k * (to_c - tun.room_c) / capacity_j_per_k
    if to_c <= from_c:
        cooling_s = heat.cooling_time_s(capacity_j_per_k, tun.loss_w_per_k, tun.room_c, from_c, to_c)
        late = _late_s(tun, from_c - to_c, loss_k_per_s, cooling_s)
        return Climb(cooling_s, "cooling" if to_c < from_c else "", late)
    limit = min(tun.climb_k_per_s, wanted_k_per_s or math.inf)
    full_c = min(max(_full_until_c(path), from_c), to_c)
    power = power_w(tun)
    meets_until_c = tun.room_c + (power - capacity_j_per_k * limit) / tun.loss_w_per_k
    bend_c = min(max(meets_until_c, from_c), full_c)
    seconds = (bend_c - from_c) / limit
    seconds += heat.ramp_time_s(capacity_j_per_k, power, tun.loss_w_per_k, tun.room_c, bend_c, full_c)
    seconds += _throttled_s(tun, capacity_j_per_k, limit, full_c, to_c)
    slope = min(limit, power / capacity_j_per_k - loss_k_per_s)
    late = _late_s(tun, to_c - from_c, slope, seconds)
    if seconds > HEATER_LIMITS * (to_c - from_c) / limit:
        return Climb(seconds, "heater", late)
    return Climb(seconds, "limit" if limit == tun.climb_k_per_s else "program", late)


def _late_s(tun: Tun, way_k: float, slope_k_per_s: float, rise_s: float) -> float:
    """As `late_s`; what is in band from the start has no rise to wait for."""
    return late_s(tun, slope_k_per_s, rise_s) if way_k > BAND_K else -rise_s


def late_s(tun: Tun, slope_k_per_s: float, rise_s: float) -> float:
    """How long after the arithmetic end of a rise is its reading in band, s? `slope_k_per_s`: its last.

    The heater works that long; its heat shows a dead time later and behind one lag, by which a steady rise trails.
    Where it trails by no more than the band, it comes into it that much earlier; else what is still missing at the end
    falls exponentially (arithmetic). What a bed still hides the loop reckons in, and a rest begins by that.
    """
    if not (0.0 < rise_s < math.inf and slope_k_per_s > 0.0):
        return 0.0
    path = heat_path(tun)
    missing_k = slope_k_per_s * path.lag_s * -math.expm1(-rise_s / path.lag_s) if path.lag_s > 0.0 else 0.0
    if missing_k > BAND_K:
        return path.dead_s + path.lag_s * math.log(missing_k / BAND_K)
    return max(path.dead_s + (missing_k - BAND_K) / slope_k_per_s, -rise_s)


def _full_until_c(path: HeatPath) -> float:
    """Up to which temperature may the heater give all it has, °C? No end but for a probe behind the heater, which
    must stay under the hard limit."""
    rise_k = path.probe_rise_k(strike=False)
    return math.inf if rise_k <= 0.0 else path.highest_reading_c(strike=False) - rise_k * path.switching.duty_cap


def _throttled_s(tun: Tun, capacity_j_per_k: float, limit: float, from_c: float, to_c: float) -> float:
    """How long does a rise take where the power falls with the room left under the hard limit, s? Power and loss are
    both straight lines over temperature: once below the limit, it comes to its end exponentially (arithmetic)."""
    if to_c <= from_c:
        return 0.0
    end_c, path = throttled_end_c(tun, tun.loss_w_per_k), heat_path(tun)
    if to_c >= end_c:
        return math.inf
    tau_s = capacity_j_per_k / (path.power_w / path.probe_rise_k(strike=False) + tun.loss_w_per_k)
    bend_c = min(max(end_c - limit * tau_s, from_c), to_c)
    return (bend_c - from_c) / limit + tau_s * math.log((end_c - bend_c) / (end_c - to_c))


def throttled_end_c(tun: Tun, loss_w_per_k: float) -> float:
    """Where does a mash end whose heater is held back by the probe behind it, °C? Infinite for any other tun."""
    path = heat_path(tun)
    rise_k = path.probe_rise_k(strike=False)
    if rise_k <= 0.0:
        return math.inf
    steepness = path.power_w / rise_k
    return (steepness * path.highest_reading_c(strike=False) + loss_w_per_k * tun.room_c) / (steepness + loss_w_per_k)
