"""What does a pulse of heat in plain strike water say about this tun?

The record: a level reading, full power until it has risen some kelvins, off until it is level again. From that: how
fast the tun really heats, how late the reading is in all (lag and dead time), what is lost to the room, how much
warmer a probe behind the heater reads, and how sure all of it is. Rate and loss are told apart by the time without a
rise, before the pulse and after it: the longer that was, the surer is the loss, and where the record says little of
it, it stays the plate's. What cannot be true is refused with the reason; what is believed is held within bounds of the
plate.

The model is the loop's (three equal lags for the dead time, one lag, one heat balance), so that what is learned is what
is used.
"""

from __future__ import annotations

from math import isfinite, sqrt
from typing import NamedTuple

from controller.core.control.belief import NOTHING
from controller.core.control.heat_path import heat_path
from controller.core.control.observer import passed
from controller.core.control.plant_model import GAIN_BOUNDS
from controller.settings.tun import Tun

RISE_K = 3.5  # K: enough over 0.1 K of noise for a rate within some 3 % (own bench)
EVERY_S = 2.0  # s between points of the record
LONGEST_S, SHORTEST_S = 900.0, 4.0  # total lag that can be true, and that can be told from less (two points)
PRIOR_LOSS = 1.0  # of the plate's loss, one standard deviation: 0.7 to 4 times the rule of thumb (own bench)
ALIKE = 30  # points that err alike, a minute of them or all that heat takes to show: steps of the probe, stirring,
# mains, and a tun that is not like the model (own bench)
ERR_K = 0.03  # K: no reading is taken for better than that (half a step of a 12-bit probe)
ROOM_K = 4.0  # K: how far the room may be from what the file says, one standard deviation (own estimate: seasons)
TOLD = 0.5  # of the plate's loss: doubted more than that, it could not be told
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
    loss_w_per_k: float  # to a room as warm as the file says
    loss_sd: float
    lead_k: float  # a probe behind the heater reads so much over the liquor at full power; 0 elsewhere

    @property
    def loss_told(self) -> bool:
        """Does the record say more of the loss than the plate does?"""
        return self.loss_sd < TOLD * self.loss_w_per_k


class Refused(NamedTuple):
    """Why nothing is believed: every reason, each with what to do."""

    reasons: tuple[str, ...]


class Figures(NamedTuple):
    """What is found once the lags are given."""

    rate: float  # K/s at full power
    loss_w_per_k: float
    lead_k: float


class _Fit(NamedTuple):
    error: float  # sum of squares, K^2
    total_s: float
    share: float
    figures: Figures
    doubts: Figures  # of these with these lags, variance over that of one point


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


def _mean_c(trace: tuple[Point, ...]) -> float:
    return sum(point.reading_c for point in trace) / len(trace)


def _rise_k(trace: tuple[Point, ...]) -> float:
    return max(p.reading_c for p in trace) - trace[0].reading_c


def _untrue(fit: _Fit, trace: tuple[Point, ...], known: Known) -> tuple[str, ...]:
    """What of the best fit cannot be?"""
    (low, high), share = GAIN_BOUNDS, fit.figures.rate * known.capacity_j_per_k / known.power_w
    residual_k = sqrt(fit.error / len(trace))
    heats = f"it heats at {share:.2f} of what the plate promises, {low} to {high} is believed"
    follows = f"the reading follows after {fit.total_s:.0f} s, at most {LONGEST_S:.0f} s is believed"
    strays = f"the reading strays {residual_k:.2f} K from any smooth course, {NOISE_MOST_K} K at most"
    found = (
        (low <= share <= high, f"{heats}: check power, litres and metal in the tun file"),
        (fit.total_s <= LONGEST_S, f"{follows}: is the liquor stirred or pumped?"),
        (residual_k <= NOISE_MOST_K, f"{strays}: was something added, or the pump or stirrer off?"),
    )
    return tuple(why for believed, why in found if not believed)


def _found(best: _Fit, fits: list[_Fit], trace: tuple[Point, ...], known: Known) -> Identified:
    """The figures and how sure they are: all fits that are nearly as good as the best span the doubt of the lags, and
    what the record leaves open with the best lags is added to that of the rest."""
    points = len(trace)
    floor = max(best.error / points, 1e-4)
    near = [f for f in fits if f.error / points <= best.error / points + 4.0 * floor / sqrt(points)] + [best]
    err_k2 = max(ALIKE, best.total_s / EVERY_S) * max(best.error / points, ERR_K**2)

    def span(values: list[float], least: float) -> float:
        return max(0.5 * (max(values) - min(values)), least)

    def doubt(at: int, least: float) -> float:
        return sqrt(span([f.figures[at] for f in near], least) ** 2 + err_k2 * best.doubts[at])

    found, total_s = best.figures, max(best.total_s, SHORTEST_S)
    least_s = max(0.05 * total_s, EVERY_S)
    return Identified(
        power_w=found.rate * known.capacity_j_per_k,
        power_sd=doubt(0, 0.02 * found.rate) * known.capacity_j_per_k,
        lag_s=total_s * (1.0 - best.share),
        lag_sd_s=span([f.total_s for f in near], least_s),
        dead_s=total_s * best.share,
        dead_sd_s=span([f.total_s * f.share for f in near], least_s),
        residual_k=sqrt(best.error / points),
        rise_k=_rise_k(trace),
        loss_w_per_k=found.loss_w_per_k,
        loss_sd=doubt(1, found.loss_w_per_k * ROOM_K / max(_mean_c(trace) - known.room_c, ROOM_K)),
        lead_k=found.lead_k,
    )


def _fit(trace: tuple[Point, ...], known: Known, total_s: float, share: float) -> _Fit:
    """Run the lags over the record, then least squares: reading = offset + rate * heat arrived - loss * time it was
    warmer than the room + lead * what arrives just now. The plate's loss is one more observation of it."""
    heats, arrives = arrived_s(trace, total_s * share, total_s * (1.0 - share))
    columns = [_about_mean(heats), _about_mean(cooled_k(trace, known))]
    if known.in_stream:
        columns.append(_about_mean(arrives))
    levels = _about_mean([point.reading_c for point in trace])
    weight = ALIKE * ERR_K**2 / (PRIOR_LOSS * known.loss_w_per_k) ** 2
    normal = [[_dot(a, b) for b in columns] for a in columns]
    sides = [_dot(a, levels) for a in columns]
    normal[1][1] += weight
    sides[1] += weight * known.loss_w_per_k
    inverse = _inverted(normal)
    found = [_dot(row, sides) for row in inverse]
    if found[1] < 0.0:  # what is warmed by the sun loses nothing
        found = [_dot(columns[0], levels) / max(normal[0][0], 1e-9), 0.0, *(0.0 for _ in columns[2:])]
    error = sum(
        (y - sum(f * column[i] for f, column in zip(found, columns, strict=True))) ** 2 for i, y in enumerate(levels)
    )
    lead = (found[2], inverse[2][2]) if known.in_stream else (0.0, 0.0)
    figures, doubts = Figures(found[0], found[1], lead[0]), Figures(inverse[0][0], inverse[1][1], lead[1])
    return _Fit(error, total_s, share, figures, doubts)


def _dot(a: list[float], b: list[float]) -> float:
    return sum(x * y for x, y in zip(a, b, strict=True))


def _about_mean(values: list[float]) -> list[float]:
    mean = sum(values) / len(values)
    return [value - mean for value in values]


def _inverted(matrix: list[list[float]]) -> list[list[float]]:
    """The inverse of a small symmetric matrix, by Gauss and Jordan; a figure the record says nothing of comes out as
    nothing."""
    size = len(matrix)
    rows = [[*row, *(float(i == j) for j in range(size))] for i, row in enumerate(matrix)]
    for i in range(size):
        pivot = rows[i][i]
        if pivot < 1e-9 * max(matrix[i][i], 1e-9):
            rows[i] = [0.0] * (2 * size)
            continue
        rows[i] = [value / pivot for value in rows[i]]
        for j in range(size):
            if j != i:
                rows[j] = [value - rows[j][i] * own for value, own in zip(rows[j], rows[i], strict=True)]
    return [row[size:] for row in rows]


def course_c(trace: tuple[Point, ...], found: Identified, known: Known) -> list[float]:
    """Which readings should the record have by what was found, °C? It begins where the record does."""
    heats, arrives = arrived_s(trace, found.dead_s, found.lag_s)
    rate, fallen_k = found.power_w / known.capacity_j_per_k, cooled_k(trace, known)
    return [
        trace[0].reading_c + rate * heat + found.loss_w_per_k * fallen + found.lead_k * share
        for heat, fallen, share in zip(heats, fallen_k, arrives, strict=True)
    ]


def cooled_k(trace: tuple[Point, ...], known: Known) -> list[float]:
    """By how much has the reading fallen at each point for each W/K of loss, with its sign, K a W/K?"""
    total, last, out = 0.0, trace[0], []
    for point in trace:
        over_k = 0.5 * (point.reading_c + last.reading_c) - known.room_c
        total -= over_k / known.capacity_j_per_k * (point.t_s - last.t_s)
        last = point
        out.append(total)
    return out


def arrived_s(trace: tuple[Point, ...], dead_s: float, lag_s: float) -> tuple[list[float], list[float]]:
    """How much heat has reached the probe at each point, s of full power, and which share of it arrives just then?"""
    arriving, total, last_s = NOTHING.arriving, 0.0, trace[0].t_s
    totals, shares = [], []
    for point in trace:
        dt = point.t_s - last_s
        arriving = passed(dead_s, lag_s, point.duty, arriving, dt)
        total += arriving[-1] * dt
        last_s = point.t_s
        totals.append(total)
        shares.append(arriving[-1])
    return totals, shares
