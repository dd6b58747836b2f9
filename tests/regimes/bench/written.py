"""What does a mash cost the disk, and what would a power cut lose of its samples?

    python -m tests.regimes.bench.written [--hours 3] [--folder DIR] [--live 30]

The real service runs a program on virtual time with its journal in a real folder. Printed: bytes appended, syncs, 4 KiB
blocks that the syncs touched (each sync writes whole blocks), what the kernel says that this process caused to be
written (/proc/self/io), and what the device under the folder took (its `stat`; everybody's writes are in it). Then the
journal's own thread for so many real seconds, a sample each second: how old was the oldest sample not yet synced?
"""

from __future__ import annotations

import os
import tempfile
import threading
import time
from pathlib import Path

from controller.edge.record import line_format as record
from controller.edge.record.disks import RealDisks
from controller.edge.record.writer import RecordWriter
from controller.edge.service import Service
from sim.people.manner import PATIENT
from sim.people.person import Person
from sim.simulated_site import SimulatedSite
from sim.world.world import World
from tests.edge.virtual import Rig, run
from tests.regimes.chaos.cuts import fresh
from tests.regimes.command import options

BLOCK = 4096
SECTOR = 512


class Counting(RealDisks):
    """The machine's disk, counted."""

    def __init__(self) -> None:
        super().__init__()
        self.appended = self.syncs = self.blocks = self.creations = 0
        self.waiting: list[float] = []  # when what is not yet synced was written
        self.oldest_s = 0.0
        self._end: dict[int, int] = {}  # of each open file
        self._synced: dict[int, int] = {}

    def create(self, path: Path) -> int:
        fd = super().create(path)
        self._end[fd] = self._synced[fd] = 0
        self.creations += 1
        return fd

    def write(self, fd: int, data: bytes) -> None:
        super().write(fd, data)
        self.appended += len(data)
        self._end[fd] += len(data)
        self.waiting.append(time.monotonic())

    def sync(self, fd: int) -> None:
        super().sync(fd)
        self.syncs += 1
        first, last = self._synced[fd] // BLOCK, max(0, self._end[fd] - 1) // BLOCK
        self.blocks += last - first + 1
        self._synced[fd] = self._end[fd]
        if self.waiting:
            self.oldest_s = max(self.oldest_s, time.monotonic() - self.waiting[0])
        self.waiting.clear()


def caused_bytes() -> int:
    """What the kernel says that this process caused to be written, bytes."""
    lines = Path("/proc/self/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("write_bytes"))


def device_bytes(folder: Path) -> int | None:
    """What the device under the folder has taken since boot, bytes; None where there is none."""
    number = folder.stat().st_dev
    stat = Path(f"/sys/dev/block/{os.major(number)}:{os.minor(number)}/stat")
    return int(stat.read_text().split()[6]) * SECTOR if stat.exists() else None


def mash(folder: Path, hours: float) -> Counting:
    """So many hours of one run; a program with all kinds of steps, whose last one keeps."""
    start = fresh("sandpiper", 1, True)
    world = start.site.world
    assert isinstance(world, World)
    person = Person(world, PATIENT._replace(take_over=False))
    disks = Counting()

    async def main() -> Service:
        rig = Rig(start.settings, SimulatedSite(world, person), folder, "written", disks=disks)
        await rig.run(lambda service: False, hours * 3600.0)
        return rig.service

    service = run(main(), -0.75)
    print(f"{hours:g} h, at the end {service.state.run.state} in step {service.state.run.leg}")
    return disks


def live(folder: Path, seconds: int) -> float:
    """The writer's thread with a sample each second, an event now and then: the oldest sample lost by a cut, s."""
    disks = Counting()
    journal = RecordWriter(folder, disks=disks)
    journal.begin(True, {"at": 0.0, "up": 0.0, "boot_id": "", "epoch": 1})
    tick = threading.Event()
    for n in range(seconds):
        tick.wait(1.0)
        journal.sample({"t": n})
        if n % 17 == 16:
            journal.event({"text": "now and then"})
    journal.close()
    return disks.oldest_s


def main() -> None:
    args = options(__doc__, hours=3.0, folder=Path(tempfile.gettempdir()), live=30)
    with tempfile.TemporaryDirectory(dir=args.folder) as name:
        folder = Path(name)
        os.sync()
        caused, device, began = caused_bytes(), device_bytes(folder), time.monotonic()
        disks = mash(folder / "mash", args.hours)
        os.sync()
        lines = sum(len(record.read(path).lines) for path in record.files(folder / "mash"))
        print(f"{lines} lines, {disks.appended / 1e6:.2f} MB appended in {disks.syncs} syncs, {disks.creations} files")
        print(f"blocks of 4 KiB touched by syncs   {disks.blocks * BLOCK / 1e6:6.2f} MB")
        print(f"caused by this process             {(caused_bytes() - caused) / 1e6:6.2f} MB")
        now = device_bytes(folder)
        if device is not None and now is not None:
            print(f"taken by the device, by everybody  {(now - device) / 1e6:6.2f} MB")
        print(f"{time.monotonic() - began:.0f} s")
        if args.live:
            oldest = live(folder / "live", args.live)
            print(f"writer's thread, {args.live} s: oldest sample not yet on disk {oldest:.1f} s")


if __name__ == "__main__":
    main()
