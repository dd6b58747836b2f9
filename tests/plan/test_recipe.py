"""Rest programs: what their own values must agree on."""

from __future__ import annotations

from typing import Any

import pytest

from controller.plan.recipe import Program
from controller.plan.recipe_checks import agree
from controller.settings.faults_in_words import read

REST: dict[str, Any] = {"name": "one", "temperature": "63 °C", "time": "40 min"}
GOOD: dict[str, Any] = {
    "name": "trial",
    "title": "Trial",
    "grist": [{"name": "pale", "mass": "20 kg"}],
    "liquor": {"mass": "60 kg"},
    "step": [REST, {"name": "two", "temperature": "72 °C", "time": "20 min"}, {"name": "keep", "kind": "keep"}],
}


def told(data: dict[str, Any]) -> list[str]:
    return [str(problem) for problem in read(Program, data, agree).problems]


def program(data: dict[str, Any]) -> Program:
    value, problems = read(Program, data, agree)
    assert value is not None, problems
    return value


def steps(*changed: dict[str, Any]) -> dict[str, Any]:
    return {**GOOD, "step": list(changed)}


def test_good_program() -> None:
    """A plain program is read, with what is left out at its default."""
    found = program(GOOD)
    first = found.step[0]
    assert (found.aim, found.grist_kg, first.kind, first.tolerance_k) == ("balanced", 20, "rest", 1)
    assert found.dough_in.strike_c is None


def test_dough_in_without_grain_is_a_malt_forgotten() -> None:
    """A strike with nothing to strike is refused; water alone without [dough_in] is a trial; a malt that is wrong
    itself is told, and not as one that is missing."""
    bare = {key: value for key, value in GOOD.items() if key != "grist"}
    (line,) = told({**bare, "dough_in": {"strike": "auto"}})
    assert "[dough_in] but no [[grist]]" in line and "water trial" in line
    assert told(bare) == []
    (line,) = told({**GOOD, "dough_in": {"strike": "auto"}, "grist": [{"name": "pale", "mass": "5 L"}]})
    assert line.startswith('[[grist]] 1 "pale": mass: found "5 L"')


def test_litres_under_mass_are_told_with_their_key() -> None:
    """A volume under mass, or a mass under volume, is one mistake: the other key is named and not called missing."""
    (line,) = told({**GOOD, "liquor": {"mass": "16 litres"}})
    assert line == 'liquor: mass: found "16 litres", wanted a mass; this is a volume: volume = "16 L"'
    (line,) = told({**GOOD, "liquor": {"volume": "16 kg"}})
    assert line.endswith('mass = "16 kg"')
    (line,) = told({**GOOD, "liquor": {"mass": "16 C"}})
    assert "kg, g, lb or oz" in line


def test_same_mash_in_other_units() -> None:
    """A program in °F, pounds and seconds equals the same program in °C, kilograms and minutes."""
    other = {
        **GOOD,
        "grist": [{"name": "pale", "mass": "44.0924524369753 lb"}],
        "step": [
            {"name": "one", "temperature": "145.4 °F", "time": "2400 s", "ramp": "1.8 °F/min"},
            {"name": "two", "temperature": "161.6 °F", "time": "0.333333333 h"},
            {"name": "keep", "kind": "keep"},
        ],
    }
    here, there = program(steps({**REST, "ramp": "1 K/min"}, *GOOD["step"][1:])), program(other)
    assert [s.temperature_c for s in here.step] == [s.temperature_c for s in there.step]
    assert here.step[0] == there.step[0]
    assert there.grist_kg == pytest.approx(20.0, abs=1e-6)
    assert there.step[1].time_s == pytest.approx(1200.0, abs=1e-4)


@pytest.mark.parametrize("kind", ["rest", "mash_out", "souring", "keep"])
def test_time_range_of_each_kind(kind: str) -> None:
    """Each kind of step takes a minute and its longest time, and a second more is refused."""
    longest = {"rest": 4, "mash_out": 4, "keep": 2, "souring": 72}[kind]
    for text, good in (("1 min", True), (f"{longest} h", True), (f"{longest * 3600 + 1} s", False), ("59 s", False)):
        step = {"name": "last", "kind": kind, "temperature": "44 °C", "time": text}
        assert (told(steps({**REST, "temperature": "44 °C"}, step)) == []) is good, text


def test_long_rests_are_marked() -> None:
    """Over four hours a rest needs the mark, and over twelve even that does not serve."""
    assert told(steps({**REST, "time": "5 h"})) != []
    assert told(steps({**REST, "time": "5 h", "long": True})) == []
    assert told(steps({**REST, "time": "13 h", "long": True})) != []


@pytest.mark.parametrize(
    ("key", "value", "kind"),
    [
        ("away", "30 min", "rest"),
        ("amount", "5 kg", "rest"),
        ("by", "iodine", "keep"),
        ("time", "5 min", "infusion"),
        ("ramp", "1 K/min", "decoction"),
        ("ph_every", "6 h", "mash_out"),
        ("ask_after", "10 min", "souring"),
    ],
)
def test_keys_belong_to_kinds(key: str, value: str, kind: str) -> None:
    """A key that a kind of step does not take is refused, not ignored."""
    step = {"name": "last", "kind": kind, "temperature": "70 °C", key: value}
    assert any(f"{key}: found this key in a step of kind {kind}" in line for line in told(steps(REST, step)))


@pytest.mark.parametrize("kind", ["rest", "mash_out", "infusion", "decoction", "souring"])
def test_steps_need_a_temperature(kind: str) -> None:
    """Every step but keep says where it goes."""
    assert any("temperature: found nothing" in line for line in told(steps(REST, {"name": "x", "kind": kind})))


def test_additions_go_up_with_something_hotter() -> None:
    """Liquor or decoction must be hotter than where the mash should land, and the mash must rise."""
    for kind in ("infusion", "decoction"):
        base = {"name": "add", "kind": kind, "temperature": "70 °C"}
        assert told(steps(REST, base, {**REST, "name": "x", "temperature": "70 °C"})) == []
        assert told(steps(REST, {**base, "temperature": "63 °C"})) != []
        assert told(steps(REST, {**base, "added_at": "70 °C"})) != []


def test_unnamed_steps_get_a_name() -> None:
    """A step without a name is called by its kind and place."""
    unnamed = [{key: value for key, value in REST.items() if key != "name"}, {"kind": "mash_out", **REST, "name": "x"}]
    assert program(steps(*unnamed)).step[0].name == "rest 1"


def test_names_differ_whatever_their_case() -> None:
    """Two steps of one name cannot be told apart in an order."""
    assert any("a name of its own" in line for line in told(steps(REST, {**REST, "name": "ONE"})))


def test_aim() -> None:
    """The aim is a word of the trade or a limit attenuation; anything else is none."""
    assert [program({**GOOD, "aim": text}).aim for text in ("dry", "80 %")] == ["dry", 0.8]
    for aim in ("wet", "8000 %", "80", 0.8, 80, "3 %"):
        assert any(line.startswith("aim: found ") for line in told({**GOOD, "aim": aim})), aim


def test_problems_in_three_steps_are_told_together() -> None:
    """A faulty step does not hide what is wrong with its neighbours."""
    lines = told(
        steps({**REST, "temperature": "63"}, {**REST, "name": "b", "time": "0 min"}, {"name": "c", "knd": "rest"})
    )
    assert {line.split(":")[0] for line in lines} >= {'[[step]] 1 "one"', '[[step]] 2 "b"', '[[step]] 3 "c"'}


def test_faulty_steps_do_not_hide_the_liquor() -> None:
    """What several values must agree on is looked at although a step is wrong."""
    lines = told({**steps({**REST, "temperature": "63"}, GOOD["step"][1]), "liquor": {}})
    assert any(line.startswith("liquor: found nothing") for line in lines)
    assert any("temperature" in line for line in lines)


def test_many_steps_are_bounded() -> None:
    """A program has at most forty steps."""
    many = [{**REST, "name": f"step {n}"} for n in range(41)]
    assert any("at most 40" in line for line in told(steps(*many)))
