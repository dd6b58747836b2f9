"""A package of the same name from elsewhere is noticed: at the start, and by `doctor` file by file."""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
import subprocess
import sys
from importlib.metadata import Distribution
from pathlib import Path

import pytest

from controller.commands import doctor
from controller.commands.shared import installed
from tests.places import ROOT


def install(site: Path, name: str, files: dict[str, str]) -> Distribution:
    """What an installer leaves of a distribution: its files, and a list of them with checksums."""
    info, listed = site / f"{name}-1.0.dist-info", []
    for path, text in files.items():
        (site / path).parent.mkdir(parents=True, exist_ok=True)
        (site / path).write_text(text, encoding="utf-8")
        digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        listed.append(f"{path},sha256={digest},{len(text)}")
    info.mkdir(parents=True)
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
    (info / "RECORD").write_text("\n".join([*listed, f"{info.name}/RECORD,,"]) + "\n", encoding="utf-8")
    return Distribution.at(info)


@pytest.fixture
def ours(tmp_path: Path) -> Distribution:
    files = {"controller/__init__.py": "", "controller/cli.py": "a = 1\n", "sim/tun.py": "b = 2\n"}
    return install(tmp_path, "underback", files)


def test_a_file_laid_over_or_gone_is_named(ours: Distribution, tmp_path: Path) -> None:
    """Nothing is wrong with a whole installation; another distribution's file of the same name, and one that was taken
    away, are named; no other."""
    assert installed.overwritten(ours) == []
    install(tmp_path, "lamp", {"controller/__init__.py": "lamp = True\n"})
    (tmp_path / "sim/tun.py").unlink()
    assert installed.overwritten(ours) == ["controller/__init__.py", "sim/tun.py"]


def test_a_stranger_beside_ours_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A distribution with a `sim` of its own is found by its list of files, although it overwrote nothing yet."""
    install(tmp_path, "lamp", {"sim/lamp.py": ""})
    install(tmp_path, "shade", {"shade.py": ""})
    before = installed.strangers()
    monkeypatch.syspath_prepend(tmp_path)
    assert sorted(installed.strangers()) == sorted({*before, "lamp"})


@pytest.mark.parametrize(
    ("spoilt", "others", "level", "found"),
    [
        ([], [], "good", "controller and sim are underback's own"),
        (["controller/tun.py"], ["lamp"], "bad", "controller/tun.py is not the file that was installed"),
        (["a", "b", "c"], [], "bad", "a and 2 more is not the file that was installed"),
        ([], ["lamp", "shade"], "bad", "lamp, shade brings a package controller or sim of its own"),
    ],
)
def test_doctor_says_it(
    spoilt: list[str], others: list[str], level: str, found: str, ours: Distribution, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line: what was found, and the mend where something is wrong."""
    monkeypatch.setattr(installed, "own", lambda: ours)
    monkeypatch.setattr(installed, "overwritten", lambda dist: spoilt)
    monkeypatch.setattr(installed, "strangers", lambda: others)
    said = doctor.packages()
    assert (said.level, said.found, bool(said.do)) == (level, found, level == "bad")


def test_no_command_runs_under_another_s_package(tmp_path: Path) -> None:
    """With another `controller/__init__.py` laid over ours a command ends with 2 and a sentence, no traceback."""
    for package in ("controller", "sim"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    command = [sys.executable, "-c", "import sys; from controller.cli import main; sys.exit(main(['--version']))"]
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}

    def run() -> tuple[int, str]:
        done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
        return done.returncode, done.stdout + done.stderr

    assert run() == (0, "underback 0.1.0\n")
    (tmp_path / "controller/__init__.py").write_text('__version__ = "9.9"\n', encoding="utf-8")
    code, said = run()
    assert code == 2
    assert f'the package "controller" in {tmp_path}/controller is not underback\'s' in said
    assert "Traceback" not in said
