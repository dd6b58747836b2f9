"""What does a pulse of heat in plain strike water say about this tun?

The record: a level reading, full power until it has risen some kelvins, off until it is level again. From that: how
fast the tun really heats, how late the reading is in all (lag and dead time) and how sure both are. The loss cannot be
had from so short a record: an insulated tun hardly cools meanwhile; the loop finds it later. What cannot be true is
refused with the reason; what is believed is held within bounds of the plate.

The model is the loop's (three equal lags for the dead time, one lag, one heat balance), so that what is learned is what
is used.
"""

from __future__ import annotations

from math import isfinite, sqrt
from operator import mul
from typing import NamedTuple

from controller.core.control.belief import NOTHING
from controller.core.control.heat_path import heat_path
from controller.core.control.observer import lagged, passed
from controller.core.control.plant_model import GAIN_BOUNDS
from controller.settings.tun import Tun

RISE_K = 3.5  # K: enough over 0.1 K of noise for a rate within some 3 % (own bench)
EVERY_S = 2.0  # s between points of the record
LONGEST_S, SHORTEST_S = 900.0, 4.0  # total lag that can be true
MOST_DOUBT = 0.25  # of the power, one standard deviation: more, and the plate is the better guess
NOISE_MOST_K = 0.35  # residual, K: more, and something else went on in the tun
LAG_STEPS, SHARE_STEPS = 24, (0.0, 0.15, 0.3, 0.45, 0.6, 0.75)  # grid: totals on a log scale, dead time's share


class Point(NamedTuple):
    """One moment of the record: s since its start, °C, and the duty that went out since the point before."""

    t_s: float
    reading_c: float
    duty: float


class Known(NamedTuple):
    """What the tun file and the filling say."""

    capacity_j_per_k: float  # liquor and vessel
    power_w: float  # plate, efficiency included
    loss_w_per_k: float
    room_c: float
    in_stream: bool = False  # the probe feels the heater's outlet


def by_file(tun: Tun, contents_j_per_k: float) -> Known:
    """What does the tun file say of a tun with so much in it, J/K of liquor and vessel?"""
    path = heat_path(tun)
    capacity_j_per_k = contents_j_per_k + path.bath_j_per_k
    return Known(capacity_j_per_k, path.power_w, tun.loss_w_per_k, tun.room_c, path.in_stream)


class Identified(NamedTuple):
    """What the pulse showed, with standard deviations."""

    power_w: float  # into the capacity of the tun file: what heats, whichever of the two is off
    power_sd: float
    lag_s: float
    lag_sd_s: float
    dead_s: float
    dead_sd_s: float
    residual_k: float
    rise_k: float


class Refused(NamedTuple):
    """Why nothing is believed: every reason, each with what to do."""

    reasons: tuple[str, ...]


class _Fit(NamedTuple):
    error: float  # sum of squares, K^2
    total_s: float
    share: float
    rate: float


def identify(trace: tuple[Point, ...], known: Known) -> Identified | Refused:
    """Which rate and lags explain the record best? A grid over the lags, least squares for the rate. Refuses a record
    that no tun of this plate could give."""
    if reasons := _unfit(trace):
        return Refused(reasons)
    ratio = (LONGEST_S / SHORTEST_S) ** (1.0 / (LAG_STEPS - 1))
    totals_s = [SHORTEST_S * ratio**i for i in range(LAG_STEPS)]
    fits = [_fit(trace, known, total_s, share) for total_s in totals_s for share in SHARE_STEPS]
    best = _refined(min(fits, key=lambda fit: fit.error), trace, known)
    if reasons := _untrue(best, trace, known):
        return Refused(reasons)
    found = _found(best, fits, trace, known)
    doubt = found.power_sd / found.power_w
    if doubt > MOST_DOUBT:
        known_to = f"the power is only known to {100.0 * doubt:.0f} %, {100.0 * MOST_DOUBT:.0f} % is wanted"
        return Refused((f"{known_to}: the record cannot tell rate from lag; measure again with a longer rise",))
    return found


def _refined(best: _Fit, trace: tuple[Point, ...], known: Known) -> _Fit:
    """Halve the grid around the best fit, some times."""
    factor, share = 1.12, 0.08
    for _ in range(4):
        totals_s = [best.total_s * f for f in (1.0 / factor, 1.0, factor)]
        shares = [min(max(best.share + s, 0.0), 0.9) for s in (-share, 0.0, share)]
        best = min((_fit(trace, known, t, s) for t in totals_s for s in shares), key=lambda fit: fit.error)
        factor, share = 1.0 + 0.5 * (factor - 1.0), 0.5 * share
    return best


def _unfit(trace: tuple[Point, ...]) -> tuple[str, ...]:
    """What is wrong with the record itself?"""
    if len(trace) < 30 or not all(isfinite(v) for p in trace for v in p):
        return ("the record has fewer than 30 sound points: check that the probe sends, then measure again",)
    reasons = []
    if sum(p.duty for p in trace) <= 0.0:
        reasons.append("no heat went out during the record: check the heater line, then measure again")
    if (rise := _rise_k(trace)) < 0.5 * RISE_K:
        found = f"the reading rose {rise:.1f} K, at least {0.5 * RISE_K:.2f} K is needed"
        reasons.append(f"{found}: is the heater on, and the probe in the liquor?")
    return tuple(reasons)


def _rise_k(trace: tuple[Point, ...]) -> float:
    return max(p.reading_c for p in trace) - trace[0].reading_c


def _untrue(fit: _Fit, trace: tuple[Point, ...], known: Known) -> tuple[str, ...]:
    """What of the best fit cannot be?"""
    (low, high), share = GAIN_BOUNDS, fit.rate * known.capacity_j_per_k / known.power_w
    residual_k = sqrt(fit.error / len(trace))
    heats = f"it heats at {share:.2f} of what the plate promises, {low} to {high} is believed"
    follows = f"the reading follows after {fit.total_s:.0f} s, {SHORTEST_S:.0f} to {LONGEST_S:.0f} s is believed"
    strays = f"the reading strays {residual_k:.2f} K from any smooth course, {NOISE_MOST_K} K at most"
    found = (
        (low <= share <= high, f"{heats}: check power, litres and metal in the tun file"),
        (SHORTEST_S <= fit.total_s <= LONGEST_S, f"{follows}: is the liquor stirred or pumped?"),
        (residual_k <= NOISE_MOST_K, f"{strays}: was something added, or the pump or stirrer off?"),
    )
    return tuple(why for believed, why in found if not believed)


def _found(best: _Fit, fits: list[_Fit], trace: tuple[Point, ...], known: Known) -> Identified:
    """The figures and how sure they are: all fits that are nearly as good as the best span the doubt."""
    points = len(trace)
    floor = max(best.error / points, 1e-4)
    near = [f for f in fits if f.error / points <= best.error / points + 4.0 * floor / sqrt(points)] + [best]

    def doubt(values: list[float], least: float) -> float:
        return max(0.5 * (max(values) - min(values)), least)

    return Identified(
        power_w=best.rate * known.capacity_j_per_k,
        power_sd=doubt([f.rate for f in near], 0.02 * best.rate) * known.capacity_j_per_k,
        lag_s=best.total_s * (1.0 - best.share),
        lag_sd_s=doubt([f.total_s for f in near], 0.05 * best.total_s),
        dead_s=best.total_s * best.share,
        dead_sd_s=doubt([f.total_s * f.share for f in near], 0.05 * best.total_s),
        residual_k=sqrt(best.error / points),
        rise_k=_rise_k(trace),
    )


def _fit(trace: tuple[Point, ...], known: Known, total_s: float, share: float) -> _Fit:
    """Run the lags over the record, then straight-line least squares: reading + loss = offset + rate * heat arrived."""
    heats = arrived_s(trace, total_s * share, total_s * (1.0 - share))
    lost, levels, last = 0.0, [], trace[0]
    for point in trace:
        mean = 0.5 * (point.reading_c + last.reading_c)
        lost += known.loss_w_per_k * (mean - known.room_c) / known.capacity_j_per_k * (point.t_s - last.t_s)
        levels.append(point.reading_c + lost)
        last = point
    felt = _felt(trace, total_s * (1.0 - share)) if known.in_stream else [0.0] * len(trace)
    offset, rate, lead = _least_squares(heats, felt, levels)
    error = sum((y - offset - rate * h - lead * f) ** 2 for h, f, y in zip(heats, felt, levels, strict=True))
    return _Fit(error, total_s, share, rate)


def _least_squares(heats: list[float], felt: list[float], levels: list[float]) -> tuple[float, float, float]:
    """Offset, rate and lead of levels = offset + rate * heat + lead * felt."""
    n = len(levels)
    mean_h, mean_f, mean_y = sum(heats) / n, sum(felt) / n, sum(levels) / n
    h, f, y = [v - mean_h for v in heats], [v - mean_f for v in felt], [v - mean_y for v in levels]
    shh, shf, sff, shy, sfy = (sum(map(mul, a, b)) for a, b in ((h, h), (h, f), (f, f), (h, y), (f, y)))
    det = shh * sff - shf * shf
    if det > 1e-6 * shh * max(sff, 1e-9):
        rate, lead = (shy * sff - sfy * shf) / det, (sfy * shh - shy * shf) / det
    else:
        rate, lead = (shy / shh if shh > 0.0 else 0.0), 0.0
    return mean_y - rate * mean_h - lead * mean_f, rate, lead


def _felt(trace: tuple[Point, ...], lag_s: float) -> list[float]:
    """Share of power that a probe behind the heater feels at each point."""
    level, last_s, out = 0.0, trace[0].t_s, []
    for point in trace:
        level = lagged(level, point.duty, lag_s, point.t_s - last_s)
        last_s = point.t_s
        out.append(level)
    return out


def arrived_s(trace: tuple[Point, ...], dead_s: float, lag_s: float) -> list[float]:
    """How much heat has reached the probe at each point, s of full power?"""
    arriving, total, last_s, out = NOTHING.arriving, 0.0, trace[0].t_s, []
    for point in trace:
        dt = point.t_s - last_s
        arriving = passed(dead_s, lag_s, point.duty, arriving, dt)
        total += arriving[-1] * dt
        last_s = point.t_s
        out.append(total)
    return out
