"""What do the trials of a tun stand on? The water run, the eye on every tick, the line that can be hushed.

Apart from the trials themselves (tryout.py), so that each can be read by itself.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, Protocol

from controller.core.nouns import Event, Measurement, Reply, Switch
from controller.core.state import Outcome
from controller.edge.clock import Clock
from controller.edge.mqtt.transport import Ear, Post, Transport
from controller.messages.inbox import Inbox
from controller.plan.plan import Plan, make
from controller.plan.recipe import Liquor, Program, Step
from controller.settings.problems import Problem, Problems
from controller.settings.service import Settings
from controller.settings.tun import Tun

WARMER_K = 30.0  # the water is to be warmed by so much at most over the whole trial
ROOM_K = 12.0  # the water must lie so far below the hard limit to begin with


class Hands(Protocol):
    """The person at the tun, or what stands in for one. `key` names what is asked, for a script."""

    def say(self, key: str, text: str) -> None:
        """Tell the person to do something; it is seen by what the nodes report."""

    async def ask(self, key: str, text: str) -> str:
        """Ask, and wait for the answer."""


class Hushed:
    """A transport that can be made to lose heater commands for a while, as a pulled cable would."""

    def __init__(self, inner: Transport, clock: Clock) -> None:
        self._inner, self._clock = inner, clock
        self._until = -math.inf
        self.sent_at = -math.inf

    async def run(self, ear: Ear) -> None:
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

    def attach(self, inbox: Inbox, send: Callable[[Post], None]) -> None: ...

    async def open(self) -> None: ...

    def close(self) -> None: ...

    def linked(self) -> None: ...

    def heard(self, topic: str, payload: bytes) -> bool:
        return False

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


def program(water: Water) -> Program:
    """Plain water, warmed slowly past everything the trials need."""
    warm = Step(name="warm", temperature_c=water.hand_c + WARMER_K, time_s=3600.0)
    liquor = Liquor(volume_l=water.litres, temperature_c=max(1.0, water.hand_c))
    return Program(name="tryout", title="Tryout with plain water", liquor=liquor, step=(warm,))


def course(settings: Settings, water: Water) -> Plan:
    """The water run, checked against the tun as any other. Raises Problems."""
    most = settings.tun.guard.hard_limit_c - ROOM_K
    if not (1.0 <= water.hand_c <= most):
        raise Problems([Problem("water", f"{water.hand_c:.1f} °C", f"from 1 °C to {most:.0f} °C, best cold")])
    highest = settings.tun.guard.hard_limit_c - 3.0
    made = program(water)
    step = made.step[0].model_copy(update={"temperature_c": min(water.hand_c + WARMER_K, highest)})
    plan = make(made.model_copy(update={"step": (step,)}), settings.tun)
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
    seen = {"mash": outcome.seen, "second": outcome.second, "outlet": outcome.outlet}
    gaps = [
        f"the {role} probe sends nothing"
        for role, measured in seen.items()
        if getattr(tun.probes, role) is not None and (measured is None or measured.raw_c is None)
    ]
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
    found: dict[str, Measurement | None] = {"mash": outcome.seen, "second": outcome.second, "outlet": outcome.outlet}
    return {role: m.raw_c for role, m in found.items() if m is not None and m.raw_c is not None}


def apart(before: Mapping[str, float], after: Mapping[str, float], role: str) -> float:
    return abs(after.get(role, before[role]) - before[role])


def mash_c(outcome: Outcome | None) -> float:
    """The mash reading, °C; no number when there is none, so that nothing passes by its absence."""
    value = outcome.seen.value_c if outcome is not None else None
    return math.nan if value is None else value


def reported(outcome: Outcome) -> float:
    """What the heater node says its output is; on, when it says nothing."""
    return 1.0 if outcome.state.heater is None else outcome.state.heater.duty
