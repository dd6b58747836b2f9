"""Advice that a brewer overrules goes on record with its reason, and facts of the program reach the advice."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.core import checkpoint
from controller.core.nouns import ForPeople
from controller.edge.files import config_files as files
from controller.plan import advise, plan
from controller.plan.other_liquor import HotLiquor
from tests.core.bench import Bench, course, leg, settings
from tests.places import CONFIG


def advised(name: str, **changes: Any) -> dict[str, str | None]:
    """Which rules speak, and the reason where one is overruled?"""
    program = files.load_program(CONFIG, name).model_copy(update=changes)
    made = plan.make(program, files.load_tun(CONFIG, program.tun))
    return {said.advice.rule: said.overruled for said in advise.advise(made, calibration_age_days=10.0)}


def test_an_overruled_rule_is_an_event_at_the_start_with_who_and_why() -> None:
    """The reason stands in the record even when the program's file changes later."""
    bench = Bench(settings(), mash_c=20.0)
    bench.until("idle")
    bench.start(course(leg("rest", 50.0, 600.0))._replace(people=ForPeople(overruled={"A5": "the ramp is known"})))
    bench.step()
    said = [event for event in bench.events if event.kind == "overrule"]
    assert [(event.id, event.data) for event in said] == [("A5", {"reason": "the ramp is known", "by": "brewer"})]


def test_the_reason_comes_from_the_program_and_survives_the_record() -> None:
    """Through the plan into the course, onto the disk and back."""
    program = files.load_program(CONFIG, "sandpiper").model_copy(update={"overrule": {"A5": "known"}})
    made = plan.make(program, files.load_tun(CONFIG, "gannet"))
    assert made.course.people.overruled == {"A5": "known"}
    bench = Bench(settings(), mash_c=20.0)
    bench.until("idle")
    bench.start(made.course)
    bench.step()
    told = checkpoint.recall(json.loads(json.dumps(checkpoint.keep(bench.state))), 0.0)
    assert told is not None and told.run.course == made.course
    assert advised("sandpiper", splashing=True, overrule={"A24": "known"})["A24"] == "known"


@pytest.mark.parametrize(
    ("rule", "program", "changes", "without"),
    [
        ("A24", "sandpiper", {"splashing": True}, {"splashing": False}),
        ("A32", "sandpiper", {"staffed_s": 3600.0}, {"staffed_s": 4 * 3600.0}),
        ("A35", "linnet", {"hot_liquor": HotLiquor(takes_s=9000.0)}, {"hot_liquor": HotLiquor(takes_s=3600.0)}),
    ],
)
def test_facts_of_a_program_reach_the_advice(
    rule: str, program: str, changes: dict[str, Any], without: dict[str, Any]
) -> None:
    """Each draws its rule, and its near twin does not."""
    assert rule in advised(program, **changes)
    assert rule not in advised(program, **without)


def test_grits_cooked_apart_draw_no_warning() -> None:
    """Raw maize alone is warned of; with a cereal mash it is not."""
    linnet = files.load_program(CONFIG, "linnet")
    grist = (*linnet.grist, linnet.grist[0].model_copy(update={"name": "maize grits", "kind": "maize", "mass_kg": 0.5}))
    assert "A13" in advised("linnet", grist=grist)
    assert "A13" not in advised("linnet", grist=grist, cereal_mash=True)
