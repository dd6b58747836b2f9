"""How does one tun's service run?

Three things go on side by side: hear (the transport puts messages into the inbox), beat (once a second the core decides
and the heater command leaves at once) and show (status, events, replies, alerts). Messages never decide anything; the
beat does, and it does so when nothing arrives too. Every way out ends with OFF on the heater line.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from controller.core import carry_out
from controller.core.heater_command import HeaterCommand
from controller.core.inputs import Clocks, Inputs
from controller.core.nouns import Event, Instant, Motor, RunState
from controller.core.procedure.orders.envelope import ACTIVE
from controller.core.procedure.orders.permissives import Facts
from controller.core.procedure.run import Prompt
from controller.core.state import Outcome, State
from controller.core.tick import tick
from controller.edge.clock import Clock
from controller.edge.log import Log
from controller.edge.mqtt.transport import Post, ReplyTo, Transport
from controller.edge.record import reader
from controller.edge.record.recorder import Recorder
from controller.edge.record.writer import RecordWriter
from controller.edge.replies import Replies
from controller.edge.start_orders import Compile, Offload, ProgramLoader
from controller.edge.supply_link import SupplyLink
from controller.edge.systemd import Notifier
from controller.edge.watchdog import Watchdog
from controller.messages import outgoing, status_document
from controller.messages.inbox import Inbox
from controller.messages.outgoing import MotorWords
from controller.settings.service import Settings

TICK_S = 1.0  # no setting: guard, lease, watchdog and dry run count on it, and none was ever tried at another pace
PHASE = 0.25  # of a second: ticks fall between the instants at which a simulated world moves
STATUS_S, STATUS_REAL_S = 2.0, 0.03  # a status so often on the scaled clock, no more often in real time
LATE_FLOOR_S = 0.25  # real time: at any speed a hiccup shorter than this is no stall
OFF_S = 2.0  # real time: the last OFF waits so long for its acknowledgement
LEAVE_S = 1.5  # and the connection so long to end
OPEN = ACTIVE | {RunState.CHECKING}  # a run is on, or may be: a lost broker is tried anew every few seconds


class Watcher(Protocol):
    """What sees every tick, beside the control path (dashboards/observers.py; a test)."""

    def attach(self, inbox: Inbox, send: Callable[[Post], None], facts: Callable[[], Facts | None]) -> None: ...
    async def open(self) -> None: ...
    def close(self) -> None: ...
    def linked(self) -> None: ...
    def heard(self, topic: str, payload: bytes) -> bool: ...
    def told(self, seq: int, event: bytes) -> None: ...
    def seen(self, outcome: Outcome, events: tuple[Event, ...], status: Mapping[str, Any] | None) -> None: ...


class Stop(Exception):
    """Somebody asked the service to end."""


class Service:
    """One tun's daemon."""

    def __init__(
        self,
        settings: Settings,
        transport: Transport,
        begun: reader.Begun,
        clock: Clock,
        compile_program: Compile,
        *,
        notifier: Notifier | None = None,
        watchdog: Watchdog | None = None,
        log: Log | None = None,
        watcher: Watcher | None = None,
        supply: SupplyLink | None = None,
        predict: Callable[[Outcome], Mapping[str, Any] | None] = lambda outcome: None,
        offload: Offload = asyncio.to_thread,
    ) -> None:
        self.settings, self.transport, self.clock = settings, transport, clock
        self.state: State = begun.state
        self.writer: RecordWriter = begun.writer
        self.inbox = Inbox(settings, begun.state.boot, begun.state.guard.epoch - 1)
        self._loader = ProgramLoader(compile_program, offload, self.inbox.order, self._fail)
        self.inbox.prepare = self._loader.prepare
        self._recorder = Recorder(settings, clock, begun, self._happened)
        self.outcome: Outcome | None = None
        self._inputs: Inputs | None = None
        self._notifier, self._watchdog = notifier or Notifier({}), watchdog
        self._log, self._watcher, self._predict = log or Log("error"), watcher, predict
        self._supply = supply
        self._topics = self.inbox.topics
        self._replies = Replies(self.inbox, self._log)
        self._stop, self._linked = asyncio.Event(), asyncio.Event()
        self._bug: asyncio.Future[None] | None = None
        self._motors = MotorWords()
        self._ahead_s: float | None = None  # wall clock over the service's own
        self._shown_at = -math.inf
        self._asked: Prompt | None = None
        self._told: RunState | None = None  # the state last published
        self._first_line = True
        self._refused_at = -math.inf  # when the broker last refused a heater command
        self._left_duty = 0.0  # of the last one that left
        self._begun_events = begun.events
        if watcher is not None:
            watcher.attach(self.inbox, transport.post, self.facts)

    # ------------------------------------------------------------ life

    async def run(self) -> None:
        """Run until `stop`, a signal, or a bug (raised). The heater is off afterwards, within a deadline."""
        loop = asyncio.get_running_loop()
        self._bug = loop.create_future()
        self._recorder.listen(loop)
        if self._watchdog is not None:
            self._watchdog.start()
        hear = asyncio.create_task(self.transport.run(self), name="hear")
        # a broker that is away is no failed start
        self._notifier.ready(f"{self.settings.tun.name}: checking, heat off")
        try:
            if self._watcher is not None:
                await self._watcher.open()
            async with asyncio.TaskGroup() as group:
                group.create_task(self._beat(), name="beat")
                group.create_task(self._until(hear), name="watch")
        except* Stop:
            self._log.info("asked to stop")
        finally:
            await self._end(hear)

    async def _until(self, hear: asyncio.Task[None]) -> None:
        """Ends with an exception: a stop, a bug in a callback, or the end of the transport (which never ends)."""
        assert self._bug is not None
        stop = asyncio.create_task(self._stop.wait())
        others: set[asyncio.Future[Any]] = {hear, self._bug}
        try:
            done, _ = await asyncio.wait({stop, *others}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            stop.cancel()
        for task in done & others:
            task.result()
            raise RuntimeError("the transport ended by itself")
        raise Stop

    def stop(self) -> None:
        """Ask for an orderly end (a signal handler calls this)."""
        self._stop.set()

    async def _end(self, hear: asyncio.Task[None]) -> None:
        """OFF, acknowledged or 2 s gone; then record and connection. A second signal does not interrupt it."""
        self._notifier.stopping()
        if hear.done():  # the transport itself has failed: once more, for the last OFF
            self._linked.clear()
            hear = asyncio.create_task(self.transport.run(self), name="hear again")
            with contextlib.suppress(TimeoutError, asyncio.CancelledError):
                await asyncio.wait_for(self._linked.wait(), LEAVE_S)
        last = asyncio.create_task(self._last_words())
        while not last.done():
            with contextlib.suppress(asyncio.CancelledError):
                await asyncio.shield(asyncio.wait({last}, timeout=OFF_S + 1.0))
                break
        hear.cancel()
        self._loader.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.wait({hear}, timeout=LEAVE_S)
        if self._watchdog is not None:
            self._watchdog.stop()
        self.writer.close(1.0)

    async def _last_words(self) -> None:
        guard = self.state.guard
        if not guard.lost:
            off = HeaterCommand(
                guard.epoch, guard.line.seq + 1, 0.0, self.settings.tun.heater.lease_s, "the service ends"
            )
            self._command(off, self.clock.now())
        self._post(self._topics.online, outgoing.online(False), "state", retain=True)
        if self._watcher is not None:
            self._watcher.close()
        await self._recorder.settle()
        await self.transport.flush(OFF_S)

    # ------------------------------------------------------------ hear: called by the transport, on the loop

    def heard(self, topic: str, payload: bytes, retained: bool, reply_to: ReplyTo | None) -> None:
        try:
            if self._watcher is not None and self._watcher.heard(topic, payload):
                return
            if retained and topic == self._topics.status and self._first_line:
                self.state, more = self._recorder.compare(payload, self.state)
                self._begun_events += more
            if self._supply is not None and self._supply.heard(topic, payload, self.clock.now()):
                return
            if reply_to is not None and topic == self._topics.order and not retained:
                self._replies.heard(payload, reply_to, self.clock.now())
            self.inbox.put(topic, payload, self.clock.now(), retained)
        except Exception as bug:
            self._fail(bug)

    def linked(self) -> None:
        self.inbox.connected(self.clock.now())
        self._linked.set()
        self._log.info("connected to the broker")
        self._post(self._topics.online, outgoing.online(True), "state", retain=True)
        self._shown_at = -math.inf
        if self._watcher is not None:
            self._watcher.linked()

    def unlinked(self, why: str) -> None:
        self.inbox.lost(self.clock.now())
        self._first_line &= not self._linked.is_set()  # what is retained later is our own
        self._log.warning("no broker", why=why)

    def refused(self, topic: str, why: str) -> None:
        """The broker would not take or give something: its rights are set wrong."""
        if topic == self._topics.heater_command:
            self._refused_at, self._left_duty = self.clock.now(), 0.0
        self.inbox.counters["refused by the broker"] += 1
        self._log.error("refused by the broker", topic=topic, why=why)

    def _fail(self, bug: BaseException) -> None:
        if self._bug is not None and not self._bug.done():
            self._bug.set_exception(bug)

    # ------------------------------------------------------------ beat

    async def _beat(self) -> None:
        due = math.floor(self.clock.now() - PHASE) + 1.0 + PHASE
        before = due - TICK_S
        while True:
            await self.clock.sleep_until(due)
            now = self.clock.now()
            self._step(now, max(0.0, now - due, now - before - TICK_S))  # a stall within the last tick's work, too
            before = now
            due += 1.0
            if due <= self.clock.now():
                due = math.floor(self.clock.now() - PHASE) + 1.0 + PHASE

    def _step(self, now: Instant, late_s: float) -> None:
        """One tick: decide, send the command, then everything else."""
        stalled = self._watchdog.beat() if self._watchdog is not None else False
        late = late_s if stalled or late_s / self.clock.speed >= LATE_FLOOR_S else min(late_s, LATE_FLOOR_S)
        clock, set_s = self.clock, self._wall_set_s()
        clocks = Clocks(clock.wall_s(), clock.confirmed(), wall_set_s=set_s, late_s=late, gap_s=clock.gap_s())
        inputs = self.inbox.take(now, disk=self.writer.disk(), clocks=clocks)
        if self._supply is not None:
            watts, word = self._supply.watts(self.outcome, now)
            inputs = inputs._replace(supply_w=watts)
            if word is not None:
                self.transport.post(word)  # tells the others
        outcome = tick(self.settings, self.state, now, inputs)
        self.state, before, self.outcome, self._inputs = outcome.state, self.state, outcome, inputs
        self.transport.keen = outcome.state.run.state in OPEN
        if outcome.command is not None:
            if outcome.command.duty > 0.0 and outcome.state.run.state is not self._told:
                self._tell(outcome)  # heat never leaves under a published state that has none
            self._command(outcome.command, now)
        self._motor(self._topics.stirrer_command, outcome.stirrer, now)
        self._motor(self._topics.pump_command, outcome.pump, now)
        shared = self._supply.take_events() if self._supply is not None else ()
        events = (*self._begun_events, *shared, *outcome.events)
        self._begun_events = ()
        self._recorder.record(before, outcome, events, now)
        for event in events:
            self._log.info(event.text, kind=event.kind, id=event.id)
        self._answer(outcome)
        self._show(outcome, events, now)
        self._notifier.beat()

    def facts(self) -> Facts | None:
        """What did the last tick know that a start rests on?"""
        if self.outcome is None or self._inputs is None:
            return None
        outcome, state = self.outcome, self.state
        return carry_out.facts(self.settings, state, state.now, self._inputs, outcome.seen, outcome.view)

    def _wall_set_s(self) -> float:
        """By how much was the wall clock set since the last tick, s? The other clock has no hands."""
        ahead = self.clock.wall_s() - self.clock.now() / self.clock.speed
        set_s = 0.0 if self._ahead_s is None else ahead - self._ahead_s
        self._ahead_s = ahead
        return set_s

    def _command(self, command: HeaterCommand, now: Instant) -> None:
        payload = outgoing.heater_command(command, self.clock.wall_s(), self.inbox.owner)
        lifetime = command.valid_s / self.clock.speed
        left = self.transport.heater(self._topics.heater_command, payload, command.duty > 0.0, lifetime)
        self._left_duty = command.duty if left and self.inbox.echoed_since(self._refused_at) else 0.0
        if left:
            self.inbox.sent(command, now)

    def _happened(self, seq: int, event: bytes) -> None:
        """An event that is on disk is told."""
        self._post(self._topics.event, event, "event")
        if self._watcher is not None:
            self._watcher.told(seq, event)

    def _motor(self, topic: str | None, motor: Motor, now: Instant) -> None:
        if topic is not None and (word := self._motors.due(topic, motor, now)) is not None:
            self._post(topic, word, "motor")

    # ------------------------------------------------------------ show

    def _answer(self, outcome: Outcome) -> None:
        replies = self.inbox.answered(outcome.replies, outcome.state.run.state)
        for post in (post for reply in replies for post in self._replies.posts(reply)):
            self.transport.post(post)
        if any(reply.accepted for reply in replies):
            self._shown_at = -math.inf

    def _show(self, outcome: Outcome, events: tuple[Event, ...], now: Instant) -> None:
        """The status: every 2 s, and at once when something happened or is asked."""
        status = None
        every = max(STATUS_S, STATUS_REAL_S * self.clock.speed) - 0.5
        asked = outcome.state.run.prompt is not self._asked
        self._asked = outcome.state.run.prompt
        if events or asked or now - self._shown_at >= every:
            self._shown_at = now
            status = self._tell(outcome)
        if self._watcher is not None:
            self._watcher.seen(outcome, events, status)

    def _tell(self, outcome: Outcome) -> dict[str, Any]:
        status = status_document.status(
            self.settings,
            outcome,
            wall_s=self.clock.wall_s(),
            wall_confirmed=self.clock.confirmed(),
            speed=self.clock.speed,
            journal_seq=self.writer.disk().durable_seq,
            left_duty=self._left_duty,
            counters=self.inbox.counters,
            prediction=self._predict(outcome),
        )
        self._told = outcome.state.run.state
        self._post(self._topics.status, outgoing.status(status), "status", retain=True)
        return status

    def _post(self, topic: str, payload: bytes, lane: Any, *, retain: bool = False) -> None:
        self.transport.post(Post(topic, payload, lane, retain))
