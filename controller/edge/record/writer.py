"""How does what happened get onto the disk, whatever the disk does?

Append-only lines (line_format.py), written by one thread so that no slow disk (disks.py) stands in front of an OFF.
Events are synced at once, samples every few seconds. A failed write or sync loses the file: pages may be marked clean
afterwards, so it is never tried again on the same file (PostgreSQL's fsync findings of 2018); a new file is begun with
all that was owed to the disk, and the run will not resume by itself. A call that hangs is told as an error is.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.nouns import Disk
from controller.edge.record import line_format
from controller.edge.record.disks import Disks, RealDisks

SAMPLES_S = 4.0  # at most so many seconds of samples are lost in a power cut
RETRY_S = 5.0  # after a failure a new file is tried so often: heat is to be back within 30 s of a sound disk
HANGS_S = 10.0  # a call that does not return for so long is as good as an error
OWED = 1000  # events kept for the next file while the disk takes nothing
QUEUE_LINES = 20_000  # beyond it samples are dropped: the disk has been stuck for hours
IDLE_KEPT = 5  # idle files kept beside the runs


class _Line(NamedTuple):
    values: dict[str, Any]
    sync: bool


class _Roll(NamedTuple):
    path: Path
    good_bytes: int | None  # None: a new file
    lines: int = 0


class RecordWriter:
    """The record that is being written. One owner: the service; one writer: its thread."""

    def __init__(
        self,
        folder: Path,
        seq: int = 0,
        keep_runs: int = 50,
        disks: Disks | None = None,
        threaded: bool = True,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        """`threaded=False`: every call writes before it returns (tests, tools). `now`: s, by which a retry is due."""
        self.seq = seq  # last event handed over
        self.folder = folder
        self._keep_runs, self._disks = keep_runs, disks or RealDisks()
        self._number = max((line_format.number(p) for p in line_format.files(folder)), default=0)
        self._fd: int | None = None
        self._path: Path | None = None
        self._n = 0
        self._ok, self._text, self._durable, self._free_mb = True, "", seq, 1e6
        self._unsynced = self._urgent = False
        self._samples = 0  # lines since the last sync
        self._written_seq = seq
        self.on_durable: Callable[[], None] | None = None  # called by the writer after each sync
        self._kept: dict[str, Any] | None = None
        self._owed: deque[dict[str, Any]] = deque(maxlen=OWED)  # events not yet on disk
        self._now, self._failed_at = now, -RETRY_S
        self._call: tuple[str, float] | None = None  # which call to the disk is under way, since when
        self._head: dict[str, Any] = {}
        self._queue: queue.SimpleQueue[_Line | _Roll | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True) if threaded else None
        if self._thread is not None:
            self._thread.start()

    # ------------------------------------------------------------ the service's side: never waits

    def begin(self, run: bool, head: Mapping[str, Any], state: Mapping[str, Any] | None = None) -> None:
        """Start a new file: a run's, or an idle one. `state`: what must survive; on disk in the header's own sync."""
        self._number += 1
        name = f"{self._number:08d}-{'run' if run else 'idle'}.jsonl"
        self._put(_Roll(self.folder / name, None))
        self._enter({"kind": "header", "format": 1}, head, state)

    def go_on(
        self, path: Path, good_bytes: int, lines: int, values: Mapping[str, Any], state: Mapping[str, Any] | None = None
    ) -> None:
        """Go on in a file that a former process left; what was torn at its end is cut off."""
        self._put(_Roll(path, good_bytes, lines))
        self._enter({"kind": "process"}, values, state)

    def _enter(self, kind: Mapping[str, Any], head: Mapping[str, Any], state: Mapping[str, Any] | None) -> None:
        """A process' first line in a file, and what must survive with it."""
        self._head = dict(head)
        self._put(_Line({**kind, **head}, state is None))
        if state is not None:
            self.keep(state, {key: head[key] for key in ("at", "up", "confirmed") if key in head})

    def event(self, values: Mapping[str, Any]) -> int:
        """Something happened: on disk at once. Returns its sequence number."""
        self.seq += 1
        self._put(_Line({"kind": "event", **values, "seq": self.seq}, True))
        return self.seq

    def keep(self, state: Mapping[str, Any], stamp: Mapping[str, Any]) -> None:
        """What must survive, beside the event that changed it."""
        self._put(_Line({"kind": "keep", **stamp, "state": state}, True))

    def sample(self, values: Mapping[str, Any]) -> None:
        """One row of measurements; synced in batches."""
        if self._queue.qsize() < QUEUE_LINES:
            self._put(_Line({"kind": "sample", **values}, False))

    def disk(self) -> Disk:
        """Can the record be trusted to keep what it is given?"""
        if self._thread is None:
            self._mend()
        call = self._call  # one look: the writer's thread may change it
        if call is not None and self._now() - call[1] > HANGS_S:
            text = f"{call[0]}: the disk has not answered for {self._now() - call[1]:.0f} s"
            return Disk(False, self._durable, self.seq, self._free_mb, text)
        return Disk(self._ok, self._durable, self.seq, self._free_mb, self._text)

    def close(self, within_s: float = 2.0) -> None:
        """Write what is waiting, at most so long."""
        self._queue.put(None)
        if self._thread is not None:
            self._thread.join(within_s)
        else:
            self._drain()

    def _put(self, item: _Line | _Roll) -> None:
        self._queue.put(item)
        if self._thread is None:
            self._drain()

    # ------------------------------------------------------------ the writer's side

    def _drain(self) -> None:
        while not self._queue.empty():
            self._take(self._queue.get())

    def _work(self) -> None:
        synced, looked = time.monotonic(), 0.0
        while True:
            with contextlib.suppress(queue.Empty):
                item = self._queue.get(timeout=1.0)
                self._take(item)
                if item is None:
                    return
            self._mend()
            now = time.monotonic()
            if not self._unsynced:
                synced = now
            elif now - synced >= SAMPLES_S:
                self._sync()
                synced = now
            if now - looked >= 10.0:
                self._look()
                looked = now

    def _take(self, item: _Line | _Roll | None) -> None:
        if item is None:
            self._sync()
        elif isinstance(item, _Roll):
            self._roll(item)
        else:
            self._write(item)

    def _roll(self, roll: _Roll) -> None:
        """Another file; the former is synced and closed first."""
        self._sync()
        self._shut()
        with self._guarded("open"):
            if roll.good_bytes is None:
                self._fd = self._disks.create(roll.path)
            else:
                self._fd = self._disks.reopen(roll.path, roll.good_bytes)
            self._n = roll.lines
            self._path, self._ok, self._text = roll.path, True, ""
            self._prune()

    def _write(self, item: _Line) -> None:
        values = item.values
        if values["kind"] == "keep":
            self._kept = values
        elif "seq" in values:  # an event, of whatever kind
            self._owed.append(values)
        if self._fd is None and not self._ok and self._mend() and values["kind"] != "sample":
            return  # the new file begins with it
        fd = self._fd
        if fd is None:
            return
        with self._guarded("write"):
            self._disks.write(fd, line_format.line({"n": self._n, **values}))
            self._n += 1
            self._unsynced = True
            self._written_seq = values.get("seq", self._written_seq)
        self._samples += 1
        self._urgent |= item.sync or (self._thread is None and self._samples >= SAMPLES_S)  # no thread: one a second
        if self._urgent and self._queue.empty():  # the lines of one tick share one sync
            self._sync()

    def _sync(self) -> None:
        self._urgent, self._samples = False, 0
        if self._fd is None or not self._unsynced:
            return
        with self._guarded("sync"):
            self._disks.sync(self._fd)
            self._unsynced = False
            self._safe()

    def _safe(self) -> None:
        """All that was written is on disk."""
        self._durable = self._written_seq
        while self._owed and self._owed[0]["seq"] <= self._durable:
            self._owed.popleft()
        if self.on_durable is not None:
            self.on_durable()

    def _mend(self) -> bool:
        """After a failure: try a new file now and then, and begin it with what must survive and what is owed."""
        if self._ok or self._now() - self._failed_at < RETRY_S:
            return False
        self._failed_at = self._now()
        self._number += 1
        path = self.folder / f"{self._number:08d}-run.jsonl"
        with self._guarded("open"):
            fd = self._disks.create(path)
            self._fd, self._path = fd, path
            head = {"kind": "header", "format": 1, **self._head, "after_failure": True}
            lines = [head, *self._owed, *([self._kept] if self._kept is not None else [])]
            self._disks.write(fd, b"".join(line_format.line({"n": n, **v}) for n, v in enumerate(lines)))
            self._disks.sync(fd)
            self._n, self._ok, self._text = len(lines), True, ""
            self._written_seq = self._owed[-1]["seq"] if self._owed else self._written_seq
            self._safe()
            return True
        with contextlib.suppress(OSError):  # nobody may take it for a run
            self._disks.remove(path)
        return False

    @contextlib.contextmanager
    def _guarded(self, what: str) -> Iterator[None]:
        """Calls to the disk: one that hangs shows, one that fails loses the file."""
        self._call = what, self._now()
        try:
            yield
        except OSError as error:
            self._ok, self._text, self._failed_at = False, f"{what}: {error.strerror or error}", self._now()
            self._shut()
        finally:
            self._call = None

    def _shut(self) -> None:
        if self._fd is not None:
            self._call = "close", self._now()
            with contextlib.suppress(OSError):
                self._disks.close(self._fd)
            self._call = None
        self._fd, self._unsynced = None, False

    def _look(self) -> None:
        self._call = "free space", self._now()
        with contextlib.suppress(OSError):
            self._free_mb = self._disks.free_mb(self.folder)
        self._call = None

    def _prune(self) -> None:
        """Old files go; the newest `keep_runs` runs and the open file stay."""
        there = line_format.files(self.folder)
        runs = [p for p in there if p.stem.endswith("-run")][: -self._keep_runs or None]
        idle = [p for p in there if p.stem.endswith("-idle")][:-IDLE_KEPT]
        for path in (*runs, *idle):
            if path != self._path:
                with contextlib.suppress(OSError):
                    self._disks.remove(path)
