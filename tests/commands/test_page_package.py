"""The report page needs one package more than the daemon: told before any work is done."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from controller.cli import main
from controller.report import missing
from tests.places import CONFIG

COMMANDS = [(["dryrun", "linnet"], "--report"), (["demo", "linnet"], "--report"), (["report", "last"], "--html")]


@pytest.mark.parametrize(("words", "option"), COMMANDS, ids=lambda value: value[0])
def test_a_page_without_its_package_is_refused_at_once(
    words: list[str], option: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where jinja2 is not installed the answer is 2 and the line that installs it; nothing is simulated or written."""
    monkeypatch.setitem(sys.modules, "jinja2", None)
    assert main(["--config", str(CONFIG), *words, option, str(tmp_path / "run.html")]) == 2
    out, err = capsys.readouterr()
    assert err == f"{option} needs one more package: .venv/bin/pip install '.[report]'\n"
    assert out == "" and not list(tmp_path.iterdir())


def test_nothing_is_missing_where_it_is_installed() -> None:
    """With jinja2 at hand there is nothing to say."""
    assert missing("--report") is None


def test_the_readme_installs_what_its_lines_need() -> None:
    """The line of the README that installs the command brings the package of the page with it."""
    readme = (CONFIG.parent / "README.md").read_text(encoding="utf-8")
    assert ".venv/bin/pip install '.[report]'" in readme and "pip install .\n" not in readme
