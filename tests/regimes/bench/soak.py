"""Does the service grow over days?

    python -m tests.regimes.bench.soak [--hours 72]

The real service on virtual time, with the journal writing to a real folder: one run of the water trial, then idle days.
Prints resident memory and open files after the run and at the end, and what the journal wrote.
"""

from __future__ import annotations

import gc
import os
import tempfile
import time
from pathlib import Path

from controller.core.nouns import RunState
from controller.edge.files import config_files as files
from controller.edge.record.disks import RealDisks
from controller.edge.service import Service
from controller.plan import plan
from sim.people.manner import PATIENT
from sim.people.person import Person
from sim.simulated_site import SimulatedSite
from sim.world.world import World
from tests.edge.virtual import Rig, run
from tests.places import CONFIG
from tests.regimes.bench.daemon import rss_mb
from tests.regimes.command import options


class Forgetful(list[tuple[str, bytes, bool]]):
    """The broker's history is for tests that look at it; here nobody does."""

    def append(self, item: tuple[str, bytes, bool]) -> None: ...


def main() -> None:
    args = options(__doc__, hours=72.0)
    settings = files.settings(CONFIG, "gannet")
    made = plan.make(files.load_program(CONFIG, "water-trial"), settings.tun)
    world = World(settings, made.course, 1, (), None, made.program.liquor.temperature_c)
    seen: dict[str, tuple[float, int]] = {}

    def look(service: Service) -> bool:
        if "run" not in seen and service.state.run.state is RunState.COMPLETE:
            gc.collect()
            seen["run"] = (rss_mb(os.getpid()), len(os.listdir("/proc/self/fd")))
        return False

    began = time.process_time()
    with tempfile.TemporaryDirectory() as folder:

        async def soak() -> None:
            rig = Rig(settings, SimulatedSite(world, Person(world, PATIENT)), Path(folder), "soak", disks=RealDisks())
            rig.broker.history = Forgetful()
            await rig.run(look, args.hours * 3600.0)
            gc.collect()
            seen["end"] = (rss_mb(os.getpid()), len(os.listdir("/proc/self/fd")))

        run(soak(), -0.75)
        written = sum(path.stat().st_size for path in Path(folder).rglob("*.jsonl"))
    for when, (memory, fds) in seen.items():
        print(f"after the {when:4} {memory:7.1f} MiB, {fds} open files")
    print(f"{args.hours:g} h of the tun's time in {time.process_time() - began:.0f} s of processor time")
    print(f"growth {seen['end'][0] - seen['run'][0]:+.2f} MiB; journal {written / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
