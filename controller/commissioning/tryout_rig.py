"""What do the trials of a tun stand on? The water run, the eye on every tick, the line that can be hushed, the service.

Apart from the trials themselves (tryout.py), so that each can be read by itself. Orders are given as anybody gives
them, and what the nodes report is waited for. However the trials end, the run and the service are ended in order,
heater off.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import secrets
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, NoReturn, Protocol

from controller.commissioning.proof_record import INTERRUPTED, ROLES, Trial
from controller.core.guard.senses import NO_RUN
from controller.core.nouns import Event, Reply, RunState, Switch
from controller.core.procedure.orders.permissives import Facts
from controller.core.state import Outcome
from controller.edge.clock import Clock
from controller.edge.mqtt.transport import Ear, Post, Transport
from controller.edge.service import Service
from controller.messages.inbox import Inbox
from controller.plan.plan import Plan, make
from controller.plan.recipe import Liquor, Program, Step
from controller.settings.problems import Problem, Problems
from controller.settings.service import Settings
from controller.settings.tun import Tun

WARMER_K = 30.0  # the water is to be warmed by so much at most over the whole trial
ROOM_K = 12.0  # the water must lie so far below the hard limit to begin with
OVER = NO_RUN | {RunState.CHECKING}
ENDS_S = 20.0  # from the end of the trials to the end of the run
Figure = float | None


class Hands(Protocol):
    """The person at the tun, or what stands in for one. `key` names what is asked, for a script."""

    def say(self, key: str, text: str) -> None:
        """Tell the person to do something; it is seen by what the nodes report."""

    async def ask(self, key: str, text: str) -> str:
        """Ask, and wait for the answer."""


class Hushed:
    """A transport that can be made to lose heater commands for a while, as a pulled cable would."""

    keen = True

    def __init__(self, inner: Transport, clock: Clock) -> None:
        self._inner, self._clock = inner, clock
        self._until = -math.inf
        self.sent_at = -math.inf

    async def run(self, ear: Ear) -> None:
        self._inner.keen = self.keen
        await self._inner.run(ear)

    def hush(self, for_s: float) -> None:
        """Send no heater command for so long. Ends by itself."""
        self._until = self._clock.now() + for_s

    def heater(self, topic: str, payload: bytes, hot: bool, lifetime_s: float) -> bool:
        if self._clock.now() < self._until:
            return False
        self.sent_at = self._clock.now()
        return self._inner.heater(topic, payload, hot, lifetime_s)

    def post(self, post: Post) -> None:
        self._inner.post(post)

    async def flush(self, within_s: float) -> bool:
        self._until = -math.inf
        return await self._inner.flush(within_s)


class Look:
    """Sees every tick of the service."""

    def __init__(self) -> None:
        self.outcome: Outcome | None = None
        self.replies: dict[str, Reply] = {}
        self._ticked = asyncio.Event()

    def attach(self, inbox: Inbox, send: Callable[[Post], None], facts: Callable[[], Facts | None]) -> None: ...

    async def open(self) -> None: ...

    def close(self) -> None: ...

    def linked(self) -> None: ...

    def heard(self, topic: str, payload: bytes) -> bool:
        return False

    def told(self, seq: int, event: bytes) -> None: ...

    def seen(self, outcome: Outcome, events: tuple[Event, ...], status: Mapping[str, Any] | None) -> None:
        self.outcome = outcome
        self.replies.update((reply.id, reply) for reply in outcome.replies if reply.id)
        self._ticked.set()

    async def tick(self) -> Outcome:
        """The next tick's outcome."""
        self._ticked.clear()
        await self._ticked.wait()
        assert self.outcome is not None
        return self.outcome


class Failed(Exception):
    """A trial did not show what it must; the rest is not tried."""


class Water(NamedTuple):
    """What is in the tun?"""

    litres: float
    hand_c: float


def course(settings: Settings, water: Water) -> Plan:
    """The water run, slowly past everything the trials need, checked against the tun as any other. Raises Problems."""
    hard_limit_c = settings.tun.guard.hard_limit_c
    most = hard_limit_c - ROOM_K
    if not (1.0 <= water.hand_c <= most):
        raise Problems([Problem("water", f"{water.hand_c:.1f} °C", f"from 1 °C to {most:.0f} °C, best cold")])
    warm = Step(name="warm", temperature_c=min(water.hand_c + WARMER_K, hard_limit_c - 3.0), time_s=3600.0)
    liquor = Liquor(volume_l=water.litres, temperature_c=max(1.0, water.hand_c))
    program = Program(name="tryout", title="Tryout with plain water", liquor=liquor, step=(warm,))
    plan = make(program, settings.tun)
    if plan.problems:
        raise Problems(plan.problems)
    return plan


def tightened(settings: Settings, limit_c: float) -> Settings:
    """The same settings with a lower hard limit; never a higher one."""
    guard = settings.tun.guard
    lower = guard.model_copy(update={"hard_limit_c": min(guard.hard_limit_c, limit_c)})
    return settings._replace(tun=settings.tun.model_copy(update={"guard": lower}))


def silent(tun: Tun, outcome: Outcome) -> list[str]:
    """What is fitted and does not speak?"""
    fitted = [role for role in ROLES if getattr(tun.probes, role) is not None]
    gaps = [f"the {role} probe sends nothing" for role in fitted if role not in readings(outcome)]
    if outcome.state.heater is None:
        gaps.append("the heater node reports nothing")
    elif not outcome.view.heater_off:
        gaps.append("the heater node does not acknowledge OFF")
    if tun.level is not None and not says(outcome.state.level, True):
        gaps.append("the level switch says no liquid, or nothing")
    if tun.flow is not None and outcome.state.flow is None:
        gaps.append("the flow switch says nothing")
    return gaps


def says(switch: Switch | None, ok: bool) -> bool:
    return switch is not None and switch.ok is ok


def readings(outcome: Outcome) -> dict[str, float]:
    """What every probe reads, believed or not, °C."""
    found = zip(ROLES, (outcome.seen, outcome.second, outcome.outlet), strict=True)
    return {role: m.raw_c for role, m in found if m is not None and m.raw_c is not None}


def apart(before: Mapping[str, float], after: Mapping[str, float], role: str) -> float:
    return abs(after.get(role, before[role]) - before[role])


def mash_c(outcome: Outcome | None) -> float:
    """The mash reading, °C; no number when there is none, so that nothing passes by its absence."""
    value = outcome.seen.value_c if outcome is not None else None
    return math.nan if value is None else value


def reported(outcome: Outcome) -> float:
    """What the heater node says its output is; on, when it says nothing."""
    return 1.0 if outcome.state.heater is None else outcome.state.heater.duty


# ---------------------------------------------------------------- the running service


class TrialRun:
    """Trials on a running service; which they are, a subclass says."""

    def __init__(self, service: Service, look: Look, hushed: Hushed, hands: Hands, by: str) -> None:
        self.service, self.look, self.hushed, self.hands, self.by = service, look, hushed, hands, by
        self.settings = service.settings
        self.trials: list[Trial] = []
        self.water: Water | None = None
        self._asked = asyncio.Event()  # to end before all is tried

    async def run(self, water: Water) -> list[Trial]:
        """Every trial, until one fails or somebody ends it. Run and service are ended afterwards, heater off."""
        self.water = water
        serving = asyncio.create_task(self.service.run())
        trying = asyncio.create_task(self.every_trial())
        asked = asyncio.create_task(self._asked.wait())
        try:
            await asyncio.wait({serving, trying, asked}, return_when=asyncio.FIRST_COMPLETED)
            if trying.done():
                trying.result()
            else:
                self.trials.append(Trial(INTERRUPTED, False, "ended before every trial had run to its end"))
        except Failed:
            pass  # the failed trial stands in the list
        finally:
            asked.cancel()
            await self._leave(serving, trying)
        return self.trials

    def interrupt(self) -> None:
        """Somebody wants it to end: the run is ended in order; asked again, the service is stopped at once."""
        if self._asked.is_set():
            self.service.stop()
        self._asked.set()

    async def _leave(self, serving: asyncio.Task[None], trying: asyncio.Task[None]) -> None:
        """However the trials ended: commands go out again, the limit is the tun's own, no run stays open."""
        trying.cancel()
        await asyncio.wait({trying})
        self.hushed.hush(0.0)
        self.service.settings = self.settings
        ending = asyncio.create_task(self._end_run())
        await asyncio.wait({serving, ending}, return_when=asyncio.FIRST_COMPLETED)
        ending.cancel()
        self.service.stop()
        await serving

    async def _end_run(self) -> None:
        if self.service.state.run.state in OVER:
            return
        with contextlib.suppress(Failed):
            await self._order("abort")
            await self._until(lambda o: o.state.run.state in OVER, ENDS_S)

    def _now(self) -> float:
        return self.service.clock.now()

    async def _until(self, true: Callable[[Outcome], bool], within_s: float) -> float | None:
        """How long until this holds, s? None when it does not within that time."""
        began = self._now()
        while self._now() - began <= within_s:
            if true(await self.look.tick()):
                return self._now() - began
        return None

    async def _seen(self, trial: str, true: Callable[[Outcome], bool], within_s: float, else_: str) -> float:
        """How long until this holds, s? The trial fails, with this text, when it does not within that time."""
        took = await self._until(true, within_s)
        return self._fail(trial, else_) if took is None else took

    async def _order(self, name: str, args: Mapping[str, Any] | None = None, trip: str = "") -> Reply:
        """Give an order as anybody does, and wait for its answer."""
        key = secrets.token_hex(6)
        said: dict[str, Any] = {"id": key, "order": name, "args": dict(args or {}), "by": self.by, "valid_s": 30.0}
        said |= {"at": self.service.clock.wall_s(), "nonce": self.service.state.orders.nonce}
        said |= {"trip": trip} if trip else {}
        topic = self.service.inbox.topics.order
        self.service.heard(topic, json.dumps(said).encode(), False, None)
        if await self._until(lambda o: key in self.look.replies, 20.0) is None:
            self._fail(name, f"`{name}` was not answered within 20 s")
        return self.look.replies.pop(key)

    async def _must(self, trial: str, name: str, args: Mapping[str, Any] | None = None, trip: str = "") -> None:
        answer = await self._order(name, args, trip)
        if not answer.accepted:
            self._fail(trial, f"`{name}` was refused: {answer.reason}")

    def _pass(self, name: str, text: str, value: Figure = None, limit: Figure = None, unit: str = "") -> None:
        self.trials.append(Trial(name, True, text, None if value is None else round(value, 2), limit, unit))
        self.hands.say("passed", f"passed  {name}: {text}")

    def _fail(self, name: str, text: str, value: Figure = None, limit: Figure = None, unit: str = "") -> NoReturn:
        self.trials.append(Trial(name, False, text, None if value is None else round(value, 2), limit, unit))
        self.hands.say("failed", f"FAILED  {name}: {text}")
        raise Failed(name)

    async def every_trial(self) -> None:
        """The trials in their order."""
        raise NotImplementedError
