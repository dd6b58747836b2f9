"""Does the built wheel work where there is no clone? Pythons on the command line, each in an environment of its own.

    python -m tests.regimes.wheel python3.11 python3.12 python3.13

Builds the wheel, and for each Python, in an empty folder: installs it with what demo and report need, then check,
dryrun, init, demo (at sixty times real time) and the report of that run. A digest that differs between them fails.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from tests.places import ROOT
from tests.regimes.chaos.field import SHORT

LIMIT_S = 540.0


class Found(NamedTuple):
    """What one Python came to."""

    python: str
    version: str
    digest: str
    steps: tuple[str, ...]  # what went well, in order
    wrong: str  # the first thing that did not


def built(folder: Path) -> Path:
    """The wheel, from a copy of the tree: nothing is left in it."""
    names = ("controller", "sim", "config", "systemd", "pyproject.toml", "README.md", "CHANGES.md", "LICENSE")
    tree = folder / "tree"
    tree.mkdir()
    for name in names:
        source, ignored = ROOT / name, shutil.ignore_patterns("__pycache__", "operator")
        shutil.copytree(source, tree / name, ignore=ignored) if source.is_dir() else shutil.copy(source, tree / name)
    ran([sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(folder), str(tree)], folder)
    return next(folder.glob("underback-*.whl"))


def ran(command: list[str], where: Path, **environment: str) -> str:
    """What it prints. Raises AssertionError with its words when it does not end well."""
    clean = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "UNDERBACK_CONFIG")}
    done = subprocess.run(
        command, cwd=where, env={**clean, **environment}, capture_output=True, text=True, check=False, timeout=LIMIT_S
    )
    assert done.returncode == 0, f"{' '.join(command[-4:])}: {done.returncode}\n{(done.stdout + done.stderr)[-1500:]}"
    return done.stdout


def tried(python: str, wheel: Path, folder: Path) -> Found:
    """Every step with this Python, until one does not go well."""
    steps: list[str] = []
    digest = version = ""
    empty = folder / "empty"
    empty.mkdir(parents=True)
    try:
        version = ran([python, "-c", "import platform; print(platform.python_version())"], empty).strip()
        ran([python, "-m", "venv", str(folder / "venv")], folder)
        pip = [
            str(folder / "venv" / "bin" / "python"),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
        ]
        ran([*pip, f"{wheel}[demo,report]"], empty)
        steps.append("install")
        underback = str(folder / "venv" / "bin" / "underback")
        assert json.loads(ran([underback, "check", "linnet", "--json"], empty))["ok"]
        steps.append("check")
        dry = json.loads(ran([underback, "dryrun", "linnet", "--json"], empty))
        digest = dry["digest"]
        assert dry["result"] == "complete"
        steps.append("dryrun")
        ran([underback, "init", "mine"], empty)
        steps.append("init")
        (empty / "short.toml").write_text(SHORT, encoding="utf-8")
        demo = [underback, "demo", "short.toml", "--tun", "gannet", "--speed", "60", "--data", "data"]
        run = re.search(r"^record +(\S+)$", ran(demo, empty), re.MULTILINE)
        assert run is not None, "no record is shown"
        steps.append("demo")
        ran([underback, "report", run[1], "--html", "page.html"], empty)
        assert (empty / "page.html").stat().st_size > 10_000, "the page is empty"
        steps.append("report")
    except (AssertionError, KeyError, OSError, ValueError, subprocess.TimeoutExpired) as why:
        return Found(python, version, digest, tuple(steps), str(why) or type(why).__name__)
    return Found(python, version, digest, tuple(steps), "")


def main(pythons: list[str]) -> int:
    """All of them, one after the other. 1 when one does not come through or a digest differs."""
    found: list[Found] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wheel = built(folder)
        print(f"{wheel.name}: {wheel.stat().st_size / 1024:.0f} KiB")
        for n, python in enumerate(pythons):
            began = time.monotonic()
            found.append(one := tried(python, wheel, folder / str(n)))
            said = f"{' '.join(one.steps)}; digest {one.digest[:16]}; {time.monotonic() - began:.0f} s"
            print(f"Python {one.version or python}: {said}" + (f"\n{one.wrong}" if one.wrong else ""), flush=True)
    return int(any(one.wrong for one in found) or len({one.digest for one in found}) != 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or [sys.executable]))
