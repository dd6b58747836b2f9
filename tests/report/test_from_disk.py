"""From the journal on disk to run record, batch record and the commands."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from controller.cli import main
from controller.edge.record.line_format import line, parse
from controller.report import amendments, batch_record, from_disk
from controller.report.rows import gaps
from controller.report.run_page import html
from controller.report.run_record import Gap
from controller.report.wort import follow
from tests.core.bench import WALL
from tests.places import own_config
from tests.report.recorded import Recorded, a_mash, two_rests


@pytest.fixture(scope="module")
def mash(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    return a_mash(tmp_path_factory.mktemp("record"))


def files_of(one: Recorded) -> list[Path]:
    return [seen.path for seen in from_disk.find(one.folder, "last")]


def test_every_tick_of_the_run_is_a_row(mash: Recorded) -> None:
    """Temperature, setpoint, duty, step, phase and state of each row are those of the core's tick, a second apart."""
    record = from_disk.read(files_of(mash))
    quiet = ("idle", "checking", "complete")
    ticks = [outcome for outcome in mash.bench.log if str(outcome.state.run.state) not in quiet]
    assert len(record.rows) == len(ticks)
    for row, outcome in zip(record.rows, ticks, strict=True):
        seen = outcome.seen.value_c
        assert row.mash_c == (None if seen is None else round(seen, 3))
        assert row.duty == round(outcome.state.guard.line.duty, 4)
        assert (row.step, row.phase, row.state) == (
            outcome.state.run.leg,
            str(outcome.state.run.phase),
            str(outcome.state.run.state),
        )
    assert {round(b.t_s - a.t_s, 6) for a, b in pairwise(record.rows)} == {1.0}


def test_what_happened_is_in_the_record(mash: Recorded) -> None:
    """Trip, extension, answer and entry come over with their words, the plan is that of the start, the end is told."""
    record = from_disk.read(files_of(mash))
    kinds = {(e.kind, e.id) for e in record.events}
    assert {("trip", "G02"), ("order", "extend"), ("answer", "grain_in"), ("entry", "ph")} <= kinds
    assert record.state == "complete"
    assert [step.hold_s for step in record.planned] == [leg.hold_s for leg in two_rests().legs]
    assert (record.run, record.began_s) == (mash.bench.state.run.begun.id, WALL)
    assert record.meta["Started by"] == mash.bench.state.run.begun.by == "brewer"
    told = {s.name: s.credited_s for s in record.steps}
    assert told["low rest"] == pytest.approx(360.0, abs=2.0)
    assert (record.title, record.program, record.tun) == ("Test mash", "test", "testtun")


def older(kept: dict[str, Any]) -> None:
    """A kept run as once written: its beginning among its own fields, what comes in among those of its steps."""
    begun = kept.pop("begun")
    kept |= {"run_id": begun["id"], "by": begun["by"], "started_wall_s": begun["wall_s"]}
    for leg in kept["course"]["legs"]:
        comes = leg.pop("comes")
        leg |= {"addition_kg": comes.pop("kg"), "addition_c": comes.pop("hot_c"), **comes}


def with_a_pull(kept: dict[str, Any]) -> None:
    """A kept run in whose first rest some of the mash is drawn off."""
    leg = kept["course"]["legs"][1]
    leg["kind"] = "decoction"
    leg["comes"] |= {"kg": 12.0, "hot_c": 95.0, "pull_kg_per_kg": 2.0, "boil_off_kg": 1.0}


def test_an_older_record_tells_the_same(mash: Recorded, tmp_path: Path) -> None:
    """Whose run it was, what came in and what the enzymes did: from kept lines as they are, and as once written."""
    for path in files_of(mash):
        lines = [found for raw in path.read_bytes().splitlines() if (found := parse(raw))]
        runs = [one["state"]["run"] for one in lines if one["kind"] == "keep" and one["state"]["run"]["course"]]
        for place, change in (("now", with_a_pull), ("then", older)):
            for kept in runs:
                change(kept)
            (tmp_path / place).mkdir(exist_ok=True)
            (tmp_path / place / path.name).write_bytes(b"".join(map(line, lines)))
    now, then = (
        from_disk.read([one.path for one in from_disk.find(tmp_path / place, "last")]) for place in ("now", "then")
    )
    assert (then.run, then.began_s, then.meta) == (now.run, now.began_s, now.meta)
    assert (now.run, now.planned[1].addition_kg, now.planned[1].addition_c) == (
        mash.bench.state.run.begun.id,
        12.0,
        95.0,
    )
    assert (then.planned, then.enzymes, then.profile) == (now.planned, now.enzymes, now.profile)
    assert now.enzymes != from_disk.read(files_of(mash)).enzymes


def test_energy_and_gaps_are_those_of_the_samples(mash: Recorded) -> None:
    """The energy is the sum of the commanded shares of full power; the forty seconds without readings, less the ten for
    which the last one counts, are one gap, one definition of it for page and file."""
    record = from_disk.read(files_of(mash), power_w=5000.0)
    by_hand = sum(row.duty for row in record.rows[:-1]) * 5000.0 / 3.6e6
    assert record.energy_kwh == pytest.approx(by_hand, abs=0.001)
    (gap,) = gaps(record.rows)
    assert 25 <= gap.to_s - gap.from_s <= 45
    assert [Gap(**g) for g in batch_record.document(record)["gaps"]] == [gap]


def test_the_mash_is_estimated_from_dough_in_on(mash: Recorded) -> None:
    """Enzyme columns begin at dough-in, never rise, and the prediction names every step; plain liquor has none."""
    record = from_disk.read(files_of(mash))
    beta = record.enzymes["beta_left_pct"]
    first = next(i for i, value in enumerate(beta) if value is not None)
    assert record.rows[first].phase == "adding"
    known = [value for value in beta[first:] if value is not None]
    assert len(known) == len(beta) - first
    assert all(a >= b for a, b in pairwise(known))
    assert record.prediction is not None
    assert [step["name"] for step in record.prediction["steps"]][-2:] == ["low rest", "hot rest"]
    assert follow(record.rows, {"grist_kg": 0.0, "legs": []}).prediction is None


def test_a_restart_is_one_run_with_a_gap(mash: Recorded, tmp_path: Path) -> None:
    """A process that goes on after 600 s: one time axis, the outage a gap of that length, nothing before it moved."""
    whole = files_of(mash)[0].read_bytes().rstrip(b"\0").splitlines()
    cut = len(whole) // 2
    entries = [parse(raw) for raw in whole]
    start = entries[0]
    assert start is not None
    path = tmp_path / "00000001-run.jsonl"
    lines: list[dict[str, Any]] = [e for e in entries[:cut] if e is not None]
    last = next(e for e in reversed(lines) if "t" in e)
    lines.append({**start, "kind": "process", "at": last["at"] + 600.0, "boot_id": "another", "up": 5.0})
    for entry in entries[cut:]:
        assert entry is not None
        moved = {"t": entry["t"] - last["t"] + 3.0} if "t" in entry else {}
        lines.append({**entry, **moved, "at": entry["at"] + 600.0, "up": 5.0})
    path.write_bytes(b"".join(line({**clean(e), "n": n}) for n, e in enumerate(lines)))
    record, before = from_disk.read([path]), from_disk.read(files_of(mash))
    assert len(record.rows) == len(before.rows)
    outage = [gap for gap in gaps(record.rows) if gap.to_s - gap.from_s > 500]
    assert len(outage) == 1
    assert outage[0].to_s - outage[0].from_s == pytest.approx(601.0, abs=1.0)
    assert record.ended_s - before.ended_s == pytest.approx(600.0, abs=1.0)
    kept = [row for row in record.rows if row.t_s <= outage[0].from_s]
    assert kept == list(before.rows[: len(kept)])


def clean(entry: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in entry.items() if k != "crc"}


def test_damage_is_said_and_what_is_sound_is_shown(mash: Recorded, tmp_path: Path) -> None:
    """A flipped byte in the middle: the record ends there, says so, and the page does too."""
    path = tmp_path / "00000001-run.jsonl"
    data = bytearray(files_of(mash)[0].read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    record = from_disk.read([path])
    assert "is damaged" in record.damage
    assert 0 < len(record.rows) < len(from_disk.read(files_of(mash)).rows)
    assert "This record is damaged" in html(record)


def test_a_list_of_runs_reads_only_the_ends(mash: Recorded, monkeypatch: pytest.MonkeyPatch) -> None:
    """The list tells state and length from the ends of the file, even when those are much smaller than the file."""
    (usual,) = from_disk.runs(mash.folder)
    monkeypatch.setattr(from_disk, "GLANCE_BYTES", 10_000)
    assert usual.path.stat().st_size > 500_000
    (short,) = from_disk.runs(mash.folder)
    assert usual == short
    assert usual.state == "complete"
    # the bench stamps the start with its first second, before the twelve of the checks
    assert usual.ran_s == pytest.approx(from_disk.read([usual.path]).ended_s, abs=15.0)


def test_runs_are_found_by_number_name_or_last(mash: Recorded) -> None:
    """Each way of naming the run finds it, and another number finds nothing."""
    (seen,) = from_disk.runs(mash.folder)
    for wanted in ("last", str(seen.number), seen.run):
        assert from_disk.find(mash.folder, wanted) == [seen]
    assert from_disk.find(mash.folder, "999") == []
    assert from_disk.find(mash.folder, "nobody") == []


# ---------------------------------------------------------------- batch record


def test_the_batch_record_has_what_an_auditor_asks(mash: Recorded) -> None:
    """Planned against actual per step, people, entries, corrections with author, trips, gaps, calibration."""
    found = batch_record.document(from_disk.read(files_of(mash)), mash.bench.settings.tun)
    assert json.loads(json.dumps(found, allow_nan=False)) == json.loads(json.dumps(found))
    assert (found["people"], found["signed"], found["grist"]) == (["brewer"], False, None)
    assert found["entries"][0]["data"]["ph"] == 5.4
    assert (found["corrections"][0]["id"], found["corrections"][0]["data"]["by"]) == ("extend", "brewer")
    assert (found["trips"][0]["id"], len(found["gaps"])) == ("G02", 1)
    step = found["steps"][1]
    assert (step["planned_s"], step["planned_ramp_s"], step["short_s"]) == (300.0, 600.0, 0.0)
    assert found["initial_heat_c"] == pytest.approx(53.5, abs=1.5)
    assert found["probe"]["raw_boil_c"] == 100.0
    assert found["grist_missing"] == batch_record.UNKNOWN


def signed(folder: Path, mash: Recorded) -> tuple[Path, list[Path]]:
    """A copy of the run with a correction and a signature."""
    path = folder / "00000001-run.jsonl"
    shutil.copy(files_of(mash)[0], path)
    beside = amendments.place(folder, 1)
    amendments.add(beside, [path], kind="correction", by="brewer", text="pH was 5.5", about="pH", at_s=WALL)
    amendments.add(beside, [path], kind="signature", by="student", text="brewed and checked", at_s=WALL + 60)
    return beside, [path]


def test_signatures_are_added_and_nothing_is_overwritten(mash: Recorded, tmp_path: Path) -> None:
    """Two lines in order, the record untouched, the first line the same bytes after the second; both on the page."""
    beside, paths = signed(tmp_path, mash)
    before, record = beside.read_bytes(), paths[0].read_bytes()
    amendments.add(beside, paths, kind="remark", by="brewer", text="lid was open", at_s=WALL + 120)
    assert beside.read_bytes().startswith(before)
    assert paths[0].read_bytes() == record
    more = amendments.read(beside, paths)
    assert more.problems == ()
    assert [entry["kind"] for entry in more.lines] == ["correction", "signature", "remark"]
    run = from_disk.read(paths, added=more.lines)
    assert batch_record.document(run)["signed"] is True
    page = html(run)
    assert "pH was 5.5 (pH)" in page
    assert "brewed and checked" in page


def test_a_changed_line_shows(mash: Recorded, tmp_path: Path) -> None:
    """A reworded correction fails its checksum; one with a new checksum breaks the chain; one taken out does too."""
    beside, paths = signed(tmp_path, mash)
    whole = beside.read_bytes()
    beside.write_bytes(whole.replace(b"5.5", b"5.2"))
    assert "damaged or was changed" in amendments.read(beside, paths).problems[0]
    first, second = whole.splitlines()
    forged = {**clean(parse(first) or {}), "text": "pH was 5.2"}
    beside.write_bytes(line(forged) + second + b"\n")
    assert "before line 2" in amendments.read(beside, paths).problems[0]
    beside.write_bytes(second + b"\n")
    assert "taken out" in amendments.read(beside, paths).problems[0]


def test_a_changed_record_shows_and_a_longer_one_does_not(mash: Recorded, tmp_path: Path) -> None:
    """A byte of the journal changed after the signature is noticed; lines appended after it are not held against it."""
    beside, paths = signed(tmp_path, mash)
    data = paths[0].read_bytes()
    paths[0].write_bytes(data + line({"n": 999_999, "kind": "note", "seq": 1}))
    assert amendments.read(beside, paths).problems == ()
    paths[0].write_bytes(data.replace(b'"duty":0.0', b'"duty":0.1', 1))
    problems = amendments.read(beside, paths).problems
    assert len(problems) == 2
    assert "has changed since student" in problems[1]


# ---------------------------------------------------------------- commands


@pytest.fixture
def config(mash: Recorded, tmp_path: Path) -> Path:
    """A configuration folder with one tun and the run in its data folder."""
    folder, data = own_config(tmp_path), tmp_path / "data"
    (data / "record" / "gannet").mkdir(parents=True)
    shutil.copy(files_of(mash)[0], data / "record" / "gannet" / "00000004-run.jsonl")
    return folder


def said(capsys: pytest.CaptureFixture[str], config: Path, *words: str) -> tuple[int, str, str]:
    code = main(["--config", str(config), *words])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_runs_are_listed_and_compared(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`runs` tells tun, number, state and title; `--json` the same as values; a program that never ran has none;
    `--compare` tells each step's error and credited minutes; without a program it says what is missing; an unknown run
    ends with 2 and names what was found and wanted, without a traceback."""
    code, out, _ = said(capsys, config, "runs")
    assert code == 0
    assert "gannet            4" in out and "complete   Test mash" in out
    (one,) = json.loads(said(capsys, config, "runs", "--json")[1])
    assert (one["tun"], one["number"], one["program"], one["state"]) == ("gannet", 4, "test", "complete")
    assert "No runs" in said(capsys, config, "runs", "--program", "linnet")[1]
    _, out, _ = said(capsys, config, "runs", "--program", "test", "--compare")
    row = next(text for text in out.splitlines() if text.startswith("low rest"))
    assert "6.0 min" in row
    code, _, err = said(capsys, config, "runs", "--compare")
    assert code == 2 and "--program" in err
    code, _, err = said(capsys, config, "report", "nobody")
    assert code == 2 and "'nobody'" in err and "underback runs" in err and "Traceback" not in err


def test_a_report_is_written_in_every_form(config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Page, batch record and CSV are written; the CSV has a row a sample; the lines on the screen tell the steps."""
    page, filed, table = tmp_path / "r.html", tmp_path / "b.json", tmp_path / "s.csv"
    words = ["--html", str(page), "--batch", str(filed), "--csv", str(table)]
    code, out, _ = said(capsys, config, "report", "4", *words)
    assert code == 0
    assert "low rest" in out
    assert "trip G02" in out
    assert "Test mash" in page.read_text()
    document = json.loads(filed.read_text())
    assert document["energy_kwh"] > 0
    with table.open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(from_disk.read(_paths(config)).rows)
    assert {"t_s", "mash_c", "duty", "step", "phase", "state", "beta_left_pct"} <= set(rows[0])


def _paths(config: Path) -> Sequence[Path]:
    return [config.parent / "data" / "record" / "gannet" / "00000004-run.jsonl"]


def test_signing_by_command(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A correction and a signature are added and told; empty words are refused; a changed record ends with 1."""
    code, out, _ = said(capsys, config, "report", "last", "--correct", "pH 5.5", "--about", "pH", "--by", "brewer")
    assert code == 0
    assert "correction by brewer: pH 5.5" in out
    code, out, _ = said(capsys, config, "report", "last", "--sign", "checked", "--by", "student", "--json")
    assert [entry["kind"] for entry in json.loads(out)["added"]] == ["correction", "signature"]
    assert said(capsys, config, "report", "last", "--sign", " ")[0] == 2
    path = _paths(config)[0]
    path.write_bytes(path.read_bytes()[:-300] + b"\n")
    code, out, _ = said(capsys, config, "report", "last")
    assert code == 1
    assert "CHANGED" in out


def test_a_run_that_is_not_over_is_not_signed(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """While the newest run goes on its signature is refused and nothing is added; the one before it may be signed."""
    under_way = Recorded(_paths(config)[0].parent)
    under_way.bench.number = 7  # another order, another run
    under_way.doughed_in(two_rests())
    under_way.scribe.writer.close()
    code, _, err = said(capsys, config, "report", "last", "--sign", "checked", "--remark", "so far so good")
    assert code == 2 and "found a run that is running, wanted one that is over" in err
    assert json.loads(said(capsys, config, "report", "last", "--json")[1])["added"] == []
    assert said(capsys, config, "report", "4", "--sign", "checked")[0] == 0


def test_a_rest_that_was_changed_shows_its_new_length(mash: Recorded) -> None:
    """The rest that was made a minute longer says both lengths and is not short of either; the other says one."""
    record = from_disk.read(files_of(mash))
    rest, other = record.steps[1], record.steps[2]
    assert (rest.planned_s, rest.asked_s, other.asked_s) == (300.0, 360.0, None)
    page = html(record)
    assert page.count("changed to") == 1 and "5.0 min, changed to 6.0 min" in page
    assert "<em>short</em>" not in page
