"""Which way does heat take from the heater's terminals to the mash probe, and what does that way hold back and add?

A stirred jacket, an element, a burner under the pot, a heater in the line of a pumped bed, a coil in a bath; the probe
in the mash or behind the heater. One object says it, made once from the tun file, for the loop, the plan and the water
run. They ask it and never ask the tun file how the tun is built. The guard goes by pessimistic figures of its own.
"""

from __future__ import annotations

from math import tanh
from typing import Literal, NamedTuple

from controller.brewing import heat
from controller.core.control import on_off
from controller.settings.tun import Spot, Tun

# Lag from the heater's terminals to the wort, s, by where the heat goes in: wall mass x heat capacity over film
# conductance. Common practice has no figures, these are own estimates. In doubt longer: too short a lag overshoots, too
# long a lag costs only time, and the loop corrects it on the first ramp.
HEATER_LAG_S = {"element": 15.0, "line": 15.0, "jacket": 45.0}
LOOP_BATH_DROP_K = 14.0  # K, liquor round a coil over the wort in it at full power: 8 to 20, here the middle (own
# estimate; the guard takes the most)
MASH_J_PER_L_K = 2600.0  # of a litre of tun, filled to three quarters with mash at 3 L/kg (arithmetic)
BURNER_LAG_S = 15.0  # a burner under the pot, on top of the above (own estimate)

# Time that mixing needs until a probe shows the mean, s (own estimates).
STIRRED_LAG_S = 20.0  # stirred tuns mix in 1..2 min (common practice): 0.63 of the way in a third of that
PUMPED_LAG_S = 25.0  # plain liquor mixes by itself; pipes and heater chamber hold some 10 s of flow each

GRIST_RISE = 1.1  # the rise with grist in, over that of the plate: flow falls once grist is in
LIMIT_ROOM_K = 0.5  # what a probe behind the heater reads stays so far under the hard limit (own proposal: noise,
# calibration, and the tenths by which the model is off)


# Where the mash probe sits, as the loop sees it: no bed; in the middle of one; where wort leaves it; behind the heater.
Place = Literal["mixed", "layered", "end", "stream"]
PLACES: dict[Spot, Place] = {"mash": "layered", "bed outlet": "end", "return": "stream", "heater outlet": "stream"}


class HeatPath(NamedTuple):
    """The way of the heat in one tun, by its file."""

    switching: on_off.Switching
    power_w: float  # into the mash at full power, by the plate, efficiency included
    bath_j_per_k: float  # liquor of a coil or jacket, warmed and cooled with the mash
    heater_s: float  # how late the heater's heat reaches the wort
    lag_s: float  # heater to reading in plain liquor, the longest of the lags in a row
    dead_s: float  # the other lags together: they look like a dead time
    sits: Place  # the mash probe
    rise_k: float  # of wort past the heater at full power in plain liquor, by the plate; 0 where it is not reckoned
    stream_w_per_k: float  # heat that the round of a pumped mash carries for each kelvin; 0 without a bed
    near_s: float  # how late a probe just behind the heater feels it
    highest_c: float  # a probe in the stream reads no more than this while heat is steady
    line_w_per_k: float  # wort past a heater in the line takes so much heat with it; 0 without such a heater

    @property
    def in_stream(self) -> bool:
        """Does the mash probe sit in the warm stream behind the heater?"""
        return self.sits == "stream"

    @property
    def bath_settles_s(self) -> float:
        """How long until mash and bath are as warm again after grain has cooled both, s? Two of the bath's lags."""
        return 2.0 * self.heater_s if self.bath_j_per_k > 0.0 else 0.0

    def turnover_s(self, strike: bool, capacity_j_per_k: float) -> float:
        """In which time does the wort carry all of the mash's heat round once, s? 0 where no bed is reckoned."""
        bedded = not strike and self.rise_k > 0.0 and self.stream_w_per_k > 0.0
        return GRIST_RISE * capacity_j_per_k / self.stream_w_per_k if bedded else 0.0

    def stream_rise_k(self, strike: bool) -> float:
        """By how much should wort be warmer behind the heater than before it at full power, K?"""
        return self.rise_k * (1.0 if strike else GRIST_RISE)

    def probe_rise_k(self, strike: bool) -> float:
        """By how much should the mash probe read above the mash at full power, K? 0 for one in the mash."""
        return self.stream_rise_k(strike) if self.in_stream else 0.0

    def swing_k(self, strike: bool) -> float:
        """By how much does the mash probe swing at half duty, from lowest to highest, K? A first-order lag T under a
        square wave of period w swings by tanh(w / 4 T) of the whole (arithmetic)."""
        return self.probe_rise_k(strike) * tanh(self.switching.window_s / (4.0 * max(self.near_s, 0.5)))

    def highest_reading_c(self, strike: bool) -> float:
        """Up to where may the probe read by what the heater adds in the mean, °C? Half of a swing comes on top."""
        return self.highest_c - 0.5 * self.swing_k(strike)

    def line_rise_k(self, watts: float) -> float | None:
        """By how much does a heater in the line warm the wort that passes it, K? None where there is none."""
        return watts / self.line_w_per_k if self.line_w_per_k > 0.0 else None


_LAST: list[tuple[Tun, HeatPath]] = []  # the last one: it is the same from second to second


def heat_path(tun: Tun) -> HeatPath:
    """Which way does heat take in this tun?"""
    for known, path in _LAST:
        if known is tun:
            return path
    path = _made(tun)
    _LAST[:] = [(tun, path)]
    return path


def _made(tun: Tun) -> HeatPath:
    """Every question about how the tun is built is asked here."""
    heater, probe = tun.heater, tun.probes.mash
    line = heater.place == "line"
    heater_s, place = _heater_s(tun), _place(tun)
    lags = (
        heater_s + (BURNER_LAG_S if heater.kind == "gas" else 0.0),
        probe.lag_s,
        0.0 if place == "stream" else PUMPED_LAG_S if tun.mixing == "pump" else STIRRED_LAG_S,
    )
    return HeatPath(
        switching=on_off.Switching(
            duty_cap=heater.duty_cap,
            window_s=heater.window_s if heater.kind in ("ssr", "contactor") else 0.0,
            min_on_s=heater.min_on_s,
            min_off_s=heater.min_off_s,
            min_fire=heater.min_fire if heater.kind == "gas" else 0.0,
        ),
        power_w=heater.power_w * heater.efficiency,
        bath_j_per_k=heater.bath_j_per_k,
        heater_s=heater_s,
        lag_s=max(lags),
        dead_s=sum(lags) - max(lags),
        sits=place,
        rise_k=tun.plate_rise_k if place in ("stream", "layered") or (place == "end" and tun.bed) else 0.0,
        stream_w_per_k=(tun.flow_l_per_min or 0.0) / 60.0 * heat.WATER if tun.bed else 0.0,
        near_s=heater_s + probe.lag_s,
        highest_c=tun.guard.hard_limit_c - LIMIT_ROOM_K,
        line_w_per_k=(tun.flow_l_per_min or 0.0) / 60.0 * heat.WATER if line else 0.0,
    )


def _place(tun: Tun) -> Place:
    """Where does the mash probe sit, for the loop? A stirrer leaves no bed, and a bath outweighs it."""
    place = PLACES[tun.probe_place]
    return "mixed" if place == "layered" and not (tun.bed and tun.heater.place == "line") else place


def _heater_s(tun: Tun) -> float:
    """How late does the heater's heat reach the wort, s? Two bodies come together by what lies between them, here full
    power over the usual drop, over their heat capacities in parallel (arithmetic). A burner's pot is left out."""
    heater = tun.heater
    bath, mash = heater.bath_j_per_k, MASH_J_PER_L_K * tun.volume_l
    if bath <= 0.0:
        return HEATER_LAG_S[heater.place]
    bath_s = bath * mash / (bath + mash) * LOOP_BATH_DROP_K / (heater.power_w * heater.efficiency)
    return max(bath_s, HEATER_LAG_S["jacket"])
