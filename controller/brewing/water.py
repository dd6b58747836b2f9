"""How heavy, how hot-holding and how hot at the boil is brewing liquor?

Liquor is taken as pure water: the salts of a brewing liquor change density by less than 0.1 %. Density, specific heat
and enthalpy follow IAPWS SR6-08(2011), liquid water at 0.1 MPa; the boiling point follows IAPWS-IF97, region 4.
"""

from __future__ import annotations

from math import sqrt

SPECIFIC_HEAT_J_PER_KG_K = 4190.0  # the one figure for heat balances: mean of 60..78 °C, IAPWS SR6-08(2011)
J_PER_L_K = SPECIFIC_HEAT_J_PER_KG_K  # where a litre is taken as a kilogram: from 20 to 78 °C up to 2.7 % too much

_KELVIN = 273.15
_R_KJ_PER_KG_K = 0.46151805  # SR6-08, table 1
_T_RED_K = 10.0  # SR6-08, table 1
_P_MPA = 0.1

# SR6-08(2011), tables 2 and 3: exponent and coefficient; g-terms (energy) and v-terms (volume), in alpha and in beta.
_G_ALPHA = ((4, -1.661470539e5), (5, 2.708781640e6), (7, -1.557191544e8))
_G_BETA = ((2, -8.237426256e-1), (3, 1.908956353), (4, -2.017597384), (5, 8.546361348e-1))
_C1, _C3 = -2.452093414e2, -8.983025854
_V_CONST = 1.93763157e-2
_V_ALPHA = ((4, 6.74458446e3), (5, -2.22521604e5), (7, 1.00231247e8), (8, -1.63552118e9), (9, 8.32299658e9))
_V_BETA = (
    (1, 5.78545292e-3),
    (2, -1.53195665e-2),
    (3, 3.11337859e-2),
    (4, -4.23546241e-2),
    (5, 3.38713507e-2),
    (6, -1.19946761e-2),
)

# IAPWS-IF97, table 34: n1..n10 of the saturation line.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def density_kg_per_l(temperature_c: float) -> float:
    """What does a litre of liquor weigh, kg/L? 0..100 °C, else ValueError. IAPWS SR6-08(2011), within 0.001 %."""
    alpha, beta, _ = _variables(temperature_c)
    volume = _V_CONST + sum(a * alpha**n for n, a in _V_ALPHA) + sum(b * beta**m for m, b in _V_BETA)
    return _P_MPA / (_R_KJ_PER_KG_K * _T_RED_K * volume)


def specific_heat_j_per_kg_k(temperature_c: float) -> float:
    """How much heat warms a kilogram by one kelvin, J/(kg K)? 0..100 °C, else ValueError. IAPWS SR6-08(2011)."""
    alpha, beta, tau = _variables(temperature_c)
    in_alpha = sum(n * (n + 1) * a * alpha ** (n + 2) for n, a in _G_ALPHA)
    in_beta = sum(m * (m + 1) * b * beta ** (m + 2) for m, b in _G_BETA)
    return -1000.0 * _R_KJ_PER_KG_K * (_C3 + tau * (in_alpha + in_beta))


def enthalpy_j_per_kg(temperature_c: float) -> float:
    """How much heat is in a kilogram, J/kg, counted from 0 °C? 0..100 °C, else ValueError. IAPWS SR6-08(2011).

    h = g + T s of the standard, with the logarithms cancelled; zero lies at the triple point, as in IAPWS-95.
    """
    alpha, beta, tau = _variables(temperature_c)
    in_alpha = sum(a * alpha**n * (1.0 - n * tau * alpha) for n, a in _G_ALPHA)
    in_beta = sum(b * beta**m * (1.0 + m * tau * beta) for m, b in _G_BETA)
    return 1000.0 * _R_KJ_PER_KG_K * _T_RED_K * (_C1 - _C3 * tau + in_alpha + in_beta)


def temperature_of_enthalpy_c(enthalpy: float) -> float:
    """At which temperature is there this much heat in a kilogram, °C? Inverse of `enthalpy_j_per_kg`, J/kg in.

    Raises ValueError outside 0..100 °C. Newton's steps; the curve is nearly straight, so five are plenty.
    """
    temperature_c = enthalpy / SPECIFIC_HEAT_J_PER_KG_K
    for _ in range(5):
        temperature_c = _liquid(temperature_c)
        temperature_c -= (enthalpy_j_per_kg(temperature_c) - enthalpy) / specific_heat_j_per_kg_k(temperature_c)
    return temperature_c


def pressure_at_altitude_kpa(altitude_m: float) -> float:
    """What is the usual air pressure at this altitude, kPa? -1000..11000 m, else ValueError. ISO 2533:1975.

    Weather moves the real pressure by 3 kPa and more: where the station pressure of the day is known, use that.
    """
    if not -1000.0 <= altitude_m <= 11000.0:
        raise ValueError(f"altitude {altitude_m} m is outside -1000..11000 m")
    return float(101.325 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def saturation_c(pressure_kpa: float) -> float:
    """At which temperature does water boil under this pressure, °C? 1..2000 kPa, else ValueError. IAPWS-IF97."""
    if not 1.0 <= pressure_kpa <= 2000.0:
        raise ValueError(f"pressure {pressure_kpa} kPa is outside 1..2000 kPa")
    b = sqrt(sqrt(pressure_kpa / 1000.0))  # eq. 29 and 31 of the standard, b for its beta
    e = b * b + _N[2] * b + _N[5]
    f = _N[0] * b * b + _N[3] * b + _N[6]
    g = _N[1] * b * b + _N[4] * b + _N[7]
    d = 2.0 * g / (-f - sqrt(f * f - 4.0 * e * g))
    kelvin = (_N[9] + d - sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))) / 2.0
    return kelvin - _KELVIN


def boiling_c(altitude_m: float | None = None, pressure_kpa: float | None = None) -> float:
    """At which temperature does water boil here, °C? From the station pressure where given, else from the altitude.

    Neither given: sea level, 101.325 kPa (99.97 °C). The pressure is that of the place, not reduced to sea level.
    Raises ValueError as `saturation_c` and `pressure_at_altitude_kpa` do. Rule of thumb: 1 K less for each 300 m.
    """
    if pressure_kpa is None:
        pressure_kpa = pressure_at_altitude_kpa(altitude_m or 0.0)
    return saturation_c(pressure_kpa)


def _variables(temperature_c: float) -> tuple[float, float, float]:
    """The standard's reduced temperatures alpha, beta, tau."""
    kelvin = _liquid(temperature_c) + _KELVIN
    return _T_RED_K / (593.0 - kelvin), _T_RED_K / (kelvin - 232.0), kelvin / _T_RED_K


def _liquid(temperature_c: float) -> float:
    if not -0.5 <= temperature_c <= 101.0:  # a little room for rounding; the standard itself holds to 110 °C
        raise ValueError(f"{temperature_c} °C is outside 0..100 °C, where liquor is liquid")
    return temperature_c
