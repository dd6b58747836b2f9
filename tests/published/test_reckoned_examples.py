"""The trade's worked examples as a brewer types them: `reckoned_examples.txt` holds command, answer, tolerance, source.

Marks of the sources: "published" the problem or figure is in print and was seen; "second hand" quoted by another text;
"calculated" worked out by hand from the stated inputs; "from memory" not confirmed.
"""

from __future__ import annotations

import ast
import re
import shlex
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.commands.reckon import command
from controller.commands.reckon.sums import shown
from tests.commands.called import called
from tests.places import ROOT


class Typed(NamedTuple):
    """One worked example: what is typed, and what stands behind a label of the answer."""

    name: str
    typed: str
    label: str
    wanted: float
    tolerance: float
    source: str


def _examples() -> list[Typed]:
    lines = Path(__file__).with_name("reckoned_examples.txt").read_text("utf-8").splitlines()
    found = []
    for line in (line for line in lines if line and not line.startswith("#")):
        name, typed, label, wanted, tolerance, source = (part.strip() for part in line.split("|"))
        found.append(Typed(name, typed, label, float(wanted), float(tolerance), source))
    return found


ALL = _examples()


@pytest.mark.parametrize("example", ALL, ids=[example.name for example in ALL])
def test_a_brewer_who_types_it_gets_the_answer(example: Typed) -> None:
    """The command gives the trade's answer within the tolerance stated for it."""
    name, *given = shlex.split(example.typed)
    chosen = command.SUMS[name]
    found = {one.label: shown(one) for one in command.worked(chosen, command.read_all(chosen, given))}
    assert abs(found[example.label] - example.wanted) <= example.tolerance, (found, example)


def test_w8c_in_its_own_units() -> None:
    """4.94 qt stands in print (J. J. Palmer, How to Brew, second hand), and on the page."""
    typed = ("grist=8 lb", "liquor_volume=8 qt", "mash=104 °F", "to=140 °F", "at=210 °F", "--units", "°F lb qt")
    code, out, _ = called("reckon", "us-rules", *typed)
    assert code == 0
    assert float(out.split("then add: ")[1].split(" qt")[0]) == pytest.approx(4.94, abs=0.005)


ELSEWHERE = {  # reached by another command, and worked out again there
    23: "check: energy and cost, in tests/plan",
    60: "day: tests/commands/test_day.py",
}


def test_every_worked_example_has_its_command() -> None:
    """No number of W1 to W63 is missing."""
    typed = {int(found[1]) for one in ALL if (found := re.match(r"W(\d+)", one.name))}
    assert typed | set(ELSEWHERE) == set(range(1, 64))


def test_no_tested_arithmetic_without_a_door() -> None:
    """Every public function of the trade's arithmetic and of the plan is called by the product itself."""
    rooms = (ROOT / "controller" / "brewing", ROOT / "controller" / "plan")
    product = {path: path.read_text("utf-8") for path in (ROOT / "controller").rglob("*.py")}
    named: dict[str, int] = {}
    for text in product.values():
        for node in ast.walk(ast.parse(text)):
            name = getattr(node, "attr", None) if isinstance(node, ast.Attribute) else getattr(node, "id", None)
            if isinstance(name, str):
                named[name] = named.get(name, 0) + 1
    public = {
        f"{path.relative_to(ROOT)}: {node.name}"
        for path in product
        if any(room in path.parents for room in rooms)
        for node in ast.parse(product[path]).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }
    assert len(public) > 100
    assert [one for one in sorted(public) if one.rpartition(" ")[2] not in named] == []
