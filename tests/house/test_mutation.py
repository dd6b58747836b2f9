"""The mutation run really changes what others already hold: functions, methods, fields and frozen values."""

from __future__ import annotations

import sys
from types import ModuleType

import pytest

from tests.regimes.evidence.mutation import _share, mutants

SOURCE = """from dataclasses import dataclass

LIMIT = 3

@dataclass(frozen=True)
class Watch:
    limit: int = 5

    def over(self, value):
        return value > self.limit

    @property
    def twice(self):
        return self.limit + self.limit

ONE = Watch()

def over(value):
    return value > LIMIT
"""
SEEN = {  # what a holder of the old module sees with each mutant
    (7, "5 -> 6"): (False, False, 12, True),
    (10, "Gt -> GtE"): (True, True, 10, True),
    (10, "Gt -> LtE"): (False, True, 10, True),
    (14, "Add -> Sub"): (True, False, 0, True),
    (3, "3 -> 4"): (True, False, 10, False),
}


@pytest.mark.parametrize(("line", "what"), SEEN)
def test_a_mutant_reaches_what_was_imported_before(line: int, what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Class, instance and function were taken before the change; their answers are the changed ones."""
    module = ModuleType("mutated")
    monkeypatch.setitem(sys.modules, "mutated", module)
    exec(SOURCE, vars(module))
    watch, one, over = module.Watch, module.ONE, module.over
    found = [m for m in mutants(SOURCE) if (m.line, m.what) == (line, what)]
    assert len(found) == 1
    before = dict(vars(module))
    exec(compile(found[0].tree, "mutated", "exec"), vars(module))
    _share(before, module)
    assert (module.Watch, module.ONE, module.over) == (watch, one, over)
    assert (watch().over(6), one.over(5), one.twice, over(4)) == SEEN[line, what]
