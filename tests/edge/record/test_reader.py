"""A power cut at any moment: the run goes on by the table or waits for a person; nothing skipped, no early heat."""

from __future__ import annotations

import asyncio
import itertools
import json
import os
from pathlib import Path
from random import Random
from typing import Any

import pytest

from controller.core import checkpoint
from controller.core.nouns import RunState
from controller.edge.record import line_format, reader
from controller.edge.record.disks import RealDisks
from tests.edge.virtual import GANNET, TRIAL, Clock, Disks, Rig, run, site, virtual

KILLS = int(os.environ.get("UNDERBACK_KILLS", "2"))
MOMENTS = int(os.environ.get("UNDERBACK_CUTS", "60"))


class Snapshots(Disks):
    """Keeps what was synced at each call, with the run's position then."""

    def __init__(self) -> None:
        super().__init__()
        self.shots: list[tuple[float, dict[Path, int], dict[Path, int]]] = []  # when, bytes synced, bytes written

    def _call(self, what: str) -> None:
        super()._call(what)
        now = asyncio.get_running_loop().time()
        synced = {path: len(data) for path, data in self.synced.items()}
        self.shots.append((now, synced, {path: len(data) for path, data in self.written.items()}))

    def cut(self, lengths: dict[Path, int]) -> dict[Path, bytes]:
        """What was on the disk when the files were so long (they only grow)."""
        return {path: bytes(self.written[path][:length]) for path, length in lengths.items()}


Place = tuple[float, int, float, RunState]  # when, step, credited s, state
Whole = tuple[Snapshots, list[Place]]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    """One whole run with every disk call recorded, and where the run was at each second."""
    disks = Snapshots()
    places: list[Place] = []

    def look(service: Any) -> bool:
        now = service.state.run
        places.append((service.state.now, now.leg, now.progress.credited_s, now.state))
        return now.state is RunState.COMPLETE

    @virtual
    async def lived() -> None:
        bench = Rig(GANNET, site(GANNET, TRIAL, 4), tmp_path_factory.mktemp("none"), "first", disks=disks)
        await bench.run(look, 3 * 3600.0)

    lived()
    assert places[-1][3] is RunState.COMPLETE
    return disks, places


def laid(folder: Path, shot: dict[Path, bytes]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for path, data in shot.items():
        (folder / path.name).write_bytes(data)


def place_at(places: list[Place], at: float) -> Place:
    return next((p for p in reversed(places) if p[0] <= at), places[0])


def test_a_power_cut_at_every_disk_call_loses_at_most_five_seconds(whole: Whole, tmp_path: Path) -> None:
    """At each write, sync and creation of a whole run, unsynced data dropped: same step, credit at most 5 s behind."""
    disks, places = whole
    checked = 0
    before: dict[Path, int] = {}
    for n, (at, synced, _) in enumerate(disks.shots):
        if synced == before:
            continue  # a call that changed nothing on the disk
        before = synced
        folder = tmp_path / str(n)
        laid(folder, disks.cut(synced))
        found = line_format.find(folder)
        assert found.damage == ""
        told, later = place_at(places, at - 1.0), place_at(places, at + 1.0)  # the tick itself may not be written yet
        kept = checkpoint.recall(found.kept, 0.0) if found.kept else None
        if told[3] is not RunState.RUNNING or later[3] is not RunState.RUNNING:
            continue
        assert kept is not None
        assert told[1] <= kept.run.leg <= later[1]
        if told[1] == later[1]:
            checked += 1
            assert told[2] - 5.0 <= kept.run.progress.credited_s <= later[2]
    assert checked > 100


def test_unsynced_data_that_got_through_in_part_is_a_torn_end_and_no_more(whole: Whole, tmp_path: Path) -> None:
    """Of what was written but not synced any beginning may be on the disk: never damage, never another step."""
    disks, places = whole
    rng = Random(11)
    for n in range(MOMENTS):
        at, synced, written = disks.shots[rng.randrange(len(disks.shots))]
        mixed = disks.cut({path: rng.randint(synced[path], length) for path, length in written.items()})
        folder = tmp_path / str(n % 50)
        for old in folder.glob("*"):
            old.unlink()
        laid(folder, mixed)
        found = line_format.find(folder)
        assert found.damage == ""
        kept = checkpoint.recall(found.kept, 0.0) if found.kept else None
        if kept is not None and kept.run.course is not None:
            assert abs(kept.run.leg - place_at(places, at)[1]) <= 1


def crash_and_return(
    tmp_path: Path, crash_at: float, away_s: float, longest_s: float = 3 * 3600.0
) -> list[dict[str, Any]]:
    """Run, lose the power at a moment, come back after a while; the second life's statuses, commands and events."""
    tun = site(GANNET, TRIAL, 4)

    async def first() -> None:
        bench = Rig(GANNET, tun, tmp_path, "first", disks=RealDisks())
        world = asyncio.create_task(bench.world())
        service = asyncio.create_task(bench.service.run())
        await asyncio.sleep(crash_at + 0.75)
        bench.transport.heater = lambda *rest: False  # type: ignore[method-assign]
        bench.service._recorder.writer._disks = Disks()  # nothing reaches the disk from here on
        bench.service._recorder.writer._fd = None
        bench.service._recorder.writer._failed_at = 1e18
        for task in (world, service):
            task.cancel()
        await asyncio.gather(world, service, return_exceptions=True)

    run(first(), -0.75)
    history: list[dict[str, Any]] = []

    async def second() -> None:
        clock = Clock()
        bench = Rig(GANNET, tun, tmp_path, "second", disks=RealDisks(), clock=clock)
        await bench.run(lambda service: service.state.run.state is RunState.COMPLETE, longest_s)
        for topic, payload, _ in bench.broker.history:
            if topic in (bench.topics.status, bench.topics.heater_command, bench.topics.event):
                history.append({"topic": topic.rpartition("/")[2], "said": json.loads(payload)})

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "outage_s", lambda found, clock: away_s)
        run(second(), crash_at + away_s)
    return history


def said(history: list[dict[str, Any]], topic: str) -> list[dict[str, Any]]:
    return [h["said"] for h in history if h["topic"] == topic]


@pytest.mark.parametrize("crash_at", [80.0, 300.0, 600.0])
def test_a_short_outage_is_resumed_by_itself_and_no_rest_is_skipped(crash_at: float, tmp_path: Path) -> None:
    """Ten seconds away: decided on disk before any heat, no heat in the first 10 s, steps in order, complete."""
    history = crash_and_return(tmp_path, crash_at, 10.0)
    statuses = [s for s in said(history, "status") if s["step"]]
    indices = [s["step"]["index"] for s in statuses]
    assert all(b - a in (0, 1) for a, b in itertools.pairwise(indices))
    assert said(history, "status")[-1]["state"] == "complete"
    kinds = [(h["topic"], h["said"]) for h in history]
    resumed = next(n for n, (topic, s) in enumerate(kinds) if topic == "event" and s["kind"] == "resume")
    hot = next(n for n, (topic, s) in enumerate(kinds) if topic == "command" and s["duty"] > 0)
    assert resumed < hot
    commands = said(history, "command")
    first_hot = next(c for c in commands if c["duty"] > 0)
    assert first_hot["at"] - commands[0]["at"] >= 9.0
    assert commands[0]["epoch"] == 2


@pytest.mark.parametrize("n", range(KILLS))
def test_a_kill_at_a_random_moment_never_heats_early_and_never_skips(n: int, tmp_path: Path) -> None:
    """Killed anywhere, back within a minute: 10 s without heat, the step where it was, the decision before the heat."""
    rng = Random(f"kill {n}")
    crash_at = rng.uniform(5.0, 800.0)
    history = crash_and_return(tmp_path, crash_at, float(rng.randint(1, 60)), 400.0)
    commands, statuses = said(history, "command"), [s for s in said(history, "status") if s["step"]]
    hot = [c for c in commands if c["duty"] > 0]
    assert not hot or hot[0]["at"] - commands[0]["at"] >= 9.0
    indices = [s["step"]["index"] for s in statuses]
    assert all(b - a in (0, 1) for a, b in itertools.pairwise(indices))
    if hot and crash_at > 60.0:
        first_hot = next(i for i, h in enumerate(history) if h["topic"] == "command" and h["said"]["duty"] > 0)
        decided = [i for i, h in enumerate(history) if h["topic"] == "event" and h["said"]["kind"] == "resume"]
        assert decided
        assert decided[0] < first_hot


def test_a_long_outage_waits_for_a_person(tmp_path: Path) -> None:
    """Thirty-one minutes away: held, the question names the outage, and only an answer brings heat."""
    history = crash_and_return(tmp_path, 300.0, 1860.0, 300.0)
    held = [s for s in said(history, "status") if s["state"] == "held"]
    assert held
    assert "31" in str(held[0]["prompt"]["text"])
    kinds = [h["said"]["kind"] for h in history if h["topic"] == "event"]
    assert "resume" in kinds


def test_a_second_crash_before_the_decision_loses_nothing(tmp_path: Path) -> None:
    """Power goes again while the first restart is still checking: the open run is still there for the third."""
    tun = site(GANNET, TRIAL, 4)

    async def life(boot: str, seconds: float) -> None:
        bench = Rig(GANNET, tun, tmp_path, boot, disks=RealDisks())
        world = asyncio.create_task(bench.world())
        service = asyncio.create_task(bench.service.run())
        await asyncio.sleep(seconds)
        for task in (world, service):
            task.cancel()
        await asyncio.gather(world, service, return_exceptions=True)

    run(life("first", 300.0), -0.75)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "outage_s", lambda found, clock: 5.0)
        run(life("second", 4.0), 305.0)
        found = line_format.find(tmp_path)
        kept = checkpoint.recall(found.kept or {}, 0.0)
        assert kept is not None
        assert kept.run.state is RunState.RUNNING
        assert len(found.starts) == 1
        begun = reader.begin(GANNET, tmp_path, VirtualNow(315.0), "third", lambda p, d: True)
        assert begun.state.pending is not None
        assert begun.state.pending.restarts == 2
        begun.writer.close()


class VirtualNow(Clock):
    """A clock that stands still."""

    def __init__(self, now: float) -> None:
        super().__init__()
        self._now = now

    def now(self) -> float:
        return self._now


@virtual
async def test_a_damaged_record_locks(tmp_path: Path) -> None:
    """A hole in the record: a latched G20 stands, the run waits for a person, the damaged file is left as it is."""
    crash = tmp_path / "r"
    bench = Rig(GANNET, site(GANNET, TRIAL, 4), crash, "first", disks=RealDisks())
    await bench.run(lambda service: service.state.now > 300.0, 2000.0)
    path = [p for p in line_format.files(crash) if p.stem.endswith("-run")][-1]
    data = bytearray(path.read_bytes())
    data[len(data.rstrip(b"\0")) // 2] ^= 4  # within what was written: room laid out ahead holds zeros
    path.write_bytes(bytes(data))
    begun = reader.begin(GANNET, crash, VirtualNow(400.0), "second", lambda p, d: True)
    assert [(t.id, t.latched) for t in begun.state.guard.trips] == [("G20", True)]
    assert begun.state.pending is None or (begun.state.pending.outage_s is None and not begun.state.pending.same)
    assert path.read_bytes() == bytes(data)
    begun.writer.close()


END = line_format.Stamp(1000.0, 500.0, "b1", True)


@pytest.mark.parametrize(
    ("boot", "up", "wall", "sure", "before_sure", "outage"),
    [
        ("b1", 560.0, 1060.0, True, True, 60.0),
        ("b1", 560.0, 9999.0, False, False, 60.0),  # within one boot the wall clock does not matter
        ("b1", 400.0, 1060.0, True, True, None),  # a clock that ran backwards is no clock
        ("b2", 10.0, 1300.0, True, True, 300.0),
        ("b2", 10.0, 1300.0, False, True, None),  # not in step now
        ("b2", 10.0, 1300.0, True, False, None),  # not in step then
        ("b2", 10.0, 900.0, True, True, None),  # set back
        ("", 560.0, 1060.0, False, False, None),
    ],
)
def test_an_outage_is_known_from_a_clock_that_can_know_it(
    boot: str,
    up: float,
    wall: float,
    sure: bool,
    before_sure: bool,
    outage: float | None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same boot: seconds since boot; another boot: the wall clock, if it was right before and is right now."""
    monkeypatch.setattr(reader, "boot_id", lambda: boot)
    monkeypatch.setattr(reader, "since_boot_s", lambda: up)
    clock = VirtualNow(0.0)
    clock.wall_zero, clock.sure = wall, sure
    assert reader.outage_s(line_format.Found(end=END._replace(confirmed=before_sure)), clock) == outage


def test_an_outage_without_any_time_in_the_record_is_unknown() -> None:
    """Nothing written, nothing known."""
    assert reader.outage_s(line_format.Found(), Clock()) is None
