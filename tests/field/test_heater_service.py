"""The heater node's thread and link: a lease runs out whatever the event loop does, and every way out ends in OFF."""

from __future__ import annotations

import asyncio
import itertools
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from controller.edge.mqtt.transport import MemoryBroker, MemoryTransport
from controller.field.heater_node import Pins
from controller.field.heater_service import BEAT_S, HeaterService, Named
from tests.field.pins import FakeInput, FakeOutput, command, heater_node, reading
from tests.waiting import PATIENCE_S

TUN = "underback/gannet"
NAMED = Named(
    f"{TUN}/heater/command",
    f"{TUN}/probe/mash",
    f"{TUN}/heater/report",
    f"{TUN}/heater/online",
    level=f"{TUN}/level",
    stirrer=f"{TUN}/stirrer/command",
)


class Rig:
    """A node that runs, on a broker in memory."""

    def __init__(self) -> None:
        self.pin, self.stirrer, self.level = FakeOutput(), FakeOutput(), FakeInput()
        pins = Pins(self.pin, level=self.level, stirrer=self.stirrer)
        self.broker = MemoryBroker()
        self.transport = MemoryTransport(self.broker, NAMED.heard(), (NAMED.online, b"false"))
        self.node = heater_node(pins, level=True)
        self._beats = itertools.count()
        self.service = HeaterService(self.node, NAMED, self.transport, self.now)
        self.up, self.full = asyncio.Event(), asyncio.Event()
        self._linked = self.service.linked
        self.service.linked = self.linked  # type: ignore[method-assign]

    def now(self) -> float:
        """What is the time, counted in beats of the thread? So no machine is too slow for a lease."""
        return next(self._beats) * BEAT_S

    def linked(self) -> None:
        self._linked()
        self.up.set()

    def report(self, topic: str, payload: bytes, retained: bool) -> None:
        if json.loads(payload)["duty"] == 1.0:
            self.full.set()

    def said(self, topic: str) -> list[Any]:
        return [json.loads(payload) for t, payload, _ in self.broker.history if t == topic]

    def heat(self, seq: int, valid_s: float) -> None:
        self.broker.publish(NAMED.reading, reading(66.0, seq))
        self.broker.publish(NAMED.command, command(1.0, seq, valid_s))

    async def goes(self, on: bool) -> None:
        event = self.pin.went_on if on else self.pin.went_off
        assert await asyncio.to_thread(event.wait, PATIENCE_S)


@asynccontextmanager
async def running() -> AsyncIterator[tuple[Rig, asyncio.Task[bool]]]:
    rig = Rig()
    async with asyncio.timeout(PATIENCE_S):
        task = asyncio.create_task(rig.service.run())
        await rig.up.wait()
        rig.broker.listen([NAMED.report], rig.report)
        yield rig, task
        rig.service.stop()
        await asyncio.gather(task, return_exceptions=True)


async def heated(rig: Rig, valid_s: float) -> None:
    rig.pin.went_on.clear()
    rig.heat(1, valid_s)
    await rig.goes(True)
    rig.pin.went_off.clear()


async def test_command_in_report_out() -> None:
    """A reading and a command arrive: the pin goes on, the report says so, the level is told; presence is retained."""
    async with running() as (rig, _):
        await heated(rig, 5.0)
        await rig.full.wait()
        assert rig.broker.retained[NAMED.online] == b"true"
        assert rig.said(NAMED.level)[0] == {"ok": True, "seq": 1}


async def test_a_stalled_event_loop_keeps_no_heat_and_a_lost_link_none() -> None:
    """With the event loop standing still the thread lets a lease of 0.3 s run out; with the connection gone too."""
    async with running() as (rig, _):
        await heated(rig, 0.3)
        assert rig.pin.went_off.wait(PATIENCE_S)  # on the loop, on purpose: nothing else of it can run meanwhile
    async with running() as (rig, _):
        await heated(rig, 0.3)
        rig.transport.cut("cable")
        await rig.goes(False)
        assert not rig.pin.on


@pytest.mark.parametrize("way", ["stopped", "cancelled", "a broken pin"])
async def test_every_end_under_heat_is_off(way: str) -> None:
    """Stopped: off before anything else, then "not there", and the answer is that it was asked; cancelled: everything
    off; the pin breaks: the service ends by itself, everything off, and says that nobody asked it to."""
    async with running() as (rig, task):
        await heated(rig, 10.0)
        if way == "stopped":
            rig.service.stop()
            assert not rig.pin.on
        elif way == "cancelled":
            task.cancel()
        else:
            rig.pin.broken = True
        (end,) = await asyncio.gather(task, return_exceptions=True)
        assert isinstance(end, asyncio.CancelledError) if way == "cancelled" else end is (way == "stopped")
        assert not rig.pin.on
        assert rig.pin.closed and rig.stirrer.closed
        assert way != "stopped" or rig.broker.retained[NAMED.online] == b"false"


async def test_a_link_that_dies_of_a_bug_ends_the_service() -> None:
    """The transport raises what it never should: off, ended."""
    rig = Rig()

    async def broken(ear: object) -> None:
        raise RuntimeError("a bug")

    rig.transport.run = broken  # type: ignore[method-assign]
    async with asyncio.timeout(PATIENCE_S):
        assert await rig.service.run() is False
    assert rig.pin.closed


async def test_the_service_manager_hears_of_each_second(monkeypatch: pytest.MonkeyPatch) -> None:
    """The watchdog is fed from the switch's thread: with the loop stalled too."""
    async with running() as (rig, _):
        beats: list[str | None] = []
        monkeypatch.setattr(rig.service._notifier, "beat", lambda status=None: beats.append(status))
        await heated(rig, 1.2)
        assert rig.pin.went_off.wait(PATIENCE_S)
        assert "heater on" in beats
