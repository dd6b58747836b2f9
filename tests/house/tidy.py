"""How long, deep and well labelled is a piece of source? The figures of the house, taken from its syntax trees."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from itertools import chain
from pathlib import Path

from tests.house.source import imported, modules
from tests.places import ROOT

Function = ast.FunctionDef | ast.AsyncFunctionDef
BLOCKS = (ast.If, ast.For, ast.AsyncFor, ast.While, ast.With, ast.AsyncWith, ast.Try, ast.Match)
NEXT_SENTENCE = re.compile(r"(?<![A-Z])[.!?][\"')]* [A-Z]")  # a full stop after an initial ends no sentence


def source(*packages: str) -> Iterator[tuple[str, ast.Module]]:
    """Every module below these packages, by its path from the root."""
    return ((path.relative_to(ROOT).as_posix(), tree) for path, tree in modules(*packages))


@cache
def within(package: str) -> tuple[tuple[str, Function], ...]:
    """Every function and method of this package, by module and name; looked for once."""
    return tuple(
        (f"{name}: {node.name}", node)
        for name, tree in source(package)
        for node in ast.walk(tree)
        if isinstance(node, Function)
    )


def functions(*packages: str) -> Iterator[tuple[str, Function]]:
    """Every function and method of these packages, by module and name."""
    return chain.from_iterable(map(within, packages))


def length(node: Function) -> int:
    """How many lines from `def` to the last one, docstring included?"""
    return (node.end_lineno or node.lineno) - node.lineno + 1


def depth(node: ast.AST, so_far: int = 0) -> int:
    """How deep do blocks lie in each other? An `elif` is as deep as its `if`; a function in it counts alone."""
    deepest = so_far
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, (*BLOCKS, ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)):
            deepest = max(deepest, depth(child, so_far))
        elif isinstance(child, BLOCKS):
            same = isinstance(node, ast.If) and node.orelse == [child]
            deepest = max(deepest, depth(child, so_far if same else so_far + 1))
    return deepest


def unannotated(node: Function) -> bool:
    """Is an argument or what comes back without a type?"""
    given = node.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs, *filter(None, (given.vararg, given.kwarg))]
    return node.returns is None or any(a.annotation is None and a.arg not in ("self", "cls") for a in every)


def loose(tree: ast.AST) -> set[str]:
    """Which of the words that switch the type checker off are used here?"""
    return {
        word
        for node in ast.walk(tree)
        for word in (
            [node.id] if isinstance(node, ast.Name) else [node.attr] if isinstance(node, ast.Attribute) else []
        )
        if word in ("Any", "cast")
    }


def borrowed(tree: ast.AST) -> set[str]:
    """Which test modules does this one import from?"""
    parts = (name.split(".") for name in imported(tree) if name.startswith("tests."))
    return {".".join(found) for found in parts if any(part.startswith("test_") for part in found)}


def sentences(node: Function) -> str:
    """What is wrong with this docstring, that should be one sentence? Nothing where it is one."""
    said = " ".join((ast.get_docstring(node) or "").split())
    if not said:
        return "says nothing"
    if not re.search(r"[.!?][\"')]*$", said):
        return "does not end"
    return "more than one" if NEXT_SENTENCE.search(said) else ""


def floors(folder: Path) -> dict[str, int]:
    """On which floor lies each room of this package? One above the highest that it imports; a cycle is an error."""
    package = ".".join(folder.relative_to(ROOT).parts)
    rooms = sorted({path.relative_to(folder).parts[0].removesuffix(".py") for path in folder.rglob("*.py")})
    below: dict[str, set[str]] = {room: set() for room in rooms if room != "__init__"}
    for path, tree in modules(folder.relative_to(ROOT).as_posix()):
        room = path.relative_to(folder).parts[0].removesuffix(".py")
        names = (name.removeprefix(f"{package}.").split(".")[0] for name in imported(tree) if name.startswith(package))
        below.setdefault(room, set()).update(name for name in names if name in below and name != room)
    return {room: _floor(room, below, ()) for room in below if room != "__init__"}


def _floor(room: str, below: dict[str, set[str]], over: tuple[str, ...]) -> int:
    if room in over:
        raise RecursionError(" -> ".join((*over, room)))
    return 1 + max((_floor(one, below, (*over, room)) for one in below[room]), default=0)
