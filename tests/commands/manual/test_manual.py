"""The paper that is made from the program: man pages and completion."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from controller.commands.manual import completion, man_pages, parsers
from controller.commands.shared.parsers import COMMANDS
from tests.commands.called import called
from tests.places import CONFIG, ROOT

MACROS = {".TH", ".SH", ".TP", ".PP", ".B", ".I", ".BR", ".nf", ".fi"}


def test_man_pages_tell_every_option(tmp_path: Path) -> None:
    """A page a command and an order, each with what its parser takes; no line is taken for a macro that is none."""
    code, out, _ = called("manual", "--man", str(tmp_path), "--completion", str(tmp_path / "bash" / "underback"))
    assert code == 0 and str(tmp_path / "underback.1") in out
    assert (tmp_path / "bash" / "underback").read_text(encoding="utf-8") == completion.script()
    for one in parsers.commands():
        page = (tmp_path / f"underback-{one.words.replace(' ', '-')}.1").read_text(encoding="utf-8")
        told = page.replace("\\-", "-")
        assert all(flag in told for action in parsers.actions(one.parser) for flag in action.option_strings)
        assert {line.split()[0] for line in page.splitlines() if line.startswith((".", "'"))} <= MACROS
        assert f"underback-{one.name}" in told and ".SH EXIT STATUS" in page
    assert man_pages._roff(".x-y\\") == "\\&.x\\-y\\e"


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("underback che", "check"),
        ("underback check san", "sandpiper"),
        ("underback dryrun linnet --tun pl", "plover"),
        ("underback order st", "status start stop"),
        ("underback order adjust --by", "--by"),
        ("underback demo --broker em", "embedded"),
        ("underback check --ht", "--html"),
    ],
)
def test_a_shell_completes_our_words(typed: str, offered: str, tmp_path: Path) -> None:
    """Commands, orders, options and their choices, programs and tuns of the folder, as bash asks for them."""
    script = tmp_path / "underback"
    script.write_text(completion.script(), encoding="utf-8")
    words = typed.split()
    asked = f'. {script}; COMP_WORDS=({typed}); COMP_CWORD={len(words) - 1}; _underback; echo "${{COMPREPLY[@]}}"'
    found = subprocess.run(["bash", "-c", asked], cwd=ROOT, capture_output=True, text=True, check=True)
    assert set(found.stdout.split()) & set(offered.split()) == set(offered.split()) - {"status"}
    assert all(word.startswith(words[-1]) for word in found.stdout.split())
    assert found.stderr == ""


def test_each_command_stands_on_the_page_of_commands() -> None:
    """By what it is for, once; and none that is not there."""
    page = (CONFIG / "commands.md").read_text(encoding="utf-8")
    told = re.findall(r"`([\w-]+)[^`]*`", "\n".join(line for line in page.splitlines() if line.startswith("| ")))
    assert set(told) == set(COMMANDS)


def test_a_command_that_is_none_is_told() -> None:
    """The page of one command or order by its words; another word ends with 2; a folder that cannot be made, too."""
    assert "underback order start --help" not in called("manual", "order", "start")[1]
    assert "usage: underback order start" in called("manual", "order", "start")[1]
    code, out, err = called("manual", "chek")
    assert (code, out) == (2, "") and "found 'chek'" in err
    assert called("manual", "--man", "/dev/null/x")[0] == 2
