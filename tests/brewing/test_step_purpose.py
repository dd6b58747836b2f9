"""Every step says in one plain sentence why it is there."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing.step_purpose import reason_for_step

KINDS = ("dough_in", "rest", "infusion", "decoction", "mash_out", "keep", "souring")


@pytest.mark.parametrize(
    ("temperature_c", "said"),
    [
        (30.0, "soaks"),
        (40.0, "beta-glucanase"),
        (40.0, "beta-glucan from"),  # rye's gum is mostly arabinoxylan (from memory: some 8 % of the grain, 2 % this)
        (40.0, "arabinoxylan"),
        (44.0, "ferulic acid"),
        (50.0, "proteases"),
        (58.0, "bridge"),
        (63.0, "a drier beer"),
        (67.0, "between dry and full"),
        (72.0, "dextrins"),
        (76.0, "enzymes fade"),
        (80.0, "enzymes are lost within minutes"),
    ],
)
def test_each_window_has_its_own_reason(temperature_c: float, said: str) -> None:
    """A rest is explained by the enzymes of its window and what they do to the beer."""
    assert said in reason_for_step("rest", temperature_c, 1800.0)


@pytest.mark.parametrize(
    ("from_c", "said"),
    [
        (35.0, "beta-glucanase"),
        (43.0, "ferulic acid"),
        (45.5, "proteases"),
        (55.5, "bridge"),
        (60.0, "limit dextrinase"),
        (66.0, "side by side"),
        (69.0, "alpha-amylase finishes"),
        (74.0, "enzymes fade"),
        (78.1, "lost within minutes"),
    ],
)
def test_each_window_begins_at_its_degree(from_c: float, said: str) -> None:
    """At the degree where a window begins its reason stands, a tenth of a degree below it does not."""
    assert said in reason_for_step("rest", from_c, 900.0)
    assert said not in reason_for_step("rest", from_c - 0.1, 900.0)


@pytest.mark.parametrize(("hot_c", "said"), [(70.0, "most beta-amylase was lost"), (69.9, "drier beer")])
def test_beta_amylase_is_lost_from_70(hot_c: float, said: str) -> None:
    """A rest at 63 °C after one at 70 °C has most of its beta-amylase lost; after 69.9 °C it is not said."""
    assert said in reason_for_step("rest", 63.0, 900.0, hot_c)


def test_no_word_of_foam_above_60() -> None:
    """Dextrins are not called a foam former: no rest above 60 °C speaks of foam or body."""
    for celsius in range(60, 81):
        assert not {"foam", "body"} & set(reason_for_step("rest", float(celsius), 900.0).replace(",", " ").split())


def test_a_long_protein_rest_is_called_long() -> None:
    """Up to 15 min a protein rest can cost foam, longer it does."""
    assert "this can cost foam" in reason_for_step("rest", 50.0, 900.0)
    assert "this long stay costs foam" in reason_for_step("rest", 50.0, 901.0)


def test_a_rest_says_how_long_and_how_hot() -> None:
    """Time and temperature open the sentence."""
    assert reason_for_step("rest", 63.0, 2400.0).startswith("40 min at 63 °C: ")
    assert reason_for_step("souring", 44.0, 86_400.0).startswith("24 h at 44 °C: ")
    assert reason_for_step("souring", 44.0, 1800.0).startswith("30 min at 44 °C: ")


@pytest.mark.parametrize(
    ("temperature_c", "hottest_c", "said"),
    [
        (50.0, 66.0, "lost at 66 °C before"),
        (40.0, 66.0, "lost at 66 °C before"),
        (50.0, 63.0, "proteases"),
        (63.0, 72.0, "most beta-amylase was lost at 72 °C before"),
        (63.0, 69.0, "beta-amylase and limit dextrinase cut"),
        (72.0, 79.0, "nothing is converted any more"),
        (72.0, 66.0, "alpha-amylase finishes"),
    ],
)
def test_what_was_destroyed_does_not_work(temperature_c: float, hottest_c: float, said: str) -> None:
    """Proteases are gone soon at 65 °C, beta-amylase at 70 (2 to 5 min), all at 79: a later rest claims none."""
    sentence = reason_for_step("rest", temperature_c, 900.0, hottest_c)
    assert said in sentence
    assert ("proteases" in sentence) == (said == "proteases")


def test_mash_out_by_its_temperature() -> None:
    """Below 74 °C it does not stop the enzymes, to 78 it does, above it does harm."""
    assert "not stopped yet" in reason_for_step("mash_out", 72.0, 600.0)
    assert "runs off faster" in reason_for_step("mash_out", 78.0, 600.0)
    assert "alpha-amylase stops soon, beta-amylase went before" in reason_for_step("mash_out", 78.0, 600.0)
    assert "tannin" in reason_for_step("mash_out", 79.0, 600.0)


def test_additions_say_what_they_lift_the_mash_into() -> None:
    """An infusion and a decoction are explained by themselves and by the window they lead to."""
    for kind in ("infusion", "decoction"):
        sentence = reason_for_step(kind, 64.0, 0.0)
        assert "64 °C" in sentence
        assert "maltose" in sentence


@given(st.sampled_from(KINDS), st.floats(1.0, 100.0), st.floats(0.0, 1e6))
def test_always_one_sentence(kind: str, temperature_c: float, hold_s: float) -> None:
    """One sentence: it begins with a capital or a figure, ends with a full stop, and no place in it is left open."""
    sentence = reason_for_step(kind, temperature_c, hold_s)
    assert sentence[0].isupper() or sentence[0].isdigit()
    assert sentence.endswith(".")
    assert ". " not in sentence
    assert not set(sentence) & set("{}")


def test_an_unknown_kind_is_refused() -> None:
    """There is no reason for a step that does not exist."""
    with pytest.raises(ValueError, match="no kind of step"):
        reason_for_step("boil", 100.0, 3600.0)
