"""What is an interlock, and what does each say of itself?"""

from __future__ import annotations

import pytest

from controller.core.guard.interlock import Finding, Interlock, Note
from controller.core.guard.interlocks.g07_hard_limit import HardLimit
from controller.core.guard.interlocks.g08_outlet_hot import OutletHot
from controller.core.guard.registry import ALL
from tests.core.guard.looks import LATCHED, known, senses

MARKS = {
    "ON_TRIAL": {"G09", "G11", "G12"},
    "ASKS_HAND": {"G04", "G05", "G09", "G11", "G12", "G25"},
    "DOUBTS_FIGURES": {"G25"},
    "TAKES_THE_TUN": {"G19"},
}


@pytest.mark.parametrize("mark", sorted(MARKS))
def test_what_each_says_of_itself(mark: str) -> None:
    """Whose clear is tried by a pulse, wants a hand reading, doubts the tun's figures, or takes the tun for good."""
    assert {each.ROW.id for each in ALL if getattr(each, mark)} == MARKS[mark]
    assert getattr(Interlock, mark) is False


def test_one_that_says_nothing_else() -> None:
    """It remembers nothing, finds nothing, is asked for nothing, and keeps nothing."""
    bare, tick = Interlock(), senses()
    assert bare.watch(tick, known()) == bare.tripped(LATCHED, tick) == (bare, None)
    assert (bare.still_there(LATCHED, tick, known()), bare.notes(tick, known()), bare.keep()) == (None, (), None)
    assert bare.asleep(tick) is bare.cleared() is bare.next_run() is bare.recalled(5.0) is bare
    assert (bare.why_not_clear(None), Interlock.LATE, Interlock.OWES) == ("", "", "inspected")


@pytest.mark.parametrize(("latched", "waits"), [(None, (True, False)), (True, (True, True)), (False, (False, False))])
def test_whether_a_finding_waits_for_a_person(latched: bool | None, waits: tuple[bool, bool]) -> None:
    """As its row says, unless it knows better."""
    found = [Finding(row, 81.0, 80.0, latched) for row in (HardLimit.ROW, OutletHot.ROW)]
    assert tuple(finding.latches for finding in found) == waits
    assert not found[0].cut_only and Note("x", "y").priority == 3
    assert found[0]._replace(says="At {value:g} over {limit:g}.").words == f"At 81 over 80. {HardLimit.ROW.do}"
