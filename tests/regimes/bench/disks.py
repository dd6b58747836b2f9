"""What does a bad disk do to the beat?

    python -m tests.regimes.bench.disks [--seconds 60]

The real service with the journal's own writer thread, in real time, once for each trouble: every create, write or sync
takes 10 s from the beginning; or creates, writes or syncs fail with ENOSPC, EROFS or EIO once the run heats. Printed:
commands, the longest time between two of them over the one second that is due, commands with heat after the trouble
began, and what the status says.
"""

from __future__ import annotations

import asyncio
import errno
import itertools
import json
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any, NamedTuple

from controller.edge.record.disks import RealDisks
from controller.edge.service import Service
from sim.people.manner import PATIENT
from sim.people.person import Person
from sim.simulated_site import SimulatedSite
from tests.edge.virtual import Clock, Rig
from tests.regimes.chaos.cuts import fresh
from tests.regimes.command import options

SLOW_S = 10.0
LATE_S = 0.5  # allowed
END_S = 2.0  # all services share a loop here, and one that ends waits a second for its disk
CALLS = ("create", "write", "sync")
FAILS = (errno.ENOSPC, errno.EROFS, errno.EIO)


class BadDisks(RealDisks):
    """A real folder on a disk with one trouble."""

    def __init__(self, call: str, code: int) -> None:
        super().__init__()
        self.call, self.code = call, code
        self.begun = code == 0  # slow from the beginning
        self.ended = threading.Event()

    def _call(self, what: str) -> None:
        if what != self.call or not self.begun:
            return
        if self.code == 0:
            self.ended.wait(SLOW_S)
        else:
            raise OSError(self.code, errno.errorcode[self.code])

    def create(self, path: Path) -> int:
        self._call("create")
        return super().create(path)

    def write(self, fd: int, data: bytes) -> None:
        self._call("write")
        super().write(fd, data)

    def sync(self, fd: int) -> None:
        self._call("sync")
        super().sync(fd)


class RealClock(Clock):
    """Real seconds from now on."""

    def __init__(self) -> None:
        super().__init__()
        self._zero = asyncio.get_running_loop().time()

    def now(self) -> float:
        return asyncio.get_running_loop().time() - self._zero


class Ran(NamedTuple):
    """One trouble's figures."""

    what: str
    commands: int
    late_s: float
    hot: int
    notes: str


async def trouble(call: str, code: int, folder: Path, seconds: float) -> Ran:
    """One service, so long."""
    start = fresh("water-trial", 1, True)
    world = start.site.world
    person = Person(world, PATIENT._replace(start_at_s=12.0))
    disks = BadDisks(call, code)
    rig = Rig(
        start.settings, SimulatedSite(world, person), folder, "bad", disks=disks, clock=RealClock(), threaded=True
    )
    at: list[float] = []
    hot = 0

    def heard(topic: str, payload: bytes, retained: bool) -> None:
        nonlocal hot
        if rig.clock.now() < seconds - END_S:
            at.append(rig.clock.now())
        heats = json.loads(payload)["duty"] > 0.0
        hot += heats and disks.begun
        disks.begun |= heats

    def look(service: Service) -> bool:
        disks.begun |= disks.call == "create" and rig.clock.now() > 8.0  # the run's own file is created at its start
        return False

    rig.broker.listen([rig.topics.heater_command], heard)
    await rig.run(look, seconds)
    disks.ended.set()
    status: dict[str, Any] = json.loads(rig.broker.retained[rig.topics.status])
    notes = "; ".join(str(note) for note in status["notes"] if "record" in str(note).lower())
    name = f"{call} {'takes 10 s' if code == 0 else errno.errorcode[code]}"
    late_s = max(b - a for a, b in itertools.pairwise(at)) - 1.0
    return Ran(name, len(at), late_s, hot, f"{status['state']}; {notes or 'no note'}")


async def every(seconds: float, folder: Path) -> list[Ran]:
    """All troubles at once."""
    kinds = [(call, code) for call in CALLS for code in (0, *FAILS)]
    return await asyncio.gather(*(trouble(c, code, folder / f"{c}-{code}", seconds) for c, code in kinds))


def main() -> int:
    args = options(__doc__, seconds=60.0)
    with tempfile.TemporaryDirectory() as folder:
        ran = asyncio.run(every(args.seconds, Path(folder)))
    for one in ran:
        print(f"{one.what:18} {one.commands} commands, latest by {one.late_s:5.2f} s, {one.hot} with heat, {one.notes}")
    return 1 if any(one.late_s > LATE_S for one in ran) else 0


if __name__ == "__main__":
    sys.exit(main())
