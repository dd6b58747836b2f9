"""The tests mirror the rooms, so that a module's tests are found by its place."""

from __future__ import annotations

import pytest

from tests.mirror import COVERED, modules, own_tests
from tests.places import ROOT


def test_every_module_of_the_evidence_has_tests() -> None:
    """Each module whose branches and mutants are looked for has a test file of its own or of its room."""
    assert [path for path in modules(*COVERED) if not own_tests(path)] == []


def test_own_tests_come_before_those_of_the_room() -> None:
    """The loop has files of its own name; a module without takes all of its room; what is gone is no module."""
    loop = own_tests(ROOT / "controller/core/control/loop.py")
    assert [path.name for path in loop] == ["test_loop.py"]
    room = own_tests(ROOT / "controller/core/control/no_such_module.py")
    assert len(room) > 3 and set(loop) < set(room)
    with pytest.raises(FileNotFoundError):
        modules("controller/core/no_such_room")
