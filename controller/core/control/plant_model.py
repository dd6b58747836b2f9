"""What does the loop believe of this tun: watts, heat capacity, loss, lag?

Plate figures first; where the tun has been measured with plain water (`learned`), those, held in bounds of the plate.
Only the control loop reads them. The guard has its own figures and knows nothing of what was learned.
"""

from __future__ import annotations

from math import tanh
from typing import TYPE_CHECKING, NamedTuple, Protocol

from controller.core.nouns import Figures, Target

if TYPE_CHECKING:
    from controller.settings.tun import Learned, Tun

GAIN_BOUNDS = (0.65, 1.5)  # heating rate, learned over plate: whatever was learned stays within (own bench: without
# bounds a bad identification drove simulated tuns tens of kelvins over target)

# Lag from the heater's terminals to the wort, s, by where the heat goes in: wall mass x heat capacity over film
# conductance. Common practice has no figures, these are own estimates. In doubt longer: too short a lag overshoots, too
# long a lag costs only time, and the regulator corrects it on the first ramp.
HEATER_LAG_S = {"element": 15.0, "line": 15.0, "jacket": 45.0}
BATH_DROP_K = 14.0  # K, liquor round a coil over the wort in it at full power: 8 to 20 (own estimate)
MASH_J_PER_L_K = 2600.0  # of a litre of tun, filled to three quarters with mash at 3 L/kg (arithmetic)
BURNER_LAG_S = 15.0  # a burner under the pot, on top of the above (own estimate)

# Time that mixing needs until a probe shows the mean, s (own estimates).
STIRRED_LAG_S = 20.0  # stirred tuns mix in 1..2 min (common practice): 0.63 of the way in a third of that
PUMPED_LAG_S = 25.0  # plain liquor mixes by itself; pipes and heater chamber hold some 10 s of flow each

# What a bed of grist between return and outlet does to a pumped tun. With plug flow the outlet shows the mean half a
# turnover late and, at rest, half a rise too low; with 2..4 well-mixed layers 0.25..0.38 of both (arithmetic).
BED_SHARE = 0.25  # of one turnover: later than in plain liquor
BED_RISE_SD = 0.5  # of that time's rise: a probe near the return is early instead of late
BELOW_MEAN = 0.25  # of the rise over the heater: the outlet's wort under the mean of the mash at rest
BELOW_MOST_K = 0.6  # and not more, K at full power, for the plate does not say where in the bed the probe sits

# Doubt, one standard deviation, relative.
PLATE_GAIN_SD, LEARNED_GAIN_SD = 0.12, 0.06  # plates are true to +-15 % (common practice)
PLATE_LAG_SD, LEARNED_LAG_SD = 0.35, 0.2  # own bench: plate lags against measured ones 0.5..1.5
BED_LAG_SD = 0.35
BEHIND_LAG_SD = 0.15  # behind the heater lag and rise look alike, and the rise is what is doubtful
RISE_SD = 0.3  # flow is known to +-25 % and falls once grist is in
GRIST_RISE = 1.1  # for the same reason the rise with grist in, over that of the plate
LIMIT_ROOM_K = 0.5  # what a probe behind the heater reads stays so far under the hard limit (own proposal: noise,
# calibration, and the tenths by which the model is off)


class Adapted(Protocol):
    """What the regulator has found out by itself in this run."""

    @property
    def gain(self) -> float:
        """Heating rate found on ramps, over the one believed before."""

    @property
    def lag(self) -> float:
        """Lag found on ramps, over the one believed before."""

    @property
    def rise_k(self) -> float:
        """Probe over the mash at full power, beyond what was believed, K."""

    @property
    def extra_k_per_s(self) -> float:
        """Loss found beyond the plate's, K/s."""

    @property
    def reading_c(self) -> float | None:
        """Where the mash is believed to be, °C."""


class Basis(NamedTuple):
    """What is believed before a run teaches more, and what it was worked out from."""

    tun: Tun
    capacity_j_per_k: float
    strike: bool
    learned: Learned | None
    plate_w: float
    share: float  # of the plate's power, learned, not yet held in bounds
    figures: Figures


_LAST: list[Basis] = []  # the last one: it is the same from second to second


def figures(tun: Tun, target: Target, learned: Learned | None = None, adapted: Adapted | None = None) -> Figures:
    """Which figures does the loop use now? `target` brings the heat capacity of what is in the tun, J/K."""
    basis = _basis(tun, target.capacity_j_per_k, target.strike, learned)
    believed = basis.figures
    gain, lag, loss = (adapted.gain, adapted.lag, adapted.extra_k_per_s) if adapted is not None else (1.0, 1.0, 0.0)
    power_w = basis.plate_w * min(max(basis.share * gain, GAIN_BOUNDS[0]), GAIN_BOUNDS[1])
    believed = believed._replace(
        power_w=power_w, lag_s=believed.lag_s * lag, dead_s=believed.dead_s * lag, found_loss_k_per_s=loss
    )
    if believed.behind_heater_k <= 0.0:
        return believed
    return believed._replace(duty_cap=_cap(tun, target, power_w / believed.capacity_j_per_k, adapted))


def _basis(tun: Tun, capacity_j_per_k: float, strike: bool, learned: Learned | None) -> Basis:
    for kept in _LAST:
        if kept.tun is tun and kept.learned is learned and kept[1:3] == (capacity_j_per_k, strike):
            return kept
    made = _plate(tun, capacity_j_per_k, strike, learned)
    _LAST[:] = [made]
    return made


def _plate(tun: Tun, capacity_j_per_k: float, strike: bool, learned: Learned | None) -> Basis:
    """Plate figures, or learned ones, for these contents."""
    heater, behind = tun.heater, tun.probes.mash.behind_heater
    plate_w = heater.power_w * heater.efficiency
    lag_s, dead_s = plate_lag_s(tun)
    share, gain_sd, lag_sd = 1.0, PLATE_GAIN_SD, PLATE_LAG_SD
    if learned is not None:
        share, gain_sd = learned.power_w / plate_w, LEARNED_GAIN_SD
        if not behind:
            lag_s, dead_s, lag_sd = learned.lag_s, learned.dead_s, LEARNED_LAG_SD
    passing_s = 0.0 if strike else bed_s(tun)
    if passing_s > 0.0:
        dead_s, lag_sd = dead_s + passing_s, BED_LAG_SD
    if behind:
        lag_sd = BEHIND_LAG_SD
    relay = heater.kind in ("ssr", "contactor")
    capacity = max(capacity_j_per_k + heater.bath_j_per_k, 1.0)
    rise_k = behind_heater_k(tun, strike)
    believed = Figures(
        capacity_j_per_k=capacity,
        power_w=plate_w,
        loss_w_per_k=tun.loss_w_per_k,
        room_c=tun.room_c,
        lag_s=lag_s,
        dead_s=dead_s,
        duty_cap=heater.duty_cap,
        behind_heater_k=rise_k,
        window_s=heater.window_s if relay else 0.0,
        min_on_s=heater.min_on_s,
        min_off_s=heater.min_off_s,
        min_fire=heater.min_fire if heater.kind == "gas" else 0.0,
        near_s=near_s(tun),
        below_mean_k=min(BELOW_MEAN * tun.plate_rise_k, BELOW_MOST_K) if heater.place in ("line", "coil") else 0.0,
        gain_sd=gain_sd,
        lag_sd=lag_sd,
        rise_sd_k=max(RISE_SD * rise_k, plate_w / capacity * (BED_RISE_SD * passing_s)),
        heater_late=heater.place == "coil",
        loop_s=passing_s + PUMPED_LAG_S if passing_s > 0.0 and not behind else 0.0,
    )
    return Basis(tun, capacity_j_per_k, strike, learned, plate_w, share, believed)


def behind_heater_k(tun: Tun, strike: bool) -> float:
    """By how much should a probe behind the heater read above the mash at full power, K? 0 for one in the mash."""
    if not tun.probes.mash.behind_heater:
        return 0.0
    return tun.plate_rise_k * (1.0 if strike else GRIST_RISE)


def _cap(tun: Tun, target: Target, rate_k_per_s: float, adapted: Adapted | None) -> float:
    """How much duty may a heater with the mash probe behind it be given? With the room left under the hard limit where
    the mash will be once the probe feels this duty."""
    added_k, now_c = behind_heater_k(tun, target.strike), target.target_c
    if adapted is not None:
        added_k += adapted.rise_k
        if adapted.reading_c is not None and now_c is not None:
            soon_c = adapted.reading_c + rate_k_per_s * near_s(tun)
            now_c = max(adapted.reading_c, min(soon_c, now_c))
    if now_c is None or added_k <= 0.0:
        return tun.heater.duty_cap
    return min(max((highest_reading_c(tun, target.strike) - now_c) / added_k, 0.0), tun.heater.duty_cap)


def highest_reading_c(tun: Tun, strike: bool) -> float:
    """Up to where may a probe behind the heater read by what the heater adds in the mean, °C? Half of an on/off
    heater's swing comes on top."""
    return tun.guard.hard_limit_c - LIMIT_ROOM_K - 0.5 * swing_k(tun, strike)


def swing_k(tun: Tun, strike: bool) -> float:
    """By how much does a probe behind an on/off heater swing at half duty, from lowest to highest, K? A first-order
    lag T under a square wave of period w swings by tanh(w / 4 T) of the whole (arithmetic)."""
    window_s = tun.heater.window_s if tun.heater.kind in ("ssr", "contactor") else 0.0
    return behind_heater_k(tun, strike) * tanh(window_s / (4.0 * max(near_s(tun), 0.5)))


def near_s(tun: Tun) -> float:
    """How late does a probe just behind the heater feel it, s?"""
    return heater_lag_s(tun) + tun.probes.mash.lag_s


def heater_lag_s(tun: Tun) -> float:
    """How late does the heater's heat reach the wort, s? Two bodies come together by what lies between them, here full
    power over the usual drop, over their heat capacities in parallel (arithmetic). A burner's pot is left out."""
    heater = tun.heater
    bath, mash = heater.bath_j_per_k, MASH_J_PER_L_K * tun.volume_l
    if bath <= 0.0:
        return HEATER_LAG_S[heater.place]
    bath_s = bath * mash / (bath + mash) * BATH_DROP_K / (heater.power_w * heater.efficiency)
    return max(bath_s, HEATER_LAG_S["jacket"])


def plate_lag_s(tun: Tun) -> tuple[float, float]:
    """Which lag and dead time does the plate suggest in plain liquor, s? The longest of the lags in a row counts as
    the lag; the others together look like a dead time."""
    heater = tun.heater
    heater_s = heater_lag_s(tun) + (BURNER_LAG_S if heater.kind == "gas" else 0.0)
    lags = (heater_s, tun.probes.mash.lag_s, PUMPED_LAG_S if tun.mixing == "pump" else STIRRED_LAG_S)
    return max(lags), sum(lags) - max(lags)


def bed_s(tun: Tun) -> float:
    """How much later does a probe show the mean of the mash because the wort must pass the bed, s?"""
    flow = tun.flow_l_per_min
    if tun.mixing != "pump" or tun.stirrer is not None or not flow:
        return 0.0
    return BED_SHARE * 60.0 * tun.volume_l / flow
