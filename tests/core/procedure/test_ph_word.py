"""Does a measured pH draw a word where it should, and none where it is as it should be?"""

from __future__ import annotations

import pytest

from controller.core.procedure.ph_word import end_of_collecting, referred, word


@pytest.mark.parametrize(
    ("ph", "at_c", "said", "warns"),
    [
        (6.4, 65.0, "6.75 in a cooled sample, is high", True),
        (5.86, None, "is high", True),
        (7.5, None, "is high", True),
        (5.85, None, "usual for pale malt", False),
        (5.66, None, "usual for pale malt", False),
        (5.14, None, "somewhat low", False),
        (4.9, None, "somewhat low", False),
        (4.89, None, "conversion slows", True),
        (3.5, None, "conversion slows", True),
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
    """In a souring step 4.0 and 6.0 draw no word, but 3.2 is still a slip."""
    assert word(4.0, None, True) is word(6.0, None, True) is None
    assert word(3.2, None, True) is not None


def test_it_is_referred_to_20() -> None:
    """45 K warmer reads 0.35 lower."""
    assert referred(5.2, 65.0) == pytest.approx(5.551)


@pytest.mark.parametrize(
    ("runnings_p", "ph", "at_c", "says"),
    [
        (2.5, None, None, None),
        (2.4, None, None, "last runnings of 2.4 °P: thinner ones bring little but tannin; end of collecting"),
        (2.5, 5.8, None, None),
        (2.5, 5.81, None, "last runnings of pH 5.81 in a cooled sample bring tannin; end of collecting"),
        (9.0, 5.6, 65.0, "last runnings of pH 5.95 in a cooled sample bring tannin; end of collecting"),
    ],
)
def test_when_collecting_ends(runnings_p: float, ph: float | None, at_c: float | None, says: str | None) -> None:
    """Under 2.5 °P, or over pH 5.8 in a cooled sample."""
    assert end_of_collecting(runnings_p, ph, at_c) == says
