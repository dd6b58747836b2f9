"""Are ordinary recipes of all styles left in peace, and is no one warned twice for one cause?"""

from __future__ import annotations

import pytest

from controller.brewing.advice.table import RULES
from controller.plan.advise import advise
from controller.report import plan_page
from tests.brewing.advice.recipes import CAUSES, RECIPES, Recipe, planned


def test_there_are_forty_and_more() -> None:
    """Forty-three recipes of as many styles on seven tuns; every rule has its cause here."""
    assert len(RECIPES) == len({recipe.style for recipe in RECIPES}) == 43
    assert len({recipe.tun for recipe in RECIPES}) == 7
    assert list(CAUSES) == [rule.id for rule in RULES]


@pytest.mark.parametrize("recipe", RECIPES, ids=[recipe.style for recipe in RECIPES])
def test_exactly_what_is_justified_is_said(recipe: Recipe) -> None:
    """It can be run, draws the rules that stand beside it with their reason and no other, and no cause twice."""
    plan = planned(recipe)
    said = [line.advice.rule for line in advise(plan, calibration_age_days=20.0)]
    assert plan.problems == () and plan_page.notes(plan) == ()
    assert said == list(recipe.warned)
    assert all(len(reason.split()) >= 4 for reason in recipe.warned.values())
    causes = [CAUSES[rule] for rule in said]
    assert len(set(causes)) == len(causes)


def test_most_ordinary_recipes_hear_nothing() -> None:
    """Of the forty-three more than half draw no word at all."""
    silent = [recipe.style for recipe in RECIPES if not recipe.warned]
    assert len(silent) >= 22
