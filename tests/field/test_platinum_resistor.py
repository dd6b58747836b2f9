"""Platinum resistors against the printed tables of the standard."""

from __future__ import annotations

import math

import pytest

from controller.field import platinum_resistor

# IEC 60751:2008, table 1 (R0 = 100 ohm), °C and ohm to three decimals as printed there. The rows were written down from
# memory of the table that makers of sensors reprint; no copy of the standard was at hand.
TABLE = [
    (-200, 18.520),
    (-100, 60.256),
    (-50, 80.306),
    (-10, 96.086),
    (0, 100.000),
    (10, 103.903),
    (20, 107.794),
    (30, 111.673),
    (40, 115.541),
    (50, 119.397),
    (60, 123.242),
    (70, 127.075),
    (80, 130.897),
    (90, 134.707),
    (100, 138.506),
    (150, 157.325),
    (200, 175.856),
    (400, 247.092),
    (850, 390.481),
]


@pytest.mark.parametrize(("celsius", "ohm"), TABLE)
def test_resistance_is_that_of_the_table(celsius: float, ohm: float) -> None:
    """Each printed resistance comes out to the last printed figure."""
    assert abs(platinum_resistor.resistance_ohm(celsius) - ohm) <= 0.0005 + 1e-9


@pytest.mark.parametrize(("celsius", "ohm"), TABLE)
def test_temperature_is_that_of_the_table(celsius: float, ohm: float) -> None:
    """Each printed resistance gives its temperature back to within what half its last figure is worth."""
    found = platinum_resistor.temperature_c(ohm)
    assert found is not None
    assert abs(found - celsius) < 0.002


def test_there_and_back() -> None:
    """Over the whole range of the standard the way back differs by less than a millionth of a kelvin."""
    worst = max(
        abs((platinum_resistor.temperature_c(platinum_resistor.resistance_ohm(t / 2)) or math.inf) - t / 2)
        for t in range(-400, 1701)
        if t != 0
    )
    assert worst < 1e-6


def test_a_pt1000_has_ten_times_the_resistance() -> None:
    """`r0_ohm` scales, and nothing else."""
    assert platinum_resistor.temperature_c(1385.06, 1000.0) == platinum_resistor.temperature_c(138.506, 100.0)


@pytest.mark.parametrize("ohm", [-1.0, 0.0, 18.51, 390.49, math.nan, math.inf, -math.inf])
def test_no_temperature_where_the_standard_ends(ohm: float) -> None:
    """A resistance that no platinum resistor has gives nothing, never a number."""
    assert platinum_resistor.temperature_c(ohm) is None


@pytest.mark.parametrize("celsius", [-200.1, 850.1, math.nan])
def test_no_resistance_outside_the_range(celsius: float) -> None:
    """Asking beyond the standard is an error."""
    with pytest.raises(ValueError, match="outside"):
        platinum_resistor.resistance_ohm(celsius)
