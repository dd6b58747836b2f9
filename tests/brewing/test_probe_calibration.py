"""A calibration point is taken only when it is steady and sane."""

from __future__ import annotations

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing.probe_calibration import (
    Correction,
    Point,
    Refused,
    Sample,
    boiling_point,
    corrected_c,
    correction,
    ice_point,
    platinum_tolerance_k,
)


def raw_of_c(line: Correction, true_c: float) -> float:
    """What such a probe says at this temperature."""
    return line.raw_ice_c + true_c * (line.raw_boil_c - line.raw_ice_c) / line.boil_c


def _steady(raw_c: float, count: int = 25, every_s: float = 10.0, drift_k: float = 0.0) -> list[Sample]:
    return [Sample(1000.0 + i * every_s, raw_c + drift_k * i / (count - 1)) for i in range(count)]


def _reasons(outcome: Point | Refused) -> str:
    assert isinstance(outcome, Refused)
    return "; ".join(outcome.reasons)


def test_both_points_make_the_correction() -> None:
    """Steady ice and boil at 1000 m give the line that reads 64.97 °C at raw 65.4."""
    ice, boil = ice_point(_steady(0.4)), boiling_point(_steady(97.1), altitude_m=1000.0)
    assert isinstance(ice, Point)
    assert isinstance(boil, Point)
    line = correction(ice, boil)
    assert corrected_c(line, 65.4) == pytest.approx(64.97, abs=0.01)


@given(st.floats(-2.9, 2.9), st.floats(-2.9, 2.9), st.floats(0.0, 100.0))
def test_correction_inverts(ice_off: float, boil_off: float, true_c: float) -> None:
    """What the probe says at a temperature, a straight line, is corrected to it; both points come out exact."""
    line = Correction(ice_off, 98.94 + boil_off, 98.94)
    said_c = ice_off + true_c * (98.94 + boil_off - ice_off) / 98.94
    assert corrected_c(line, said_c) == pytest.approx(true_c, abs=1e-9)
    assert corrected_c(line, ice_off) == pytest.approx(0.0, abs=1e-9)
    assert corrected_c(line, 98.94 + boil_off) == pytest.approx(98.94, abs=1e-9)


def test_forgotten_altitude_runs_every_rest_cold() -> None:
    """At 1500 m, water's 95.0 °C taken for 100 makes what really is 61.7 °C a displayed 65.0."""
    wrong = Correction(0.0, 94.98, 100.0)
    assert corrected_c(wrong, 61.7) == pytest.approx(65.0, abs=0.05)


def test_the_station_pressure_is_used() -> None:
    """A low of 95 kPa puts the boiling point at 98.18 °C, and it goes before the altitude."""
    outcome = boiling_point(_steady(98.5), pressure_kpa=95.0, altitude_m=310.0)
    assert isinstance(outcome, Point)
    assert outcome.true_c == pytest.approx(98.18, abs=0.006)


def test_the_pressure_alone_is_enough() -> None:
    """Who knows the station pressure needs no altitude."""
    outcome = boiling_point(_steady(99.0), pressure_kpa=98.0)
    assert isinstance(outcome, Point)
    assert outcome.true_c == pytest.approx(99.04, abs=0.006)


def test_an_unsteady_point_is_refused() -> None:
    """A reading that still creeps by 0.12 K in 2 min is refused, one that creeps by 0.08 K is taken."""
    assert isinstance(ice_point(_steady(0.0, drift_k=0.16)), Point)
    assert "moved by 0.12 K" in _reasons(ice_point(_steady(0.0, drift_k=0.24)))


def test_an_absurd_point_is_refused() -> None:
    """More than 3 K off is no matter of calibration: warm ice water, a probe out of the kettle."""
    assert isinstance(ice_point(_steady(2.9)), Point)
    assert "3.10 °C where it is 0.00" in _reasons(ice_point(_steady(3.1)))
    assert "wanted within 3 K" in _reasons(boiling_point(_steady(95.0), altitude_m=310.0))


def test_early_swings_do_not_count() -> None:
    """Only the newest two minutes are judged: a probe just put in may swing first."""
    early = [Sample(700.0 + 10.0 * i, 20.0 - i) for i in range(20)]
    assert isinstance(ice_point([*early, *_steady(0.1)]), Point)


def test_too_little_is_refused() -> None:
    """One minute of readings, or none, is not two minutes."""
    assert "7 readings over 60 s" in _reasons(ice_point(_steady(0.0, count=7)))
    assert "0 readings over 0 s" in _reasons(ice_point([]))


def test_a_gap_is_refused() -> None:
    """A probe that was silent for most of the time has not been seen to be steady."""
    samples = [*_steady(0.0, count=10), Sample(1200.0, 0.0)]
    assert "gap of 110 s" in _reasons(ice_point(samples))


def test_readings_out_of_order_are_refused() -> None:
    """Time that stands still or runs back makes no stretch."""
    assert "order of time" in _reasons(ice_point([*_steady(0.0), Sample(1240.0, 0.0)]))


def test_not_a_number_is_refused() -> None:
    """A reading that is not a number spoils the point."""
    samples = _steady(0.0)
    samples[-3] = samples[-3]._replace(raw_c=nan)
    assert "not a number" in _reasons(ice_point(samples))


def test_every_reason_is_given() -> None:
    """Unsteady and far off are both said."""
    assert len(_refused(ice_point(_steady(5.0, drift_k=2.0))).reasons) == 2


def _refused(outcome: Point | Refused) -> Refused:
    assert isinstance(outcome, Refused)
    return outcome


@pytest.mark.parametrize(
    ("altitude_m", "pressure_kpa", "said"),
    [
        (None, None, "neither pressure nor altitude"),
        (5000.0, None, "altitude 5000 m"),
        (None, 1013.25, "pressure 1013.25 kPa"),
        (1500.0, 101.3, "reduced to sea level"),
        (nan, None, "altitude nan"),
        (None, nan, "pressure nan"),
    ],
)
def test_an_unknown_place_is_refused(altitude_m: float | None, pressure_kpa: float | None, said: str) -> None:
    """Without a believable pressure or altitude nobody knows what boiling water should read."""
    assert said in _reasons(boiling_point(_steady(97.0), altitude_m=altitude_m, pressure_kpa=pressure_kpa))


def test_swapped_points_are_refused() -> None:
    """An ice point cannot stand in for a boiling point."""
    ice = Point("ice", 0.0, 0.0)
    with pytest.raises(ValueError, match="found ice and ice"):
        correction(ice, ice)


def test_platinum_classes() -> None:
    """Tolerances of IEC 60751 at 0 and 65 °C; an unknown class is refused."""
    assert [platinum_tolerance_k(c, 0.0) for c in ("AA", "A", "B", "C")] == [0.10, 0.15, 0.30, 0.60]
    assert platinum_tolerance_k("AA", -65.0) == pytest.approx(0.2105)
    assert platinum_tolerance_k("C", 65.0) == pytest.approx(1.25)
    with pytest.raises(ValueError, match="none of AA, A, B, C"):
        platinum_tolerance_k("D", 0.0)
