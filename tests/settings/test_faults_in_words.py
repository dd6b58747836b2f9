"""Tables of any shape are read or refused in words; nothing else ever comes of them."""

from __future__ import annotations

import copy
import datetime
import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.plan import plan, recipe, recipe_checks
from controller.plan.plan import Plan
from controller.plan.recipe import Program
from controller.settings import cross_checks as agreement
from controller.settings.faults_in_words import _least, keys, model_at, read
from controller.settings.problems import Problem
from controller.settings.service import Service
from controller.settings.table import FROM_FILE, Table
from controller.settings.tun import Heater, Learned, Probe, Tun
from tests.core.bench import tun

KEYS = sorted(
    {key for model in (Program, Tun, Service) for key in keys(model)} | set(keys(recipe.Step)) | set(keys(Heater))
)
WORDS = [
    *("66 °C", "152 °F", "35 min", "0 min", "20 kg", "60 L"),
    *("auto", "rest", "infusion", "keep", "decoction", "", "x"),
]
VALUES = st.one_of(
    st.sampled_from(WORDS),
    st.text(max_size=12),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.booleans(),
    st.dates(),
    st.just(datetime.time(6, 0)),
)
TABLES = st.recursive(
    VALUES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.one_of(st.sampled_from(KEYS), st.text(max_size=8)), inner, max_size=6),
    ),
    max_leaves=25,
)
ANY = st.dictionaries(st.one_of(st.sampled_from(KEYS), st.text(max_size=8)), TABLES, max_size=8)


CASES: tuple[tuple[type[Table], Callable[[Any], Iterable[Problem]]], ...] = (
    (Program, recipe_checks.agree),
    (Tun, agreement.agree),
    (Service, lambda _: ()),
    (Learned, lambda _: ()),
)


@settings(max_examples=120)
@given(ANY)
def test_any_table_is_read_or_refused(data: dict[str, Any]) -> None:
    """Whatever keys and values a file holds, it is read or every problem has place, finding and mend."""
    for model, agree in CASES:
        value, problems = read(model, data, agree)
        assert (value is None) == bool(problems)
        for problem in problems:
            assert problem.where and problem.found and problem.wanted


def perhaps(key: str, value: st.SearchStrategy[str]) -> st.SearchStrategy[dict[str, str]]:
    return st.fixed_dictionaries({}, optional={key: value})


@st.composite
def steps(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Steps as a brewer might write them: mostly rising, some falling, some additions."""
    written: list[dict[str, Any]] = []
    here_c = draw(st.floats(35, 70))
    for at in range(draw(st.integers(1, 5))):
        kind = draw(st.sampled_from(["rest", "rest", "mash_out", "souring", "infusion", "decoction"])) if at else "rest"
        here_c += draw(st.floats(-3, 14)) if at else 0.0
        step: dict[str, Any] = {"name": f"step {at}", "kind": kind, "temperature": f"{here_c:.2f} °C"}
        if kind in ("infusion", "decoction"):
            step |= draw(perhaps("amount", st.floats(1, 40).map(lambda kg: f"{kg:.2f} kg")))
        else:
            step["time"] = f"{draw(st.integers(1, 250))} min"
            step |= draw(perhaps("ramp", st.floats(0.05, 5).map(lambda r: f"{r:.3f} K/min")))
        written.append(step)
    return written


PROGRAM = st.fixed_dictionaries(
    {
        "title": st.just("any"),
        "liquor": st.floats(10, 100).map(lambda kg: {"mass": f"{kg:.2f} kg"}),
        "step": steps(),
    },
    optional={
        "grist": st.floats(0.1, 40).map(lambda kg: [{"name": "malt", "mass": f"{kg:.2f} kg"}]),
        "dough_in": st.floats(35, 80).map(lambda c: {"strike": f"{c:.1f} °C"}),
    },
)
VESSEL = tun()


def test_any_program_is_planned_or_refused() -> None:
    """A plan without problems has finite figures within the tun's limits; some programs are planned, some refused."""
    made: list[bool] = []

    @settings(max_examples=300)
    @given(PROGRAM)
    def one(data: dict[str, Any]) -> None:
        program, _ = read(Program, data, recipe_checks.agree)
        if program is not None:
            made.append(fits(plan.make(program, VESSEL)))

    one()
    assert 30 < sum(made) < len(made)


def fits(made: Plan) -> bool:
    """Has the plan no problems? If so its figures must make sense."""
    plan.document(made)
    if made.problems:
        return False
    assert math.isfinite(made.duration_s) and made.duration_s > 0
    assert math.isfinite(made.energy_kwh) and made.energy_kwh >= 0
    assert made.fill_share <= 0.95 and made.liquor_kg >= VESSEL.min_liquor_l
    for leg in made.course.legs:
        assert 15.0 <= leg.target_c <= VESSEL.guard.hard_limit_c - 2.0 + 1e-9
        assert leg.ramp_s >= 0 and leg.hold_s >= 0 and leg.climb_k_per_s > 0 and leg.capacity_j_per_k > 0
    return True


def test_models_are_found_by_their_place() -> None:
    """The nearest known key of a nested table comes from that table's own model."""
    assert model_at(Tun, ("probes", "mash")) is Probe
    assert model_at(Program, ("step", 3)) is recipe.Step
    assert model_at(Tun, ("volume",)) is None


@pytest.mark.parametrize(
    ("grist", "wanted"),
    [({"kind": "crystal_malt"}, 'or "sugar"'), ({"kind": "wheat_malt"}, '(did you mean "wheat malt"?)')],
)
def test_only_what_is_near_is_proposed(grist: dict[str, str], wanted: str) -> None:
    """A slip of the pen gets the word that was meant, another word for the thing gets the list and no false friend."""
    told = [problem.wanted for problem in read(Program, {"grist": [grist]}, recipe_checks.agree).problems]
    assert any(text.endswith(wanted) for text in told)
    told = [problem.wanted for problem in read(Program, {"colour": 3}, recipe_checks.agree).problems]
    assert '"liquor"' not in told


@pytest.mark.parametrize("data", [{}, {"step": {}}, {"step": [[]]}, {"grist": [3]}, {"liquor": []}, {"overrule": 5}])
def test_wrong_shapes(data: dict[str, Any]) -> None:
    """Tables where lists belong and the other way round are refused."""
    assert read(Program, data, recipe_checks.agree).problems


@pytest.mark.parametrize("model", [Program, Tun, Service])
def test_what_stands_in_is_valid(model: type[Table]) -> None:
    """Wherever a table or a key is missing, what is put in its place while the rest is read is taken."""
    assert model.model_validate(_least(model), by_name=False, context=FROM_FILE)


HERON: dict[str, Any] = {
    "name": "heron",
    "volume": "100 L",
    "min_liquor": "25 L",
    "metal": "12.5 kJ/K",
    "loss": "4 W/K",
    "mixing": "pump",
    "flow_rate": "6 L/min",
    "heater": {"kind": "contactor", "power": "5 kW", "place": "line", "window": "40 s", "min_on": "5 s"},
    "probes": {"mash": {"topic": "t/mash"}, "outlet": {"topic": "t/outlet"}},
    "flow": {"topic": "t/flow"},
    "pump": {"topic": "t/pump"},
    "guard": {"outlet_limit": "85 °C", "reading_gone": "10 s"},
}
BITTERN: dict[str, Any] = {
    "name": "bittern",
    "title": "Bittern",
    "grist": [{"name": "pale", "mass": "20 kg"}],
    "liquor": {"mass": "60 kg"},
    "dough_in": {"strike": "auto"},
    "step": [
        {"name": "one", "temperature": "52 °C", "time": "20 min"},
        {"name": "two", "kind": "infusion", "temperature": "63 °C", "amount": "auto"},
        {"name": "three", "temperature": "72 °C", "time": "20 min", "by": "iodine", "ask_after": "15 min"},
        {"name": "four", "kind": "keep", "time": "1 h"},
    ],
}


def leaves(data: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place in a table, tables themselves too."""
    inside = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in inside:
        yield (*path, key)
        yield from leaves(value, (*path, key))


@pytest.mark.parametrize("value", [[3.5], "nothing of the kind"])
@pytest.mark.parametrize(
    ("model", "agree", "good", "path"),
    [(Tun, agreement.agree, HERON, path) for path in leaves(HERON)]
    + [(Program, recipe_checks.agree, BITTERN, path) for path in leaves(BITTERN)],
    ids=lambda part: ".".join(map(str, part)) if isinstance(part, tuple) else "",
)
def test_one_mistake_has_no_echo(
    model: type[Table],
    agree: Callable[[Any], Iterable[Problem]],
    good: dict[str, Any],
    path: tuple[str | int, ...],
    value: Any,
) -> None:
    """One value of a sound file spoilt: all that is told lies at that value or within it, as one mistake."""
    assert not read(model, good, agree).problems
    spoilt = copy.deepcopy(good)
    at: Any = spoilt
    for part in path[:-1]:
        at = at[part]
    at[path[-1]] = value
    problems = read(model, spoilt, agree).problems
    assert len(problems) == (0 if isinstance(value, str) and free_text(model, path) else 1), problems
    assert all(problem.path[: len(path)] == path for problem in problems)


def free_text(model: type[Table], path: tuple[str | int, ...]) -> bool:
    """Is it a place where any words do?"""
    return path[-1] in ("title", "topic") or (path[-1] == "name" and model is Program)


def test_a_wrong_tun_is_told_at_once() -> None:
    """Missing keys, a wrong unit, and what the rest must agree on, in one answer; only what hangs on them waits."""
    wrong = {key: value for key, value in HERON.items() if key not in ("metal", "pump", "probes")}
    wrong |= {"loss": "4 K/W", "min_liquor": "120 L", "guard": {"reading_gone": "10 s", "reading_late": "10 s"}}
    wrong["heater"] = {"kind": "contactor", "place": "line", "power": "5"}
    lines = [str(problem) for problem in read(Tun, wrong, agreement.agree).problems]
    places = ["metal", "loss", "heater: power", "probes", "min_liquor", "heater: window", "pump", "guard: reading_gone"]
    assert [line.split(": found")[0] for line in lines] == places
    assert 'found nothing, wanted metal = "... kJ/K": kg of steel x 0.5 kJ/(kg K)' in lines[0]
    assert lines[3].endswith("a table [probes.mash] with topic")
    assert 'found nothing, wanted window = "30 s"; a contactor' in lines[5]
    assert 'the table [pump] with topic, such as "underback/heron/pump/command"' in lines[6]


def test_steps_are_all_looked_at() -> None:
    """A step that is wrong itself is no empty list, and what the other steps must agree on is told beside it."""
    first, second, third, last = copy.deepcopy(BITTERN["step"])
    only = {**BITTERN, "step": [{**first, "temperature": "52"}]}
    (problem,) = read(Program, only, recipe_checks.agree).problems
    assert problem.where == '[[step]] 1 "one": temperature'
    second["temperature"], third["ask_after"], first["kind"] = "95 °C", "30 min", "keep"
    last["time"] = "3"
    problems = read(Program, {**BITTERN, "step": [first, second, third, last]}, recipe_checks.agree).problems
    assert {problem.path for problem in problems} >= {
        ("step", 0, "kind"),
        ("step", 2, "ask_after"),
        ("step", 3, "time"),
    }
    assert not any("entry" in problem.wanted for problem in problems)


@pytest.mark.parametrize(
    ("kind", "window", "told"), [("contactor", "29 s", 1), ("contactor", "30 s", 0), ("ssr", "2 s", 0)]
)
def test_a_contactor_keeps_its_window(kind: str, window: str, told: int) -> None:
    """Below 30 s a contactor wears and its contacts weld; the reason is said."""
    heater = {**HERON["heater"], "kind": kind, "window": window, "min_on": "0.2 s"}
    problems = read(Tun, {**HERON, "heater": heater}, agreement.agree).problems
    assert len(problems) == told
    assert all("at least 30 s; a contactor" in problem.wanted and "weld" in problem.wanted for problem in problems)
