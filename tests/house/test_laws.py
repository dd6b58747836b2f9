"""The laws of the house, and that the checks which hold them bite."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from controller.core.heater_command import HeaterCommand, Sealed
from tests.house.source import cycles, import_graph, imported, modules
from tests.places import ROOT

FORBIDDEN = {"asyncio", "time", "datetime", "random", "logging", "os", "pathlib", "socket", "threading", "numpy"}
DATES_IN_FILES = {"settings.py", "recipe.py"}  # a calibration's date is data there; no clock is read


def impure(tree: ast.AST) -> set[str]:
    return {name.split(".")[0] for name in imported(tree)} & FORBIDDEN


def test_core_and_brewing_read_no_clock_no_disk_no_net() -> None:
    """The deciding code imports nothing that touches the world."""
    found = {}
    for path, tree in modules("controller/core", "controller/brewing"):
        bad = impure(tree) - ({"datetime"} if path.name in DATES_IN_FILES else set())
        if bad:
            found[path.name] = bad
    assert found == {}


def test_the_purity_check_bites() -> None:
    """A module that reads the clock would be caught."""
    assert impure(ast.parse("from time import monotonic")) == {"time"}
    assert impure(ast.parse("def f():\n    import asyncio.tasks")) == {"asyncio"}


def seal_users(*packages: str) -> set[str]:
    return {
        path.relative_to(ROOT).as_posix()
        for path, tree in modules(*packages)
        if "controller.core.heater_command._GUARD_SEAL" in imported(tree)
    }


def test_only_the_guard_holds_the_seal() -> None:
    """No other module can make a heater command with power."""
    assert seal_users("controller", "sim") == {"controller/core/guard/gate.py"}


@pytest.mark.parametrize("duty", [0.001, 1.0, -0.5, float("nan"), float("inf")])
def test_a_command_without_the_seal_has_no_power(duty: float) -> None:
    """Any duty but zero raises outside the guard, numbers that are none included."""
    with pytest.raises(Sealed):
        HeaterCommand(1, 1, duty, 10.0, "forged")


def test_off_needs_no_seal() -> None:
    """Anybody may switch the heater off."""
    assert HeaterCommand(1, 1, 0.0, 10.0, "off").duty == 0.0


def test_no_switch_turns_the_guard_off() -> None:
    """`guard.check` is called once, in the tick, without a condition around it."""
    calls = []
    for path, tree in modules("controller", "sim"):
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in ("guard.check", "check"):
                calls.append((path.name, node.lineno))
    in_tick = [call for call in calls if call[0] == "tick.py"]
    assert len(in_tick) == 1
    tree = ast.parse((ROOT / "controller/core/tick.py").read_text(encoding="utf-8"))
    body = next(n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == "tick").body
    assert any("guard.check" in ast.unparse(statement) for statement in body if isinstance(statement, ast.Assign))


def test_import_contracts_bite(tmp_path: Path) -> None:
    """import-linter with the project's own contracts refuses a core that imports the edge."""
    for package in ("controller", "sim"):
        for source in (ROOT / package).rglob("*.py"):
            copy = tmp_path / source.relative_to(ROOT)
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes(source.read_bytes())
    (tmp_path / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    probe = tmp_path / "controller/core/probe.py"
    probe.write_text(probe.read_text(encoding="utf-8") + "\nfrom controller.edge import mqtt\n", encoding="utf-8")
    code = "import sys; sys.path.insert(0, '.'); from importlinter.cli import lint_imports; sys.exit(lint_imports())"
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode != 0, done.stdout
    assert "BROKEN" in done.stdout


def named_modules() -> dict[str, ast.Module]:
    return {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): tree
        for path, tree in modules("controller", "sim")
    }


def test_no_modules_import_each_other() -> None:
    """No ring of imports, with those inside functions and for the type checker counted."""
    assert cycles(import_graph(named_modules())) == []


@pytest.mark.parametrize(
    "back",
    [
        "from room.a import f",
        "import room.a",
        "def g():\n    from room import a",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from room.a import F",
    ],
)
def test_the_ring_check_bites(back: str) -> None:
    """A way back is found on the top level, in a function and in a type-checking block; a dead end is none."""
    sources = {"room.a": "from room.b import g", "room.b": back, "room.c": "from room.a import f", "room.d": ""}
    graph = import_graph({name: ast.parse(text) for name, text in sources.items()})
    assert cycles(graph) == [("room.a", "room.b")]
    assert cycles({**graph, "room.b": {"room.d"}}) == []


PLACES = ("/work", "/root", "/home/")


def test_no_path_of_a_machine_and_no_registry_host() -> None:
    """Tracked text names no machine's folders and no package registry."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout.decode()
    bad = []
    for name in filter(None, listed.split("\0")):
        path = ROOT / name
        if name.startswith(("tests/house/", "config/panel/vendor/")) or not path.is_file():
            continue
        text = path.read_bytes().decode("utf-8", "replace")
        hosts = [".".join(parts) for parts in (("pypi", "org"), ("registry", "npmjs"), ("deb", "debian", "org"))]
        bad += [f"{name}: {word}" for word in hosts if word in text]
        bad += [f"{name}: {place}" for place in PLACES if f'"{place}/' in text or f" {place}/" in text]
    assert bad == []
