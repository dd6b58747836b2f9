"""What goes on record at the start: advice with overrules, malt lots, calibration with its author."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import pytest

from controller.commands import doctor
from controller.commissioning import calibrate
from controller.core.nouns import Course, Event
from controller.edge import start_orders
from controller.edge.files import config_files
from controller.edge.record import run_header
from controller.plan import plan
from controller.plan.advise import advise
from controller.settings.service import Settings
from tests.places import own_config

NOW = 1.79e9


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The shipped configuration with a data folder of its own."""
    folder = own_config(tmp_path)
    gannet = folder / "tuns/gannet.toml"  # a weak heater, so that there is advice to file
    gannet.write_text(gannet.read_text().replace('power = "5 kW"', 'power = "3 kW"'))
    return folder


def at_start(config: Path, program: str, settings: Settings) -> Sequence[Event]:
    return run_header.at_start(
        config, plan.make(config_files.load_program(config, program), settings.tun), settings, NOW
    )


def test_the_advice_of_the_start_is_filed_as_check_gives_it(config: Path) -> None:
    """Rule, level and words of each piece are those of `check` for the same plan and day."""
    settings = config_files.settings(config, "gannet")
    made = plan.make(config_files.load_program(config, "sandpiper"), settings.tun)
    age = run_header.advised_days(settings.tun, NOW)
    wanted = [
        (said.advice.rule, said.advice.level, said.advice.text, said.overruled)
        for said in advise(made, config_files.load_advice(config), calibration_age_days=age)
    ]
    events = [event for event in at_start(config, "sandpiper", settings) if event.kind == "advice"]
    told = [(e.id, (e.data or {})["level"], (e.data or {})["what"], (e.data or {})["overruled"]) for e in events]
    assert told == wanted
    assert len(told) >= 1


def test_an_overruled_rule_is_filed_with_its_reason(config: Path) -> None:
    """The advice that the brewer does not follow stands there with the reason in the program."""
    settings = config_files.settings(config, "gannet")
    before = [event for event in at_start(config, "sandpiper", settings) if event.kind == "advice"]
    rule = next(event.id for event in before if (event.data or {})["level"] != "stop")
    path = config / "programs" / "sandpiper.toml"
    path.write_text(path.read_text() + f'\n[overrule]\n{rule} = "known, and wanted so"\n')
    after = {e.id: e.data or {} for e in at_start(config, "sandpiper", settings) if e.kind == "advice"}
    assert after[rule]["overruled"] == "known, and wanted so"
    assert all(data["overruled"] is None for other, data in after.items() if other != rule)


def test_each_malt_is_filed_with_lot_and_sheet(config: Path) -> None:
    """Each line of the grist is there with its mass; a lot that is not known is said."""
    settings = config_files.settings(config, "gannet")
    program = config_files.load_program(config, "sandpiper")
    malts = [event for event in at_start(config, "sandpiper", settings) if event.kind == "malt"]
    assert [event.data for event in malts] == [line.model_dump(mode="json") for line in program.grist]
    for event, line in zip(malts, program.grist, strict=True):
        assert (f"lot {line.lot}" if line.lot else "lot not known") in event.text


def calibrated(config: Path, by: str, raw_ice_c: float, date: str) -> Settings:
    """The tun with these constants in its file, and a line of history for them."""
    settings = config_files.settings(config, "gannet")
    mash = settings.tun.probes.mash.model_copy(update={"raw_ice_c": raw_ice_c, "calibrated_on": "2026-11-02"})
    probes = settings.tun.probes.model_copy(update={"mash": mash})
    settings = settings._replace(tun=settings.tun.model_copy(update={"probes": probes}))
    new = {"raw_ice_c": raw_ice_c, "raw_boil_c": mash.raw_boil_c, "boil_c": mash.boil_c}
    calibrate.write(settings, {"probe": "mash", "date": date, "by": by, "new": new})
    return settings


def test_the_calibration_in_force_is_filed_with_who_made_it(config: Path) -> None:
    """Date, points, offset at ice and at 65 °C, and the author from the history line that fits the tun file."""
    settings = calibrated(config, "technician", 0.31, "2026-11-02")
    calibrate.write(settings, {"probe": "mash", "date": "2026-11-20", "by": "student", "new": {}})
    (event,) = [e for e in at_start(config, "sandpiper", settings) if (e.kind, e.id) == ("calibration", "mash")]
    probe, data = settings.tun.probes.mash, event.data or {}
    assert data["by"] == "technician"
    assert (data["calibrated_on"], data["raw_ice_c"]) == ("2026-11-02", 0.31)
    assert data["offset_ice_k"] == round(probe.calibrated(0.0), 3)
    assert data["offset_ice_k"] == pytest.approx(-0.31, abs=0.01)
    assert data["offset_at_65_k"] == round(probe.calibrated(65.0) - 65.0, 3)
    assert "calibrated on 2026-11-02 by technician" in event.text
    assert run_header.not_own(settings) == []


@pytest.mark.parametrize("history", ["none", "another date", "other points", "broken"])
def test_an_author_who_is_not_on_record_is_not_guessed(config: Path, history: str) -> None:
    """Without a line of history that fits the tun file nobody is named; doctor notes it, too."""
    settings = calibrated(config, "technician", 0.31, "2026-11-01" if history == "another date" else "2026-11-02")
    path = run_header.history(settings, "mash")
    if history == "none":
        path.unlink()
    elif history == "other points":
        line = json.loads(path.read_text())
        line["new"]["raw_ice_c"] = 0.5
        path.write_text(json.dumps(line) + "\n")
    elif history == "broken":
        path.write_bytes(b'{"date": 3\n\xff\n[]\n')
    (event,) = [e for e in at_start(config, "sandpiper", settings) if (e.kind, e.id) == ("calibration", "mash")]
    assert (event.data or {})["by"] is None
    assert "the tun file says calibrated on 2026-11-02, but no `calibrate` of this tun wrote that" in event.text
    (said,) = run_header.not_own(settings)
    assert said.startswith("mash probe: no calibration of gannet of 2026-11-02 with these figures is on record")
    assert [one.found for one in doctor.tun(settings) if one.check == "calibration"] == [said]


def test_a_start_brings_it_and_a_broken_advice_file_stops_nothing(config: Path) -> None:
    """The course of a start order carries the events; where `advice.toml` cannot be read that is said among them."""
    settings = config_files.settings(config, "gannet")
    compiled = start_orders.compiler(config, settings)
    course = compiled({"program": "sandpiper"})
    assert isinstance(course, Course)
    assert {event.kind for event in course.people.filed} >= {"advice", "malt", "calibration"}
    (config / "advice.toml").write_text("[A5]\nlevel = 'shout'\n")
    course = compiled({"program": "sandpiper"})
    assert isinstance(course, Course)
    assert any(event.kind == "note" and "cannot be read" in event.text for event in course.people.filed)
    assert start_orders.unchanged(config, settings)("sandpiper", course.digest)
