"""What people may enter: every key within its bounds, and nothing taken for something else."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import RunState
from controller.core.procedure import entries
from tests.core.bench import Bench, course, leg, settings


@pytest.fixture(scope="module")
def asked() -> Bench:
    """A tun that asks whether dough-in may begin."""
    bench = Bench(settings(), mash_c=50.0)
    bench.until("idle")
    bench.start(course(leg("low rest", 52.0, 300.0), leg("hot rest", 54.0, 120.0)))
    bench.until("dough_in")
    assert bench.state.run.state is RunState.RUNNING
    return bench


def given(bench: Bench, **args: object) -> tuple[bool, str, list[dict[str, Any]]]:
    """The answer's reply and what went on record."""
    bench.order("answer", **args)
    outcome = bench.step()
    (reply,) = outcome.replies
    return reply.accepted, reply.reason, [dict(e.data or {}) for e in outcome.events if e.kind == "entry"]


@pytest.mark.parametrize("key", entries.FIGURES)
def test_each_figure_is_taken_at_both_bounds_and_refused_beyond(asked: Bench, key: str) -> None:
    """The least and the most value go on record with who entered them; just outside is refused with bounds and unit."""
    figure = entries.FIGURES[key]
    for value in (figure.low, figure.high):
        taken, reason, filed = given(asked, **{key: value})
        assert (taken, filed) == (True, [{key: value, "by": "brewer"}])
        assert figure.unit in reason
    for wrong in (figure.low - 0.01, figure.high + 0.01, "much", True, float("nan")):
        taken, reason, filed = given(asked, **{key: wrong})
        assert (taken, filed) == (False, [])
        assert f"from {figure.low:g} to {figure.high:g}" in reason
        assert key in reason


@pytest.mark.parametrize("key", entries.TEXTS)
def test_words_are_taken_and_empty_or_endless_ones_are_not(asked: Bench, key: str) -> None:
    """Words, and a number meant as a name, go on record; nothing, too much and a list do not."""
    for value in ("WM-0093", 93):
        assert given(asked, **{key: value})[2] == [{key: value, "by": "brewer"}]
    for wrong in ("  ", "x" * (entries.LONGEST_TEXT + 1), ["a"], None):
        assert not given(asked, **{key: wrong})[0]


def test_several_wrong_values_are_all_told(asked: Bench) -> None:
    """One refusal names every key that is wrong, and nothing of the rest is recorded."""
    taken, reason, filed = given(asked, ph=99, gravity_p="x", final_p=12.0)
    assert (taken, filed) == (False, [])
    assert "ph: found '99'" in reason
    assert "gravity_p: found 'x'" in reason
    assert "final_p" not in reason


def test_a_slip_in_a_key_answers_no_question(asked: Bench) -> None:
    """A key that is not known is refused and named; the question stays open instead of getting its ordinary answer."""
    taken, reason, _ = given(asked, first_wort_vol=40)
    assert not taken
    assert "first_wort_vol: found a key that is not known" in reason
    assert asked.state.run.prompt is not None
    assert asked.state.run.prompt.id == "dough_in"


def test_every_key_stands_in_the_batch_record() -> None:
    """Each figure and each text but the remark belongs to a line of the record; units end their keys."""
    kept = {key for item in entries.ITEMS for key in item.keys}
    assert kept == {*entries.FIGURES, *entries.TEXTS} - {"remark"}
    ends = {"°C": "_c", "°P": "_p", "mm": "_mm", "% by mass": "_pct", "L": "_l", "g": "_g", "mL": "_ml"}
    ends |= {"min": "_min", "EBC": "_ebc", "mPa s": "_mpas", "mg/L": "_mgl", "% of the extract": "_pct"}
    for key, figure in entries.FIGURES.items():
        assert not figure.unit or key.endswith(ends[figure.unit]), key
        assert figure.low < figure.high


def test_a_measured_ph_out_of_range_draws_a_word(asked: Bench) -> None:
    """6.4 at 65 °C is told in the reply and as a note; 5.4 is only recorded; in a trial with water nothing is said."""
    asked.order("answer", ph=6.4, ph_at_c=65.0)
    outcome = asked.step()
    assert "6.75 in a cooled sample, is high" in outcome.replies[0].reason
    assert [event.priority for event in outcome.events if (event.kind, event.id) == ("note", "ph")] == [1]
    assert given(asked, ph=5.4)[1] == "recorded: pH of the mash: 5.4"
    water = Bench(settings(), mash_c=50.0)
    water.until("idle")
    water.start(course(leg("beta", 63.0, 600.0), grist_kg=0))
    water.step()
    assert "high" not in given(water, ph=6.4)[1]


def test_a_specific_gravity_is_no_degree_plato(asked: Bench) -> None:
    """1.048 for the gravity of the wort in °P is refused with what it is in °P; last runnings of 1.05 °P may be."""
    taken, reason, filed = given(asked, final_p=1.048)
    assert (taken, filed) == (False, [])
    assert "reads as a specific gravity; in °P that is 11.9" in reason
    assert given(asked, last_runnings_p=1.05)[0]


SLIPS = [
    ("ph_at_c", 100.0, None), ("ph_at_c", 100.5, "reads as Fahrenheit; in °C that is 38.1"),
    ("ph_at_c", 212.0, "reads as Fahrenheit; in °C that is 100.0"),
    ("ph_at_c", 212.1, "wanted a number from 0 to 100 °C"),
    ("ph_at_c", -1.0, "wanted a number from 0 to 100 °C"), ("ph", 9.5, "wanted a number from 2 to 9"),
    ("final_p", 1.0, None), ("final_p", 1.005, "in °P that is 1.3"), ("final_p", 1.13, "in °P that is 30.2"),
    ("final_p", 1.131, None), ("last_runnings_p", 1.05, None), ("batch", "x" * 300, None),
    ("batch", "x" * 301, "wanted words, at most 300 characters"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "value", "says"), SLIPS)
def test_which_slip_it_may_be(key: str, value: float | str, says: str | None) -> None:
    """A temperature in °F and a specific gravity are told as such; both sides of each limit."""
    found = entries.problems({key: value})
    assert found == [] if says is None else len(found) == 1 and found[0].endswith(says)


def test_a_value_is_told_with_its_unit_where_it_is_a_number() -> None:
    """Words are told as they are, and a line of the record is of every run's unless it says so."""
    shown = [entries.word(*one) for one in (("ph_at_c", 20), ("ph_at_c", "cold"), ("ph", 5.4), ("batch", 93))]
    assert shown == ["20 °C", "cold", "5.4", "93"]
    assert (entries.Item("x", ()).water, entries.Item("x", ()).lab) == (False, False)
