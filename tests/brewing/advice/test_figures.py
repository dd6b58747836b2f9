"""Every figure in the advice table is held from both sides."""

from __future__ import annotations

import re

import pytest

from controller.brewing.advice import advice
from controller.brewing.advice.plan_facts import MashPlan
from controller.brewing.advice.rule import Rule
from controller.brewing.advice.table import RULES
from tests.brewing.advice.cases import CASES, Case
from tests.brewing.advice.demo import CASES as DEMO
from tests.brewing.advice.edges import EDGES, EDGES_BESIDE, HOT, LONG, POWERS

PLANS = (
    *(plan for case in (*CASES, *EDGES) for plan in (case.draws, case.twin)),
    *(plan for plan, _ in DEMO.values()),
    *LONG,
    *POWERS,
    *HOT,
)
FIGURES = [(rule.id, figure) for rule in RULES for figure in rule.figures]


def _drawn(plan: MashPlan) -> set[str]:
    return {one.rule for one in advice.advise(plan)}


@pytest.mark.parametrize("case", EDGES, ids=[f"{case.rule}: {case.what}" for case in EDGES])
def test_each_side_of_a_figure(case: Case) -> None:
    """Just this side of the figure the rule is drawn, just that side it is not."""
    besides, with_twin = EDGES_BESIDE.get((case.rule, case.what), (set(), set()))
    assert _drawn(case.draws) == {case.rule} | besides
    assert _drawn(case.twin) == with_twin


def _said(rule: Rule, figures: dict[str, float]) -> list[str]:
    """What the rule says of every plan, with these figures and its own numbers left out."""
    said = []
    for plan in PLANS:
        found = advice.CHECKS[rule.id](plan, figures)
        text = "" if found is None else rule.what.format(**found)
        said.append(re.sub(r"[\d.]+", "#", text) + str((found or {}).get("level", "")))
    return said


@pytest.mark.parametrize(("rule_id", "figure"), FIGURES)
def test_no_figure_can_slip(rule_id: str, figure: str) -> None:
    """Moved up or down by a little (0.6 K, or 5 %), each figure changes what is said of some plan."""
    rule = next(rule for rule in RULES if rule.id == rule_id)
    value = rule.figures[figure]
    by = 0.6 if figure.endswith("_c") else 0.05 * value
    as_it_is = _said(rule, dict(rule.figures))
    ways = (value + by, value - by) if by else (0.05,)
    for moved in ways:
        assert _said(rule, {**rule.figures, figure: moved}) != as_it_is, moved
