"""Files that a command is to make: looked at before the work, told by option and path, and nothing is lost for them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from controller.cli import main
from controller.edge.files import config_files, writable
from controller.edge.record import reader
from controller.report import amendments, from_disk
from controller.settings.problems import Problems
from tests.places import own_config
from tests.report.recorded import a_mash
from tests.sim import brief


@pytest.fixture(scope="module")
def mash(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The record of one finished run."""
    return a_mash(tmp_path_factory.mktemp("mash")).folder


BAD = ["", "FOLDER", "FOLDER/nowhere/file", "FOLDER/file/x", "a\0b", "x" * 300]


@pytest.mark.parametrize("path", BAD)
@pytest.mark.parametrize(
    "words", [["dryrun", "linnet", "--csv"], ["dryrun", "linnet", "--report"], ["demo", "--report"],
              ["report", "last", "--html"], ["report", "last", "--batch"], ["report", "last", "--csv"]],
)  # fmt: skip
def test_a_file_that_cannot_be_made_is_told_before_the_work(
    words: list[str], path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2 with option and path; nothing has begun."""
    (tmp_path / "file").write_text("")
    written = path.replace("FOLDER", str(tmp_path))
    assert main(["--config", str(own_config(tmp_path)), *words, written]) == 2
    out = capsys.readouterr()
    assert f"{words[-1]}: found {written!r}" in out.err and "wanted a file that can be written" in out.err
    assert out.out == "" and "simulating" not in out.err


def test_a_file_that_may_be_written_is_no_problem(tmp_path: Path) -> None:
    """A new file in a folder, one that is there, none at all."""
    (tmp_path / "old").write_text("x")
    asked = [("--csv", str(tmp_path / "new")), ("--csv", str(tmp_path / "old")), ("--html", None)]
    assert writable.file_problems(asked) == []
    assert (tmp_path / "old").read_text() == "x" and not (tmp_path / "new").exists()


def test_an_answer_is_printed_although_its_file_cannot_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A disk that is full at the end: the outcome first, then option, path and reason; exit 2."""
    words = ["--config", str(brief.laid(own_config(tmp_path))), "dryrun", "brief", "--json"]
    assert main([*words, "--csv", "/dev/full"]) == 2
    out = capsys.readouterr()
    assert json.loads(out.out)["result"] == "complete"
    assert "--csv: /dev/full cannot be written: No space left on device" in out.err


def test_an_old_file_stays_whole_until_the_new_one_is(tmp_path: Path) -> None:
    """A disk that is full half way leaves the old page and nothing beside it; else the new one stands with the old
    one's rights, and through a link what it points to is written."""
    old = tmp_path / "page.html"
    old.write_text("old")
    old.chmod(0o640)

    def full(to: Path) -> None:
        to.write_text("half")
        raise OSError(28, "No space left on device")

    assert writable.write("--html", str(old), full) == [f"--html: {old} cannot be written: No space left on device"]
    assert old.read_text() == "old" and list(tmp_path.iterdir()) == [old]
    assert writable.write("--html", str(old), lambda to: to.write_text("new")) == []
    assert old.read_text() == "new" and old.stat().st_mode & 0o777 == 0o640
    (tmp_path / "link").symlink_to(old)
    assert writable.write("--html", str(tmp_path / "link"), lambda to: to.write_text("newer")) == []
    assert old.read_text() == "newer" and (tmp_path / "link").is_symlink()


@pytest.mark.parametrize("new", [False, True])
def test_a_folder_that_cannot_be_filled_is_as_it_was(tmp_path: Path, new: bool) -> None:
    """One file of several fails: the folder is empty again, or gone where it was not there, and the reason is told."""
    folder = tmp_path / "mine"
    if not new:
        folder.mkdir()
    with pytest.raises(Problems, match=r"DIR: found '.*mine' \(No such file or directory\), wanted a folder that"):
        writable.lay("DIR", folder, {"a": "x", "b/c": "x", "d": tmp_path / "missing"})
    assert folder.exists() is not new and list(tmp_path.rglob("*")) == [folder] * (not new)


def test_a_report_that_cannot_be_written_leaves_the_record_as_it_was(
    tmp_path: Path, mash: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Signature and entries wait until every file stands; then they are in the files too; a wrong entry beside a good
    signature: neither is added."""
    words, folder = _brewed(tmp_path, mash)
    assert main([*words, "report", "last", "--sign", "brewed", "--enter", "ph=sour", "--by", "Ann"]) == 2
    assert list(folder.glob("added/*")) == []
    capsys.readouterr()
    sign = ["report", "last", "--sign", "brewed", "--enter", "ph=5.4", "--by", "Ann"]
    assert main([*words, *sign, "--csv", "/dev/full", "--batch", str(tmp_path / "batch.json")]) == 2
    assert "--csv: /dev/full cannot be written: No space left on device" in capsys.readouterr().err
    assert list(folder.glob("added/*")) == []
    assert main([*words, *sign, "--batch", str(tmp_path / "batch.json")]) == 0
    assert [line["kind"] for line in _lines(folder)] == ["entry", "signature"]
    assert "brewed" in (tmp_path / "batch.json").read_text()


def test_a_run_is_found_by_its_file_wherever_that_lies(
    tmp_path: Path, mash: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The file of a record that was moved away is told as it was where it lay, from an empty folder without a
    configuration too; a file that holds no run is refused."""
    words, folder = _brewed(tmp_path, mash)
    assert main([*words, "report", "last"]) == 0
    told = capsys.readouterr().out
    away, empty = tmp_path / "away" / "record" / "gannet", tmp_path / "empty"
    away.parent.mkdir(parents=True)
    folder.rename(away)
    empty.mkdir()
    monkeypatch.chdir(empty)
    monkeypatch.delenv("UNDERBACK_CONFIG", raising=False)
    assert main(["report", str(next(away.glob("*-run.jsonl")))]) == 0
    assert capsys.readouterr().out == told
    (away / "00000099-run.jsonl").write_text("x\n", encoding="ascii")
    assert main(["report", str(away / "00000099-run.jsonl")]) == 2
    assert "holds no run" in capsys.readouterr().err


def test_a_user_without_a_name_may_sign(tmp_path: Path, mash: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No entry in the list of users: `somebody`, as for orders and trials."""

    def nobody() -> str:
        raise KeyError("getpwuid(): uid not found: 12345")

    monkeypatch.setattr("getpass.getuser", nobody)
    words, folder = _brewed(tmp_path, mash)
    assert main([*words, "report", "last", "--remark", "smells well"]) == 0
    assert [line["by"] for line in _lines(folder)] == ["somebody"]


def _brewed(tmp_path: Path, mash: Path) -> tuple[list[str], Path]:
    """The words for a folder with one finished run of gannet on record, and where it lies."""
    words = ["--config", str(own_config(tmp_path))]
    folder = reader.record_folder(config_files.settings(tmp_path / "config", "gannet"))
    shutil.copytree(mash, folder)
    return words, folder


def _lines(folder: Path) -> tuple[dict[str, Any], ...]:
    glances = from_disk.find(folder, "last")
    return amendments.read(amendments.place(folder, glances[0].number), [seen.path for seen in glances]).lines
