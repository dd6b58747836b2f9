"""Does a wheel carry what ships? The lists in pyproject.toml are held to the files of the tree."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from tests.places import ROOT

DATA = "share/underback/"


def project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def matched(base: Path, globs: list[str]) -> set[str]:
    return {path.relative_to(ROOT).as_posix() for glob in globs for path in base.glob(glob) if path.is_file()}


def in_tree(*folders: str) -> set[str]:
    """What lies below these folders, but for what a machine makes there."""
    made = {"__pycache__", "operator"}
    paths = (path for folder in folders for path in (ROOT / folder).rglob("*") if path.is_file())
    return {path.relative_to(ROOT).as_posix() for path in paths if not made & set(path.parts)}


def test_each_shipped_file_lies_where_it_is_looked_for() -> None:
    """The changes and every file below config/ and systemd/, no other, lie below share/underback by their own path."""
    laid = {}
    for target, globs in project()["tool"]["setuptools"]["data-files"].items():
        for name in matched(ROOT, globs):
            laid[name] = f"{target}/{Path(name).name}"
    assert laid == {name: DATA + name for name in in_tree("config", "systemd") | {"CHANGES.md"}}


def test_what_is_no_code_goes_with_its_package() -> None:
    """Pages, scripts, licences and the mark for type checkers within the packages are named; notes are not."""
    named: set[str] = set()
    for package, globs in project()["tool"]["setuptools"]["package-data"].items():
        named |= matched(ROOT / package, globs)
    assert named == {name for name in in_tree("controller", "sim") if not name.endswith((".py", ".md", ".sh"))}
    assert {"controller/py.typed", "sim/py.typed"} <= named


def test_the_licences_of_others_are_in_the_list() -> None:
    """Each folder of other people's scripts that ships has its licences among the wheel's."""
    listed = matched(ROOT, project()["project"]["license-files"])
    vendored = {name for name in in_tree("config", "controller") if "/vendor/" in name}
    assert listed == {"LICENSE"} | {name for name in vendored if Path(name).name.startswith("LICENSE")}
    assert {Path(name).parent for name in vendored} == {Path(name).parent for name in listed} - {Path()}
