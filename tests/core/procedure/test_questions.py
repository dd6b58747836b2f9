"""What is a person asked for, in words that a hand with a ladle understands?"""

from __future__ import annotations

import pytest

from controller.core.procedure import questions
from controller.core.procedure.run import Run
from tests.core.bench import Bench, course, leg, settings

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


DOSED = course(
    leg("low", 50.0, 60.0),
    leg("hot", 50.0, 240.0, told="add 20 mL of Hot alpha (works at pH 4.5 to 6.5)", ends="iodine", ask_after_s=120.0),
    grist_kg=0,
)


@pytest.mark.parametrize(
    ("said", "filed"),
    [
        ({"answer": "it is in"}, "20 mL of Hot alpha (works at pH 4.5 to 6.5)"),
        ({"enzyme": "15 mL"}, "15 mL"),
        ({"answer": "not added"}, None),
        ({}, None),
    ],
)
def test_the_dose_of_an_enzyme_is_asked_for_and_nothing_waits(said: dict[str, str], filed: str | None) -> None:
    """Its step asks for dose and pH; what was said goes on record; the iodine test is asked for at its minute in any
    case."""
    bench = Bench(settings(), mash_c=50.0)
    bench.until("idle")
    bench.start(DOSED)
    bench.until("enzyme")
    assert "add 20 mL of Hot alpha" in bench.asked.text and "pH" in bench.asked.text
    if said:
        assert bench.answer(**said).accepted and bench.state.run.prompt is None
    bench.until("iodine", 200)
    entries = [event.data for event in bench.events if event.kind == "entry"]
    assert entries == ([] if filed is None else [{"enzyme": filed, "by": "brewer"}])
