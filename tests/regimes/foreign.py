"""Where are the programs and libraries of others that a regime needs? Their own clients install them, outside the tree.

`UNDERBACK_TOOLS` names the folder, else `~/.cache/underback-regimes`; what is there already is not fetched again.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

TOOLS = Path(os.environ.get("UNDERBACK_TOOLS", "") or Path.home() / ".cache" / "underback-regimes")


class Missing(RuntimeError):
    """Something that must be installed first, in words."""


def npm(*names: str) -> Path:
    """The folder `node_modules` that holds these packages."""
    folder = TOOLS / "npm"
    absent = [name for name in names if not (folder / "node_modules" / name / "package.json").is_file()]
    if absent and shutil.which("npm") is None:
        raise Missing("npm (Debian: apt install nodejs npm)")
    if absent:
        folder.mkdir(parents=True, exist_ok=True)
        ran(["npm", "install", "--no-audit", "--no-fund", "--loglevel=error", "--prefix", str(folder), *absent])
    return folder / "node_modules"


def python(name: str, *packages: str, interpreter: str = sys.executable) -> Path:
    """The Python of an environment of its own with these packages."""
    folder = TOOLS / name
    if not (folder / "complete").is_file():
        shutil.rmtree(folder, ignore_errors=True)
        ran([interpreter, "-m", "venv", str(folder)])
        words = [str(folder / "bin" / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        if packages:
            ran([*words, *packages])
        (folder / "complete").touch()
    return folder / "bin" / "python"


def ran(command: list[str]) -> None:
    """Raises Missing with the command's own words when it does not end well."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except OSError as why:
        raise Missing(str(why)) from None
    if done.returncode:
        raise Missing(f"{' '.join(command[:4])} ...: {(done.stdout + done.stderr).strip()[-600:]}")
