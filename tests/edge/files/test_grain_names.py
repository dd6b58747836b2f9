"""Is the kind of a recipe's grain taken from its name only where that is certain, and asked otherwise?"""

from __future__ import annotations

import pytest

from controller.edge.files.grain_names import KINDS, SURE, grain, kind_of
from controller.settings.problems import Problem


@pytest.mark.parametrize(
    ("name", "kind", "flaked"),
    [
        ("Pale malt", "malt", False),
        ("German Pilsner malt, floor malted", "malt", False),
        ("Flaked barley", "barley", True),
        ("Raw barley", "barley", False),
        ("Oat hulls", "husk", False),
        ("Rice hulls", "husk", False),
        ("Malted wheat", "wheat malt", False),
        ("Malted oats", "oat malt", False),
        ("Torrified wheat", "wheat", True),
        ("Crystal 60L", "caramel malt", False),
        ("Roasted barley", "roasted malt", False),
        ("Dark Munich", "kilned malt", False),
        ("House special (caramel malt)", "caramel malt", False),
        ("Millet (flaked sorghum)", "sorghum", True),
    ],
)
def test_a_name_that_is_certain(name: str, kind: str, flaked: bool) -> None:
    """A name of the closed list, dressed or not, and a kind in brackets are taken."""
    assert kind_of(name) == (kind, flaked)


@pytest.mark.parametrize(
    "name",
    ["Buckwheat", "Millet", "Brown malt", "Dextrin malt", "Special B", "Oats", "Wheat", "Malt", "", "Pale (tasty)"],
)
def test_any_other_name_is_asked(name: str) -> None:
    """Buckwheat is no wheat and millet no base malt: what the list does not hold has no kind, and the sentence says how
    to give it one."""
    wrong: list[Problem] = []
    grain(name, 1.0, {}, "line 3", wrong)
    assert [problem.where for problem in wrong] == ["line 3: name"]
    assert "behind the name" in wrong[0].wanted


def test_the_list_knows_no_kind_that_there_is_not() -> None:
    """Every name of the list leads to a kind of grist that a program may hold."""
    assert {kind for kind, _ in SURE.values()} <= set(KINDS)


def test_the_sheet_goes_along() -> None:
    """Extract and moisture are told in percent; what is not known is left out."""
    line = grain("Pale malt", 1.0, {"extract": 0.805, "moisture": 0.04, "fine_coarse": None}, "line 1", [])
    assert line["sheet"] == {"extract": "80.5000 %", "moisture": "4.0000 %"}
