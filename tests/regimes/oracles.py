"""Does the house still do what it did, to the last duty and the last byte?

Two digests of each run. A: per second duty, state, step, phase, trips and credited time, what the mash and a person
feel. B: all bytes of all messages, both ways. Every shipped program x every tun that takes it x 3 seeds x 10 faults.

    python -m tests.regimes.oracles --write        records every case in oracles.json, beside this file
    python -m tests.regimes.oracles                runs every case, says which digests differ (then exit code 1)
    python -m tests.regimes.oracles --most 30      30 cases spread over all of them, for each commit
    python -m tests.regimes.oracles --only a       B is not compared
"""

from __future__ import annotations

import argparse
import hashlib
import json
import struct
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

from controller.core.state import Outcome
from controller.edge.files import config_files as files
from controller.edge.files import plan_by_name as choose
from controller.settings.problems import Problems
from sim.dryrun import DryRun
from sim.world.faults import parse
from tests.places import CONFIG

HERE = Path(__file__).with_suffix(".json")
SEEDS = (1, 2, 3)
FAULTS = (
    "",
    "probe_unplugged@2400+40",
    "probe_frozen@3000+1500",
    "broker_gone@2000+30",
    "heater_silent@2600+60",
    "heater_welded@3600+600",
    "heater_open@1800+1200",
    "loop_stall@2500=4",
    "cold_liquor@4000=3",
    "person_away@900+900",
)
_SECOND = struct.Struct("<dd??H").pack


class Case(NamedTuple):
    program: str
    tun: str
    seed: int
    fault: str

    @property
    def name(self) -> str:
        return f"{self.program} {self.tun} {self.seed} {self.fault or 'healthy'}"


def cases() -> list[Case]:
    """Every program on every tun that takes it."""
    programs, tuns = (sorted(path.stem for path in (CONFIG / room).glob("*.toml")) for room in ("programs", "tuns"))
    pairs = [(program, tun) for program in programs for tun in tuns if _takes(program, tun)]
    return [Case(*pair, seed, fault) for pair in pairs for seed in SEEDS for fault in FAULTS]


def digests(case: Case) -> tuple[str, str]:
    """A and B of one run."""
    settings, plan = files.settings(CONFIG, case.tun), choose.load_plan(CONFIG, case.program, case.tun)
    machine = DryRun(settings, plan, case.seed, [parse(case.fault)] if case.fault else [])
    felt, second = hashlib.sha256(), machine.second

    def watched() -> Outcome:
        outcome = second()
        state = outcome.state
        trips, run, motors = " ".join(trip.id for trip in state.guard.trips), state.run, (outcome.stirrer, outcome.pump)
        felt.update(_SECOND(state.guard.line.duty, run.progress.credited_s, *(motor.on for motor in motors), run.leg))
        felt.update(f"{run.state} {run.phase} {trips}".encode())
        return outcome

    machine.second = watched  # type: ignore[method-assign]
    ran = machine.go()
    return felt.hexdigest()[:16], ran.digest[:16]


def _takes(program: str, tun: str) -> bool:
    try:
        return bool(choose.load_plan(CONFIG, program, tun))
    except Problems:
        return False


def spread(all_cases: list[Case], most: int) -> list[Case]:
    """So many of them, evenly over the list by a stride that meets every program, seed and fault."""
    if most >= len(all_cases):
        return all_cases
    stride = len(all_cases) / most
    step = len(FAULTS) + 1
    return [all_cases[(int(n * stride) + n * step) % len(all_cases)] for n in range(most)]


def main(argv: list[str]) -> int:
    """0: all equal (or written); 1: some differ, each named."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--write", action="store_true", help="record what is, in place of comparing")
    parser.add_argument("--most", type=int, default=10**6, help="so many cases, spread over all")
    parser.add_argument("--only", choices=("a", "b"), help="compare one of the two")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args(argv)
    chosen = spread(cases(), args.most)
    with ProcessPoolExecutor(args.jobs) as pool:
        found = dict(zip((case.name for case in chosen), pool.map(digests, chosen, chunksize=2), strict=True))
    if args.write:
        lines = (f"{json.dumps(name)}: {json.dumps(pair)}" for name, pair in found.items())
        HERE.write_text("{\n" + ",\n".join(lines) + "\n}\n")
        print(f"{len(found)} cases written")
        return 0
    known = json.loads(HERE.read_text())
    differ = 0
    for name, pair in found.items():
        compared = zip("AB", pair, known.get(name, ("", "")), strict=True)
        moved = [letter for letter, now, was in compared if now != was and args.only in (None, letter.lower())]
        differ += bool(moved)
        if moved:
            print(f"{name}: {' and '.join(moved)} moved")
    print(f"{len(found)} cases, {differ} differ")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
