"""The project's own source as syntax trees, for the laws of the house."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from tests.places import ROOT


def modules(*packages: str) -> Iterator[tuple[Path, ast.Module]]:
    """Every module below these packages, with its syntax tree."""
    for package in packages:
        for path in sorted((ROOT / package).rglob("*.py")):
            yield path, ast.parse(path.read_text(encoding="utf-8"))


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
