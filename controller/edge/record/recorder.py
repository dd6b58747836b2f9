"""What goes into the record, and when may it be told?

Each tick's events, what must survive a restart, and a row of measurements. Events are told to the outside only once
they are on disk, so that none is ever seen that a restart does not know.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections import deque
from collections.abc import Callable
from typing import Any

from controller.core import checkpoint
from controller.core.nouns import Event, Instant, RunState
from controller.core.state import Outcome, State
from controller.edge.clock import Clock
from controller.edge.record import reader
from controller.edge.record.writer import RecordWriter
from controller.messages import incoming, outgoing
from controller.settings.service import Settings

QUIET = (RunState.IDLE, RunState.CHECKING, RunState.STOPPED, RunState.ABORTED, RunState.COMPLETE)
PORTION_S = 10.0  # of full heat between two records; a process that starts counts 15 as not recorded (own proposal)
SETTLE_S, LOOK_S = 1.0, 0.01  # real time: at the end the disk gets so long


class Recorder:
    """Writes the record; tells events by `tell` when they are safe."""

    def __init__(
        self, settings: Settings, clock: Clock, begun: reader.Begun, tell: Callable[[int, bytes], None]
    ) -> None:
        self.writer: RecordWriter = begun.writer
        self._settings, self._clock, self._tell = settings, clock, tell
        self._waiting: deque[tuple[int, bytes]] = deque()
        self._begun, self._first_seq = begun, begun.writer.seq

    def compare(self, status: bytes, state: State) -> tuple[State, tuple[Event, ...]]:
        """Does the record know what the last process' retained status tells? The state, locked where it does not."""
        told = incoming.last_status(status)
        if told is None:
            return state, ()
        return reader.compared(self._begun, self._first_seq, state, told, self._clock.now())

    def listen(self, loop: asyncio.AbstractEventLoop) -> None:
        """Tell events on this loop as soon as the writer's thread says that they are on disk."""

        def written() -> None:
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(self.publish)

        self.writer.on_durable = written

    def record(self, before: State, outcome: Outcome, events: tuple[Event, ...], now: Instant) -> None:
        """Events and what must survive go to disk; a run that begins gets a file of its own."""
        state, stamp = outcome.state, reader.stamp(self._clock)
        begins = state.run.begun.id != before.run.begun.id and state.pending is None and before.pending is None
        if begins:
            head = reader.head(self._settings, self._clock, state.boot, state.guard.epoch)
            self.writer.begin(bool(state.run.begun.id), head, checkpoint.keep(state))
        elif events or worth_keeping(before, state):
            self.writer.keep(checkpoint.keep(state), stamp)
        for event in events:
            values = {**outgoing.event_values(0, self._clock.wall_s(), event), **stamp, "t": round(now, 2)}
            seq = self.writer.event(values)
            self._waiting.append((seq, outgoing.event(seq, values["at"], event)))
        if state.run.state not in QUIET:
            self.writer.sample({**stamp, **_row(outcome, now)})
        self.publish()

    def publish(self) -> None:
        """Events go out once they are on disk, so that none is ever seen that a restart does not know."""
        disk = self.writer.disk()
        while self._waiting and (self._waiting[0][0] <= disk.durable_seq or not disk.ok):
            self._tell(*self._waiting.popleft())

    async def settle(self) -> None:
        """Wait a moment for the disk, so that the last events can be told too."""
        for _ in range(int(SETTLE_S / LOOK_S)):
            disk = self.writer.disk()
            if not disk.ok or disk.durable_seq >= self.writer.seq:
                break
            await asyncio.sleep(LOOK_S)
        self.publish()


def worth_keeping(before: State, after: State) -> bool:
    """Must what survives a restart be on disk at once, an event or not? Heat that went out is evidence, too."""
    return _place(after) != _place(before) or _portions(after) != _portions(before)


def _portions(state: State) -> float:
    """How many times ten seconds of full heat have gone out?"""
    return state.guard.past.energy_j // (PORTION_S * state.guard.plate.power_w)


def _place(state: State) -> tuple[object, ...]:
    """Where is the run? A change must be on disk at once, the start of the rest clock included: it credits 60 s."""
    run = state.run
    return run.leg, run.phase, run.state, run.progress.counting


def _row(outcome: Outcome, now: Instant) -> dict[str, Any]:
    """One row of the record: what was measured, wanted and done in this tick. Units last in the names."""
    run, state = outcome.state.run, outcome.state
    heater = state.heater
    return {
        "t": round(now, 2),
        "mash_c": _rounded(outcome.seen.value_c),
        "probe_c": _rounded(outcome.seen.raw_c),
        "second_c": _rounded(outcome.second.value_c) if outcome.second else None,
        "outlet_c": _rounded(outcome.outlet.value_c) if outcome.outlet else None,
        "setpoint_c": _rounded(outcome.setpoint.value_c) if outcome.setpoint else None,
        "target_c": outcome.target.target_c,
        "duty": round(state.guard.line.duty, 4),
        "heater_duty": heater.duty if heater is not None else None,
        "leg": run.leg,
        "phase": str(run.phase),
        "state": str(run.state),
        "credited_s": round(run.progress.credited_s, 1),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)
