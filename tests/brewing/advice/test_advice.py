"""Each rule has a plan that draws it and a near twin that does not; a brewery's own figures are heeded."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing.advice.advice import CHECKS, Advice, advise, unfit
from controller.brewing.advice.plan_facts import Malt, MashPlan, PlanStep
from controller.brewing.advice.table import RULES
from tests.brewing.advice.cases import (
    BESIDES,
    CASES,
    FIRST,
    MIN,
    OUT,
    PER_MIN,
    SECOND,
    SOUND,
    Case,
    but,
    mixed,
    rest,
    steps,
)


def drawn(plan: MashPlan) -> set[str]:
    """Which rules does the plan draw?"""
    return {advice.rule for advice in advise(plan)}


def test_the_sound_plan_draws_nothing() -> None:
    """A plain good plan passes in silence."""
    assert advise(SOUND) == ()


@pytest.mark.parametrize("case", CASES, ids=[f"{case.rule}: {case.what}" for case in CASES])
def test_a_plan_draws_its_rule_and_its_twin_does_not(case: Case) -> None:
    """The plan draws exactly this rule; a near twin draws nothing."""
    besides, with_twin = BESIDES.get((case.rule, case.what), (set(), set()))
    assert drawn(case.draws) == {case.rule} | besides
    assert drawn(case.twin) == with_twin


def test_every_rule_has_a_case() -> None:
    """A1 to A39 and A16b are all in the table, all have a check, and all are drawn by some case."""
    wanted = [f"A{number}" for number in range(1, 40)]
    wanted.insert(wanted.index("A17"), "A16b")
    assert [rule.id for rule in RULES] == wanted
    assert list(CHECKS) == wanted
    assert {case.rule for case in CASES} == set(wanted)


def test_every_rule_says_everything() -> None:
    """Each rule of the table gives level, reason, remedy and certainty; a source where there is a publication, and no
    notes of how it was read."""
    for rule in RULES:
        assert rule.level in ("stop", "warn", "note")
        assert rule.why.endswith(".")
        assert rule.mend.endswith(".")
        assert rule.sure in ("arithmetic", "published data", "established practice", "our own estimate")
        assert rule.source or rule.sure != "published data"
        for note in ("hand", "abstract", "opening", "forum", "page", ".com", "wiki", "practice", "memory", "proposal"):
            assert note not in rule.source, rule.id


def test_every_text_is_a_sentence() -> None:
    """What is said begins with a capital or a figure, ends with a full stop, and no place in it is left open."""
    for case in CASES:
        for advice in advise(case.draws):
            assert advice.text[0].isupper() or advice.text[0].isdigit(), advice.text
            assert advice.text.endswith("."), advice.text
            assert not set(advice.text) & set("{}"), advice.text


def test_levels() -> None:
    """The four rules of safety and physics stop; the others never do."""
    assert {rule.id for rule in RULES if rule.level == "stop"} == {"A1", "A2", "A3", "A4"}


def _only(plan: MashPlan, rule: str, changes: dict[str, dict[str, object]] | None = None) -> Advice:
    return next(advice for advice in advise(plan, changes) if advice.rule == rule)


def test_a_very_long_mash_is_a_warning() -> None:
    """More than 3 h is a note, more than 5 h a warning."""
    assert _only(steps(replace(FIRST, hold_s=200 * MIN), SECOND, OUT), "A27").level == "note"
    assert _only(steps(replace(FIRST, hold_s=270 * MIN), SECOND, OUT), "A27").level == "warn"


def test_one_heater_over_its_supply_is_a_warning() -> None:
    """Several tuns over one supply may wait for each other: a note; one heater that is too much alone is a warning."""
    alone = _only(but(power_w=3000.0, supply_limit_w=2300.0), "A34")
    several = _only(but(power_w=2000.0, others_w=2000.0, supply_limit_w=2300.0), "A34")
    assert (alone.level, several.level) == ("warn", "note")
    assert alone.mend.startswith("Fit a smaller heater")
    assert several.mend.startswith("Let one wait for the other")


def test_a_scalding_mash_out_is_said_strongly() -> None:
    """Above 79 °C it is a warning, with how soon alpha-amylase is gone; up to there a note."""
    hot = [steps(FIRST, SECOND, replace(OUT, temperature_c=c), cut_off_c=85.0) for c in (79.0, 81.0)]
    assert ["gone within some 10 min" in _only(plan, "A19").text for plan in hot] == [False, True]
    assert [_only(plan, "A19").level for plan in hot] == ["note", "warn"]


def test_water_alone_draws_nothing_about_beer() -> None:
    """A trial with plain water, whatever its steps, draws no advice about grist or rests."""
    assert advise(but(grist=())) == ()
    assert drawn(steps(rest(40.0, 70.0, ramp_s=0.0), OUT, grist=())) == set()


def test_names_cannot_matter() -> None:
    """Nothing that advice sees has a name, a title or a lot: renaming them can change nothing."""
    seen = {field.name for kind in (MashPlan, PlanStep, Malt) for field in fields(kind)}
    assert not seen & {"name", "title", "lot", "program", "tun", "why"}


def test_the_slow_ramp_says_both_times() -> None:
    """A ramp at 0.5 instead of 1 K/min: 9 min later, and the sentence says so."""
    plan = steps(FIRST, rest(72.0, 20.0, climb_k_per_s=0.5 * PER_MIN, ramp_s=18 * MIN), OUT)
    text = _only(plan, "A5").text
    assert "0.50 K/min at this heater's power, not 1.00" in text
    assert "takes 94.0 min, not 85.0" in text


# ---------------------------------------------------------------- a brewery's own settings


def test_own_figures_are_heeded() -> None:
    """A brewery that takes 20 % rye for granted sets its own figure, and the advice says whose figure it is."""
    plan = but(grist=mixed("rye malt", 0.18))
    assert drawn(plan) == {"A12"}
    assert advise(plan, {"A12": {"sticky_share": 0.20}}) == ()
    stricter = _only(but(grist=mixed("rye malt", 0.17)), "A12", {"A12": {"sticky_share": 0.10}})
    assert stricter.source.endswith("own figure of this brewery")


def test_own_level_and_texts_are_heeded() -> None:
    """Level and texts may be the brewery's own; a rule may be switched off."""
    plan = but(expected_ph=5.9)
    own = _only(plan, "A37", {"A37": {"level": "warn", "mend": "Call the head brewer.", "source": "house rule"}})
    assert (own.level, own.mend, own.source) == ("warn", "Call the head brewer.", "house rule")
    assert advise(plan, {"A37": {"level": "off"}}) == ()


def test_own_texts_alone_are_no_own_figures() -> None:
    """Only a changed figure marks the source; a source of one's own stands as written."""
    plan = but(expected_ph=5.9)
    plain = _only(plan, "A37").source
    assert _only(plan, "A37", {"A37": {"why": "Because."}}).source == plain
    assert _only(plan, "A37", {"A37": {"highest_ph": 5.7, "source": "house rule"}}).source == "house rule"


def test_what_stops_stays() -> None:
    """No setting moves, softens or silences the rules of safety and physics."""
    plan = but(liquor_kg=85.0)
    changes: dict[str, dict[str, object]] = {"A1": {"level": "off", "fill_share": 2.0}}
    assert advise(plan, changes) == advise(plan)
    assert [problem.where for problem in unfit(changes)] == ["A1: level", "A1: fill_share"]


def test_every_bad_setting_is_named_at_once() -> None:
    """Unknown rules and figures, wrong levels and numbers that are none: each is named, and none has an effect."""
    changes: dict[str, dict[str, object]] = {
        "A99": {"level": "off"},
        "A12": {"sticky_share": "a lot", "sticky_part": 0.3, "level": "loud", "why": 3},
        "A37": {"highest_ph": float("nan"), "lowest_ph": True},
    }
    assert [(problem.where, problem.found) for problem in unfit(changes)] == [
        ("A99", "no such rule"),
        ("A12: sticky_share", "'a lot'"),
        ("A12: sticky_part", "0.3"),
        ("A12: level", "'loud'"),
        ("A12: why", "3"),
        ("A37: highest_ph", "nan"),
        ("A37: lowest_ph", "True"),
    ]
    plan = but(grist=mixed("rye malt", 0.18), expected_ph=5.9)
    assert advise(plan, changes) == advise(plan)
    assert unfit({"A12": {"sticky_share": 0.2, "level": "note"}}) == ()


# ---------------------------------------------------------------- any plan at all

number = st.floats(0.0, 1e4) | st.just(float("inf"))
maybe = st.none() | st.floats(0.0, 1.0)
any_step = st.builds(
    PlanStep,
    kind=st.sampled_from(["rest", "infusion", "decoction", "mash_out", "keep", "souring"]),
    temperature_c=st.floats(20.0, 100.0),
    hold_s=number,
    ramp_s=number,
    climb_k_per_s=st.floats(0.0, 0.1),
    wanted_k_per_s=st.floats(0.0, 0.1),
    by=st.sampled_from(["time", "person", "iodine"]),
    addition_kg=st.floats(0.0, 50.0),
    away_s=number,
)
any_malt = st.builds(
    Malt,
    kind=st.sampled_from(["malt", "wheat malt", "rye", "oats", "maize", "husk", "sugar", "kilned malt", "unheard of"]),
    mass_kg=st.floats(0.0, 50.0),
    kolbach=maybe,
    friability=maybe,
    fine_coarse=maybe,
)
any_plan = st.builds(
    MashPlan,
    steps=st.lists(any_step, max_size=5).map(tuple),
    grist=st.lists(any_malt, max_size=3).map(tuple),
    liquor_kg=st.floats(0.0, 200.0),
    tun_l=st.floats(1.0, 200.0),
    cut_off_c=st.floats(50.0, 95.0),
    min_liquor_l=st.floats(0.0, 50.0),
    aim=st.sampled_from(["dry", "balanced", "full"]),
    mixing=st.sampled_from(["stirrer", "pump", "none"]),
    strike_c=st.none() | st.floats(20.0, 100.0),
    people=st.integers(0, 2),
    splashing=st.booleans(),
    expected_ph=st.none() | st.floats(3.0, 9.0),
)


@given(any_plan)
def test_advice_never_fails(plan: MashPlan) -> None:
    """Any plan, however odd, gets advice or none; nothing is raised, and each rule speaks once at the most."""
    rules = [advice.rule for advice in advise(plan)]
    assert len(rules) == len(set(rules))


@given(any_plan)
def test_the_order_of_the_malts_does_not_matter(plan: MashPlan) -> None:
    """The grain bill may be written in any order."""
    turned = replace(plan, grist=plan.grist[::-1])
    assert [advice.rule for advice in advise(plan)] == [advice.rule for advice in advise(turned)]
