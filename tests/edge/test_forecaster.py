"""The end of the mash in the status: worked out off the beat, once a minute, and never at the mash's cost."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import pytest

from controller.edge.forecaster import EVERY_REAL_S, EVERY_S, Ahead
from controller.edge.log import Log
from tests.core.bench import Bench, course, leg, settings


class Desk:
    """Takes the work and does it when told to."""

    def __init__(self) -> None:
        self.calls = 0
        self.free = asyncio.Event()

    async def offload(self, work: Callable[[], Any]) -> Any:
        self.calls += 1
        await self.free.wait()
        return work()


def mashing() -> Bench:
    """A mash in its first rest."""
    bench = Bench(settings(), mash_c=50.0)
    bench.until("idle")
    bench.start(course(leg("low rest", 62.0, 1800.0), leg("hot rest", 72.0, 1200.0)))
    bench.until("dough_in")
    bench.answer(answer="begin")
    bench.answer(answer="yes")
    bench.until("resting")
    return bench


async def told(ahead: Ahead, bench: Bench) -> Any:
    """The prediction after everything that was begun has had its turn."""
    ahead.predict(bench.outcome)
    for _ in range(5):
        await asyncio.sleep(0)
    return ahead.predict(bench.outcome)


async def test_the_beat_never_waits_for_it() -> None:
    """While the work lies undone the estimate so far goes out without it; once done it is there."""
    desk, bench = Desk(), mashing()
    ahead = Ahead(Log("error"), offload=desk.offload)
    found = await told(ahead, bench)
    assert found["beta_left_pct"] > 0.0
    assert found["ahead"] is None
    desk.free.set()
    found = await told(ahead, bench)
    assert found["ahead"]["in_s"] > 1200


async def test_it_is_worked_out_once_a_minute_and_at_a_new_step() -> None:
    """Ninety seconds of a rest take two calculations, a step that begins one more."""
    desk, bench = Desk(), mashing()
    desk.free.set()
    ahead = Ahead(Log("error"), offload=desk.offload)
    for _ in range(int(1.5 * EVERY_S)):
        bench.step()
        await told(ahead, bench)
    assert desk.calls == 2
    bench.order("advance")
    bench.step()
    await told(ahead, bench)
    assert desk.calls == 3


async def test_a_scaled_clock_does_not_make_it_more_work() -> None:
    """At sixty times real time it is worked out once in five real seconds, which are five minutes of the mash."""
    desk, bench = Desk(), mashing()
    desk.free.set()
    ahead = Ahead(Log("error"), 60.0, desk.offload)
    for _ in range(int(60.0 * EVERY_REAL_S * 1.5)):
        bench.step()
        await told(ahead, bench)
    assert desk.calls == 2


async def test_a_failure_costs_the_forecast_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """A calculation that raises is logged; the estimate so far goes on being told."""

    async def broken(work: Callable[[], Any]) -> Any:
        raise RuntimeError("no thread")

    found = await told(Ahead(Log("error"), offload=broken), mashing())
    assert found["ahead"] is None
    assert found["alpha_left_pct"] > 0.0
    assert "no thread" in capsys.readouterr().err


async def test_before_dough_in_there_is_nothing() -> None:
    """Idle: no estimate, and nothing is worked out."""
    desk, bench = Desk(), Bench(settings(), mash_c=50.0)
    bench.until("idle")
    assert await told(Ahead(Log("error"), offload=desk.offload), bench) is None
    assert desk.calls == 0
