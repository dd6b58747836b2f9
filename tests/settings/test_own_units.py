"""Sentences told in the units that people think in, and read back."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing.units import TABLE, quantity
from controller.settings.own_units import in_own_units, own
from tests.settings.own_choices import CHOICES, METRIC, read_back

US = own("US")

TOLD = (
    ("Strike   52.8 °C = 50.0 °C + 2.8 K", "Strike   127.0 °F = 122.0 °F + 5.0 °F"),
    ("35 to 45 °C, 54.5..57.1 °C", "95 to 113 °F, 130.1..134.8 °F"),
    ("at 65, 70, 75 and 80 °C", "at 149, 158, 167 and 176 °F"),
    ("60.0 kg liquor (3.0 L/kg), 73.4 L", "132.3 lb liquor (1.44 qt/lb), 19.39 gal"),
    ("1.00 K/min, 0.1 kg, 2 L, 12.1 °P", "1.80 °F/min, 3.5 oz, 2.1 qt, 1.0488 SG"),
    ("63.33 °C was written 146 °F", "146 °F was written 146 °F"),
    ("keep       78.0 °C  2 h", "keep      172.4 °F  2 h"),  # a column stays one
    ("a number from 0 to 40 °P", "a number from 0 to 40 °P"),  # no wort is as strong
    ("5 kW, 12.5 kJ/K, 4 W/K, 0.30 /kWh, step 3", "5 kW, 12.5 kJ/K, 4 W/K, 0.30 /kWh, step 3"),
)


@pytest.mark.parametrize(("metric", "told"), TOLD)
def test_sentences_in_us_units(metric: str, told: str) -> None:
    """Each quantity of a sentence, in a list or a range too, in the other unit; what has none stays; metric changes
    nothing."""
    assert in_own_units(metric, US) == told
    assert in_own_units(metric, own("metric")) == metric


@given(st.sampled_from(sorted(METRIC)), st.floats(0, 1), st.integers(0, 3), st.sampled_from(CHOICES))
def test_what_is_told_is_read_back_to_the_same_value(unit: str, part: float, decimals: int, choice: str) -> None:
    """Any quantity as printed, told in any unit that can be chosen and read again, is the same to the digit printed."""
    kind, low, high = METRIC[unit]
    printed = f"{low + part * (high - low):.{decimals}f}"
    told = in_own_units(f"{printed} {unit}", own(choice))
    assert float(read_back(unit, printed, quantity(kind, told))) == float(printed)


def test_every_unit_that_can_be_chosen_is_read() -> None:
    """The units of all sets and kinds stand in the table that reads; any other name, or two of one kind, is refused."""
    for text in CHOICES:
        assert {told.name for told in own(text).values()} <= {name for row in TABLE.values() for name in row.units}
    for wrong in ("furlong", "°F °C", "kW"):
        with pytest.raises(ValueError, match=re.escape('"metric", "US"')):
            own(wrong)
