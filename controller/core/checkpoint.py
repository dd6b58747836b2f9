"""How does a run get over a restart of the process?

`keep` turns what must not be lost into plain JSON values, `recall` turns them back. The journal stores them; what comes
back from a disk is checked like anything from outside: whatever does not fit gives None, never an exception.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import TYPE_CHECKING, Any, NamedTuple

from controller.brewing.kinetics import malts
from controller.core.guard import registry
from controller.core.guard.interlock import Interlock
from controller.core.nouns import Course, Instant, Leg, Phase, Prompt, RunState, Trip
from controller.core.procedure import estimate
from controller.core.procedure.run import Run

if TYPE_CHECKING:
    from controller.core.state import State

FORMAT = 3  # of the kept record; another one waits for a person


class Kept(NamedTuple):
    """What the journal's last record said."""

    run: Run
    trips: tuple[Trip, ...]
    epoch: int
    last_c: float | None  # last believed temperature
    format: int
    off_until: Instant  # no heat before, whatever else is well
    interlocks: tuple[Interlock, ...]  # with what they remember


def keep(state: State) -> dict[str, Any]:
    """What must survive: run, trips and how old they are, owner epoch, last temperature. Plain JSON values, units in
    names. A run that is not yet decided on stays as it was found."""
    guard, now, pending = state.guard, state.now, state.pending
    run, last_c = (state.run, state.mash.value_c) if pending is None else (pending.run, pending.last_c)
    course = run.course
    return {
        "format": FORMAT,
        "epoch": guard.epoch,
        "last_c": last_c,
        "pending": pending is not None,
        "off_left_s": max(0.0, guard.evidence.off_until - now),
        "interlocks": registry.keep(guard.interlocks, now),
        "trips": [_aged(trip, now) for trip in guard.trips],
        "run": {
            "state": str(run.state),
            "run_id": run.run_id,
            "leg": run.leg,
            "phase": str(run.phase),
            "credited_s": run.credited_s,
            "held_by": run.held_by,
            "paused": run.paused,
            "grain_in": run.grain_in,
            "ran_s": now - run.started_at,
            "in_phase_s": now - run.phase_since,
            "started_wall_s": run.started_wall_s,
            "excluded_s": run.excluded_s,
            "iodine_tests": run.iodine_tests,
            "iodine_ok": run.iodine_ok,
            "ask_at_s": run.ask_at_s,
            "armed_for_s": None if run.armed_until is None else run.armed_until - now,
            "prompt": None if run.prompt is None else run.prompt._asdict(),
            "reminded": run.reminded,
            "liquor_told": run.liquor_told,
            "by": run.by,
            "gap_credit_s": run.gap_credit_s,
            "gap_rule": run.gap_rule,
            "mash": estimate.keep(run.mash),
            "course": None if course is None else _plain(course),
        },
    }


def _aged(trip: Trip, now: Instant) -> dict[str, Any]:
    """The trip as plain values; its age in place of its time, which only this process can read."""
    plain = {**trip._asdict(), "age_s": now - trip.at}
    del plain["at"]
    return plain


def _plain(course: Course) -> dict[str, Any]:
    """The course as plain values; what was filed at the start is in the record already."""
    plain = {**course._asdict(), "legs": [leg._asdict() for leg in course.legs]}
    del plain["filed"]
    return plain


def recall(kept: Mapping[str, Any], now: Instant, ago_s: float = 0.0) -> Kept | None:
    """The kept record as values again, with this process' times; None when it does not fit.

    `ago_s`: it was written so long ago, s, where that is known; trips and incidents are older by it.
    """
    try:
        return _recall(kept, now, ago_s) if _finite(kept) else None
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError, RecursionError):
        return None


def _finite(value: Any) -> bool:
    """Is every number in it one to reckon with? JSON's reader lets NaN and 1e999 through."""
    if isinstance(value, Mapping):
        return all(_finite(item) for item in value.values())
    if isinstance(value, list | tuple):
        return all(_finite(item) for item in value)
    return not isinstance(value, float) or isfinite(value)


def _recall(kept: Mapping[str, Any], now: Instant, ago_s: float) -> Kept:
    said = kept["run"]
    course = _course(said["course"])
    prompt = said["prompt"]
    leg = int(said["leg"])
    if course is not None and not (0 <= leg <= len(course.legs)):
        raise ValueError("step out of range")
    if not isinstance(kept["pending"], bool):
        raise ValueError("nobody knows whether the run was decided on")
    run = Run(
        state=RunState(said["state"]),
        course=course,
        run_id=str(said["run_id"]),
        leg=leg,
        phase=Phase(said["phase"]),
        phase_since=now - float(said["in_phase_s"]),
        state_since=now,
        credited_s=float(said["credited_s"]),
        counting=False,
        held_by=said["held_by"],
        paused=said["paused"] is True,
        grain_in=said["grain_in"] is True,
        started_at=now - float(said["ran_s"]),
        started_wall_s=float(said["started_wall_s"]),
        excluded_s=float(said["excluded_s"]),
        iodine_tests=int(said["iodine_tests"]),
        iodine_ok=said["iodine_ok"] is True,
        ask_at_s=None if said["ask_at_s"] is None else float(said["ask_at_s"]),
        armed_until=None if said["armed_for_s"] is None else now + float(said["armed_for_s"]),
        prompt=None if prompt is None else Prompt(**{**prompt, "answers": tuple(prompt["answers"]), "since": now}),
        reminded=int(said["reminded"]),
        liquor_told=said["liquor_told"] is True,
        by=str(said["by"]),
        gap_credit_s=float(said["gap_credit_s"]),
        gap_rule=str(said["gap_rule"]),
        mash=estimate.recall(said["mash"], now),
        ramp_at=now,
    )
    before = now - ago_s
    return Kept(
        run,
        tuple(_trip(trip, before) for trip in kept["trips"]),
        int(kept["epoch"]),
        _number(kept["last_c"]),
        int(kept["format"]),
        before + float(kept["off_left_s"]),
        registry.recalled(kept["interlocks"], before),
    )


def _trip(said: Mapping[str, Any], before: Instant) -> Trip:
    """A kept trip; latched, unless the record says that it was not."""
    row = registry.BY_ID[said["id"]]
    return Trip(
        id=row.id,
        at=before - max(0.0, float(said["age_s"])),
        text=str(said["text"]),
        value=_number(said["value"]),
        limit=_number(said["limit"]),
        unit=row.unit,
        priority=row.priority,
        latched=said["latched"] is not False,
        first_out=said["first_out"] is True,
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _course(said: Mapping[str, Any] | None) -> Course | None:
    if said is None:
        return None
    malts.recalled(said.get("malt"))  # raises where it does not hold together
    return Course(**{**said, "legs": tuple(Leg(**leg) for leg in said["legs"])})
