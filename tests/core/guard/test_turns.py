"""Are the right interlocks asked in each state, at each line, and for their notes?"""

from __future__ import annotations

import pytest

from controller.core.guard.interlock import Interlock
from controller.core.guard.registry import ALL
from controller.core.guard.turns import tellers, turns
from controller.core.nouns import RunState

KINDS: tuple[type[Interlock], ...] = tuple(type(one) for one in ALL)


def ids(places: tuple[int, ...]) -> list[str]:
    """Which interlocks stand at these places?"""
    return [KINDS[place].ROW.id for place in places]


@pytest.mark.parametrize("state", sorted(RunState))
def test_all_that_name_the_state_are_asked_at_a_line(state: RunState) -> None:
    """With a new line of history exactly those are asked whose table names the state, in the order of the registry;
    without one all of them but the four that look at lines alone."""
    due = turns(KINDS, state)
    named = [kind.ROW.id for kind in KINDS if state in kind.STATES]
    assert ids(due.at_a_line) == named
    assert ids(due.watch) == [name for name in named if name not in ("G10", "G11", "G12", "G25")]


@pytest.mark.parametrize("state", sorted(RunState))
def test_who_is_not_asked_and_has_something_to_forget_is_put_to_sleep(state: RunState) -> None:
    """Asked and asleep exclude each other; whoever has a sleep of its own is always one of the two."""
    due = turns(KINDS, state)
    assert not set(due.at_a_line) & set(due.sleep)
    own = [place for place, kind in enumerate(KINDS) if kind.asleep is not Interlock.asleep]
    assert sorted({*due.sleep, *due.at_a_line} & set(own)) == own
    assert set(due.sleep) <= set(own)


def test_only_those_with_notes_of_their_own_are_asked_for_them() -> None:
    """The others give the base's empty answer, and are not asked."""
    assert ids(tellers(KINDS)) == [kind.ROW.id for kind in KINDS if kind.notes is not Interlock.notes]
    assert 0 < len(tellers(KINDS)) < len(KINDS)
