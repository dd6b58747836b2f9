"""Standard output and error that are full, missing, closed or narrow: the command's own code, and no traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.places import ROOT
from tests.sim import brief
from tests.waiting import PATIENCE_S

REPO = ROOT


def shell(line: str, **environment: str) -> tuple[int, str]:
    """The exit code of the first command of a shell line with $U for ours, and all that was written."""
    done = subprocess.run(
        ["bash", "-c", f"{line}\nexit ${{PIPESTATUS[0]}}"], check=False, cwd=REPO, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(REPO), "U": f"{sys.executable} -m controller", **environment},
        timeout=PATIENCE_S,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("line", "code", "said"),
    [
        ("$U check sandpiper >/dev/full", 1, "standard output: No space left on device; the answer is not complete\n"),
        ("$U check sandpiper --strict >/dev/full", 1, "standard output: No space left on device"),
        ("$U check nosuch >/dev/full", 2, "nosuch"),
        ("$U check sandpiper >&-", 0, ""),
        ("$U check sandpiper 2>&- >/dev/null", 0, ""),
        ("$U check sandpiper >&- 2>&-", 0, ""),
        ("$U check nosuch 2>/dev/full", 2, ""),
        ("$U check nosuch 2>&-", 2, ""),
        ("$U nosuch 2>/dev/full", 2, ""),
        ("$U check --nosuch 2>/dev/full", 2, ""),
        ("$U dryrun brief --fault heater_welded@20min | head -1", 1, "Linnet pale ale on Plover"),
        ("$U check sandpiper | true", 0, ""),
        ("$U check nosuch | true", 2, "nosuch"),
    ],
)
def test_the_code_is_the_commands_own(line: str, code: int, said: str, config: Path) -> None:
    """Full: one line and 1, since the answer is not there; missing or closed by its reader: as if it had been read."""
    found, text = shell(line, U=f"{sys.executable} -m controller --config {brief.laid(config)}")
    assert found == code, text
    assert "Traceback" not in text and "Exception ignored" not in text
    assert text.startswith(said) if said.endswith("\n") else said in text
    assert text.count("\n") <= 2


def test_a_narrow_character_set_gets_a_question_mark() -> None:
    """PYTHONIOENCODING=ascii: the degree sign is lost, the answer is not."""
    code, text = shell("$U check sandpiper", PYTHONIOENCODING="ascii")
    assert code == 0 and "63.0 ?C" in text and "Traceback" not in text
