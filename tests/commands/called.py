"""A command called as from a shell, in this process: what does it answer?"""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

from controller.cli import main
from tests.places import CONFIG


def called(*words: str, config: Path = CONFIG) -> tuple[int, str, str]:
    """What are exit code, stdout and stderr of the command?"""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["--config", str(config), *words])
    return code, out.getvalue(), err.getvalue()
