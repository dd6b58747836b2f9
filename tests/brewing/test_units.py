"""Quantities with their units."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing.units import TABLE, Kind, NotAQuantity, likely, quantity

KNOWN: tuple[tuple[Kind, str, float], ...] = (
    ("temperature", "66 °C", 66.0),
    ("temperature", "66°C", 66.0),
    ("temperature", "66.5 C", 66.5),
    ("temperature", "145.4 °F", 63.0),  # (145.4 - 32) * 5/9, by hand
    ("temperature", "212 degF", 100.0),  # boiling point of water on Fahrenheit's scale
    ("temperature", "-40 °F", -40.0),  # where both scales meet
    ("temperature", "−5 °C", -5.0),
    ("temperature", "66\u202f°C", 66.0),
    ("difference", "2 K", 2.0),
    ("difference", "1.8 °F", 1.0),
    ("rate", "1.0 K/min", 1.0 / 60.0),
    ("rate", "60 K/h", 1.0 / 60.0),
    ("rate", "1.8 °F/min", 1.0 / 60.0),
    ("duration", "35 min", 2100.0),
    ("duration", "1 h 10 min", 4200.0),
    ("duration", "1h10min30s", 4230.0),
    ("duration", "90 s", 90.0),
    ("duration", "1.5 h", 5400.0),
    ("mass", "20 kg", 20.0),
    ("mass", "1 lb", 0.45359237),  # exact, international yard and pound agreement, 1959
    ("mass", "16 oz", 0.45359237),
    ("volume", "60 L", 60.0),
    ("volume", "60 l", 60.0),
    ("volume", "1 gal", 3.785411784),  # exact, 231 cubic inches
    ("volume", "1 imp gal", 4.54609),  # exact, UK Weights and Measures Act 1985
    ("volume", "2.5 hL", 250.0),
    ("power", "5 kW", 5000.0),
    ("power", "800 W", 800.0),
    ("loss", "4 W/K", 4.0),
    ("capacity", "12.5 kJ/K", 12500.0),
    ("share", "4.8 %", 0.048),
    ("flow", "6 L/min", 6.0),
    ("length", "310 m", 310.0),
    ("length", "1000 ft", 304.8),  # exact
    ("thickness", "1.25 qt/lb", 1.25 * 0.946352946 / 0.45359237),  # quart and pound as above
    ("price", "0.30 /kWh", 0.3),
    ("heat", "18 kJ/kg", 18.0),
    ("energy", "3.6 MJ", 1.0),
    ("mass", "11 lb 4 oz", 5.102914162500001),  # W53: 11.25 x 0.45359237
    ("volume", "2 gal 1 qt", 2.25 * 3.785411784),  # W53: 8.51718 L
    ("volume", "1 bbl", 117.347765304),  # W53: 31 US gallons
    ("volume", "1 imp bbl", 163.65924),  # W53: 36 UK gallons
    ("gravity", "12 °P", 12.0),
    ("gravity", "10.4 °Bx", 10.0),  # unfermented wort, by 1.04
)


@pytest.mark.parametrize(("kind", "text", "value"), KNOWN)
def test_known_quantities(kind: Kind, text: str, value: float) -> None:
    """Each unit means what its definition says, to the last bit but one of a double."""
    assert quantity(kind, text) == pytest.approx(value, rel=1e-15, abs=1e-15)


REFUSED: tuple[tuple[Kind, str, str], ...] = (
    ("temperature", "66", '"66 °C"'),
    ("temperature", "152", '"152 °F"'),
    ("temperature", "149 K", "K is for differences"),
    ("temperature", "149 farads", "°C or °F"),
    ("rate", "1.5 K", "K/min"),
    ("rate", "1.5", "1.5 K/min"),
    ("duration", "5 m", "min"),
    ("duration", "10 min 1 h", "1 h 10 min"),
    ("duration", "1 h -10 min", "1 h 10 min"),
    ("duration", "1 h 10", "35 min"),
    ("mass", "20 kgs", "kg"),
    ("mass", "4 oz 11 lb", "11 lb 4 oz"),
    ("gravity", "1.048", "1.048 SG"),
    ("gravity", "12", "12 °P"),
    ("gravity", "1.3 SG", "1.000 to 1.130"),
    ("volume", "1,000 L", "point for decimals"),
    ("volume", "6_0 L", "60 L"),
    ("volume", "٦٠ L", "60 L"),
    ("volume", "NaN L", "60 L"),
    ("volume", "inf L", "60 L"),
    ("volume", "1e3 L", "60 L"),
    ("volume", "", "60 L"),
    ("volume", " ", "60 L"),
    ("volume", "L", "60 L"),
    ("power", "5", "5 kW"),
    ("power", "2400", "2400 W"),
    ("share", "0.05", "%"),
    ("volume", "6" * 81 + " L", "60 L"),
)


@pytest.mark.parametrize(("kind", "text", "wanted"), REFUSED)
def test_refused_quantities(kind: Kind, text: str, wanted: str) -> None:
    """What is no quantity of the kind is refused with words that show how to write it."""
    with pytest.raises(NotAQuantity) as refusal:
        quantity(kind, text)
    assert wanted in refusal.value.wanted


@given(st.integers(-400, 2120))
def test_fahrenheit_is_celsius(tenths_f: int) -> None:
    """A temperature in °F is the double nearest to its exact value in °C."""
    from fractions import Fraction

    exact = (Fraction(tenths_f, 10) - 32) * 5 / 9
    assert quantity("temperature", f"{tenths_f / 10:.1f} °F") == float(exact)


@given(st.sampled_from(sorted(TABLE)), st.text(max_size=40))
def test_any_text_is_read_or_refused(kind: Kind, text: str) -> None:
    """No text raises anything but the refusal, and what is read is a finite number."""
    try:
        value = quantity(kind, text)
    except NotAQuantity as refusal:
        assert refusal.wanted
    else:
        assert abs(value) < 1e18


@given(st.integers(0, 47), st.integers(0, 59), st.integers(0, 59))
def test_duration_of_parts(hours: int, minutes: int, seconds: int) -> None:
    """Hours, minutes and seconds add up."""
    assert quantity("duration", f"{hours} h {minutes} min {seconds} s") == 3600 * hours + 60 * minutes + seconds


def test_every_example_is_read() -> None:
    """The example that a refusal shows is itself a quantity of its kind."""
    for kind, row in TABLE.items():
        assert quantity(kind, row.example) > 0
        assert quantity(kind, likely(kind, 50)) == quantity(kind, likely(kind, 50.0))
