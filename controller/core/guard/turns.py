"""Which interlocks are asked in this tick? Worked out once for each state of a run; a tick only walks the places."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from controller.core.guard.interlock import Interlock
from controller.core.nouns import RunState


class Turns(NamedTuple):
    """Places in the row of interlocks, each group in its order."""

    watch: tuple[int, ...]  # asked in every tick
    at_a_line: tuple[int, ...]  # asked in a tick with a new line of history, those above among them
    sleep: tuple[int, ...]  # not asked in this state, and may have something to forget


@lru_cache(maxsize=64)
def turns(kinds: tuple[type[Interlock], ...], state: RunState) -> Turns:
    """Whose turn is it in this state?"""
    awake = [place for place, kind in enumerate(kinds) if state in kind.STATES]
    return Turns(
        watch=tuple(place for place in awake if not kinds[place].BY_LINE),
        at_a_line=tuple(awake),
        sleep=tuple(place for place, kind in enumerate(kinds) if place not in awake and _own(kind, "asleep")),
    )


@lru_cache(maxsize=64)
def tellers(kinds: tuple[type[Interlock], ...]) -> tuple[int, ...]:
    """Which of them may have a note?"""
    return tuple(place for place, kind in enumerate(kinds) if _own(kind, "notes"))


def _own(kind: type[Interlock], name: str) -> bool:
    """Does it do more than the base of all does there?"""
    return getattr(kind, name) is not getattr(Interlock, name)
