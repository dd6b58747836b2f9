"""Sentences told in the units that people think in, and read back."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing.units import TABLE, Kind, quantity
from controller.settings.own_units import SETS, in_own_units, own

US = own("US")

TOLD = (
    ("Strike   52.8 °C = 50.0 °C + 2.8 K", "Strike   127.0 °F = 122.0 °F + 5.0 °F"),
    ("35 to 45 °C, 54.5..57.1 °C", "95 to 113 °F, 130.1..134.8 °F"),
    ("at 65, 70, 75 and 80 °C", "at 149, 158, 167 and 176 °F"),
    ("60.0 kg liquor (3.0 L/kg), 73.4 L", "132.3 lb liquor (1.44 qt/lb), 19.39 gal"),
    ("1.00 K/min, 0.1 kg, 2 L, 12.1 °P", "1.80 °F/min, 3.5 oz, 2.1 qt, 1.0488 SG"),
    ("63.33 °C was written 146 °F", "146 °F was written 146 °F"),
    ("keep       78.0 °C  2 h", "keep      172.4 °F  2 h"),  # a column stays one
    ("5 kW, 12.5 kJ/K, 4 W/K, 0.30 /kWh, step 3", "5 kW, 12.5 kJ/K, 4 W/K, 0.30 /kWh, step 3"),
)


@pytest.mark.parametrize(("metric", "told"), TOLD)
def test_sentences_in_us_units(metric: str, told: str) -> None:
    """Each quantity of a sentence, in a list or a range too, in the other unit; what has none stays; metric changes
    nothing."""
    assert in_own_units(metric, US) == told
    assert in_own_units(metric, own("metric")) == metric


METRIC: dict[str, tuple[Kind, float, float]] = {  # unit: its kind, from, to
    "°C": ("temperature", -10, 110),
    "K": ("difference", 0, 60),
    "K/min": ("rate", 0, 5),
    "kg": ("mass", 0, 5_000),
    "L": ("volume", 0, 20_000),
    "L/kg": ("thickness", 1, 10),
    "L/min": ("flow", 0, 500),
    "°P": ("gravity", 0, 29),
}


@given(
    st.sampled_from(sorted(METRIC)),
    st.floats(0, 1),
    st.integers(0, 3),
    st.sampled_from([*sorted(SETS), "°F oz qt", "bbl", "imp bbl SG"]),
)
def test_what_is_told_is_read_back_to_the_same_value(unit: str, part: float, decimals: int, choice: str) -> None:
    """Any quantity as printed, told in any unit and read again, is the same to the digit printed."""
    kind, low, high = METRIC[unit]
    printed = f"{low + part * (high - low):.{decimals}f}"
    read = quantity(kind, in_own_units(f"{printed} {unit}", own(choice)))
    base = 60.0 if unit == "K/min" else 1.0
    assert float(f"{read * base:.{decimals}f}") == pytest.approx(float(printed), abs=1e-9)


def test_every_unit_that_can_be_chosen_is_read() -> None:
    """The units of all sets and kinds stand in the table that reads; any other name, or two of one kind, is refused."""
    for text in SETS.values():
        assert {told.name for told in own(text).values()} <= {name for row in TABLE.values() for name in row.units}
    for wrong in ("furlong", "°F °C", "kW"):
        with pytest.raises(ValueError, match=re.escape('"metric", "US"')):
            own(wrong)
