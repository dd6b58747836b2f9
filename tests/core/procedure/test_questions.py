"""What is a person asked for, in words that a hand with a ladle understands?"""

from __future__ import annotations

import pytest

from controller.core.nouns import ForPeople, Leg, Phase, StepKind
from controller.core.procedure import questions
from controller.core.procedure.run import Progress, Prompt, Run
from tests.core.bench import Bench, course, leg, settings, with_step

AWAY = leg("first pull", 72.0, 600.0, kind="decoction", kg=28.0)
PLAN = course(AWAY)._replace(grist_kg=20.0, liquor_kg=60.0)
STRIKE = leg("dough-in", 54.0, 0.0, kind="dough_in")
LIQUOR = Prompt("liquor", "?", ("as planned",), 1.0)


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
    drawn = with_step(AWAY, pull_kg_per_kg=pull_kg_per_kg)
    asked = questions.ask(Run(course=PLAN._replace(grist_kg=grist_kg, legs=(drawn,))), drawn, "pull", 0.0).prompt
    assert asked is not None
    assert said in asked.text


JOIN = leg("b", 63.0, 0.0, kg=5.0, pull_kg_per_kg=2.5)
PULL = "Time to pull 28.0 kg of mash, {}. Say when you are about to return it."
ADD = "Time to add {}. Say when you begin."
READY = "Strike liquor is ready at 54.0 °C{} Begin dough-in?"
HOW_MUCH = (
    "How much liquor is in the tun? Planned are {}; where it is another amount, enter what was measured "
    "(liquor_volume, liquor_at)."
)
NAMED = PLAN._replace(people=ForPeople(grist=(("pale", 18.0), ("wheat", 2.0))), landing_c=50.0)
ASKED: list[tuple[Run, Leg, str, str]] = [
    (Run(), JOIN, "go_on", "b: the planned time is over. Go on to the next step?"),
    (Run(), JOIN, "added", "Heat is off. Stop adding at 62.5 °C. Is it in and stirred?"),
    (Run(), JOIN, "join", "Time to join the cooker: 5.00 kg at 100 °C, 2.50 L/kg. Say when you begin."),
    (Run(), STRIKE, "join", "Time to join the cooker: 0.00 kg at 100 °C, 0.00 L/kg. Say when you begin."),
    (Run(), with_step(JOIN, kg=9.999), "add", ADD.format("10.00 kg of liquor at 100 °C")),
    (Run(), with_step(JOIN, kg=10.0, hot_c=95.0), "add", ADD.format("10.0 kg of liquor at 95 °C")),
    (Run(), AWAY, "pull", PULL.format("as it stands, and boil it")),
    (
        Run(course=PLAN), with_step(AWAY, pull_kg_per_kg=2.95, kettle="boil 10 min", boil_off_kg=1.0), "pull",
        PULL.format("as thick as it stands (3.0 L/kg, about 26 L); then boil 10 min; about 1.0 kg of it boils off"),
    ),
    (
        Run(course=PLAN), with_step(AWAY, pull_kg_per_kg=2.94, cooled_c=60.0), "pull",
        PULL.format(
            "the thick of it (2.9 L/kg, about 26 L), and boil it. Heat is off: the rest of the mash is left to cool"
        ),
    ),
    (
        Run(course=PLAN._replace(grist_kg=0.5)), with_step(AWAY, pull_kg_per_kg=2.0), "pull",
        PULL.format("the thick of it (2.0 L/kg, about 25 L), and boil it"),
    ),
    (
        Run(course=PLAN), with_step(AWAY, thin_p=16.0), "pull",
        PULL.format("the liquid alone (16.0 °P, about 26 L), and boil it"),
    ),
    (Run(), STRIKE, "dough_in", READY.format(".")),
    (Run(prompt=LIQUOR), STRIKE, "dough_in", READY.format(".")),
    (Run(course=PLAN._replace(grist_kg=0.0)), STRIKE, "dough_in", READY.format(".")),
    (Run(course=PLAN._replace(grist_kg=0.5)), STRIKE, "dough_in", READY.format(": 0.5 kg of grain.")),
    (Run(course=PLAN, prompt=LIQUOR._replace(id="ph")), STRIKE, "dough_in", READY.format(": 20 kg of grain.")),
    (
        Run(course=NAMED, prompt=LIQUOR), STRIKE, "dough_in",
        READY.format(
            ": 18 kg pale, 2 kg wheat; the mash should come to 50.0 °C. Where it is not 60.0 kg, enter first what was "
            "measured (liquor_volume)."
        ),
    ),
    (Run(course=PLAN._replace(liquor_c=20.0)), STRIKE, "liquor", HOW_MUCH.format("60.0 kg, 60.1 L at 20 °C")),
    (Run(), STRIKE, "liquor", HOW_MUCH.format("0.0 kg")),
]  # fmt: skip


@pytest.mark.parametrize(("run", "step", "which", "said"), ASKED)
def test_what_is_asked(run: Run, step: Leg, which: str, said: str) -> None:
    """The whole sentence, with what is known and without; it is asked again after five minutes."""
    assert questions.ask(run, step, which, 7.0).prompt == Prompt(which, said, questions.ASKS[which][1], 7.0, 300.0)


@pytest.mark.parametrize(
    ("kind", "waits", "adds"),
    [
        ("dough_in", "dough_in", "grain_in"), ("infusion", "add", "added"), ("water_in", "add", "water_in"),
        ("cereal", "join", "joined"), ("decoction", "pull", "returned"), ("keep", "take_over", "addition_in"),
        ("rest", "go_on", "addition_in"), ("mash_out", "go_on", "addition_in"), ("souring", "go_on", "addition_in"),
    ],
)  # fmt: skip
def test_which_question_is_asked(kind: StepKind, waits: str, adds: str) -> None:
    """By the step's kind, waiting for a person and while something goes in; a rest that ends by iodine asks for that,
    and liquor that tempers a strike is asked for as an addition."""
    step = leg("x", 60.0, 60.0, kind=kind)
    for phase, which in ((Phase.WAITING, waits), (Phase.ADDING, adds)):
        run = Run(phase=phase)
        assert questions.question(run, step) == which
        by_iodine = questions.question(run, step._replace(ends="iodine"))
        assert by_iodine == ("iodine" if which == "go_on" else which)
        tempered = run._replace(progress=Progress(reminded=questions.TEMPERED))
        assert questions.question(tempered, step) == ("addition_in" if kind == "dough_in" else which)


def test_an_enzyme_keeps_no_other_question_back() -> None:
    """Nothing waits for its dose; any other question that stands does; liquor from elsewhere stands for two minutes."""
    assert [questions.free(Run(prompt=p)) for p in (None, LIQUOR._replace(id="enzyme"), LIQUOR)] == [True, True, False]
    assert questions.STANDS_S == 120.0


DOSED = course(
    leg("low", 50.0, 60.0),
    leg("hot", 50.0, 240.0, told="add 20 mL of Hot alpha (works at pH 4.5 to 6.5)", ends="iodine", after_s=120.0),
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
