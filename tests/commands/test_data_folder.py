"""A data folder that cannot be written: told in one line with exit 2, before anything is begun."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.cli import main
from controller.edge.files import writable
from tests.places import edited, own_config

COMMANDS = {
    "serve": ["serve", "--tun", "gannet"],
    "tryout": ["tryout", "--tun", "gannet", "--yes", "--speed", "60"],
    "learn": ["learn", "--tun", "gannet", "--dry"],
    "doctor": ["doctor", "--tun", "gannet"],
    "demo": ["demo"],
}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    "data_dir", ["", " ", "/dev/null", "a\\u0000b", "FOLDER/file", "FOLDER/file/x", "FOLDER/loop/x"]
)
def test_what_is_no_folder_to_write_in_is_told_with_its_line(
    command: str, data_dir: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file, a device, a symlink loop, no name at all: exit 2, the line of service.toml, one line, no traceback."""
    (tmp_path / "file").write_text("")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    written = data_dir.replace("FOLDER", str(tmp_path))
    assert main(["--config", str(own_config(tmp_path, written)), *COMMANDS[command]]) == 2
    err = capsys.readouterr().err
    assert f'service.toml:5: data_dir: found "{written}"' in err
    wanted = "text without control characters" if "0000" in data_dir else "a folder that can be written"
    assert err.endswith(f"wanted {wanted}\n") and err.count("\n") == 1


def test_a_folder_without_the_right_to_write_is_no_good(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is there, but belongs to somebody else; the folder is told together with what else is wrong, each once."""
    assert writable.unusable(str(tmp_path)) == ""
    config = own_config(tmp_path, "/dev/null")
    edited(config / "tuns" / "gannet.toml", ("metal = ", "mettle = "))
    assert main(["--config", str(config), "serve", "--tun", "gannet"]) == 2
    err = capsys.readouterr().err
    assert err.count("data_dir: found") == 1 and "mettle" in err
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert writable.unusable(str(tmp_path)) == " (no permission to write)"


def test_a_record_that_is_no_folder_is_told_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The data folder is sound, the tun's own folder in it is a file."""
    (tmp_path / "data" / "record").mkdir(parents=True)
    (tmp_path / "data" / "record" / "gannet").write_text("")
    assert main(["--config", str(own_config(tmp_path)), *COMMANDS["serve"]]) == 2
    err = capsys.readouterr().err
    assert "gannet: found File exists, wanted a folder that can be written" in err


def test_the_demos_own_folder_is_looked_at_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--data` that is a file: exit 2, no broker is started."""
    (tmp_path / "file").write_text("")
    assert main(["--config", str(own_config(tmp_path, "data")), "demo", "--data", str(tmp_path / "file")]) == 2
    out = capsys.readouterr()
    assert "--data: found" in out.err and "wanted a folder that can be written" in out.err and out.out == ""
