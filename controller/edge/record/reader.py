"""What does a process that starts learn from the record, and where does the record go on?

An open run goes on in its own file; its fate is decided by the core once readings are good (resume.py), never here.
Damage locks: a latched trip stands until a person clears it, and the run is a person's to decide.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from controller import __version__
from controller.core import checkpoint
from controller.core.guard.kept import Kept
from controller.core.guard.registry import BY_ID
from controller.core.nouns import Event, Instant, RunState, Trip
from controller.core.procedure.orders.envelope import ACTIVE
from controller.core.procedure.resume import Pending
from controller.core.state import State, start
from controller.edge.clock import Clock, boot_id, since_boot_s
from controller.edge.record import line_format
from controller.edge.record.writer import RecordWriter
from controller.messages.incoming import Told
from controller.settings.service import Settings

RESTARTS_S = 1800.0  # restarts are counted over the last half hour


def record_folder(settings: Settings) -> Path:
    """Where do this tun's records lie?"""
    return Path(settings.service.data_dir) / "record" / settings.tun.name


class Past(NamedTuple):
    """What the record told, in the core's terms."""

    pending: Pending | None
    guard: Kept
    events: tuple[Event, ...]


def _lacks(begun: Begun, seq: int, told: Told) -> str:
    """What of what the last process said, as the broker keeps it, does this record not know? Empty: nothing. `seq`: of
    the last event in the record.

    A record that was lost, put back from a copy, or full when it mattered would resume what is over, and forget a trip.
    """
    pending, guard, state = begun.state.pending, begun.state.guard, told.state
    known = pending.run.begun.id if pending is not None else None
    if told.journal_seq > seq:
        return f"events up to {told.journal_seq} were on disk, here is the last {seq}"
    if forgotten := sorted(set(told.latched) - {trip.id for trip in guard.trips}):
        return f"a latched {', '.join(forgotten)}"
    if state in ACTIVE and known != told.run:
        return f"the run {told.run}, which was {state}"
    if pending is not None and state not in ACTIVE | {RunState.CHECKING}:
        return f"that run {known} was over"
    if told.epoch >= guard.epoch and state != RunState.CHECKING:
        return f"the owner's number {told.epoch}"
    return ""


class Begun(NamedTuple):
    """A process ready for its first tick."""

    state: State
    writer: RecordWriter
    events: tuple[Event, ...]


def stamp(clock: Clock) -> dict[str, Any]:
    """When is it, on the clocks that can tell an outage: the wall clock, and the one that counts from boot?"""
    values: dict[str, Any] = {"at": round(clock.wall_s(), 3), "up": round(since_boot_s(), 3)}
    if clock.confirmed():
        values["confirmed"] = True
    return values


def head(settings: Settings, clock: Clock, boot: str, epoch: int) -> dict[str, Any]:
    """Who writes: version, configuration, machine boot, process."""
    who = {"boot_id": boot_id(), "process": boot, "version": __version__, "config": settings.digest}
    return {**stamp(clock), **who, "tun": settings.tun.name, "epoch": epoch, "speed": clock.speed}


def begin(
    settings: Settings,
    folder: Path,
    clock: Clock,
    boot: str,
    same_program: Callable[[str, str], bool],
    proof_days: float | None = None,
    make: Callable[[Path, int, int], RecordWriter] | None = None,
) -> Begun:
    """Read the record, go on with it, and make the first state.

    `same_program(program, digest)`: is the program's file what it was? `proof_days`: age of the last proof test.
    """
    now = clock.now()
    try:
        found = line_format.find(folder)
    except OSError as error:
        found = line_format.Found(damage=f"the record cannot be read ({error.strerror})")
    past = recall(settings, found, clock, now, same_program)
    writer = (make or RecordWriter)(folder, found.seq, settings.service.keep_runs)
    state = start(settings, now, boot, past.guard, past.pending, proof_days)
    values, kept = head(settings, clock, boot, past.guard.epoch), checkpoint.keep(state)
    if past.pending is not None and found.path is not None and not found.damage:
        writer.go_on(found.path, found.good_bytes, found.lines, values, kept)
    else:  # a new file for all but an open run that is sound
        writer.begin(past.pending is not None, values, kept)
    return Begun(state, writer, past.events)


def recall(
    settings: Settings, found: line_format.Found, clock: Clock, now: Instant, same_program: Callable[[str, str], bool]
) -> Past:
    """What the record says, turned into what the core asks for."""
    events: list[Event] = []
    if found.torn:
        text = f"the record's last line was cut short ({found.torn} bytes dropped): power went while it was written"
        events.append(Event("note", "record", text, priority=3))
    ago_s = gone_s(found.kept_at, clock) or 0.0
    if found.path is None and not found.damage:
        events.append(Event("note", "record", "no record was found: taken as a new tun", priority=3))
    kept = checkpoint.recall(found.kept, now, ago_s) if found.kept is not None else None
    damage = found.damage
    if found.kept is not None and kept is None:
        damage = damage or "the record's last state cannot be understood"
    known = kept.guard if kept is not None else Kept(epoch=0)
    trips = known.trips
    if damage:
        trips = _locked(trips, f"Run record damaged: {damage}", now)
        events.append(Event("note", "record", f"Run record damaged: {damage}", priority=1))
    pending = None
    if kept is not None and kept.run.state in ACTIVE:
        pending = _pending(settings, found, kept, clock, bool(damage), same_program)
    known = known._replace(epoch=1 + max(found.epoch, known.epoch), trips=trips)
    return Past(pending, known, tuple(events))


def _locked(trips: tuple[Trip, ...], why: str, now: Instant) -> tuple[Trip, ...]:
    """These trips and G20, which waits for a person."""
    row, text = BY_ID["G20"], f"{why}. Nothing heats until you have looked and cleared this."
    others = tuple(trip for trip in trips if trip.id != row.id)
    return (*others, Trip(row.id, now, text, None, None, row.unit, row.priority, True, not others))


def compared(begun: Begun, seq: int, state: State, told: Told, now: Instant) -> tuple[State, tuple[Event, ...]]:
    """The state, locked where the last process told more than this record knows, and the event that says so."""
    if not (lacking := _lacks(begun, seq, told)):
        return state, ()
    why = f"The record does not know what the last process told: {lacking}"
    guard = state.guard._replace(trips=_locked(state.guard.trips, why, now), need_durable=True)
    return state._replace(guard=guard), (Event("note", "record", why, priority=1),)


def _pending(
    settings: Settings,
    found: line_format.Found,
    kept: checkpoint.Kept,
    clock: Clock,
    damaged: bool,
    same_program: Callable[[str, str], bool],
) -> Pending:
    course = kept.run.course
    same = (
        found.header.get("config") == settings.digest
        and str(found.header.get("version", "")).split(".")[0] == __version__.split(".")[0]
        and course is not None
        and same_program(course.program, course.digest)
    )
    lost = damaged or bool(found.header.get("after_failure")) or any(trip.id == "G20" for trip in kept.guard.trips)
    outage = None if lost else outage_s(found, clock)
    limit = 60.0 * settings.service.resume_minutes
    return Pending(kept.run, kept.last_c, outage, same and not lost, 1 + _restarts(found, clock), limit)


def outage_s(found: line_format.Found, clock: Clock) -> float | None:
    """How long was nobody in charge of the run, s? None when no clock can tell."""
    return gone_s(found.end, clock)


def gone_s(since: line_format.Stamp | None, clock: Clock) -> float | None:
    """How long ago was that, s? None when no clock can tell.

    Within one boot of the machine the clock that counts from boot tells; over a reboot the wall clock tells, if it was
    known to be in step before and is now.
    """
    if since is None:
        return None
    if since.boot_id and since.boot_id == boot_id():
        gone = since_boot_s() - since.up_s
    elif since.confirmed and clock.confirmed():
        gone = clock.wall_s() - since.at
    else:
        return None
    return gone * clock.speed if gone >= 0.0 else None


def _restarts(found: line_format.Found, clock: Clock) -> int:
    """How many times did a process start into this run within the last half hour?"""
    here = boot_id()
    boot_s, wall_s = since_boot_s(), clock.wall_s()
    ages = [boot_s - start.up_s if start.boot_id == here else wall_s - start.at for start in found.starts]
    return sum(1 for age in ages if abs(age) * clock.speed < RESTARTS_S)
