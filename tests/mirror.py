"""Which tests are a module's? By its place: the tests mirror the rooms, and no list is kept by hand.

    controller/core/probe.py                    tests/core/test_probe.py, tests/core/test_probe_*.py
    controller/core/guard/interlocks/g09_x.py   tests/core/guard/interlocks/test_g09_x.py, ..._*.py

A module that has no file of its own name is tested by those of its room: all that lie beside where its file would be.
"""

from __future__ import annotations

from pathlib import Path

from tests.places import ROOT

EVIDENCED = (  # whose branches are all covered, and whose mutants are looked for: what stands before the last gate
    "controller/core/guard",
    "controller/core/probe.py",
)
COVERED = (
    *EVIDENCED,
    "controller/core/procedure/program.py",
    "controller/core/procedure/questions.py",
    "controller/core/procedure/answers.py",
    "controller/core/procedure/resume.py",
    "controller/core/procedure/wanted.py",
    "controller/core/procedure/cooker.py",
    "controller/core/procedure/ph_word.py",
    "controller/core/procedure/orders",
    "controller/core/checkpoint.py",
    "controller/core/plain_values.py",
    "controller/messages/incoming.py",
    "controller/messages/strict_json.py",
    "controller/messages/inbox.py",
)


def modules(*places: str) -> list[Path]:
    """Which modules lie at these places below the root? A place without one is an error: it would cover nothing."""
    found: list[Path] = []
    for place in places:
        path = ROOT / place
        here = [path] if path.suffix == ".py" else sorted(path.rglob("*.py"))
        here = [one for one in here if one.is_file() and one.name != "__init__.py"]
        if not here:
            raise FileNotFoundError(f"no module at {place}")
        found += here
    return found


def own_tests(module: Path) -> list[Path]:
    """Which test files are this module's own?"""
    place = module.relative_to(ROOT)
    top, *rooms = place.parent.parts
    folder = ROOT.joinpath("tests", *rooms) if top == "controller" else ROOT.joinpath("tests", top, *rooms)
    own = [*folder.glob(f"test_{place.stem}.py"), *folder.glob(f"test_{place.stem}_*.py")]
    return sorted(own) or sorted(folder.glob("test_*.py"))
