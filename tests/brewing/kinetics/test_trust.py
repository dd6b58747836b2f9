"""Does each condition widen or withhold what it should, once, and in its words?"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from controller.brewing.kinetics.amounts import Known
from controller.brewing.kinetics.decoction import Pulled, Returned
from controller.brewing.kinetics.model import CALIBRATED_SET, Malt, Prediction, Profile, follow, fresh, predict, read
from controller.brewing.kinetics.spoken import wort_words

HOUR: Profile = [(5.0, 66.0)] * 720
PLAIN = predict(HOUR)
ALL, NOT_LIMIT = {"limit", "extract", "iodine"}, {"extract", "iodine"}


class Case(NamedTuple):
    """A mash, and what the rule does to it."""

    words: str  # a part of them
    malt: Malt = Malt()
    profile: Profile = HOUR
    wider: float = 0.0
    lower: float = 0.0
    withheld: frozenset[str] | set[str] = frozenset()


def known(**fields: float | bool | None) -> Malt:
    return Malt(known=Known(**fields))  # type: ignore[arg-type]


CASES = {
    "N": Case("too little is pasted below 58 °C", profile=[(5.0, 50.0)] * 720, withheld=ALL),
    "O": Case("outside the temperatures", profile=[(5.0, 84.0)] * 720, withheld=ALL),
    "S": Case("12 % of the starch is still left", Malt(liquor_kg_per_kg=3.0), [(5.0, 62.0)] * 720),
    "T1": Case("De Schepper, Courtin 2022", Malt(liquor_kg_per_kg=2.8), lower=4.0),
    "T2 thick": Case("the thickness of the data", Malt(liquor_kg_per_kg=2.4), wider=5, lower=4, withheld={"extract"}),
    "T2 thin": Case("the thickness of the data", Malt(liquor_kg_per_kg=6.5), wider=5, withheld={"extract"}),
    "T3": Case("thickness not given", Malt(liquor_kg_per_kg=None), wider=2.0, withheld={"extract"}),
    "G1": Case("20 % of the grist counts as other", known(pale_share=0.8), wider=4.0, withheld={"iodine"}),
    "G2": Case("compare by the enzymes", known(pale_share=0.69), withheld=ALL),
    "G3": Case("its starch stays locked", known(raw_share=0.06), wider=4.0, withheld=NOT_LIMIT),
    "M": Case("gives up its starch later", known(under_modified=True), lower=3.0, withheld={"extract"}),
    "M, fine-coarse": Case("gives up its starch later", known(under_modified=True, fine_coarse_share=0.03), lower=3.0),
    "P": Case("a pH of 6.4 is not in the estimate", known(mash_ph=6.4), wider=3.0),
    "R": Case("bacteria", profile=[(60.0, 40.0)] * 181 + [(5.0, 66.0)] * 720, wider=4.0, withheld=NOT_LIMIT),
    "B": Case(
        "alpha-amylase is gone", profile=[(5.0, 62.0)] * 96 + [(5.0, 92.0)] * 72, withheld={"iodine"}
    ),
    "D": Case(
        "its path is assumed",
        profile=[(900.0, 60.0), Pulled(0.29, 60.0, 1.8), (2700.0, 60.0), Returned(), *HOUR],
        withheld=NOT_LIMIT,
    ),
}  # fmt: skip


def whole(malt: Malt, profile: Profile) -> Prediction:
    """The prediction of the same profile without the rule: the band by temperature alone."""
    return predict(profile, malt._replace(liquor_kg_per_kg=4.0, known=Known()))


@pytest.mark.parametrize("rule", CASES)
def test_each_rule_does_what_it_says(rule: str) -> None:
    """What is withheld has the rule's words, the band is wider by what the rule says."""
    case = CASES[rule]
    found = predict(case.profile, case.malt)
    said = [one["why"] for one in found.withheld] + list(found.widened)
    assert any(case.words in words for words in said)
    assert {one["what"] for one in found.withheld} == set(case.withheld)
    assert (found.apparent_limit_pct is None) == ("limit" in case.withheld)
    assert (found.extract_share is None) == ("extract" in case.withheld)
    band, plain = found.apparent_limit_pct, whole(case.malt, case.profile).apparent_limit_pct
    if band is not None and plain is not None and rule not in ("D", "R", "B"):
        assert (plain.mid - plain.low) + case.wider + case.lower == pytest.approx(band.mid - band.low, abs=1.01)
        assert (plain.high - plain.mid) + case.wider == pytest.approx(band.high - band.mid, abs=1.01)


def test_a_boiled_part_makes_ten_points() -> None:
    """With a decoction the band is at least ten points to each side."""
    band = predict(CASES["D"].profile, Malt()).apparent_limit_pct
    assert band is not None and band.mid - band.low >= 10.0 and band.high - band.mid >= 10.0


def test_only_the_largest_counts() -> None:
    """Other grain (4) and a pH out of range (3) widen by 4 together, and both are said."""
    both = predict(HOUR, known(pale_share=0.8, mash_ph=6.4))
    one = predict(HOUR, known(pale_share=0.8))
    assert both.apparent_limit_pct == one.apparent_limit_pct
    assert len(both.widened) == 2


def test_nothing_is_said_inside_the_data() -> None:
    """Pale malt at 66 °C and 4 kg/kg: nothing widened, nothing withheld, and thickness stands in the prediction."""
    assert (PLAIN.widened, PLAIN.withheld, PLAIN.thickness_kg_per_kg) == ((), (), 4.0)


def test_extract_is_never_a_hundred() -> None:
    """From 95 % on the words are "95 % or more"; below, a range; a sheet's fine-coarse difference takes its share."""
    assert "95 % or more of what the malt holds" in " ".join(wort_words(PLAIN.as_json()))
    cool = predict([(5.0, 60.0)] * 720)
    assert cool.extract_pct is not None and cool.extract_pct.high - cool.extract_pct.low >= 24.0
    coarse = predict(HOUR, known(fine_coarse_share=0.02))
    assert coarse.extract_share == pytest.approx((PLAIN.extract_share or 0.0) * 0.98)


def test_iodine_is_a_span() -> None:
    """At 66 °C the test turns between 12 and 33 min after dough-in; at 60 °C it does not, and the starch is named."""
    assert "between 12 and 33 min after dough-in" in " ".join(wort_words(PLAIN.as_json()))
    cold = " ".join(wort_words(predict([(5.0, 60.0)] * 720).as_json()))
    assert "not negative by the end: 15 % of the starch left" in cold


def test_under_modified_malt_has_no_crushed_figure() -> None:
    """Its coarse parts open later than any figure says: only "not before" is told."""
    found = predict(HOUR, known(under_modified=True))
    assert found.iodine_negative_min is None and found.iodine_fine_min is not None
    assert "12 min at the earliest" in " ".join(wort_words(found.as_json()))


def test_live_words_change_with_the_mash() -> None:
    """At dough-in nothing is shown, after half an hour at 66 °C the limit is."""
    assert read(fresh()).apparent_limit_pct is None
    assert read(follow(CALIBRATED_SET, fresh(), [(1800.0, 66.0)])).apparent_limit_pct is not None
