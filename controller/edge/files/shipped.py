"""Which files came with the program, and where may it write when nobody has said?"""

from __future__ import annotations

import os
import sysconfig
from pathlib import Path


def folder() -> Path | None:
    """Where is the configuration that ships? Beside the source in a clone, else where the wheel laid it."""
    clone = Path(__file__).resolve().parents[3]
    laid = Path(sysconfig.get_path("data")) / "share/underback/config"
    found = clone / "config" if (clone / "pyproject.toml").is_file() else laid
    return found if (found / "programs").is_dir() else None


def data_home() -> Path:
    """The user's folder for data: XDG_DATA_HOME, else ~/.local/share (XDG Base Directory Specification 0.8)."""
    named = os.environ.get("XDG_DATA_HOME", "")
    return (Path(named) if Path(named).is_absolute() else Path.home() / ".local/share") / "underback"
