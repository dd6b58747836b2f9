"""What is a person asked for, in words that a hand with a ladle understands?"""

from __future__ import annotations

import pytest

from controller.core.procedure import questions
from controller.core.procedure.run import Run
from tests.core.bench import course, leg

AWAY = leg("first pull", 72.0, 600.0, kind="decoction")._replace(addition_kg=28.0)
PLAN = course(AWAY)._replace(grist_kg=20.0, liquor_kg=60.0)


@pytest.mark.parametrize(
    ("pull_kg_per_kg", "grist_kg", "said"),
    [
        (1.8, 20.0, "the thick of it (1.8 L/kg, about 25 L)"),  # 28 kg = 10 kg of grain + 18 of liquor; 6.7 L + 18 L
        (3.0, 20.0, "as thick as it stands (3.0 L/kg, about 26 L)"),
        (None, 20.0, "as it stands"),
        (1.8, 0.0, "as it stands"),
    ],
)
def test_a_pull_is_told_by_its_thickness_and_litres(pull_kg_per_kg: float | None, grist_kg: float, said: str) -> None:
    """The thick is named with its L/kg and its litres, 0.67 L a kilogram of grain in them; else it is as it stands."""
    drawn = AWAY._replace(pull_kg_per_kg=pull_kg_per_kg)
    asked = questions.ask(Run(course=PLAN._replace(grist_kg=grist_kg, legs=(drawn,))), drawn, "pull", 0.0).prompt
    assert asked is not None
    assert said in asked.text
