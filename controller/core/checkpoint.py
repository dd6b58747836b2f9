"""How does a run get over a restart of the process?

`keep` turns what must not be lost into plain JSON values, `recall` turns them back. What that is, the types say: every
field of `Kept` and of the records in it, but for those marked `Fleeting`. The journal stores it; what comes back from a
disk is checked like anything from outside: whatever does not fit gives None, never an exception.
"""

from collections.abc import Mapping
from typing import NamedTuple

from controller.brewing.kinetics import malts
from controller.core import plain_values
from controller.core.guard import kept as guard
from controller.core.guard.registry import BY_ID
from controller.core.nouns import Instant
from controller.core.plain_values import Misfit, Plain
from controller.core.procedure.run import Run
from controller.core.state import State

FORMAT = 10  # of the kept record; another one waits for a person. To be raised whenever a kept type changes


class Kept(NamedTuple):
    """What the journal's last record said."""

    run: Run
    guard: guard.Kept
    last_c: float | None  # last believed temperature
    pending: bool  # the run was still to be decided on


def keep(state: State) -> dict[str, Plain]:
    """What must survive, as plain JSON values. A run that is not yet decided on stays as it was found."""
    pending, known = state.pending, guard.kept(state.guard)
    run, last_c = (state.run, state.mash.value_c) if pending is None else (pending.run, pending.last_c)
    kept = plain_values.plain(Kept(run, known, last_c, pending is not None), state.now)
    assert isinstance(kept, dict)
    return {"format": FORMAT, **kept}


def recall(said: Mapping[str, object], now: Instant, ago_s: float = 0.0) -> Kept | None:
    """The kept record as values again, with this process' times; None when it does not fit.

    `ago_s`: it was written so long ago, s, where that is known. The guard's times are older by it; the run's stood
    still meanwhile.
    """
    if said.get("format") != FORMAT:
        return None
    try:
        kept = plain_values.record(Kept, {key: value for key, value in said.items() if key != "format"}, now)
        return kept._replace(run=_sound(kept.run), guard=_older(kept.guard, now, ago_s))
    except (Misfit, TypeError, ValueError):  # the last two: of the malt's figures
        return None


def _older(known: guard.Kept, now: Instant, ago_s: float) -> guard.Kept:
    """The guard's part, `ago_s` older; nothing that has happened lies ahead. Misfit for an interlock unknown here."""
    if any(trip.id not in BY_ID for trip in known.trips):
        raise Misfit("an interlock that is none")
    return plain_values.record(guard.Kept, plain_values.plain(known, now), now - ago_s)


def _sound(run: Run) -> Run:
    """The run, if it holds together. Misfit for a step out of range; what the malt's own check raises."""
    if run.course is None:
        return run
    if not 0 <= run.leg <= len(run.course.legs):
        raise Misfit("step out of range")
    malts.recalled(run.course.malt)
    return run
