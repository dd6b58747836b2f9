"""Does a measured pH draw a word where it should, and none where it is as it should be?"""

from __future__ import annotations

import pytest

from controller.core.procedure.ph_word import referred, word


@pytest.mark.parametrize(
    ("ph", "at_c", "said", "warns"),
    [
        (6.4, 65.0, "6.75 in a cooled sample, is high", True),
        (5.86, None, "is high", True),
        (5.84, None, "usual for pale malt", False),
        (5.66, None, "usual for pale malt", False),
        (5.14, None, "somewhat low", False),
        (4.91, None, "somewhat low", False),
        (4.89, None, "conversion slows", True),
        (7.6, None, "hardly one", True),
        (3.4, None, "hardly one", True),
    ],
)
def test_what_is_said(ph: float, at_c: float | None, said: str, warns: bool) -> None:
    """Each band has its sentence; what is far off calls somebody."""
    found = word(ph, at_c, False)
    assert found is not None and said in found.text and found.warns is warns


@pytest.mark.parametrize(("ph", "at_c"), [(5.15, None), (5.4, None), (5.65, None), (5.1, 65.0)])
def test_a_usual_ph_draws_no_word(ph: float, at_c: float | None) -> None:
    """From 5.15 to 5.65 in a cooled sample nothing is said; 5.1 at 65 °C is 5.45."""
    assert word(ph, at_c, False) is None


def test_a_sour_mash_is_meant_to_be_sour() -> None:
    """In a souring step 4.0 draws no word, but 3.2 is still a slip."""
    assert word(4.0, None, True) is None
    assert word(3.2, None, True) is not None


def test_it_is_referred_to_20() -> None:
    """45 K warmer reads 0.35 lower."""
    assert referred(5.2, 65.0) == pytest.approx(5.551)
