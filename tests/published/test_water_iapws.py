"""Liquor's figures against the reference implementation of the IAPWS formulations (PyPI iapws 1.5).

Density, specific heat and enthalpy come from the simple equations of IAPWS SR6-08(2011); here they are held to the full
IAPWS-95 (R6-95) at 101.325 kPa, which shares no equation with them. The boiling point is held to IAPWS-IF97.
"""

from __future__ import annotations

import pytest
from iapws import IAPWS95
from iapws.iapws97 import _TSat_P

from controller.brewing import water

TEMPERATURES_C = (
    1.0,
    5.0,
    10.0,
    15.0,
    20.0,
    30.0,
    40.0,
    50.0,
    60.0,
    65.0,
    70.0,
    72.4,
    75.0,
    78.0,
    80.0,
    90.0,
    95.0,
    99.0,
)

# kg/m3, kJ/(kg K), kJ/kg as a table a brewer can check by hand (IAPWS-95 at 101.325 kPa).
PRINTED = {
    5: (1000.0, 4.205, 21.1),
    10: (999.7, 4.195, 42.1),
    15: (999.1, 4.188, 63.1),
    20: (998.2, 4.184, 84.0),
    30: (995.6, 4.180, 125.8),
    40: (992.2, 4.179, 167.6),
    50: (988.0, 4.181, 209.4),
    60: (983.2, 4.185, 251.2),
    65: (980.6, 4.187, 272.2),
    70: (977.8, 4.190, 293.1),
    72: (976.6, 4.191, 301.5),
    75: (974.8, 4.193, 314.1),
    78: (973.0, 4.195, 326.7),
    80: (971.8, 4.197, 335.1),
    90: (965.3, 4.205, 377.1),
    95: (961.9, 4.210, 398.1),
    99: (959.1, 4.215, 415.0),
}


@pytest.mark.parametrize("temperature_c", TEMPERATURES_C)
def test_liquor_against_iapws_95(temperature_c: float) -> None:
    """Density within 0.02 kg/m3, specific heat within 0.5 J/(kg K), enthalpy within 30 J/kg of IAPWS-95."""
    reference = IAPWS95(T=temperature_c + 273.15, P=0.101325)
    assert abs(1000.0 * water.density_kg_per_l(temperature_c) - reference.rho) <= 0.02
    assert abs(water.specific_heat_j_per_kg_k(temperature_c) - 1000.0 * reference.cp) <= 0.5
    assert abs(water.enthalpy_j_per_kg(temperature_c) - 1000.0 * reference.h) <= 30.0


@pytest.mark.parametrize("temperature_c", PRINTED)
def test_liquor_against_the_printed_table(temperature_c: int) -> None:
    """Density within 0.1 kg/m3, specific heat within 0.002 kJ/(kg K), enthalpy within 0.1 kJ/kg of the table."""
    density, specific_heat, enthalpy = PRINTED[temperature_c]
    assert abs(1000.0 * water.density_kg_per_l(temperature_c) - density) <= 0.1
    assert abs(water.specific_heat_j_per_kg_k(temperature_c) / 1000.0 - specific_heat) <= 0.002
    assert abs(water.enthalpy_j_per_kg(temperature_c) / 1000.0 - enthalpy) <= 0.1


@pytest.mark.parametrize("kpa", (60.0, 70.0, 80.0, 90.0, 95.0, 98.0, 100.0, 101.325, 103.0, 108.0))
def test_boiling_point_against_if97(kpa: float) -> None:
    """The boiling point is that of IAPWS-IF97, region 4, to a millionth of a kelvin."""
    assert water.boiling_c(pressure_kpa=kpa) == pytest.approx(_TSat_P(kpa / 1000.0) - 273.15, abs=1e-6)


def test_if97_verification_values() -> None:
    """Saturation temperatures are those of the release's own check table (IAPWS-IF97, table 36): 0.1 and 1 MPa."""
    assert water.saturation_c(100.0) + 273.15 == pytest.approx(372.755919, abs=1e-6)
    assert water.saturation_c(1000.0) + 273.15 == pytest.approx(453.035632, abs=1e-6)


def test_weather_alone_moves_the_boiling_point() -> None:
    """95 to 103 kPa moves the boiling point from 98.18 to 100.43 °C (IAPWS-IF97; calculated)."""
    table = {95.0: 98.18, 98.0: 99.04, 100.0: 99.61, 101.325: 99.97, 103.0: 100.43}
    for kpa, boil_c in table.items():
        assert abs(water.boiling_c(pressure_kpa=kpa) - boil_c) <= 0.006
