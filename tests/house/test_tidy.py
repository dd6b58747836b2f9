"""The figures of the house over controller and sim: lengths, depth, types; and the tests' own manners."""

from __future__ import annotations

import ast
import statistics

import pytest

from tests.house import tidy
from tests.places import ROOT

PRODUCT = ("controller", "sim")
IN_FRONT_OF_THE_GATE = ("controller/core/guard/", "controller/core/tick.py")


def sized() -> dict[str, int]:
    """How many lines has each file of the product?"""
    return {name: len((ROOT / name).read_text(encoding="utf-8").splitlines()) for name, _ in tidy.source(*PRODUCT)}


def test_functions_are_short() -> None:
    """Half of all functions have at most 7 lines, none more than 50."""
    lengths = {name: tidy.length(node) for name, node in tidy.functions(*PRODUCT)}
    assert {name: lines for name, lines in lengths.items() if lines > 50} == {}
    assert statistics.median(lengths.values()) <= 7


def test_files_are_short() -> None:
    """No file has more than 350 lines, and nine of ten at most 250."""
    lines = sized()
    assert {name: count for name, count in lines.items() if count > 350} == {}
    assert sorted(lines.values())[int(0.9 * len(lines))] <= 250


def test_blocks_do_not_nest_deeply() -> None:
    """No block lies in more than two others."""
    assert [name for name, node in tidy.functions(*PRODUCT) if tidy.depth(node) > 3] == []


def test_every_function_is_typed() -> None:
    """Each argument and each answer has a type, in the tests too."""
    assert [name for name, node in tidy.functions(*PRODUCT, "tests") if tidy.unannotated(node)] == []


def test_types_are_on_in_front_of_the_gate() -> None:
    """Guard and tick say `Any` and `cast` nowhere."""
    core = [(name, tree) for name, tree in tidy.source("controller/core") if name.startswith(IN_FRONT_OF_THE_GATE)]
    assert len(core) > 5
    assert {name: tidy.loose(tree) for name, tree in core if tidy.loose(tree)} == {}


def test_no_test_borrows_from_another() -> None:
    """Helpers live in modules of their own, so that a test file can be split, renamed and deleted."""
    assert {name: tidy.borrowed(tree) for name, tree in tidy.source("tests") if tidy.borrowed(tree)} == {}


def test_every_test_says_in_one_sentence_what_it_shows() -> None:
    """The docstring of each test is one sentence."""
    tests = [(name, node) for name, node in tidy.functions("tests") if node.name.startswith("test_")]
    assert len(tests) > 1000
    assert {name: tidy.sentences(node) for name, node in tests if tidy.sentences(node)} == {}


def test_core_has_few_floors() -> None:
    """Of the rooms of core none lies higher than the sixth floor, and none below itself."""
    found = tidy.floors(ROOT / "controller" / "core")
    assert found["nouns"] == 1 and found["tick"] == max(found.values())
    assert max(found.values()) <= 6, found


DEEP = """
def f(a: int, *b: int, c) -> None:
    if a:
        pass
    elif b:
        for x in b:
            with x:
                while x:
                    pass
"""


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("Shows it.", ""),
        ("By J. Doe's formula.", ""),
        ("Shows it", "does not end"),
        ("Shows. That too.", "more than one"),
        ("", "says nothing"),
    ],
)
def test_the_measures_measure(line: str, wrong: str) -> None:
    """What is too deep, without a type, loose, borrowed, or not one sentence, is found in a made-up module."""
    node = ast.parse(DEEP).body[0]
    assert isinstance(node, ast.FunctionDef)
    assert (tidy.length(node), tidy.depth(node), tidy.unannotated(node)) == (8, 4, True)
    assert tidy.loose(ast.parse("x: typing.Any = cast(int, 1)")) == {"Any", "cast"}
    assert tidy.borrowed(ast.parse("from tests.core.test_x import y")) == {"tests.core.test_x", "tests.core.test_x.y"}
    said = ast.parse(f"def test_x() -> None:\n    {line!r}").body[0]
    assert isinstance(said, ast.FunctionDef)
    assert tidy.sentences(said) == wrong
