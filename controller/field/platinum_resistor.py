"""What temperature has a platinum resistor, and what resistance a temperature?

The Callendar-Van Dusen equations with the coefficients of IEC 60751:2008, clause 4.2 (the same in the 2022 edition):

    0..850 °C     R = R0 (1 + A t + B t²)
    -200..0 °C    R = R0 (1 + A t + B t² + C (t - 100) t³)
"""

from __future__ import annotations

from math import sqrt

A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12  # per K, K², K⁴; IEC 60751:2008, 4.2
LOWEST_C, HIGHEST_C = -200.0, 850.0  # range of the standard
ROUNDING = 5e-6  # of R0: half the last figure of the standard's tables


def resistance_ohm(temperature_c: float, r0_ohm: float = 100.0) -> float:
    """What is the resistance at this temperature, ohm? ValueError outside the standard's range.

    `r0_ohm`: the resistance at 0 °C, 100 for a Pt100.
    """
    t = temperature_c
    if not (LOWEST_C <= t <= HIGHEST_C):
        raise ValueError(f"{t} °C is outside {LOWEST_C:g}..{HIGHEST_C:g} °C")
    cold = C * (t - 100.0) * t**3 if t < 0 else 0.0
    return r0_ohm * (1.0 + A * t + B * t * t + cold)


def temperature_c(resistance: float, r0_ohm: float = 100.0) -> float | None:
    """What is the temperature at this resistance, °C? None where the standard's range ends, or for no number.

    Above 0 °C the quadratic solved; below, Newton's steps from that (four reach 1e-9 K over the whole range).
    """
    ratio = resistance / r0_ohm
    lowest, highest = resistance_ohm(LOWEST_C, 1.0) - ROUNDING, resistance_ohm(HIGHEST_C, 1.0) + ROUNDING
    if not (lowest <= ratio <= highest):
        return None
    t = (-A + sqrt(A * A - 4.0 * B * (1.0 - ratio))) / (2.0 * B)
    for _ in range(4 if ratio < 1.0 else 0):
        excess = 1.0 + A * t + B * t * t + C * (t - 100.0) * t**3 - ratio
        t -= excess / (A + 2.0 * B * t + C * (4.0 * t**3 - 300.0 * t * t))
    return t
