"""The batch record by the list of what it has to hold: entered, filed, worked out, and named where it is missing."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.brewing import wort
from controller.cli import main
from controller.commands.report import page as terminal
from controller.core.nouns import Event, ForPeople
from controller.core.procedure import entries
from controller.report import EventRecord, amendments, batch_entries, batch_record, from_disk
from controller.report.run_page import html
from tests.browser import browser
from tests.core.bench import WALL
from tests.places import own_config
from tests.report import paper
from tests.report.recorded import Recorded, two_rests
from tests.report.runs import EVENTS, MANY, record

ADVICE = {"level": "advise", "what": "the lid is open", "mend": "close it", "overruled": "it is Tuesday"}
MALT = {"name": "pale malt", "mass_kg": 20.0, "kind": "malt", "lot": "L-17", "moisture": 0.048}
POINTS = {"calibrated_on": "2026-11-02", "raw_ice_c": 0.3, "raw_boil_c": 99.8, "boil_c": 99.6, "by": "technician"}
FILED = (
    Event("advice", "A9", "advise A9: the lid is open", data=ADVICE),
    Event("malt", "pale malt", "20 kg pale malt, lot L-17", data=MALT),
    Event("calibration", "mash", "mash probe calibrated", data=POINTS),
)
ENTERED: dict[str, Any] = {
    "batch": "WM-0093",
    "crush_gap_mm": 1.1,
    "liquor_volume_l": 60.5,
    "gypsum_g": 8.0,
    "lactic_acid_ml": 12.0,
    "ph": 5.42,
    "gravity_p": 15.0,
    "first_wort_p": 19.3,
    "first_wort_volume_l": 41.0,
    "last_runnings_p": 1.8,
}


@pytest.fixture(scope="module")
def mash(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    """A mash of which much was filed and entered; final figures and spent grain are left for later."""
    one = Recorded(tmp_path_factory.mktemp("filed"))
    one.until("idle")
    one.bench.start(two_rests()._replace(people=ForPeople(filed=FILED)))
    one.until("dough_in")
    one.answer(batch="0092")
    one.answer(answer="begin")
    one.run(60)
    one.answer(answer="yes")
    one.until("resting")
    for key, value in ENTERED.items():
        one.answer(**{key: value})
    one.until("complete")
    one.scribe.writer.close()
    return one


def paths(one: Recorded) -> list[Path]:
    return [seen.path for seen in from_disk.find(one.folder, "last")]


def test_what_was_filed_at_the_start_is_in_the_record(mash: Recorded) -> None:
    """Advice with level, words and the reason against it; the malt with its lot; calibration with points and author;
    it stands in the journal as events and is not carried along in every kept state."""
    found = batch_record.document(from_disk.read(paths(mash)))
    assert found["advice"] == [{"rule": "A9", **ADVICE}]
    assert (found["grist"], found["grist_missing"]) == ([MALT], None)
    assert found["calibration"] == {"mash": POINTS}
    text = paths(mash)[0].read_text(encoding="utf-8")
    assert text.count("it is Tuesday") == 1
    assert text.count("L-17") == 2  # in words and as a figure of the same line


def test_all_that_was_entered_stands_under_its_line(mash: Recorded) -> None:
    """Each value is there with unit, author and time; of two batch numbers both stay and the newer one holds."""
    found = batch_record.document(from_disk.read(paths(mash)))
    values = {v["key"]: v for item in found["items"] for v in item["values"]}
    assert {key: values[key]["value"] for key in ENTERED} == ENTERED
    assert {v["by"] for v in values.values()} == {"brewer"}
    assert values["first_wort_p"]["unit"] == "°P"
    numbers = next(item for item in found["items"] if item["title"] == "batch number")["values"]
    assert [v["value"] for v in numbers] == ["0092", "WM-0093"]
    assert found["batch"] == "WM-0093"
    assert json.loads(json.dumps(found, allow_nan=False)) == json.loads(json.dumps(found))


def test_what_nobody_entered_is_named(mash: Recorded) -> None:
    """The gaps are exactly what this batch lacks; a record of an older journal lacks what was not filed then."""
    found = batch_record.document(from_disk.read(paths(mash)))
    assert found["missing"] == [
        "gravity of all the wort",
        "volume of all the wort at 20 °C",
        "spent grain",
        "iodine result",
        "extract yield: needs volume and gravity of all the wort",
        "signature",
    ]
    older = batch_record.document(replace(record(), grist_kg=20.0))
    assert {"malt lots", "calibration in force", "advice given at the start", "batch number"} <= set(older["missing"])
    assert (older["advice"], older["calibration"], older["grist"]) == (None, None, None)


def test_strike_and_dough_in_are_worked_out(mash: Recorded) -> None:
    """Strike as planned and as it was, both moments of dough-in, initial heat as planned and as it came."""
    run = from_disk.read(paths(mash))
    found = batch_record.document(run)
    assert found["strike"]["predicted_c"] == round(run.planned[0].target_c, 2)
    began = found["dough_in"]["began_s"]
    before = [row.mash_c for row in run.rows if row.t_s < began and row.mash_c is not None]
    assert found["strike"]["used_c"] == before[-1]
    assert found["dough_in"]["grain_in_s"] - began == pytest.approx(61.0, abs=1.0)
    assert found["initial_heat_predicted_c"] == two_rests().landing_c
    assert {(e["kind"], e["id"]) for e in found["additions"]} <= {("answer", "settled")}


def test_a_run_stopped_while_heating_used_no_strike(tmp_path: Path) -> None:
    """Liquor that met no grain is no strike: only what was worked out is on record."""
    one = Recorded(tmp_path)
    one.until("idle")
    one.bench.start(two_rests())
    one.run(60)
    one.scribe.writer.close()
    run = from_disk.read(paths(one))
    assert run.rows[-1].mash_c is not None and run.rows[-1].phase != "adding"
    assert batch_entries.strike(run) == {"predicted_c": round(run.planned[0].target_c, 2), "used_c": None}


def test_the_raw_record_is_attached_by_its_hash(mash: Recorded) -> None:
    """Name, length and SHA-256 of the journal's file are in the record."""
    (path,) = paths(mash)
    (said,) = batch_record.document(from_disk.read([path]), raw=[path])["attachments"]
    data = path.read_bytes()
    assert said == {"file": path.name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def test_figures_measured_late_are_added(mash: Recorded, tmp_path: Path) -> None:
    """Final volume and gravity entered after the run close their gaps, and the yield is the worked example's."""
    path = tmp_path / "00000001-run.jsonl"
    shutil.copy(paths(mash)[0], path)
    beside = amendments.place(tmp_path, 1)
    final = {"final_volume_l": 85.0, "final_p": round(wort.plato(1.056), 4)}
    amendments.add(beside, [path], kind="entry", by="student", text=entries.words(final), data=final, at_s=WALL)
    run = from_disk.read([path], added=amendments.read(beside, [path]).lines)
    found = batch_record.document(run)
    assert {"gravity of all the wort", "volume of all the wort at 20 °C"}.isdisjoint(found["missing"])
    assert run.grist_kg == 20.0
    # 85 L at 20 °C of SG 1.056 from 20 kg: 61.8 %
    assert found["extract_yield"]["share"] == pytest.approx(0.618, abs=0.001)
    late = next(item for item in found["items"] if item["title"].startswith("volume of all"))["values"][0]
    assert (late["by"], late["t_s"], late["at"]) == ("student", None, WALL)
    assert found["extract_yield"]["question"] is None
    said = "61.8 % of the grist, 79 % of the 78.0 % it can give, as is usual for pale malt"
    assert said in html(run)
    assert f"  extract yield: {said}" in terminal(run, amendments.read(beside, [path]))
    assert "entered after the run" in html(run)


def test_the_page_shows_entries_and_gaps(mash: Recorded) -> None:
    """What was entered stands there in words with its unit, the newest value beside the struck one before; no line says
    its own name twice; what was not entered is said to be missing; a dry run has none."""
    page = html(from_disk.read(paths(mash)))
    assert "gap of the mill&#39;s rollers 1.1 mm [brewer]" in page
    assert "gypsum, CaSO4·2H2O 8 g [brewer]" in page
    assert page.count("<em>not recorded</em>") == 3
    assert "Not on record:</strong> gravity of all the wort; volume of all the wort at 20 °C" in page
    assert 'id="h-batch"' not in html(record())
    assert "<dd>WM-0093 [brewer]; before: <s>0092 [brewer]</s></dd>" in page
    assert "<dt>pH of the mash</dt><dd>5.42 [brewer]</dd>" in page
    assert "<dt>first wort: volume at 20 °C</dt><dd>41 L [brewer]</dd>" in page
    told = {line.title: line for line in batch_entries.lines(from_disk.read(paths(mash)))}
    assert told["batch number"].earlier == ("0092 [brewer]",)
    assert [title for title, line in told.items() if line.text.startswith(f"{title} ")] == []


@pytest.mark.browser
def test_a_crowded_batch_prints_on_few_sheets(tmp_path: Path) -> None:
    """A real run with every line entered at length, gaps and 300 lines of events: three A4 pages at most, none of
    them half empty, and axe is content."""
    keys = {item.keys[-1]: "words of forty characters about this one" for item in entries.ITEMS}
    values = {key: word if key in entries.TEXTS else 10.0 for key, word in keys.items()}
    told = tuple(EventRecord(10.0, "entry", key, key, data={key: v, "by": "brewer"}) for key, v in values.items())
    path = tmp_path / "r.html"
    path.write_text(html(record(events=(*told, *EVENTS, *MANY), dry=False)), encoding="utf-8")
    with browser() as page:
        page.open(path.as_uri())
        filled = paper.filled(page.pdf())
        assert len(filled) <= 3 and min(filled) >= 0.5, filled
        page.look(390, 844, phone=True)
        assert page.complaints() == []
        assert page.eval("document.documentElement.scrollWidth") <= 390


def test_entered_by_command(mash: Recorded, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`report --enter` files late figures and the page on the terminal names what is left; wrong ones are all told."""
    config, data = own_config(tmp_path), tmp_path / "data" / "record" / "gannet"
    data.mkdir(parents=True)
    shutil.copy(paths(mash)[0], data / "00000004-run.jsonl")
    words = ["--config", str(config), "report", "last", "--by", "student"]
    assert main([*words, "--enter", "final_volume_l=85", "--enter", "final_p=13.8"]) == 0
    out = capsys.readouterr().out
    assert "not on record: spent grain; iodine result; signature" in out
    assert "entry by student: all the wort, at 20 °C: 85 L; gravity of all the wort: 13.8 °P" in out
    assert main([*words, "--enter", "final_p=99", "--enter", "ginger=1"]) == 2
    err = capsys.readouterr().err
    assert "--enter final_p: found '99.0', wanted a number from 0 to 30 °P" in err
    assert "--enter ginger" in err
    assert main([*words, "--json"]) == 0
    filed = json.loads(capsys.readouterr().out)
    assert [line["kind"] for line in filed["added"]] == ["entry"]
    assert filed["attachments"][0]["file"] == "00000004-run.jsonl"


def test_water_alone_lacks_no_grain() -> None:
    """Of a water trial neither crush, salts nor gravity are missed; what was entered all the same is shown."""
    said = EventRecord(60, "entry", "ph", "ph 7.1", data={"ph": 7.1, "by": "brewer"})
    run = replace(record(events=(*EVENTS, said)), grist_kg=0.0)
    assert [item["title"] for item in batch_entries.items(run)] == ["liquor measured", "pH of the mash"]
    assert {"crush", "salts", "gravity in the mash"}.isdisjoint(batch_entries.missing(run, None))
    assert {"crush", "salts", "gravity in the mash"} <= set(batch_entries.missing(replace(run, grist_kg=20.0), None))
