"""Sums typed one by one: what there is, what each takes, what is wrong with what was typed."""

from __future__ import annotations

import json
import shlex

import pytest

from controller.commands.reckon.command import SUMS, read_all, worked
from tests.commands.called import called


def test_what_there_is_and_what_each_takes() -> None:
    """The list names every sum with an example, and a sum alone says its keys with what they are unless said."""
    code, out, _ = called("reckon")
    assert code == 0 and all(f"underback reckon {name} {one.example}" in out for name, one in SUMS.items())
    assert "cold                 12 °C unless said" in called("reckon", "blend")[1]


@pytest.mark.parametrize("name", sorted(SUMS))
def test_every_example_has_its_answers(name: str) -> None:
    """What is offered as an example is taken, and gives finite figures."""
    chosen = SUMS[name]
    answers = worked(chosen, read_all(chosen, shlex.split(chosen.example)))
    assert answers and all(abs(one.value) < 1e9 for one in answers)


def test_any_unit_in_and_any_out() -> None:
    """The same blend in US units gives the same kilograms, told in lb and gal where asked."""
    metric = json.loads(called("reckon", "blend", "total=60 kg", "wanted=72 °C", "hot=78 °C", "--json")[1])["answers"]
    us = ("reckon", "blend", "total=132.2774 lb", "wanted=161.6 °F", "hot=172.4 °F")
    assert json.loads(called(*us, "--json")[1])["answers"]["hot liquor"] == pytest.approx(
        metric["hot liquor"], abs=1e-4
    )
    assert "hot liquor: 120.26 lb" in called(*us, "--units", "US")[1]


def test_everything_wrong_is_told_at_once() -> None:
    """A bare number, the other temperature scale, a key that is none and one that lacks; a sum that is none."""
    code, _, err = called("reckon", "blend", "total=60", "hot=178 °C", "warm=3 °C")
    assert code == 2
    assert 'such as "60 kg"' in err and '"178 °F" is 81.1 °C' in err and "warm=3 °C: found a key" in err
    assert "wanted: found nothing" in err
    assert "did you mean 'blend'?" in called("reckon", "blnd")[2]
    assert "does not lie between" in called("reckon", "blend", "total=60 kg", "wanted=80 °C", "hot=78 °C")[2]
