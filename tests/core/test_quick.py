"""Does the quick way to change a field do what `_replace` does?"""

from __future__ import annotations

import ast
import importlib
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.core.quick import maker, quick
from controller.core.run import Run
from controller.core.tick import State
from tests.places import ROOT


class Slow(NamedTuple):
    """As Python makes it."""

    first: int
    second: str = "b"
    third: float = 3.0


@quick
class Fast(NamedTuple):
    """The same, made quick."""

    first: int
    second: str = "b"
    third: float = 3.0


@pytest.mark.parametrize(
    "changes", [{}, {"first": 5}, {"third": 1.5, "second": "c"}, {"first": 0, "second": "", "third": 0}]
)
def test_the_quick_way_gives_what_the_slow_way_gives(changes: dict[str, object]) -> None:
    """Same values, same type, the old one untouched."""
    fast, slow = Fast(1), Slow(1)
    changed = fast._replace(**changes)  # type: ignore[arg-type]
    assert type(changed) is Fast
    assert tuple(changed) == tuple(slow._replace(**changes))  # type: ignore[arg-type]
    assert fast == (1, "b", 3.0)


def test_a_field_that_is_not_there_is_refused() -> None:
    """A misspelt name raises and says which."""
    with pytest.raises(TypeError, match="Fast has no field 'fourth'"):
        Fast(1)._replace(fourth=4)  # type: ignore[call-arg]


def test_what_changes_every_second_is_quick() -> None:
    """The widest states of a tick have it."""
    assert {State._replace.__qualname__, Run._replace.__qualname__} == {"quick.<locals>._replace"}


def test_a_record_made_of_all_its_values_is_the_same_record() -> None:
    """Same type, same values."""
    made = maker(Fast)((2, "x", 0.5))
    assert type(made) is Fast
    assert made == Fast(2, "x", 0.5)


WITH_MAKERS = [
    path for path in sorted([*ROOT.glob("controller/**/*.py"), *ROOT.glob("sim/*.py")]) if "maker(" in path.read_text()
]


def _makers(tree: ast.Module) -> dict[str, str]:
    """Every maker of a module: its name, and the record it makes."""
    found = {}
    for line in tree.body:
        if isinstance(line, ast.Assign):
            name, value = line.targets[0], line.value
            pairs = zip(name.elts, value.elts, strict=True) if isinstance(name, ast.Tuple) and isinstance(
                value, ast.Tuple
            ) else [(name, value)]  # fmt: skip
            for one, made in pairs:
                if isinstance(made, ast.Call) and ast.unparse(made.func) == "maker":
                    found[ast.unparse(one)] = ast.unparse(made.args[0])
    return found


@pytest.mark.parametrize("path", WITH_MAKERS, ids=lambda path: path.stem)
def test_every_record_is_made_with_as_many_values_as_it_has_fields(path: Path) -> None:
    """Nothing counts them when it runs, so they are counted here, at every call of every maker."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    makers = _makers(tree)
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and ast.unparse(node.func) in makers]
    assert {ast.unparse(call.func) for call in calls} == set(makers)
    for call in calls:
        (values,) = call.args
        assert isinstance(values, ast.Tuple)
        given = sum(SPREAD[ast.unparse(value)] if isinstance(value, ast.Starred) else 1 for value in values.elts)
        assert given == len(getattr(module, makers[ast.unparse(call.func)])._fields), ast.unparse(call)


SPREAD = {"*fields": 8, "*NO_DOUBT": 7}  # how many values each of these stands for
