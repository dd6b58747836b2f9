"""What does the guard look at in one tick?"""

from __future__ import annotations

from math import inf

import pytest

from controller.core.guard import senses as of
from controller.core.nouns import Link, Phase, RunState
from tests.core.guard.looks import BASE, BLOCKED, HEATING, SEEN, S, senses


@pytest.mark.parametrize("state", S)
def test_what_a_state_and_an_armed_start_mean(state: RunState) -> None:
    """Heat may flow in three states; while a start is armed in one of them, interlocks look as in idle."""
    plain, armed = senses(state=state), senses(state=state, phase=Phase.ARMED)
    assert (plain.heated, armed.heated) == (state in HEATING,) * 2
    assert (plain.asked_as, armed.asked_as) == (state, S.IDLE if state in HEATING else state)


def test_a_silence_while_the_line_is_down_is_the_lines_alone() -> None:
    """Up, it is a trip after 10 s; down, never by itself, and a node that is gone after 20 s."""
    assert [senses(link=Link(up, 0.0)).silence_trip_s for up in (True, False)] == [10.0, inf]
    assert (of.AWAY_TRIP_S, of.TICK_S) == (20.0, 1.0)


def test_what_is_being_added_blocks_heat() -> None:
    """Of the three words of a target one says so."""
    off = BASE.run.target._replace(heat="off")
    assert [senses(target=target).blocked for target in (BLOCKED, off, BASE.run.target)] == [True, False, False]


def test_a_probe_is_there_unless_said() -> None:
    """A measurement alone has no samples behind it and no word that it is gone."""
    assert of.Probed(SEEN) == of.Probed(seen=SEEN, raw=(), gone=False)
