"""An event loop on virtual time, and the real service on it: hours pass in moments, no thread, no socket."""

from __future__ import annotations

import asyncio
import functools
import heapq
import json
import math
import time
from collections.abc import Callable, Coroutine, Mapping
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from controller.core.nouns import Course, Instant
from controller.edge.files import config_files
from controller.edge.mqtt.transport import MemoryBroker, MemoryTransport
from controller.edge.record import reader
from controller.edge.record.disks import RealDisks
from controller.edge.record.writer import RecordWriter
from controller.edge.service import Service, Watcher
from controller.plan import plan
from controller.plan.recipe import Liquor, Program, Step
from controller.settings.service import Settings
from sim.people.manner import PATIENT, Manner
from sim.people.person import Person
from sim.plant.spec import STEP_S
from sim.simulated_site import SimulatedSite
from sim.world.world import WALL_S, World
from tests.places import CONFIG

T = TypeVar("T")
P = ParamSpec("P")
GANNET = config_files.settings(CONFIG, "gannet")
WARM = Program(  # a quarter of an hour from start to end, with all that a run has
    name="warm",
    title="Warm water",
    liquor=Liquor(volume_l=26.0, temperature_c=40.0),
    step=(
        Step(name="first", temperature_c=44.0, time_s=180.0),
        Step(name="second", temperature_c=48.0, time_s=180.0),
        Step(name="keep", kind="keep", time_s=600.0),
    ),
)
TRIAL = plan.make(WARM, GANNET.tun)


class Loop(asyncio.SelectorEventLoop):
    """Time stands still while anything is ready to run, then jumps to the next timer."""

    def __init__(self, begin: float = 0.0) -> None:
        super().__init__()
        self._virtual = begin
        self._clock_resolution = 1e-9

    def time(self) -> float:
        return self._virtual

    def _run_once(self) -> None:
        timers: list[asyncio.TimerHandle] = self._scheduled  # type: ignore[attr-defined]
        while timers and timers[0].cancelled():
            heapq.heappop(timers)._scheduled = False  # type: ignore[attr-defined]
        if not self._ready and timers:  # type: ignore[attr-defined]
            self._virtual = max(self._virtual, timers[0].when())
        super()._run_once()  # type: ignore[misc]


def run(main: Coroutine[Any, Any, T], begin: float = 0.0) -> T:
    """Run to the end on a loop of its own."""
    with asyncio.Runner(loop_factory=lambda: Loop(begin)) as runner:
        return runner.run(main)


def virtual(test: Callable[P, Coroutine[Any, Any, T]]) -> Callable[P, T]:
    """An async test, or part of one, on a loop of its own that begins a quarter of a second after a tick."""

    @functools.wraps(test)
    def whole(*args: P.args, **more: P.kwargs) -> T:
        return run(test(*args, **more), -0.75)

    return whole


class Clock:
    """The loop's virtual time as the service's clock."""

    speed = 1.0

    def __init__(self) -> None:
        self.wall_zero, self.sure, self.slept = WALL_S, True, 0.0

    def now(self) -> Instant:
        return asyncio.get_running_loop().time()

    def wall_s(self) -> float:
        return self.wall_zero + self.now()

    def gap_s(self) -> float:
        slept, self.slept = self.slept, 0.0
        return slept

    def confirmed(self) -> bool:
        return self.sure

    async def sleep_until(self, at: Instant) -> None:
        await asyncio.sleep(max(0.0, at - self.now()))


class Disks:
    """A disk in memory that keeps apart what was written and what was synced, and can fail at any call."""

    def __init__(self) -> None:
        self.written: dict[Path, bytearray] = {}
        self.synced: dict[Path, bytes] = {}
        self.calls = 0
        self.fail: Callable[[int, str], None] = lambda call, what: None
        self._open: dict[int, Path] = {}

    def _call(self, what: str) -> None:
        self.calls += 1
        self.fail(self.calls, what)

    def create(self, path: Path) -> int:
        self._call("create")
        self.written[path], self.synced[path] = bytearray(), b""
        return self._opened(path)

    def reopen(self, path: Path, good_bytes: int) -> int:
        self._call("reopen")
        del self.written[path][good_bytes:]
        if good_bytes and self.written[path][-1:] != b"\n":
            self.written[path] += b"\n"
        return self._opened(path)

    def _opened(self, path: Path) -> int:
        fd = 100 + len(self._open)
        self._open[fd] = path
        return fd

    def write(self, fd: int, data: bytes) -> None:
        self._call("write")
        self.written[self._open[fd]] += data

    def sync(self, fd: int) -> None:
        self._call("sync")
        self.synced[self._open[fd]] = bytes(self.written[self._open[fd]])

    def close(self, fd: int) -> None:
        self._call("close")

    def remove(self, path: Path) -> None:
        self._call("remove")
        self.written.pop(path, None)
        self.synced.pop(path, None)

    def free_mb(self, folder: Path) -> float:
        return 1e6


async def inline(work: Callable[[], Any]) -> Any:
    """No thread: virtual time must not wait for one."""
    return work()


def site(settings: Settings, made: plan.Plan, seed: int, manner: Manner = PATIENT) -> SimulatedSite:
    """The tun for this plan, and its brewer."""
    world = World(settings, made.course, seed, (), None, made.program.liquor.temperature_c)
    return SimulatedSite(world, Person(world, manner))


class Rig:
    """The real service, a stand-in for the tun and the brewer, and a broker in memory between them."""

    def __init__(
        self,
        settings: Settings,
        site: SimulatedSite,
        folder: Path,
        boot: str,
        *,
        disks: Disks | RealDisks | None = None,
        watcher: Watcher | None = None,
        compile_program: Callable[[Mapping[str, Any]], Course | tuple[str, ...]] | None = None,
        clock: Clock | None = None,
        threaded: bool = False,  # the journal's own writer thread: on real time only
    ) -> None:
        self.broker, self.clock, self.site = MemoryBroker(), clock or Clock(), site
        self.disks: Any = disks or Disks()
        course = site.world.course

        def compiled(args: Mapping[str, Any]) -> Course | tuple[str, ...]:
            return course if args.get("program") == course.program else (f"no program {args.get('program')!r}",)

        def made(folder: Path, seq: int, keep_runs: int) -> RecordWriter:
            return RecordWriter(
                folder, seq, keep_runs, self.disks, threaded, time.monotonic if threaded else self.clock.now
            )

        begun = reader.begin(settings, folder, self.clock, boot, lambda program, digest: True, None, made)
        self.transport = MemoryTransport(self.broker, (), None)
        self.service = Service(
            settings, self.transport, begun, self.clock, compile_program or compiled, watcher=watcher, offload=inline
        )
        self.topics = self.service.inbox.topics
        self.transport.topics = self.topics.heard()
        self.world_task: asyncio.Task[None] | None = None  # kept, so that it is not collected

    async def world(self) -> None:
        """The tun and the brewer, half a second at a time."""
        topics = self.topics
        hears = {topics.heater_command, topics.stirrer_command, topics.pump_command, topics.status, topics.reply}
        self.broker.listen([t for t in hears if t], lambda t, p, r: self.site.hear(t, p, self.clock.now()))
        step = max(0, math.ceil(self.clock.now() / STEP_S))  # a later life begins where the former one ended
        while True:
            await self.clock.sleep_until(step * STEP_S)
            for message in self.site.until(step * STEP_S):
                if not message.retained:
                    self.broker.publish(message.topic, message.payload)
            step += 1

    async def run(self, until: Callable[[Service], bool], longest_s: float) -> None:
        """Run service and world until a condition holds, looked at every second, or the time is over."""
        world = asyncio.create_task(self.world())
        service = asyncio.create_task(self.service.run())
        end = self.clock.now() + longest_s
        try:
            while self.clock.now() < end and not until(self.service) and not service.done():  # noqa: ASYNC110
                await asyncio.sleep(1.0)
        finally:
            self.service.stop()
            await service
            world.cancel()

    def said(self, topic: str) -> list[dict[str, Any]]:
        """Everything that was said on a topic, which is all JSON objects."""
        return [json.loads(payload) for heard, payload, _ in self.broker.history if heard == topic]

    def status(self) -> dict[str, Any]:
        """The newest status, as the broker keeps it."""
        return dict(json.loads(self.broker.retained[self.topics.status]))

    def commands(self) -> list[bytes]:
        """Every heater command that went over the broker."""
        return [payload for topic, payload, _ in self.broker.history if topic == self.topics.heater_command]
