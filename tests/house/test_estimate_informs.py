"""The estimate of the wort informs: no room that decides anything may look at it."""

from __future__ import annotations

import ast
import re

from tests.house.source import imported, modules
from tests.places import ROOT

# What may know of it: the estimate itself, who carries it, keeps it, shows it, or plans with it for a person to read.
CARRIES = {"checkpoint.py", "tick.py"} | {f"procedure/{room}.py" for room in ("estimate", "poured", "resume", "run")}
KNOWS = ("controller.core.procedure.estimate", "controller.plan.forecast", "controller.brewing.kinetics")
NOT_OF_A_RUN = ("probes", "inputs", "there", "state", "senses", "read")  # `senses.mash`: the probe in the mash


def looks(tree: ast.AST) -> set[str]:
    """Where does a module look at the estimate, or at the malt it rests on?"""
    found = {name for name in imported(tree) if name.startswith(KNOWS)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ("mash", "malt", "prediction"):
            owner = ast.unparse(node.value)
            if node.attr != "mash" or owner.split(".")[-1] not in NOT_OF_A_RUN:
                found.add(f"{owner}.{node.attr}")
    return found


def test_no_deciding_room_looks_at_the_estimate() -> None:
    """Guard, control, program, orders and all other rooms of core know nothing of enzymes; six carry them on."""
    core = ROOT / "controller" / "core"
    found = {path.relative_to(core).as_posix(): looks(tree) for path, tree in modules("controller/core")}
    assert set(found) >= CARRIES | {"guard/gate.py", "control/loop.py", "procedure/program.py", "probe.py"}
    assert {name for name, knows in found.items() if knows} == CARRIES


def test_the_tick_only_carries_it_on() -> None:
    """In the tick the estimate goes into the run and its note into the events, and nowhere else."""
    tree = next(tree for path, tree in modules("controller/core") if path.stem == "tick")
    parts = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name in ("tick", "_walked")]
    assert len(parts) == 2
    lines = [ast.unparse(statement) for part in parts for statement in part.body]
    probe = re.compile(r"\b(probes|state|read)\.mash\b")  # the probe in the mash, not the estimate
    uses = [line for line in lines if "mash" in _names(line) or ".mash" in probe.sub("", line)]
    assert len(uses) == 2, uses
    assert uses[0].startswith("mash, told = estimate.follow(run.mash, ")
    assert uses[1] == "run = run if mash is run.mash else run._replace(mash=mash)"


def _names(line: str) -> set[str]:
    return {node.id for node in ast.walk(ast.parse(line)) if isinstance(node, ast.Name)}


def test_the_check_bites() -> None:
    """A guard that asked for the enzymes left, or a ramp that imported the model, would be found."""
    assert looks(ast.parse("def f(run):\n    return run.mash.amounts.beta")) == {"run.mash"}
    assert looks(ast.parse("from controller.brewing import kinetics")) == {"controller.brewing.kinetics"}
    assert looks(ast.parse("def f(tun):\n    return tun.probes.mash.topic")) == set()
