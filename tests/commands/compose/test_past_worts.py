"""Does a fit to past runs rest on what their records say the mash was?"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.brewing.kinetics import model
from controller.brewing.kinetics.calibration import Batch, calibrate
from controller.report import from_disk
from tests.commands.called import called
from tests.core.bench import course, leg
from tests.places import own_config
from tests.report.recorded import Recorded


@pytest.fixture(scope="module")
def brewery(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped files, and the record of one mash: dough-in at 54 °C, twenty minutes at 64 °C."""
    folder = tmp_path_factory.mktemp("brewery")
    config = own_config(folder)
    one = Recorded(folder / "data" / "record" / "gannet")
    one.until("idle")
    one.bench.start(course(leg("rest", 64.0, 1200.0)))
    for question, said in (("dough_in", "begin"), ("grain_in", "yes")):
        one.until(question)
        one.answer(answer=said)
    one.until("complete")
    one.run(5)
    one.scribe.writer.close()
    return config


def run(config: Path, run_name: str) -> tuple[int, str, str]:
    path = config / "worts.toml"
    path.write_text(f'[[batch]]\nrun = "{run_name}"\ntun = "gannet"\nlimit_attenuation = "72 %"\n')
    return called("compose", "--calibrate", str(path), "--json", config=config)


def test_the_fit_is_to_the_measured_temperatures(brewery: Path) -> None:
    """The last run, fitted by the command, is the same fit as one to the temperatures of its record by hand."""
    code, out, err = run(brewery, "last")
    assert code == 0, err
    folder = brewery.parent / "data" / "record" / "gannet"
    record = from_disk.read([seen.path for seen in from_disk.find(folder, "last")])
    profile = record.profile
    by_hand = calibrate([Batch(profile, 72.0)])
    said = json.loads(out)
    assert said["limit_dextrin_share"] == pytest.approx(by_hand.limit_dextrin_share, abs=1e-6)
    assert said["rms_before_points"] == pytest.approx(by_hand.rms_before_points, abs=1e-6)
    hottest = max(celsius for _, celsius in model.spans(profile))
    assert hottest == pytest.approx(64.0, abs=1.0)
    assert sum(dt_s for dt_s, _ in model.spans(profile)) > 1200.0


def test_the_records_estimate_is_the_models_word_on_it(brewery: Path) -> None:
    """What the record's own estimate says is what the model makes of the profile that the fit rests on."""
    folder = brewery.parent / "data" / "record" / "gannet"
    record = from_disk.read([seen.path for seen in from_disk.find(folder, "last")])
    assert record.prediction is not None and record.prediction["apparent_limit_pct"] is not None
    again = model.predict(record.profile)
    assert again.apparent_limit_pct is not None
    assert record.prediction["apparent_limit_pct"]["mid"] == pytest.approx(again.apparent_limit_pct.mid, abs=0.2)


def test_limits_on_record_need_no_file(brewery: Path) -> None:
    """None is entered yet: told with what enters one; once it is, the fit is the one of a file that says the same."""
    code, out, err = called("compose", "--calibrate", "records", "--json", config=brewery)
    assert (code, out) == (2, "") and "--enter limit_pct" in err
    entered = ("report", "last", "--tun", "gannet", "--enter", "limit_pct=72", "--by", "brewer")
    assert called(*entered, config=brewery)[0] == 0
    code, out, err = called("compose", "--calibrate", "records", "--json", config=brewery)
    assert code == 0, err
    assert json.loads(out)["limit_dextrin_share"] == json.loads(run(brewery, "last")[1])["limit_dextrin_share"]


def test_a_run_that_is_not_there(brewery: Path) -> None:
    """A run that is not on record is told by its batch, with what is wanted."""
    code, out, err = run(brewery, "r-nothing")
    assert (code, out) == (2, "")
    assert "batch 1: run" in err and "underback runs" in err
