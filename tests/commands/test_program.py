"""A program written from five answers."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import pytest

from controller.commands.program import AIMS
from tests.commands.called import called

SAID = {"--tun": "plover", "--malts": "5 kg pale malt", "--aim": "dry", "--rests": "2", "--liquor": "15 kg"}


def new(config: Path, name: str = "my", **changes: str) -> tuple[int, str, str]:
    said = SAID | {f"--{key}": value for key, value in changes.items()}
    return called("program", "new", name, *itertools.chain(*said.items()), config=config)


def planned(config: Path, name: str = "my") -> dict[str, object]:
    code, out, err = called("check", name, "--json", config=config)
    assert code == 0, err
    found: dict[str, object] = json.loads(out)["plan"]
    return found


def test_every_aim_and_number_of_rests_passes_check(config: Path) -> None:
    """Whatever is wanted of the wort and of the rests, `check` takes what is written, without a problem."""
    for aim, rests in itertools.product(AIMS, "123"):
        assert new(config, f"{aim}{rests}", aim=aim, rests=rests)[0] == 0
        planned(config, f"{aim}{rests}")


@pytest.mark.parametrize(
    ("malts", "liquor", "grist_kg", "liquor_kg"),
    [
        ("11 lb 4 oz pale malt, 8 oz crystal malt", "1.5 qt/lb", 5.33, 16.68),
        ("4 kg FH-0417, 500 g flaked oats", "4 gal", 4.5, 15.13),
    ],
)
def test_in_any_unit_and_by_lot(config: Path, malts: str, liquor: str, grist_kg: float, liquor_kg: float) -> None:
    """Masses in lb and oz, liquor by quarts a pound or gallons, a malt by its lot's file."""
    assert new(config, malts=malts, liquor=liquor)[0] == 0
    plan = planned(config)
    assert plan["grist_kg"] == pytest.approx(grist_kg, abs=0.005)
    assert plan["liquor_kg"] == pytest.approx(liquor_kg, abs=0.01)


def test_the_file_speaks_the_units_chosen(config: Path) -> None:
    """With --units US the file holds °F and lb, and means the same mash."""
    assert new(config, "metric")[0] == 0
    assert called("program", "new", "us", *itertools.chain(*SAID.items()), "--units", "US", config=config)[0] == 0
    text = (config / "programs" / "us.toml").read_text("utf-8")
    assert 'temperature = "145.4 °F"' in text and 'mass = "11 lb"' in text and "°C" not in text
    metric, us = planned(config, "metric"), planned(config, "us")
    assert us["strike_c"] == pytest.approx(metric["strike_c"], abs=0.1)


def test_questions_where_nothing_is_said(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands on the command line is not asked, the rest is, in order; the file is as if all had been said."""
    answers = iter(("plover", "5 kg pale malt", "dry", "2", "15 kg"))
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    assert called("program", "new", "asked", config=config)[0] == 0
    assert new(config, "said")[0] == 0
    asked, said = ((config / "programs" / f"{name}.toml").read_text("utf-8") for name in ("asked", "said"))
    assert asked.replace("asked", "said") == said


def test_everything_wrong_at_once_and_nothing_written(config: Path) -> None:
    """Wrong answers are told together, a mash that does not fit is refused, and no file is there afterwards."""
    code, _, err = new(config, tun="ruff", malts="5 pale malt, 3 kg mystery", aim="sour", rests="7", liquor="much")
    assert code == 2
    assert all(word in err for word in ('"ruff"', '"5 pale malt"', "mystery", "sour", "1, 2 or 3", '"much"'))
    code, _, err = new(config, malts="15 kg pale malt", liquor="45 kg")
    assert code == 2 and "at most 28.5 L" in err
    assert not (config / "programs" / "my.toml").exists()
    assert new(config, "linnet")[0] == 2


def test_units_may_stand_on_either_side(config: Path) -> None:
    """`--units US check linnet` is `check linnet --units US`; without a name after it the sentence says so."""
    before, after = (
        called(*words, config=config)
        for words in (("--units", "US", "check", "linnet"), ("check", "linnet", "--units=US"))
    )
    assert before == after and "°F" in before[1] and before[0] == 0
    assert called("--units", config=config) == (2, "", "--units: a name of units is missing after it\n")
