"""What comes into the mash, by the worked examples of decoction and cereal mash, and what is refused of it."""

from __future__ import annotations

from typing import Any

import pytest

from controller.brewing import heat
from controller.core.nouns import ComesIn
from controller.edge.files import config_files as files
from controller.plan.additions import cooker_deeds
from controller.plan.plan import Plan, make
from controller.plan.recipe import Program
from controller.plan.recipe_checks import agree
from controller.plan.stages import Stage
from controller.report.pour_words import poured
from tests.places import CONFIG

GANNET = files.settings(CONFIG, "gannet").tun  # its vessel and loss are those of the worked examples
MALT = {"name": "malt", "mass_kg": 20.0, "extract": 0.8, "moisture": 0.048}
REST = {"name": "low", "temperature_c": 52.0, "time_s": 900.0}
PULL = {"name": "pull", "kind": "decoction", "temperature_c": 64.0, "returned_at_c": 95.0}
KETTLE = ({"temperature_c": 72.0, "time_s": 900.0}, {"boil_s": 900.0})
RICE = {
    "grist": ({"name": "rice", "kind": "rice", "mass_kg": 4.0, "moisture": 0.12}, {"name": "malt", "mass_kg": 0.8}),
    "liquor_kg": 24.0,
    "step": ({"temperature_c": 70.0, "time_s": 600.0}, {"boil_s": 1200.0}),
    "power_w": 3000.0,
    "boil_off_kg": 1.5,
}
JOINS = {"name": "join", "kind": "cereal", "temperature_c": 66.0, "returned_at_c": 95.0}


def program(*steps: dict[str, Any], malt_kg: float = 20.0, liquor_kg: float = 60.0, **more: Any) -> Program:
    """The mash of the worked examples with these steps."""
    grist, liquor = ({**MALT, "mass_kg": malt_kg},), {"mass_kg": liquor_kg}
    return Program(name="x", title="x", grist=grist, liquor=liquor, step=steps, **more)


def planned(*steps: dict[str, Any], **more: Any) -> tuple[Plan, list[Stage]]:
    """The plan on the tun of the worked examples, and its stages in which something comes in."""
    plan = make(program(*steps, **more), GANNET)
    return plan, [stage for stage in plan.stages if stage.limited_by == "addition"]


DRAWN: tuple[
    tuple[str, dict[str, Any], float, float], ...
] = (  # of the step, kg, boil-off: W36, W36b, W37's thickness, W36 by volume, and as thick as written
    ("W36", {}, 25.21, 0.0),
    ("W36b", {"boil_off_kg": 1.3211}, 26.42, 1.32),
    ("W37", {"pull": "as the mash"}, 23.31, 0.0),
    ("W36 in litres", {"volume_l": 22.24}, 25.21, 0.0),
    ("written thickness", {"pull": 1.8}, 25.21, 0.0),
)


@pytest.mark.parametrize(("case", "keys", "kg", "boiled"), DRAWN, ids=[row[0] for row in DRAWN])
def test_how_much_is_pulled(case: str, keys: dict[str, Any], kg: float, boiled: float) -> None:
    """The pull of the worked examples, through a program on a tun; it lands the mash at its target."""
    _, (stage,) = planned(REST, {**PULL, **keys})
    assert stage.comes.kg == pytest.approx(kg, abs=0.05)
    assert stage.comes.boil_off_kg == pytest.approx(boiled, abs=0.01)
    assert stage.comes.lands_c == pytest.approx(64.0, abs=0.02)


def test_several_pulls_each_from_what_the_one_before_left() -> None:
    """W36b, W38, W39: the second pull is of a mash that boiled off 1.32 kg, the third is of its liquid alone."""
    second = {**PULL, "name": "two", "temperature_c": 72.0, "boil_off_kg": 1.2005}
    third = {**PULL, "name": "three", "temperature_c": 77.0, "pull": "thin"}
    plan, (_, two, three) = planned(REST, {**PULL, "boil_off_kg": 1.3211}, second, third)
    assert two.comes.kg == pytest.approx(24.01, abs=0.05)
    assert (three.liquor_kg, three.liquor_kg / 20.0) == pytest.approx((57.48, 2.87), abs=0.01)
    assert three.capacity_j_per_k == pytest.approx(286_850.0, abs=50.0)
    assert three.comes.thin_p is not None and three.comes.pull_kg_per_kg is None
    wort = three.comes.kg * (1.0 - three.comes.thin_p / 100.0) / three.liquor_kg
    assert three.comes.kg == pytest.approx(17.0, abs=0.2) and wort == pytest.approx(0.235, abs=0.01)  # 20.8 °P here
    assert plan.problems == ()


def test_how_long_a_pull_is_away_and_how_far_the_mash_cools() -> None:
    """W40: 9.7 + 15 + 13.0 + 15 + 10 min with 3 kW, 1.20 kg boiled off; W40b: the main mash left to cool meanwhile."""
    keys = {"kettle": KETTLE, "kettle_power_w": 3000.0}
    plan, (kept,) = planned(REST, {**PULL, **keys, "boil_off_kg": 1.3211})
    assert kept.comes.away_s / 60.0 == pytest.approx(62.7, abs=0.5)
    _, (off,) = planned(REST, {**PULL, **keys})
    assert off.comes.boil_off_kg == pytest.approx(1.20, abs=0.01)
    _, (cooled,) = planned(REST, {**PULL, "amount_kg": 26.42, "main_mash": "left to cool", "away_s": 62.7 * 60.0})
    assert cooled.comes.cooled_c == pytest.approx(49.7, abs=0.1)
    assert plan.mash_s == pytest.approx(900.0 + kept.comes.away_s + sum(stage.late_s for stage in plan.stages[1:]))
    assert "15 min at 72 °C, 15 min of boil" in poured(plan, kept)


def test_a_cooker_joins_and_three_ways_out_are_said() -> None:
    """W41 and W42: it lands the mash at 63.5 °C; for 66 the main mash waits at 53.5, or the cooker is 1.29 times as
    large, or the tun heats; its grain is in fill and extract, not in the strike; it is begun in time."""
    low = {**REST, "temperature_c": 50.0}
    plan, (stage,) = planned(low, JOINS, malt_kg=16.0, liquor_kg=48.0, cereal=RICE)
    alone = make(program(low, malt_kg=16.0, liquor_kg=48.0), GANNET)
    assert stage.comes.lands_c == pytest.approx(63.52, abs=0.05)
    told = poured(plan, stage)
    assert "waits at 53.5 °C" in told and "1.29 times as large" in told and "heats for" in told
    assert plan.strike_c == alone.strike_c
    assert plan.volume_l == pytest.approx(alone.volume_l + 22.5 + 0.67 * 4.8)
    heated, boiled = cooker_deeds(plan.program, GANNET)
    assert heated.before_s > boiled.before_s > 1200.0
    assert [before_s for before_s, _ in plan.course.people.cooker] == [heated.before_s + 600.0, boiled.before_s + 600.0]


EVEN = {"name": "water", "kind": "water_in", "temperature_c": 52.0, "volume_l": 8.0}
WRONG: tuple[tuple[str, tuple[dict[str, Any], ...], dict[str, Any], str], ...] = (
    ("water that lifts", (REST, {**EVEN, "temperature_c": 60.0}), {}, "the mash's own"),
    ("no amount", (REST, {**EVEN, "volume_l": None}), {}, "how much water"),
    ("two amounts", (REST, {**EVEN, "amount_kg": 8.0}), {}, "either amount or volume"),
    ("no power", (REST, {**PULL, "kettle": KETTLE}), {}, "kettle_power"),
    ("half a rest", (REST, {**PULL, "away_s": 600.0, "kettle": ({"time_s": 600.0},)}), {}, "or boil"),
    ("cools for ever", (REST, {**PULL, "main_mash": "left to cool"}), {}, "away"),
    ("no cooker", (REST, JOINS), {}, "[cereal]"),
    ("no place to join", (REST,), {"cereal": RICE}, 'kind = "cereal"'),
    ("a series that is waited for", ({**REST, "by": "iodine", "iodine_every_s": 300.0},), {}, 'by = "time"'),
    ("from without every", ({**REST, "iodine_from_s": 300.0},), {}, "iodine_every"),
    ("colder than the mash", (REST, {**PULL, "returned_at_c": 60.0}), {}, "more than the target"),
)


@pytest.mark.parametrize(("case", "steps", "more", "wanted"), WRONG, ids=[row[0] for row in WRONG])
def test_what_does_not_fit_is_refused(
    case: str, steps: tuple[dict[str, Any], ...], more: dict[str, Any], wanted: str
) -> None:
    """One sentence each, that says what is wanted."""
    said = [problem.wanted for problem in agree(program(*steps, **more))]
    assert len(said) == 1 and wanted in said[0]


def test_water_as_warm_as_the_mash_lifts_nothing() -> None:
    """8 L at 52 °C weigh 7.9 kg, thin the mash, and leave it at its temperature."""
    plan, (stage,) = planned(REST, EVEN)
    assert ComesIn().j_per_kg_k == heat.WATER
    assert stage.comes.kg == pytest.approx(7.90, abs=0.01)
    assert stage.target_c == stage.comes.lands_c == pytest.approx(52.0)
    assert plan.volume_l == pytest.approx(60.0 + stage.comes.kg + 13.4)
