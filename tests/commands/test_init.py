"""Without any configuration the shipped one serves what touches nothing real, and `init` lays out one's own."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.cli import main
from controller.commands.demo import command as demo
from controller.edge.files import config_files, shipped
from tests.places import ROOT


@pytest.fixture
def away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder, with no configuration named and none on the machine."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("UNDERBACK_CONFIG", raising=False)
    found = Path.is_dir
    monkeypatch.setattr(Path, "is_dir", lambda path: path != Path("/etc/underback") and found(path))
    return tmp_path


def test_a_shipped_program_is_checked_anywhere_and_no_more(away: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In an empty folder `check linnet` gives the plan, and leaves nothing there; what touches a real tun wants files
    of its own: a daemon does not run on the shipped ones by oversight; it is told what to do."""
    assert main(["check", "linnet", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True
    assert list(away.iterdir()) == []
    assert main(["serve", "--tun", "gannet"]) == 2
    assert "`underback init` lays one out" in capsys.readouterr().err


def test_a_wheel_s_files_are_found_where_it_lays_them(away: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no pyproject.toml stands beside the source: below share/underback of the environment, if they are there."""
    monkeypatch.setattr(shipped, "__file__", str(away / "lib/site/controller/edge/files/shipped.py"))
    monkeypatch.setattr("sysconfig.get_path", lambda name: str(away / name))
    assert shipped.folder() is None
    (away / "data/share/underback/config/programs").mkdir(parents=True)
    assert shipped.folder() == away / "data/share/underback/config"


def test_a_demo_away_from_a_clone_keeps_its_record_with_the_user_s_data(
    away: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """XDG_DATA_HOME where it is set, ~/.local/share else; a configuration of one's own names its own folder."""
    monkeypatch.setenv("XDG_DATA_HOME", str(away / "kept"))
    config = config_files.config_dir(None, simulated=True)
    assert demo._data(config, config_files.settings(config, "plover"), None).parent == away / "kept/underback/demo"
    monkeypatch.setenv("XDG_DATA_HOME", "")
    monkeypatch.setenv("HOME", str(away / "home"))
    assert shipped.data_home() == away / "home/.local/share/underback"
    assert main(["init"]) == 0
    own = config_files.config_dir(None)
    assert demo._data(own, config_files.settings(own, "plover"), None).parent == Path("data/demo")


def test_init_lays_out_what_runs_as_it_is(away: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The copy passes `check`, holds every program and tun, and what to change first names files that are there."""
    assert main(["init", "mine"]) == 0
    said = capsys.readouterr().out
    named = [line.split(": ")[0].strip() for line in said.splitlines() if line.startswith("  mine/")]
    assert len(named) == 5 and all((away / name).exists() for name in named)
    for folder in ("programs", "tuns"):
        assert config_files.names(away / "mine" / folder) == config_files.names(ROOT / "config" / folder)
    assert main(["--config", "mine", "check", "linnet"]) == 0


def test_init_overwrites_nothing(away: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder with anything in it, and a file, are refused and stay as they are."""
    (away / "config").mkdir()
    (away / "config/note").write_text("mine")
    assert main(["init"]) == 2
    assert main(["init", "config/note"]) == 2
    assert [path.name for path in (away / "config").iterdir()] == ["note"]
    assert capsys.readouterr().err.count("wanted a new or an empty folder") == 2
