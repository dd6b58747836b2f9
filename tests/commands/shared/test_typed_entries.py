"""Measured values typed in any unit."""

from __future__ import annotations

import pytest

from controller.commands.shared.typed_entries import entry
from controller.core.procedure import entries

TYPED = (
    ("final_volume_l", "105", ("final_volume_l", 105.0)),
    ("final_volume", "27.7 gal", ("final_volume_l", 104.8559)),  # 27.7 x 3.785411784
    ("first_wort", "1.080 SG", ("first_wort_p", 19.331)),  # W51
    ("ph_at", "149 °F", ("ph_at_c", 65.0)),
    ("gypsum", "0.5 oz", ("gypsum_g", 14.1748)),  # 28.3495 g an ounce
    ("batch", "93", ("batch", "93")),
    ("answer", "no starch", ("answer", "no starch")),
    ("final_p", "27.7 gal", ("final_p", "27.7 gal")),  # told by what the key wants
)


@pytest.mark.parametrize(("key", "text", "filed"), TYPED)
def test_each_is_filed_in_its_key_s_unit(key: str, text: str, filed: tuple[str, object]) -> None:
    """A quantity goes under the key with its unit, a bare number counts in that unit, words stay words."""
    assert entry(key, text) == filed


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [("final_p", 1.048, "specific gravity; in °P that is 11.9"), ("ph_at_c", 149.0, "Fahrenheit; in °C that is 65.0")],
)
def test_what_looks_like_the_other_unit_is_asked_back(key: str, value: float, said: str) -> None:
    """A specific gravity where °P is wanted, and degrees Fahrenheit where Celsius is, are not filed."""
    (problem,) = entries.problems({key: value})
    assert said in problem
