"""Gravities, yields and pH turn round."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing import rules_of_thumb, wort

share = st.floats(0.3, 0.9)


@given(st.floats(1.0, 1.129))
def test_plato_inverts(specific_gravity: float) -> None:
    """Gravity to degrees Plato and back."""
    strength = max(wort.plato(specific_gravity), 0.0)
    assert wort.gravity(strength) == pytest.approx(specific_gravity, abs=2e-5)


@given(st.floats(1.0, 1.083))
def test_plato_against_a_second_formula(specific_gravity: float) -> None:
    """Up to 20 °P the cubic agrees within 0.05 °P with 260.4 - 260.4/s (J. Buhl, second hand)."""
    assert wort.plato(specific_gravity) == pytest.approx(260.4 - 260.4 / specific_gravity, abs=0.05)


@pytest.mark.parametrize("value", [0.9, 1.2, 1056.0, float("nan")])
def test_absurd_gravities_are_refused(value: float) -> None:
    """A gravity written as 1056 is refused, not extrapolated."""
    with pytest.raises(ValueError, match="specific gravity"):
        wort.plato(value)


@pytest.mark.parametrize("value", [-0.1, 30.1, float("nan")])
def test_absurd_strengths_are_refused(value: float) -> None:
    """Outside 0..30 °P there is no answer."""
    with pytest.raises(ValueError, match="°P"):
        wort.gravity(value)


@given(st.floats(2.0, 5.0), st.floats(0.0, 0.1), share)
def test_first_wort_and_conversion_invert(thickness: float, moisture: float, extract: float) -> None:
    """The strongest first wort means that all of the extract is in solution."""
    strength = wort.first_wort_p(thickness, moisture, extract)
    assert wort.conversion_share(strength, thickness, moisture, extract) == pytest.approx(1.0)


@given(st.floats(0.01, 0.1), share)
def test_congress_formula_is_the_same_balance(moisture: float, extract: float) -> None:
    """The laboratory formula is the first-wort balance at 8 L/kg."""
    strength = wort.first_wort_p(8.0, moisture, extract)
    assert wort.congress_extract_share(strength, moisture) == pytest.approx(extract)


@given(st.floats(10.0, 200.0), st.floats(1.02, 1.10), st.floats(2.0, 50.0))
def test_yield_closes(volume_l: float, specific_gravity: float, grist_kg: float) -> None:
    """Yield times grist is the mass of extract in the wort."""
    extract_kg = volume_l * specific_gravity * wort.DENSITY_20_KG_PER_L * wort.plato(specific_gravity) / 100.0
    assert wort.brewhouse_yield_share(volume_l, specific_gravity, grist_kg) * grist_kg == pytest.approx(extract_kg)


@given(st.floats(4.5, 6.5), st.floats(15.0, 80.0))
def test_ph_inverts(ph: float, temperature_c: float) -> None:
    """Hot to room temperature and back."""
    assert wort.ph_at_room(wort.ph_at(ph, temperature_c), temperature_c) == pytest.approx(ph)


def test_the_striking_table_is_interpolated() -> None:
    """Between printed moistures the table goes straight, and outside it is refused."""
    assert rules_of_thumb.striking_figures(5.0) == pytest.approx((0.405, 1.4))
    for moisture in (-0.1, 8.1):
        with pytest.raises(ValueError, match="moisture"):
            rules_of_thumb.striking_figures(moisture)
