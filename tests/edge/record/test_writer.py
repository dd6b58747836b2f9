"""The journal: what was acknowledged as durable is on the disk, whatever the disk does."""

from __future__ import annotations

import errno
import json
import threading
from pathlib import Path
from typing import Any

import pytest

from controller.edge.record import line_format
from controller.edge.record.disks import RealDisks
from controller.edge.record.writer import RecordWriter
from tests.edge.virtual import Disks
from tests.waiting import PATIENCE_S, until

HEAD = {"at": 1.0, "up": 1.0, "boot_id": "b", "epoch": 1}
FOLDER = Path("records")


def begun(disks: Disks | RealDisks, seq: int = 0, folder: Path = FOLDER) -> RecordWriter:
    journal = RecordWriter(folder, seq, 50, disks, threaded=False)
    journal.begin(True, HEAD)
    return journal


def on_disk(disks: Disks, kind: str, key: str) -> list[Any]:
    """What stands under this key in the synced lines of this kind?"""
    found = [json.loads(line) for data in disks.synced.values() for line in data.splitlines()]
    return [line[key] for line in found if line["kind"] == kind]


def went_on(found: line_format.Found) -> list[str]:
    """Another process goes on in the newest file and files an event. What kinds of lines stand in it then?"""
    assert found.path is not None
    again = RecordWriter(found.path.parent, found.seq, 50, RealDisks(), threaded=False)
    again.go_on(found.path, found.good_bytes, found.lines, HEAD)
    again.event({"text": "b"})
    again.close()
    got = line_format.read(found.path)
    assert (got.torn, got.damage) == (0, "")
    return [str(line["kind"]) for line in got.lines]


def test_an_event_is_synced_before_the_call_to_the_disk_is_over_and_samples_wait_for_it() -> None:
    """The sequence counts on from what the record had, and the durable mark follows each sync; a sample alone costs no
    sync; an event takes the samples before it along."""
    disks = Disks()
    journal = begun(disks, seq=40)
    journal.sample({"t": 1})
    journal.sample({"t": 2})
    assert on_disk(disks, "sample", "t") == []
    assert [journal.event({"text": text}) for text in "ab"] == [41, 42]
    assert journal.disk().durable_seq == 42
    assert on_disk(disks, "event", "seq") == [41, 42]
    assert on_disk(disks, "sample", "t") == [1, 2]


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS, errno.EIO])
@pytest.mark.parametrize("call", ["create", "write", "sync"])
def test_a_disk_that_fails_is_told_and_never_raises(code: int, call: str) -> None:
    """Full, read-only and broken disks at each call: not ok, a reason, the durable mark stands still, no exception."""
    disks, broken = Disks(), [call == "create"]

    def fail(n: int, what: str) -> None:
        if what == call and broken[0]:
            raise OSError(code, "told by the test")

    disks.fail = fail
    journal = begun(disks)
    if call != "create":
        journal.event({"text": "good"})
    broken[0] = True
    before = journal.disk().durable_seq
    for n in range(5):
        journal.event({"text": str(n)})
        journal.sample({"t": n})
    disk = journal.disk()
    assert (disk.ok, disk.durable_seq, disk.written_seq) == (False, before, before + 5)
    assert "told by the test" in disk.text


def test_a_file_whose_sync_failed_is_left_for_good_and_a_new_one_carries_what_must_survive() -> None:
    """After the failure nothing more goes to the old file; the new one begins with what was owed and says why."""
    now = [1000.0]
    disks = Disks()
    journal = RecordWriter(FOLDER, 0, 50, disks, threaded=False, now=lambda: now[0])
    journal.begin(True, HEAD)
    journal.keep({"run": 1}, {"at": 2.0})
    first = next(iter(disks.written))
    broken = [True]

    def fail(n: int, what: str) -> None:
        if what == "sync" and broken[0]:
            raise OSError(errno.EIO, "input/output error")

    disks.fail = fail
    journal.event({"text": "lost"})
    length = len(disks.written[first])
    journal.event({"text": "too early to try again"})
    assert len(disks.written[first]) == length
    broken[0] = False
    now[0] += 4.9
    assert not journal.disk().ok
    now[0] += 0.1
    assert journal.disk().durable_seq == 2
    journal.event({"text": "back"})
    assert journal.disk().ok
    second = [p for p in disks.written if p != first]
    lines = [json.loads(line) for line in disks.synced[second[0]].splitlines()]
    assert [e["kind"] for e in lines] == ["header", "event", "event", "keep", "event"]
    assert lines[0]["after_failure"] is True
    assert lines[3]["state"] == {"run": 1}
    assert [lines[n]["seq"] for n in (1, 2, 4)] == [1, 2, 3]
    assert line_format.scan(second[0], disks.synced[second[0]]).damage == ""


def test_a_killed_process_leaves_room_and_the_next_one_goes_on_before_it(tmp_path: Path) -> None:
    """Nothing torn is told after a kill, and the lines of both processes stand one after the other."""
    journal = begun(RealDisks(), folder=tmp_path)
    journal.event({"text": "a"})  # never closed
    found = line_format.find(tmp_path)
    assert (found.torn, found.damage) == (0, "")
    assert went_on(found) == ["header", "event", "process", "event"]
    journal.close()


def test_going_on_in_a_file_cuts_off_its_torn_end(tmp_path: Path) -> None:
    """The torn tail is gone, the new lines count on, and the whole reads as one sound file."""
    journal = begun(RealDisks(), folder=tmp_path)
    journal.event({"text": "a"})
    journal.close()
    path = line_format.files(tmp_path)[0]
    path.write_bytes(path.read_bytes() + b'{"n":2,"kind":"ev')
    found = line_format.find(tmp_path)
    assert found.torn > 0
    assert went_on(found) == ["header", "event", "process", "event"]
    assert [e["seq"] for e in line_format.read(path).of("event")] == [1, 2]


def test_the_file_is_longer_than_what_stands_in_it_until_it_is_closed(tmp_path: Path) -> None:
    """Room of zeros in whole blocks behind the lines, read as nothing; cut off at an orderly end."""
    journal = begun(RealDisks(), folder=tmp_path)
    path = line_format.files(tmp_path)[0]
    size = path.stat().st_size
    journal.event({"text": "a"})
    assert (path.stat().st_size, size % 4096) == (size, 0)  # nothing but the block is written
    got = line_format.read(path)
    assert (len(got.lines), got.torn, got.damage) == (2, 0, "")
    assert path.read_bytes()[got.good_bytes :] == bytes(size - got.good_bytes)
    journal._shut()
    assert path.stat().st_size == got.good_bytes


def test_room_runs_out_and_is_made_anew(tmp_path: Path) -> None:
    """A megabyte of lines and one longer than the room: all of them are there, none torn."""
    disks = RealDisks()
    fd = disks.create(tmp_path / "00000001-run.jsonl")
    lines = [line_format.line({"n": n, "kind": "header" if n == 0 else "x", "text": "y" * 9000}) for n in range(110)]
    lines.append(line_format.line({"n": 110, "kind": "x", "text": "z" * 400_000}))
    for line in lines:
        disks.write(fd, line)
    disks.sync(fd)
    got = line_format.read(tmp_path / "00000001-run.jsonl")
    assert (len(got.lines), got.torn, got.damage) == (111, 0, "")
    disks.close(fd)
    assert (tmp_path / "00000001-run.jsonl").read_bytes() == b"".join(lines)


def test_a_line_without_its_newline_is_completed(tmp_path: Path) -> None:
    """Cut exactly before the newline: nothing is lost, nothing runs together."""
    path = tmp_path / "00000001-run.jsonl"
    path.write_bytes(line_format.line({"n": 0, "kind": "header", **HEAD})[:-1])
    assert went_on(line_format.find(tmp_path)) == ["header", "process", "event"]


def test_old_runs_are_pruned_and_the_open_one_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of ten runs and ten idle files three runs and five idle ones stay, the newest, the open one among them."""
    removed: list[Path] = []

    class Listed(Disks):
        def remove(self, path: Path) -> None:
            removed.append(path)

    there = [FOLDER / f"{n:08d}-{'run' if n % 2 else 'idle'}.jsonl" for n in range(1, 21)]
    journal = RecordWriter(FOLDER, 0, 3, Listed(), threaded=False)
    monkeypatch.setattr(line_format, "files", lambda folder: there)
    journal._number = 18
    journal.begin(True, HEAD)
    kept = [p.name for p in there if p not in removed]
    assert [n for n in kept if "run" in n] == [f"{n:08d}-run.jsonl" for n in (15, 17, 19)]
    assert [n for n in kept if "idle" in n] == [f"{n:08d}-idle.jsonl" for n in (12, 14, 16, 18, 20)]


def test_a_disk_that_hangs_holds_nobody_up(tmp_path: Path) -> None:
    """While a sync hangs, handing over events returns at once and the durable mark waits."""
    gate = threading.Event()

    class Slow(RealDisks):
        def sync(self, fd: int) -> None:
            gate.wait(PATIENCE_S)
            super().sync(fd)

    journal = RecordWriter(tmp_path, 0, 50, Slow())
    journal.begin(True, HEAD)
    for n in range(100):
        journal.event({"text": str(n)})
    assert journal.disk().durable_seq == 0  # all handed over before the first sync has ended
    gate.set()
    until(lambda: journal.disk().durable_seq == 100, "the writer has written")
    journal.close()
    assert len(list(line_format.read(line_format.files(tmp_path)[0]).of("event"))) == 100


def test_the_writer_tells_when_something_is_durable(tmp_path: Path) -> None:
    """The callback comes after the sync, from the writer's thread."""
    told: list[int] = []
    journal = RecordWriter(tmp_path, 0, 50)
    journal.on_durable = lambda: told.append(journal.disk().durable_seq)
    journal.begin(True, HEAD)
    journal.event({"text": "x"})
    until(lambda: told[-1:] == [1], "the writer has written")
    journal.close()
