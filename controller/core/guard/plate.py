"""What can this tun do at the most and at the least, by its plate, pessimistically?

The guard's own figures, made once from the tun file; no other room's belief enters. The one place of the guard that
knows what a coil, a pumped bed or a probe behind the heater means.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.settings.tun import Tun

LOSS_FACTOR = 4.0  # times the file's loss: wind, and a lid off (own trial: healthy keeps at 78 °C with 1.7 times were
# held back and latched) ...
LEAST_LOSS_PER_S, MOST_LOSS_PER_S = (
    0.15 / 3600.0,
    0.60 / 3600.0,
)  # ... within these shares of the difference to the room
# a second: a file's loss may be far too low or too high (own proposal)
SLACK_K, SLACK_S = 2.0, 30.0  # of the heat account, on top of what is on its way (own trial on lumped models)
QUIET_S = 330.0  # duty 0 for so long, dead time apart, and a mash no longer warms (own trial)
COIL_S = 300.0  # a coil's own liquor holds heat back: at least so much on top of the dead time (own trial)
BATH_OVER_WORT_K, BATH_MOST_S = 20.0, 1200.0  # the same for much liquor: K over the wort at full power at the most (own
# estimate), and not more, s, so that history reaches far enough
BED_SHARE, BED_MOST_S = 0.5, 300.0  # of a turnover: with plug flow the outlet shows the mean so late (arithmetic); and
# not more, s, so that history reaches far enough
RESTS_S = {"contactor": 10.0, "gas": 30.0}  # contacts and flames wear with each start (common practice)
FLOW_RISE = 2.0  # of what the plate's flow warms by at full power: flow and power may be as much off (own proposal)


class Plate(NamedTuple):
    """The tun's pessimistic figures."""

    power_w: float  # into the mash at full heat
    loss_w_per_k: float
    room_c: float
    dead_s: float  # so long may heat take to show: the tun's dead time, and what a coil's liquor holds back
    quiet_s: float  # so long after the heater went off may the mash still warm
    lag_s: float  # from dead time to a reading that follows: three lags of the probe, and half a turnover of a bed
    behind_heater: bool  # the probe moves with the heat itself
    own_rise_k: float  # of a probe behind the heater, at full heat, by the plate; 0 for one in the mash
    measured: bool  # with water: power and heat capacity are true to 10 %
    slowest_k_per_s: float  # the heater's own rise in a full tun ...
    fastest_k_per_s: float  # ... and in one with the least liquor
    outlet_over_mash_k: float  # the outlet may be so far over the mash
    rest_s: float  # so long must the output stay off before it comes on again

    def worst_loss_per_s(self, capacity_j_per_k: float) -> float:
        """Which share of its difference to the room does the mash lose a second at the most?"""
        share = LOSS_FACTOR * self.loss_w_per_k / capacity_j_per_k
        return min(max(share, LEAST_LOSS_PER_S), MOST_LOSS_PER_S)

    @property
    def follows_s(self) -> float:
        """How long may heat take until the reading has followed, s?"""
        return self.dead_s + self.lag_s + SLACK_S

    def bound_k(self, capacity_j_per_k: float) -> float:
        """How much heat may be on its way, unseen, K?"""
        return SLACK_K + self.follows_s * self.power_w / capacity_j_per_k


def of(tun: Tun, measured: bool = False) -> Plate:
    """The figures of a tun file."""
    heater, limits = tun.heater, tun.guard
    power_w = heater.power_w * heater.efficiency
    bath_s = _bath_s(tun, power_w)
    least_j_per_k = tun.with_liquor_j_per_k(tun.min_liquor_l)
    most_j_per_k = tun.with_liquor_j_per_k(tun.volume_l) + heater.bath_j_per_k
    return Plate(
        power_w=power_w,
        loss_w_per_k=tun.loss_w_per_k,
        room_c=tun.room_c,
        dead_s=limits.dead_time_s + bath_s,
        quiet_s=QUIET_S + limits.dead_time_s + 2.0 * bath_s,
        lag_s=3.0 * tun.probes.mash.lag_s + _bed_s(tun),
        behind_heater=tun.probes.mash.behind_heater,
        own_rise_k=tun.plate_rise_k if tun.probes.mash.behind_heater else 0.0,
        measured=measured,
        slowest_k_per_s=power_w / most_j_per_k,
        fastest_k_per_s=power_w / least_j_per_k,
        rest_s=max(heater.min_off_s, RESTS_S.get(heater.kind, 0.0)),
        outlet_over_mash_k=max(limits.outlet_over_mash_k, FLOW_RISE * tun.plate_rise_k),
    )


def _bath_s(tun: Tun, power_w: float) -> float:
    """How long does the liquor of a coil or jacket hold heat back, s?"""
    least_s = COIL_S if tun.heater.place == "coil" else 0.0
    return min(max(tun.heater.bath_j_per_k * BATH_OVER_WORT_K / power_w, least_s), BATH_MOST_S)


def _bed_s(tun: Tun) -> float:
    """How much later does a probe see the heat because wort must pass a bed that only the pump moves, s?"""
    if tun.mixing != "pump" or tun.stirrer is not None or not tun.flow_l_per_min:
        return 0.0
    return min(BED_SHARE * 60.0 * tun.volume_l / tun.flow_l_per_min, BED_MOST_S)
