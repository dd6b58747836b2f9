"""Would the tests notice if the guard were a little wrong?

    python -m tests.regimes.evidence.mutation    the whole guard and the probe room (tests/mirror.py)
    python -m tests.regimes.evidence.mutation --of controller/core/guard/trips.py --every 4 --budget-s 600
    python -m tests.regimes.evidence.mutation --again survivors.txt  only what an earlier run showed
    python -m tests.regimes.evidence.mutation --since COMMIT     only those on lines changed since then
    python -m tests.regimes.evidence.mutation --of MODULE --tests PATH --tests PATH     by these tests, not by its own

Each mutant changes one place in the source: a comparison or its edge, a sum's sign, a number, a truth value, an `and`
for an `or`, a condition turned round, a limit of min or max, a value that is kept instead of replaced. It is compiled
into a forked process that then runs the tests of that module until one fails: those of its name, else those of its
room. Constants of docstrings, types and words for people are left alone. A mutant that no test notices is a survivor
and is shown with its line.
"""

from __future__ import annotations

import argparse
import ast
import copy
import dataclasses
import importlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any, NamedTuple

import pytest
from _pytest.runner import runtestprotocol

from tests.mirror import EVIDENCED, modules, own_tests
from tests.places import ROOT

LONGEST_S = 120  # a mutant that never ends is noticed as well
SWAPS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,), ast.Add: (ast.Sub,), ast.Sub: (ast.Add,), ast.Mult: (ast.Div,),
    ast.Div: (ast.Mult,), ast.And: (ast.Or,), ast.Or: (ast.And,),
}  # fmt: skip
WORDS = frozenset({"text", "says", "do", "name", "field", "unit"})  # keywords and targets that hold words for people


class Mutant(NamedTuple):
    """One change: where, and the whole module with it."""

    line: int
    what: str
    tree: ast.Module


def mutants(source: str) -> Iterator[Mutant]:
    """Every single change of this source."""
    tree = ast.parse(source)
    for at, node in enumerate(_places(tree)):
        for what, change in _changes(node):
            other = copy.deepcopy(tree)
            twin = list(_places(other))[at]
            change(twin)
            yield Mutant(getattr(node, "lineno", 0), what, ast.fix_missing_locations(other))


def _places(tree: ast.Module | ast.ClassDef) -> list[ast.AST]:
    """What may be changed: the statements of functions and methods and the numbers of constants and fields, without
    words and types."""
    found: list[ast.AST] = []
    for top in tree.body:
        if isinstance(top, ast.ClassDef):
            found += _places(top)
        elif isinstance(top, ast.FunctionDef):
            for part in top.body:
                found += _within(part)
        elif isinstance(top, ast.Assign | ast.AnnAssign) and isinstance(top.value, ast.Constant | ast.BinOp):
            found += _within(top.value)
    return found


def _within(node: ast.AST) -> list[ast.AST]:
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return []  # a docstring
    if isinstance(node, ast.JoinedStr) or (isinstance(node, ast.keyword) and node.arg in WORDS):
        return []
    if isinstance(node, ast.AnnAssign):
        return _within(node.value) if node.value is not None else []
    return [node, *(found for child in ast.iter_child_nodes(node) for found in _within(child))]


def _changes(node: ast.AST) -> Iterator[tuple[str, Any]]:
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            for other in SWAPS.get(type(op), ()):
                yield f"{type(op).__name__} -> {other.__name__}", lambda n, i=i, o=other: n.ops.__setitem__(i, o())
    if isinstance(node, ast.BinOp | ast.BoolOp):
        for other in SWAPS.get(type(node.op), ()):
            yield f"{type(node.op).__name__} -> {other.__name__}", lambda n, o=other: setattr(n, "op", o())
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not dropped", _drop_not
    if isinstance(node, ast.If | ast.IfExp):
        yield "condition turned round", lambda n: setattr(n, "test", ast.UnaryOp(ast.Not(), n.test))
    if isinstance(node, ast.Constant):
        yield from _constants(node)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("min", "max"):
        edge = "max" if node.func.id == "min" else "min"
        yield f"{node.func.id} -> {edge}", lambda n: setattr(n.func, "id", edge)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "_replace":
        for i, word in enumerate(node.keywords):
            yield f"{word.arg} not replaced", lambda n, i=i: n.keywords.pop(i)


def _drop_not(node: ast.UnaryOp) -> None:
    """`not x` becomes `not not x`."""
    node.operand = ast.UnaryOp(ast.Not(), node.operand)


def _constants(node: ast.Constant) -> Iterator[tuple[str, Any]]:
    value = node.value
    if isinstance(value, bool):
        yield f"{value} -> {not value}", lambda n: setattr(n, "value", not value)
    elif isinstance(value, int | float):
        new = value + 1 if isinstance(value, int) else value * 1.25 + (1.0 if value == 0.0 else 0.0)
        yield f"{value} -> {new}", lambda n: setattr(n, "value", new)


def quickest_first(items: list[pytest.Item]) -> list[pytest.Item]:
    """These tests by what each takes without a mutant, so that a mutant is mostly noticed soon; UsageError where one
    fails. Asked in a forked process."""
    out, into = os.pipe()
    if os.fork() == 0:
        took: list[float] = []
        for at, item in enumerate(items):
            begun, following = time.monotonic(), items[at + 1] if at + 1 < len(items) else None
            if any(report.failed for report in runtestprotocol(item, nextitem=following, log=False)):
                os._exit(1)
            took.append(time.monotonic() - begun)
        os.write(into, json.dumps(took).encode())
        os._exit(0)
    os.close(into)
    with open(out, "rb") as told:
        said = told.read()
    os.wait()
    if not said:
        raise pytest.UsageError("the tests fail without any mutant")
    order = sorted(enumerate(json.loads(said)), key=lambda one: one[1])
    return [items[at] for at, _ in order]


def noticed(items: list[pytest.Item], mutant: Mutant, module: ModuleType) -> bool:
    """Does a test fail with this mutant? Asked in a forked process."""
    child = os.fork()
    if child == 0:
        signal.alarm(LONGEST_S)
        os._exit(_verdict(items, mutant, module))
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) != 0


def _verdict(items: list[pytest.Item], mutant: Mutant, module: ModuleType) -> int:
    """0 where every test passes. Runs in the forked process, which ends with it."""
    before = dict(vars(module))
    try:
        exec(compile(mutant.tree, str(module.__file__), "exec"), vars(module))
        _share(before, module)
        for at, item in enumerate(items):
            following = items[at + 1] if at + 1 < len(items) else None
            if any(report.failed for report in runtestprotocol(item, nextitem=following, log=False)):
                return 1
        return 0
    except BaseException:
        return 1


def _share(before: dict[str, Any], module: ModuleType) -> None:
    """Others hold functions, types and frozen values by name: each stays itself and gets the new code or fields."""
    for key, old in before.items():
        new = vars(module).get(key)
        if getattr(old, "__module__", None) == module.__name__:
            _become(old, new)
            setattr(module, key, old)
        elif isinstance(old, type):
            setattr(module, key, old)


def _become(old: Any, new: Any) -> None:
    """Does the old function, type or value what the new one does?"""
    if hasattr(old, "cache_clear") and hasattr(new, "cache_clear"):  # what it has found out so far is forgotten
        _become(old.__wrapped__, new.__wrapped__)
        old.cache_clear()
    elif isinstance(old, FunctionType) and isinstance(new, FunctionType):
        old.__code__, old.__defaults__, old.__kwdefaults__ = new.__code__, new.__defaults__, new.__kwdefaults__
    elif isinstance(old, property) and isinstance(new, property):
        _become(old.fget, new.fget)
    elif isinstance(old, classmethod | staticmethod) and isinstance(new, classmethod | staticmethod):
        _become(old.__func__, new.__func__)
    elif isinstance(old, type) and isinstance(new, type):
        for name, value in vars(new).items():
            if isinstance(value, bool | int | float) and not name.startswith("__"):
                setattr(old, name, value)
            else:
                _become(vars(old).get(name), value)
    elif dataclasses.is_dataclass(old) and dataclasses.is_dataclass(new):
        for part in dataclasses.fields(old):
            object.__setattr__(old, part.name, getattr(new, part.name))


class Run:
    """A pytest plugin: once the tests are collected, every mutant runs them in a process of its own."""

    def __init__(self, path: Path, args: argparse.Namespace, until: float) -> None:
        self.path, self.args, self.until, self.alive = path, args, until, 0
        self.name = path.relative_to(ROOT).as_posix()

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        path, dotted = self.path, self.name.removesuffix(".py").replace("/", ".")
        module = importlib.import_module(dotted)
        source = path.read_text(encoding="utf-8")
        if not session.items:
            raise pytest.UsageError(f"no tests of {self.name} could be collected")
        items = quickest_first(session.items)
        if noticed(items, Mutant(0, "nothing", ast.parse(source)), module):
            raise pytest.UsageError(f"the tests of {self.name} fail without any mutant")
        every, ran, alive = list(mutants(source)), 0, 0
        for mutant in self._chosen(every, path):
            if time.monotonic() > self.until:
                break
            ran += 1
            if not noticed(items, mutant, module):
                alive += 1
                say(shown(self.name, mutant))
        killed = f"{ran - alive} killed ({100.0 * (ran - alive) / max(1, ran):.1f} %)"
        say(f"{self.name}: {len(every)} mutants, {ran} run, {killed}, {len(session.items)} tests")
        self.alive = alive
        return True

    def _chosen(self, every: list[Mutant], path: Path) -> list[Mutant]:
        """All, every so manyth, those on changed lines, or the survivors of an earlier run: while source and tests of
        then are still there, the others are killed as before."""
        if self.args.since is not None:
            lines_now = changed(self.args.since, path)
            every = [mutant for mutant in every if mutant.line in lines_now]
        if self.args.again is None:
            return every[self.args.first :: self.args.every]
        lines = set(self.args.again.read_text(encoding="utf-8").splitlines())
        return [mutant for mutant in every if shown(self.name, mutant) in lines]


def changed(commit: str, path: Path) -> set[int]:
    """Which lines of the file are new or other since this commit?"""
    told = subprocess.run(
        ["git", "diff", "-U0", commit, "--", path.name], cwd=path.parent, check=True, capture_output=True, text=True
    ).stdout
    spans = re.findall(r"^@@ \S+ \+(\d+)(?:,(\d+))? @@", told, re.MULTILINE)
    return {line for first, count in spans for line in range(int(first), int(first) + int(count or 1))}


def shown(name: str, mutant: Mutant) -> str:
    return f"  {name}:{mutant.line}: {mutant.what}"


def say(text: str) -> None:
    """Past what pytest does with the output."""
    os.write(TELL, f"{text}\n".encode())


TELL = os.dup(1)


def main(words: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--of", metavar="PATH", action="append", help="a module or a room, from the root")
    parser.add_argument("--tests", metavar="PATH", action="append", help="in place of a module's own tests")
    parser.add_argument("--every", type=int, default=1, help="only every so manyth mutant")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--since", metavar="COMMIT", help="only mutants of lines that were changed since then")
    parser.add_argument("--again", type=Path, metavar="FILE", help="only the survivors in an earlier run's output")
    parser.add_argument("--budget-s", type=float, default=1e9)
    args = parser.parse_args(words)
    until, alive = time.monotonic() + args.budget_s, 0
    for path in modules(*(args.of or EVIDENCED)):
        run = Run(path, args, until)
        files = args.tests or [str(file) for file in own_tests(path)]
        if pytest.main(["-q", "-s", "-p", "no:cacheprovider", *files], plugins=[run]) not in (0, 5):
            return 2
        alive += run.alive
    return 1 if alive else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
