"""What does the record ask of the disk, and in which pieces is it given?

The file is kept longer than what stands in it, filled with zeros: a sync that makes a file longer costs the device
20 kB (measured on ext4 with 4 KiB blocks: the file system's own journal), one that writes over what is there the block
alone.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Protocol

BLOCK = 4096
ROOM = 256 * 1024  # bytes by which a file is made longer at a time


class Disks(Protocol):
    """The few calls that touch the disk; tests put faults here."""

    def create(self, path: Path) -> int: ...
    def reopen(self, path: Path, good_bytes: int) -> int: ...
    def write(self, fd: int, data: bytes) -> None: ...
    def sync(self, fd: int) -> None: ...
    def close(self, fd: int) -> None: ...
    def remove(self, path: Path) -> None: ...
    def free_mb(self, folder: Path) -> float: ...


class RealDisks:
    """The machine's own."""

    def __init__(self) -> None:
        self._ends: dict[int, tuple[int, int]] = {}  # of each open file: the end of what was written, and of its room

    def create(self, path: Path) -> int:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
        fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o640)
        self._ends[fd] = 0, 0
        self._sync_folder(path.parent)
        return fd

    def reopen(self, path: Path, good_bytes: int) -> int:
        fd = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        os.ftruncate(fd, good_bytes)
        self._ends[fd] = good_bytes, good_bytes
        if good_bytes and os.pread(fd, 1, good_bytes - 1) != b"\n":
            self.write(fd, b"\n")
        os.fsync(fd)
        return fd

    def write(self, fd: int, data: bytes) -> None:
        end, room = self._ends[fd]
        if end + len(data) > room:
            room = _filled(fd, end, end + len(data) + ROOM)
        self._ends[fd] = _written(fd, data, end), room

    def sync(self, fd: int) -> None:
        os.fdatasync(fd)

    def close(self, fd: int) -> None:
        end, _ = self._ends.pop(fd)
        try:
            os.ftruncate(fd, end)
        finally:
            os.close(fd)

    def remove(self, path: Path) -> None:
        path.unlink(missing_ok=True)

    def free_mb(self, folder: Path) -> float:
        stat = os.statvfs(folder)
        return stat.f_bavail * stat.f_frsize / 1e6

    def _sync_folder(self, folder: Path) -> None:
        fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)


def _filled(fd: int, at: int, to: int) -> int:
    """Zeros up to a block's end; block by block, else the kernel takes many for one page and writes it whole."""
    while at < to:
        at = _written(fd, bytes(BLOCK - at % BLOCK), at)
    return at


def _written(fd: int, data: bytes, at: int) -> int:
    """Write all of it there; returns where it ends."""
    view = memoryview(data)
    while view:
        count = os.pwrite(fd, view, at)
        view, at = view[count:], at + count
    return at
