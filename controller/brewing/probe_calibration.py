"""Can this probe be believed, and how is it put right?

Two points make the correction: melting ice, and water at the boil, whose temperature follows from the pressure of the
day or from the altitude. A point that is unsteady or absurd is refused: then the probe is broken, in the wrong place
or the wrong one, and a correction would only hide it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import isfinite
from typing import Literal, NamedTuple

from controller.brewing.water import boiling_c, pressure_at_altitude_kpa

STEADY_K = 0.1  # own proposal
STEADY_S = 120.0  # own proposal
LEAST_SAMPLES = 10  # own proposal: one in 12 s or more often
FURTHEST_GAP_S = 30.0  # own proposal
FURTHEST_K = 3.0  # own proposal: further off is a broken or a wrong probe
STATION_KPA = (
    60.0,
    108.5,
)  # lowest at 4200 m; highest ever on record at sea level (common knowledge of weather records)
WEATHER_KPA = 7.0  # weather at one place stays within about this of the standard atmosphere (common practice)

# Tolerance classes, K: constant and share of |t| (IEC 60751).
_PLATINUM = {"AA": (0.10, 0.0017), "A": (0.15, 0.002), "B": (0.30, 0.005), "C": (0.60, 0.01)}


class Sample(NamedTuple):
    """One uncorrected reading."""

    at_s: float
    raw_c: float


class Point(NamedTuple):
    """A calibration point that was accepted."""

    kind: Literal["ice", "boil"]
    raw_c: float  # mean over the steady stretch
    true_c: float


class Refused(NamedTuple):
    """A calibration point that was not, and every reason why."""

    reasons: tuple[str, ...]


class Correction(NamedTuple):
    """The straight line through both points; field for field what the tun file keeps for a probe."""

    raw_ice_c: float
    raw_boil_c: float
    boil_c: float


def corrected_c(line: Correction, raw_c: float) -> float:
    """What is the temperature when the probe says `raw_c`, °C?"""
    return (raw_c - line.raw_ice_c) * line.boil_c / (line.raw_boil_c - line.raw_ice_c)


def correction(ice: Point, boil: Point) -> Correction:
    """The correction through an accepted ice point and an accepted boiling point. ValueError if they are swapped."""
    if ice.kind != "ice" or boil.kind != "boil":
        raise ValueError(f"wanted an ice point and a boiling point, found {ice.kind} and {boil.kind}")
    return Correction(ice.raw_c, boil.raw_c, boil.true_c)


def ice_point(samples: Sequence[Sample]) -> Point | Refused:
    """Is this an ice point? Crushed ice with just enough water, stirred, the probe in the middle: 0.0 °C."""
    return _point("ice", samples, 0.0)


def boiling_point(
    samples: Sequence[Sample], *, altitude_m: float | None = None, pressure_kpa: float | None = None
) -> Point | Refused:
    """Is this a boiling point? Plain water at a rolling boil, the probe clear of heater and bottom.

    Give the station pressure of the day (kPa, not reduced to sea level), or the altitude; with both, they must agree.
    """
    wrong = _place_problems(altitude_m, pressure_kpa)
    if wrong:
        return Refused(wrong)
    return _point("boil", samples, boiling_c(altitude_m, pressure_kpa))


def platinum_tolerance_k(tolerance_class: str, temperature_c: float) -> float:
    """How far may an uncorrected platinum sensor be off, K? Classes AA, A, B, C of IEC 60751, else ValueError."""
    if tolerance_class not in _PLATINUM:
        raise ValueError(f"class {tolerance_class!r} is none of {', '.join(_PLATINUM)}")
    constant, share = _PLATINUM[tolerance_class]
    return constant + share * abs(temperature_c)


def _place_problems(altitude_m: float | None, pressure_kpa: float | None) -> tuple[str, ...]:
    """Why can the boiling point of the place not be known?"""
    if altitude_m is None and pressure_kpa is None:
        return ("neither pressure nor altitude is known: wanted the station pressure of the day, or the altitude",)
    if altitude_m is not None and not -430.0 <= altitude_m <= 4200.0:
        return (f"altitude {altitude_m:g} m: wanted -430 to 4200 m",)
    if pressure_kpa is None:
        return ()
    if not STATION_KPA[0] <= pressure_kpa <= STATION_KPA[1]:
        return (f"pressure {pressure_kpa:g} kPa: wanted {STATION_KPA[0]:g} to {STATION_KPA[1]:g} kPa",)
    if altitude_m is None:
        return ()
    usual = pressure_at_altitude_kpa(altitude_m)
    if abs(pressure_kpa - usual) <= WEATHER_KPA:
        return ()
    return (
        f"pressure {pressure_kpa:.1f} kPa does not fit {altitude_m:g} m, where it is about {usual:.1f} kPa: "
        "wanted the pressure of the place itself, not the one reduced to sea level that weather reports give",
    )


def _point(kind: Literal["ice", "boil"], samples: Sequence[Sample], true_c: float) -> Point | Refused:
    last = _stretch(samples)
    reasons = _sample_problems(last) or _reading_problems(last, true_c)
    if reasons:
        return Refused(reasons)
    return Point(kind, sum(s.raw_c for s in last) / len(last), true_c)


def _stretch(samples: Sequence[Sample]) -> Sequence[Sample]:
    """The newest samples, just enough of them to span the steady time."""
    if not samples:
        return samples
    start = next((i for i in range(len(samples) - 1, -1, -1) if samples[-1].at_s - samples[i].at_s >= STEADY_S), 0)
    return samples[start:]


def _sample_problems(last: Sequence[Sample]) -> tuple[str, ...]:
    """Is there enough to judge by?"""
    if any(not (isfinite(s.at_s) and isfinite(s.raw_c)) for s in last):
        return ("a reading is not a number: wanted numbers only",)
    steps = [b.at_s - a.at_s for a, b in pairwise(last)]
    found: list[str] = []
    if any(step <= 0.0 for step in steps):
        found.append("readings are not in the order of time: wanted each later than the one before")
    span = last[-1].at_s - last[0].at_s if last else 0.0
    if len(last) < LEAST_SAMPLES or span < STEADY_S:
        found.append(f"{len(last)} readings over {span:.0f} s: wanted at least {LEAST_SAMPLES} over {STEADY_S:.0f} s")
    if steps and max(steps) > FURTHEST_GAP_S:
        found.append(f"a gap of {max(steps):.0f} s between readings: wanted at most {FURTHEST_GAP_S:.0f} s")
    return tuple(found)


def _reading_problems(last: Sequence[Sample], true_c: float) -> tuple[str, ...]:
    """Is it steady, and near enough to be a matter of calibration?"""
    values = [s.raw_c for s in last]
    spread, mean = max(values) - min(values), sum(values) / len(values)
    found: list[str] = []
    if spread > STEADY_K:
        found.append(f"moved by {spread:.2f} K in {STEADY_S:.0f} s: wanted at most {STEADY_K} K; stir, and wait")
    if abs(mean - true_c) > FURTHEST_K:
        found.append(
            f"reads {mean:.2f} °C where it is {true_c:.2f} °C: wanted within {FURTHEST_K:g} K; look for a broken or "
            "wrong probe, or a wrong place, before correcting anything"
        )
    return tuple(found)
