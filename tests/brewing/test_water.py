"""Liquor's figures turn round and stay in bounds. The published values are checked in tests/published."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing import volumes, water

liquid = st.floats(0.0, 100.0)


@given(liquid)
def test_enthalpy_inverts(temperature_c: float) -> None:
    """The temperature of a heat content is the one that it was worked out from."""
    found = water.temperature_of_enthalpy_c(water.enthalpy_j_per_kg(temperature_c))
    assert found == pytest.approx(temperature_c, abs=1e-6)


@given(st.floats(0.1, 99.9))
def test_specific_heat_is_the_slope_of_enthalpy(temperature_c: float) -> None:
    """Specific heat and enthalpy come from two formulas of the standard and agree with each other."""
    slope = (water.enthalpy_j_per_kg(temperature_c + 0.05) - water.enthalpy_j_per_kg(temperature_c - 0.05)) / 0.1
    assert slope == pytest.approx(water.specific_heat_j_per_kg_k(temperature_c), rel=1e-6)


@given(st.floats(5.0, 99.0), st.floats(0.1, 1.0))
def test_liquor_thins_as_it_warms(temperature_c: float, more_k: float) -> None:
    """Above 5 °C hotter liquor is lighter."""
    assert water.density_kg_per_l(temperature_c + more_k) < water.density_kg_per_l(temperature_c)


@given(st.floats(-400.0, 4200.0), st.floats(1.0, 100.0))
def test_higher_boils_cooler(altitude_m: float, more_m: float) -> None:
    """The boiling point falls with altitude."""
    assert water.boiling_c(altitude_m=altitude_m + more_m) < water.boiling_c(altitude_m=altitude_m)


@given(st.floats(0.0, 3000.0))
def test_the_rule_of_thumb_holds(altitude_m: float) -> None:
    """One kelvin less for each 300 m is right within 0.2 K up to 3000 m."""
    assert water.boiling_c(altitude_m=altitude_m) == pytest.approx(99.97 - altitude_m / 300.0, abs=0.2)


def test_pressure_goes_before_altitude() -> None:
    """With the pressure known the altitude plays no part; with neither it is sea level."""
    assert water.boiling_c(altitude_m=3000.0, pressure_kpa=101.325) == water.saturation_c(101.325)
    assert water.boiling_c() == pytest.approx(99.974, abs=0.001)


def test_the_demonstration_brewhouse_boils_at() -> None:
    """At 310 m, 97.66 kPa, water boils at 98.94 °C (calculated)."""
    assert water.pressure_at_altitude_kpa(310.0) == pytest.approx(97.66, abs=0.005)
    assert water.boiling_c(altitude_m=310.0) == pytest.approx(98.94, abs=0.005)


NAN = float("nan")


@pytest.mark.parametrize(
    ("figure", "odd", "why"),
    [
        (water.density_kg_per_l, (-5.0, 102.0, NAN), "where liquor is liquid"),
        (water.specific_heat_j_per_kg_k, (-5.0, 102.0, NAN), "where liquor is liquid"),
        (water.enthalpy_j_per_kg, (-5.0, 102.0, NAN), "where liquor is liquid"),
        (water.pressure_at_altitude_kpa, (-1001.0, 11_001.0, NAN), "altitude"),  # the lowest layer ends at 11 km
        (water.saturation_c, (0.9, 2001.0, NAN), "pressure"),  # bar, Pa
    ],
)
def test_no_answer_rather_than_a_wrong_one(figure: Callable[[float], float], odd: tuple[float, ...], why: str) -> None:
    """Steam and ice, altitudes beyond the standard atmosphere, and pressures in the wrong unit are refused."""
    for value in odd:
        with pytest.raises(ValueError, match=why):
            figure(value)


@given(st.floats(1.0, 100.0), liquid, st.floats(2.0, 5.0))
def test_volumes_invert(kg: float, temperature_c: float, thickness: float) -> None:
    """Litres to kilograms at the same temperature, grist to volume, and back."""
    assert volumes.liquor_kg(volumes.liquor_volume_l(kg, temperature_c), temperature_c) == pytest.approx(kg)
    assert volumes.grist_kg_for_volume(volumes.mash_volume_l(thickness * kg, kg), thickness) == pytest.approx(kg)


def test_demonstration_fills() -> None:
    """The demonstration programs fill their tuns as calculated by hand; 26 kg at 3.5 L/kg would make 108.4 L."""
    fills = ((5.0, 15.0, 18.4), (20.0, 60.0, 73.4), (18.0, 63.0, 75.1), (5.5, 19.25, 22.9), (4.0, 16.0, 18.7))
    for grist_kg, liquor_l, wanted in (*fills, (26.0, 91.0, 108.4)):
        assert volumes.mash_volume_l(liquor_l, grist_kg) == pytest.approx(wanted, abs=0.05)
    assert volumes.fill_share(108.42, 100.0) == pytest.approx(1.0842)


@given(st.floats(50.0, 200.0), st.floats(5.0, 40.0), st.floats(10.0, 90.0), st.floats(0.0, 10.0))
def test_sparge_balance_closes(kettle_l: float, grist_kg: float, mash_l: float, dead_l: float) -> None:
    """Mash and sparge liquor together are what reaches the kettle, what grain holds and what stays behind."""
    sparge = volumes.sparge_l(kettle_l, grist_kg, mash_l, dead_space_l=dead_l)
    assert mash_l + sparge == pytest.approx(kettle_l + 0.96 * grist_kg + dead_l)
