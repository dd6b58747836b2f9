"""A disk that takes nothing, hangs or forgets: heat comes back with it, or the status says why; nothing is silent."""

from __future__ import annotations

import asyncio
import errno
import json
import threading
from pathlib import Path
from typing import Any

import pytest

from controller.core.nouns import RunState
from controller.edge.record.disks import RealDisks
from controller.edge.record.writer import HANGS_S, IDLE_KEPT, RecordWriter
from sim.world.faults import Fault, Faults
from tests.edge.lives import heating, lived
from tests.edge.virtual import Disks, Rig
from tests.waiting import PATIENCE_S, until

BAD_S, BACK_S, LOCK_S = 90.0, 30.0, 60.0


def breaks(bench: Rig, call: str) -> None:
    """From now on this call to the disk fails."""

    def fail(n: int, what: str) -> None:
        if what == call or (call == "write" and what == "create"):
            raise OSError(errno.EIO, "told by the test")

    bench.disks.fail = fail


@pytest.mark.parametrize("tripped", [False, True], ids=["nothing else", "a trip meanwhile"])
@pytest.mark.parametrize("call", ["write", "sync"])
def test_heat_is_back_within_30_s_of_a_sound_disk(call: str, tripped: bool, tmp_path: Path) -> None:
    """An error in each call for a minute and a half, with a trip that needs the disk or without: told all the while,
    and the new file has the events that the old one lost."""
    shown, hot = list[dict[str, Any]](), list[bool]()

    async def bad_day(bench: Rig) -> None:
        await heating(bench)
        breaks(bench, call)
        if tripped:
            bench.transport.cut("pulled")
            await asyncio.sleep(30.0)
            bench.transport.mend()
        await asyncio.sleep(BAD_S)
        shown.append(bench.status())
        bench.disks.fail = lambda n, what: None
        sent = len(bench.commands())
        await asyncio.sleep(BACK_S)
        shown.append(bench.status())
        hot.append(any(json.loads(payload)["duty"] > 0.0 for payload in bench.commands()[sent:]))

    disks = Disks()
    bench = lived(tmp_path, "first", bad_day, disks=disks)
    assert any("record" in note for note in shown[0]["notes"])
    assert hot == [True] and shown[1]["trips"] == [] and not any("record" in note for note in shown[1]["notes"])
    lines = [json.loads(raw) for data in disks.synced.values() for raw in data.splitlines()]
    kept = {line["seq"] for line in lines if "seq" in line}
    assert kept == set(range(1, bench.service.writer.seq + 1))


@pytest.mark.parametrize("call", ["create", "reopen", "write", "sync", "close", "remove", "free_mb"])
def test_a_call_that_hangs_is_told_as_an_error_is_and_over_when_it_returns(call: str, tmp_path: Path) -> None:
    """Up to ten seconds a slow disk is just slow; later the record says which call does not come back."""
    gate, here, now = threading.Event(), threading.Event(), [100.0]

    def hang(*args: Any) -> Any:
        here.set()
        gate.wait(PATIENCE_S)
        return getattr(RealDisks, call)(disks, *args)

    disks = RealDisks()
    writer = RecordWriter(tmp_path, 0, 50, disks, now=lambda: now[0])
    if call == "close":
        writer.begin(True, {"at": 1.0})
        until(lambda: writer.disk().ok and writer._fd is not None, "the first file is open")
    setattr(disks, call, hang)
    path = tmp_path / "00000000-run.jsonl"
    path.write_bytes(b"")
    for n in range(IDLE_KEPT + 1):  # more than are kept
        (tmp_path / f"{n:08d}-idle.jsonl").write_bytes(b"")
    if call == "reopen":
        writer.go_on(path, 0, 0, {"at": 1.0})
    else:
        writer.begin(True, {"at": 1.0})
    writer.event({"text": "x"})
    assert here.wait(PATIENCE_S)
    now[0] += HANGS_S
    assert writer.disk().ok
    now[0] += 1.0
    disk = writer.disk()
    assert not disk.ok and "has not answered for 11 s" in disk.text
    gate.set()
    until(lambda: writer.disk().ok and writer.disk().durable_seq == 1, "the disk is well again")
    writer.close()


@pytest.mark.parametrize("call", ["close", "remove"])
def test_an_error_that_loses_nothing_is_none(call: str, tmp_path: Path) -> None:
    """What cannot be closed or removed is no reason to let a mash cool."""
    disks, calls = RealDisks(), []

    def fail(*args: Any) -> None:
        calls.append(args)
        raise OSError(errno.EIO, "told by the test")

    setattr(disks, call, fail)
    writer = RecordWriter(tmp_path, 0, 50, disks, threaded=False)
    for n in range(IDLE_KEPT + 2):
        writer.begin(False, {"at": float(n)})
        writer.event({"text": "x"})
    disk = writer.disk()
    assert calls and (disk.ok, disk.durable_seq) == (True, IDLE_KEPT + 2)


@pytest.mark.parametrize("call", ["write", "sync"])
def test_a_kill_while_the_disk_is_bad(call: str, tmp_path: Path) -> None:
    """The next process finds what was on the disk: the run goes on with heat, or the status says why not."""
    disks = Disks()

    async def bad_day(bench: Rig) -> None:
        await heating(bench)
        breaks(bench, call)
        await asyncio.sleep(BAD_S)

    first = lived(tmp_path, "first", bad_day, disks=disks)
    for path, data in disks.synced.items():
        (tmp_path / path.name).write_bytes(data)
    kept = {topic: payload for topic, payload in first.broker.retained.items() if topic == first.topics.status}
    said: list[dict[str, Any]] = []

    async def comes_back(bench: Rig) -> None:
        await asyncio.sleep(LOCK_S + BACK_S)
        said.append(bench.status())

    second = lived(tmp_path, "second", comes_back, disks=RealDisks(), kept=kept)
    hot = any(json.loads(payload)["duty"] > 0.0 for payload in second.commands())
    assert hot or said[0]["trips"] or said[0]["waiting_for"], said[0]["state"]


async def _forgets(bench: Rig) -> None:
    """The disk takes nothing any more, then a trip latches, is told, and the process is gone."""
    await heating(bench)
    breaks(bench, "write")
    world = bench.site.world
    world.faults = Faults([Fault("probe_value", world.now + 1.0, 4.0, 84.1)])
    await asyncio.sleep(7.0)
    assert [trip["id"] for trip in bench.status()["trips"]] == ["G07"]


def test_a_record_that_lacks_what_was_told_locks(tmp_path: Path) -> None:
    """The latched trip was told, not written, and the process killed: the next one is locked until somebody says why
    the tun may be used, and says what is missing."""
    disks = Disks()
    first = lived(tmp_path, "first", _forgets, disks=disks)
    for path, data in disks.synced.items():
        (tmp_path / path.name).write_bytes(data)
    kept = {topic: payload for topic, payload in first.broker.retained.items() if topic == first.topics.status}
    told: list[Any] = []

    async def comes_back(bench: Rig) -> None:
        await asyncio.sleep(100.0)
        state = bench.service.state
        told.append(([trip.id for trip in state.guard.trips], state.guard.trips[0].text, state.run.state))
        for args in ({}, {"reason": "looked at the tun, the mash is thrown away"}):
            said = {"id": f"c{len(args)}", "order": "clear", "trip": "G20", "args": args, "valid_s": 10.0}
            said |= {"at": bench.clock.wall_s(), "nonce": bench.status()["nonce"]}
            bench.broker.publish(bench.topics.order, json.dumps(said).encode())
            await asyncio.sleep(2.5)

    second = lived(tmp_path, "second", comes_back, disks=RealDisks(), kept=kept)
    trips, text, state = told[0]
    assert trips == ["G20"] and "a latched G07" in text and state in (RunState.HELD, RunState.IDLE)
    replies = {reply["id"]: reply["accepted"] for reply in second.said(second.topics.reply)}
    assert (replies["c0"], replies["c1"]) == (False, True)
    assert all(json.loads(payload)["duty"] == 0.0 for payload in second.commands())
    cleared = [e for e in second.said(second.topics.event) if e["kind"] == "cleared" and e["id"] == "G20"]
    assert cleared[0]["data"]["reason"] == "looked at the tun, the mash is thrown away"


@pytest.mark.parametrize(
    ("said", "word"),
    [
        ({"journal_seq": 900}, "events up to 900"),
        ({"state": "running", "run": "r-1"}, "the run r-1, which was running"),
        ({"epoch": 7}, "the owner's number 7"),
        ({"epoch": 7, "state": "checking"}, ""),
        ({}, ""),
    ],
)
def test_what_an_empty_record_lacks(said: dict[str, Any], word: str, tmp_path: Path) -> None:
    """A disk was changed while the broker still tells of the last run; without a retained status it is a new tun."""
    before = {"state": "idle", "run": None, "epoch": 0, "journal_seq": 0, "trips": [], **said}
    topic = "underback/gannet/status"

    async def looks(bench: Rig) -> None:
        await asyncio.sleep(20.0)

    kept = {topic: json.dumps(before).encode()} if said else None
    bench = lived(tmp_path, "new", looks, kept=kept)
    texts = [event["text"] for event in bench.said(bench.topics.event)]
    assert any("taken as a new tun" in text for text in texts)
    assert [trip.id for trip in bench.service.state.guard.trips] == (["G20"] if word else [])
    assert any(word in text for text in texts)
