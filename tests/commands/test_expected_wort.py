"""Do `check` and `dryrun` tell the wort to expect, honestly and in the same words?"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from controller.edge.files import measured_worts
from controller.edge.files.config_files import load_service
from sim.dryrun import DryRun
from sim.world.faults import parse
from tests.commands.called import called
from tests.places import CONFIG, edited, own_config
from tests.sim import brief
from tests.sim.gone_on import copied

SHIPPED = ("linnet", "sandpiper", "bittern", "crake", "dotterel", "redstart")
FIELDS = {
    "set", "basis", "apparent_limit_pct", "real_limit_pct", "extract_share", "starch_left_pct", "beta_left_pct",
    "alpha_left_pct", "glucanase_left_pct", "protease_left_pct", "iodine_negative_min", "steps",
}  # fmt: skip
STEP_FIELDS = {"name", "apparent_points_gained", "starch_converted_pct", "beta_lost_pct", "alpha_lost_pct"}


def checked(*words: str, config: Path = CONFIG) -> dict[str, Any]:
    code, out, err = called("check", *words, "--json", config=config)
    assert code == 0, err
    return dict(json.loads(out))


@pytest.fixture(scope="module")
def half(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A configuration with the pale ale as `brief`, its rest half as long."""
    return brief.laid(own_config(tmp_path_factory.mktemp("half")), "30 min")


@pytest.fixture(scope="module")
def ran(half: Path) -> dict[str, Any]:
    """The shipped pale ale on the simulated tun, its rest half as long."""
    _, out, _ = called("dryrun", "brief", "--json", config=half)
    return dict(json.loads(out))


@pytest.mark.parametrize("program", SHIPPED)
def test_every_shipped_mash_has_its_figures(program: str) -> None:
    """Fields as agreed, a limit with a band of 12 points or more around it, and a line a rest."""
    found = checked(program)["prediction"]
    assert set(found) >= FIELDS
    for name in ("apparent_limit_pct", "real_limit_pct"):
        band = found[name]
        assert band["low"] < band["mid"] < band["high"]
        assert band["low"] == int(band["low"]) and band["high"] == int(band["high"])
    assert found["apparent_limit_pct"]["high"] - found["apparent_limit_pct"]["low"] >= 12.0
    assert found["steps"] and all(set(step) == STEP_FIELDS for step in found["steps"])
    assert "Estimate" in found["basis"] and "alibrated on" in found["basis"]


def test_where_there_is_no_mash_nothing_is_said_of_wort() -> None:
    """A trial with water has a null prediction, and no word of it on the page; nor has a program that does not fit."""
    found = checked("water-trial")
    assert found["prediction"] is None and found["what_if"] == []
    assert "Estimate" not in called("check", "water-trial")[1]
    code, out, _ = called("check", "sandpiper", "--tun", "plover", "--json")
    assert (code, json.loads(out)["prediction"]) == (2, None)


def test_a_dry_run_agrees_with_the_plan(ran: dict[str, Any], half: Path) -> None:
    """The true temperatures of the dry run give the planned limit within a point, and the same fields."""
    planned = checked("brief", config=half)["prediction"]
    assert set(ran["prediction"]) == set(planned)
    assert ran["prediction"]["apparent_limit_pct"]["mid"] == pytest.approx(
        planned["apparent_limit_pct"]["mid"], abs=1.0
    )
    assert ran["prediction"]["iodine_negative_min"] == pytest.approx(planned["iodine_negative_min"], abs=5.0)
    assert [step["name"] for step in ran["prediction"]["steps"]] == ["dough-in", "conversion", "mash-out", "keep"]


def test_a_change_is_told_for_every_rest() -> None:
    """Both questions for each rest of the plan, but for a mash-out that would be warmer than the tun may be; warmer
    conversion makes it fuller, more so than longer."""
    found = checked("linnet")["what_if"]
    assert [(one["name"], one["change"]) for one in found] == [
        ("conversion", "2 K warmer"), ("conversion", "10 min longer"),
        ("mash-out", "10 min longer"),
    ]  # fmt: skip
    assert found[0]["apparent_points"] < -1.0 < found[1]["apparent_points"]


def test_the_page_says_estimate_and_shows_whole_percents() -> None:
    """Limit and range in whole percents with the word estimate, in three lines; on what it rests, and what a change of
    the plan would do, where that is asked for."""
    page = called("check", "linnet")[1]
    assert page[page.index("  Estimate ") :].count("\n") == 5 and "points fuller" not in page
    why = called("check", "linnet", "--why")[1]
    assert "Compare programs with it" in " ".join(why.split()) and "2 K warmer: 2 points fuller" in why
    assert re.search(r"Apparent attenuation limit \d\d % \(\d\d to \d\d %\), real \d\d % \(\d\d to \d\d %\)", page)
    assert "a real test decides" in page


@pytest.mark.parametrize(("aim", "told"), [("95 %", True), ("81 %", False), ("60 %", True)])
def test_an_aim_that_the_rests_will_hardly_give_is_told(config: Path, aim: str, told: bool) -> None:
    """A limit beyond the estimate's range is told with the command that looks for other rests; one within it is not."""
    edited(config / "programs" / "sandpiper.toml", ('aim = "dry"', f'aim = "{aim}"'))
    out = called("check", "sandpiper", config=config)[1]
    assert (f"The aim is {aim}, outside of that: `underback compose --from sandpiper` finds rests." in out) is told


def test_the_picture_only_when_asked(config: Path) -> None:
    """`--why` draws curve and windows; without it the page has no drawing; plain ASCII where no more can be shown."""
    brief.laid(config)
    assert "beta-glucanase |" not in called("check", "linnet")[1]
    for words in (("check", "linnet", "--why"), ("dryrun", "brief", "--why")):
        page = called(*words, config=config)[1]
        drawn = page[page.index("step begins") :]
        assert "beta-glucanase |" in drawn and "alpha-amylase |" in drawn
        assert not set("░▒▓█") & set(drawn)  # a text buffer has no encoding: the plainest is taken


def test_an_overshoot_of_a_run_is_on_its_record() -> None:
    """Two litres of boiling liquor, unannounced, in a dry run's rest: one note of what that cost; without it none."""
    begun, notes = DryRun(*brief.mash("20 min"), 1), list[list[str]]()
    while begun.state.now < 1300.0:
        begun.second()
    for faults in ([parse("hot_liquor@1320=2")], []):
        ran = copied(begun, faults).go()
        assert ran.result == "complete"
        notes.append([one.text for one in ran.trace.happenings if one.id == "estimate"])
    assert [len(found) for found in notes] == [1, 0]
    assert re.match(r"estimate: conversion was too hot for \d+ min, at worst \d\.\d K over its 66.0 °C", notes[0][0])


# ---------------------------------------------------------------- malt sheet and own worts


def with_sheet(config: Path, share: str) -> None:
    sheet = 'kolbach = "42 %"'
    edited(config / "programs" / "linnet.toml", (sheet, f'{sheet}\nlimit_attenuation = "{share}"'))


@pytest.mark.parametrize(("share", "low", "high"), [("76 %", -7.0, -3.0), ("84 %", 3.0, 7.0)])
def test_the_malt_sheet_moves_the_level(config: Path, share: str, low: float, high: float) -> None:
    """4 points less or more on the certificate move the expected limit by 3 to 7 points, and the text says so;
    8 % is a problem of the program file."""
    before = checked("linnet", config=config)["prediction"]
    with_sheet(config, share)
    after = checked("linnet", config=config)["prediction"]
    assert low < after["apparent_limit_pct"]["mid"] - before["apparent_limit_pct"]["mid"] < high
    assert "certificate" in after["basis"] and "certificate" not in before["basis"]
    edited(config / "programs" / "linnet.toml", (f'"{share}"', '"8 %"'))
    code, _, err = called("check", "linnet", config=config)
    assert code == 2 and "limit_attenuation" in err and "40 %" in err


def listed(config: Path, *batches: tuple[str, str]) -> str:
    path = config / "worts.toml"
    path.write_text("".join(f'[[batch]]\nprogram = "{p}"\nlimit_attenuation = "{share}"\n' for p, share in batches))
    return str(path)


def test_own_worts_bring_the_estimate_to_the_brewery(config: Path) -> None:
    """Two worts 5 points under the expected: told, recorded, and every estimate after it lower by most of that;
    the fit starts from the model as published, not from the last fit: the same list, the same record."""
    before = checked("linnet", config=config)["prediction"]["apparent_limit_pct"]["mid"]
    file = listed(config, ("linnet", "75 %"), ("sandpiper", "77 %"))
    code, out, err = called("compose", "--calibrate", file, config=config)
    assert code == 0, err
    again = called("compose", "--calibrate", file, "--json", config=config)
    assert called("compose", "--calibrate", file, "--json", config=config) == again and again[0] == 0
    assert "fitted to 2 measured worts" in out and "limit-dextrin share 0.328 ->" in out
    record = measured_worts.load(load_service(config))
    assert record is not None and record.batches == 2 and record.rms_after_points < record.rms_before_points
    after = checked("linnet", config=config)
    assert 3.0 < before - after["prediction"]["apparent_limit_pct"]["mid"] < 6.0
    assert "brought to 2 measured worts of this brewery" in after["malt"]


def test_every_wrong_batch_is_told(config: Path) -> None:
    """A program that is not there, a run that is not on record and water alone: all three, and nothing is recorded."""
    path = config / "bad.toml"
    path.write_text(
        '[[batch]]\nprogram = "linnt"\nlimit_attenuation = "80 %"\n'
        '[[batch]]\nrun = "7"\ntun = "gannet"\nlimit_attenuation = "80 %"\n'
        '[[batch]]\nprogram = "water-trial"\ntun = "plover"\nlimit_attenuation = "80 %"\n'
    )
    code, out, err = called("compose", "--calibrate", str(path), config=config)
    assert (code, out) == (2, "")
    assert "batch 1" in err and "batch 2" in err and "batch 3" in err
    assert measured_worts.load(load_service(config)) is None


def test_a_spoiled_record_is_told_by_check(config: Path) -> None:
    """A damaged calibration is a problem that names the file, exit code 2."""
    path = measured_worts.record_path(load_service(config))
    path.parent.mkdir(parents=True)
    path.write_text("limit_dextrin_share = 7.0\nbeta_loss_factor = 1.0\n")
    code, _, err = called("check", "linnet", config=config)
    assert code == 2 and measured_worts.FILE in err and "7.0" in err
