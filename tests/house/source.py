"""The project's own source as syntax trees, for the laws of the house."""

from __future__ import annotations

import ast
from collections.abc import Collection, Iterator
from functools import cache
from pathlib import Path

from tests.places import ROOT


@cache
def package_trees(package: str) -> tuple[tuple[Path, ast.Module], ...]:
    """Every module below this package, read once."""
    paths = sorted((ROOT / package).rglob("*.py"))
    return tuple((path, ast.parse(path.read_text(encoding="utf-8"))) for path in paths)


def modules(*packages: str) -> Iterator[tuple[Path, ast.Module]]:
    """Every module below these packages, with its syntax tree."""
    for package in packages:
        yield from package_trees(package)


def imported(tree: ast.AST) -> set[str]:
    """Which modules does this tree import, by full name? Type-checking blocks count too."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def import_graph(sources: dict[str, ast.Module]) -> dict[str, set[str]]:
    """Which of these modules does each import, wherever the import stands: in a function and for the checker too?"""
    return {name: _modules_in(tree, sources.keys()) - {name} for name, tree in sources.items()}


def _modules_in(tree: ast.Module, known: Collection[str]) -> set[str]:
    """`from room import module` means the module, not the room."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {name if name in known else node.module for name in whole}
    return found & set(known)


def cycles(graph: dict[str, set[str]]) -> list[tuple[str, ...]]:
    """The modules that import each other in a ring, ring by ring: what is left when all that lead nowhere are gone."""
    left = {name: set(parts) for name, parts in graph.items()}
    while loose := {name for name, parts in left.items() if not parts & left.keys()}:
        left = {name: parts for name, parts in left.items() if name not in loose}
    rings = {tuple(sorted({name} | _way(left, name))) for name in left if name in _way(left, name)}
    return sorted(rings)


def _way(graph: dict[str, set[str]], start: str) -> set[str]:
    """Which modules are reached from this one and lead back to it?"""
    return {name for name in _reached(graph, start) if start in _reached(graph, name)}


def _reached(graph: dict[str, set[str]], start: str) -> set[str]:
    seen: set[str] = set()
    todo = list(graph.get(start, ()))
    while todo:
        if (name := todo.pop()) not in seen:
            seen.add(name)
            todo += graph.get(name, ())
    return seen
