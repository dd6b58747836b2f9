"""What does the loop believe of this tun now: watts, heat capacity, loss, lag?

Plate figures first; where the tun has been measured with plain water (`learned`), those, held in bounds of the plate;
on top what this run has found out by itself. The guard has its own figures and knows nothing of what was learned.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.control.belief import NOTHING, Belief
from controller.core.control.heat_path import HeatPath, heat_path
from controller.core.nouns import Target
from controller.quick_records import quick
from controller.settings.tun import Learned, Tun

GAIN_BOUNDS = (0.65, 1.5)  # heating rate, learned and found, over that of the plate (own bench: without bounds a bad
# identification drove simulated tuns tens of kelvins over target)

# Doubt, one standard deviation, relative.
PLATE_GAIN_SD, LEARNED_GAIN_SD = 0.12, 0.06  # plates are true to +-15 % (common practice)
PLATE_LAG_SD, LEARNED_LAG_SD = 0.35, 0.2  # own bench: plate lags against measured ones 0.5..1.5
ROUND_LAG_SD = 0.5  # of a probe whose bed is reckoned apart: pockets of 5..90 s against 15 in the file
RISE_SD = 0.3  # flow is known to +-25 % and falls once grist is in (own bench: 0.6 no better)


class Doubts(NamedTuple):
    """How far may the figures be off before anything was seen? One standard deviation each."""

    gain_sd: float = PLATE_GAIN_SD  # of power / capacity, relative
    lag_sd: float = PLATE_LAG_SD  # of lag and dead time together, relative
    rise_sd_k: float = 0.0  # of how much a probe in a warm stream reads over the mash at full power


@quick
class PlantModel(NamedTuple):
    """One heat balance behind a few lags: plate figures or learned ones in bounds, and what this run found."""

    path: HeatPath
    capacity_j_per_k: float  # mash, vessel, and the liquor of a coil or jacket
    power_w: float
    loss_w_per_k: float
    room_c: float
    lag_s: float  # total lag from heater to reading, dead time apart
    dead_s: float  # transport dead time
    duty_cap: float = 1.0
    rise_k: float = 0.0  # of wort past the heater at full power; 0 where it is not reckoned
    round_s: float = 0.0  # in this time it goes round through the bed once, by the plate; 0: no bed is reckoned
    found_loss_k_per_s: float = 0.0  # loss beyond the plate's, as this run has shown it
    doubts: Doubts = Doubts()

    @property
    def rate_k_per_s(self) -> float:
        """How fast does full power heat, losses apart, K/s?"""
        return self.power_w / self.capacity_j_per_k

    def loss_k_per_s(self, at_c: float, extra_k_per_s: float = 0.0) -> float:
        """How fast does it cool at this temperature with the heater off, K/s?"""
        return self.loss_w_per_k * (at_c - self.room_c) / self.capacity_j_per_k + extra_k_per_s

    def added_k(self, belief: Belief) -> float:
        """How far is the probe over the mean of the mash by what the heater adds to the wort, K?"""
        return max(self.rise_k + belief.rise_k, 0.0) * belief.over if self.rise_k > 0.0 else 0.0

    def turnover_s(self, belief: Belief) -> float:
        """In which time does the wort go round once, s? A rise found larger is a flow found smaller."""
        return self.round_s * max(1.0 + belief.rise_k / self.rise_k, 0.1) if self.rise_k > 0.0 else 0.0

    def sound(self) -> bool:
        """Is this a tun at all? Its figures come to less than 1e8 together, and full power gives 1e-6 to 1 K/s."""
        balance = (self.capacity_j_per_k, self.power_w, self.loss_w_per_k, self.room_c, self.found_loss_k_per_s)
        lags = (self.lag_s, self.dead_s, self.round_s, self.path.near_s)
        rest = (self.duty_cap, self.rise_k, *self.doubts)
        if not sum(map(abs, (*balance, *lags, *rest))) < 1e8 or self.capacity_j_per_k <= 0.0:
            return False
        return 1e-6 < self.rate_k_per_s < 1.0 and min(lags) >= 0.0 and self.loss_w_per_k >= 0.0


def believed(tun: Tun, target: Target, learned: Learned | None = None, belief: Belief = NOTHING) -> PlantModel:
    """Which figures does the loop use now? `target` brings the heat capacity of what is in the tun, J/K."""
    path, plain = heat_path(tun), target.strike or target.plain
    rise_k = path.stream_rise_k(plain)
    share = 1.0 if learned is None else learned.power_w / path.power_w
    lags = path if learned is None or path.in_stream else learned  # in the stream a water run does not show them
    capacity = max(target.capacity_j_per_k + path.bath_j_per_k, 1.0)
    model = PlantModel(
        path=path,
        capacity_j_per_k=capacity,
        power_w=path.power_w * min(max(share * belief.gain, GAIN_BOUNDS[0]), GAIN_BOUNDS[1]),
        loss_w_per_k=tun.loss_w_per_k if learned is None or learned.loss_w_per_k is None else learned.loss_w_per_k,
        room_c=tun.room_c,
        lag_s=lags.lag_s * belief.lag,
        dead_s=lags.dead_s * belief.lag,
        duty_cap=path.switching.duty_cap,
        rise_k=rise_k,
        round_s=path.turnover_s(plain, target.capacity_j_per_k),
        found_loss_k_per_s=belief.extra_k_per_s,
        doubts=_doubts(path, rise_k, learned is not None),
    )
    return model if not path.in_stream else model._replace(duty_cap=_cap(model, target, belief))


def _doubts(path: HeatPath, rise_k: float, learned: bool) -> Doubts:
    """How far may these figures be off?"""
    lag_sd = ROUND_LAG_SD if rise_k > 0.0 else LEARNED_LAG_SD if learned else PLATE_LAG_SD
    gain_sd = LEARNED_GAIN_SD if learned else PLATE_GAIN_SD
    return Doubts(gain_sd=gain_sd, lag_sd=lag_sd, rise_sd_k=RISE_SD * rise_k)


def _cap(model: PlantModel, target: Target, belief: Belief) -> float:
    """How much duty may a heater with the mash probe behind it be given? With the room left under the hard limit where
    the mash will be once the probe feels this duty."""
    path, now_c, most = model.path, target.target_c, model.path.switching.duty_cap
    added_k = model.rise_k + belief.rise_k
    if belief.reading_c is not None and now_c is not None:
        soon_c = belief.reading_c + model.rate_k_per_s * path.near_s
        now_c = max(belief.reading_c, min(soon_c, now_c))
    if now_c is None or added_k <= 0.0:
        return most
    return min(max((path.highest_reading_c(target.strike or target.plain) - now_c) / added_k, 0.0), most)
