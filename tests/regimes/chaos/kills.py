"""kill -9 at random moments of runs with the stand-in; judged from the messages and from the record on the disk.

    python -m tests.regimes.chaos.kills [--kills 500] [--seed 1] [--speed 20]

Programs of two rests on the simulated Gannet over a real Mosquitto. The daemon is killed again and again, at moments
from a fifth of a second to 400 s of the tun's time after its start, and started anew; a scripted brewer answers and
restarts. Wanted: no heat beyond the lease, none in the first 10 s of a start, no rest skipped, no credit twice.
"""

from __future__ import annotations

import math
import sys
import tempfile
import time
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

from controller.edge.record import line_format as record
from tests.regimes.chaos import judge
from tests.regimes.chaos.field import Field
from tests.regimes.chaos.hand import Hand
from tests.regimes.command import options

KILLS_A_RUN = 25
SOONEST_S, LATEST_S = 0.2, 400.0  # of the tun's time after a start
COMPLETE_S = 180.0  # real seconds after the last kill
OVER = ("complete", "idle")  # idle: started anew after the end, or the run is lost
STEPS = [0, 1, 2]  # of the short program


class Ran(NamedTuple):
    """One run's outcome."""

    kills: int
    heating: int  # of these, kills while the heater was on
    broken: list[str]
    complete: bool
    seconds: float


def run(seed: int, speed: float, count: int) -> Ran:
    """One run of the program with at most so many kills."""
    rng, began = Random(f"kills {seed}"), time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        there = Field(Path(folder), "gannet", "short", speed)
        hand: Hand | None = None
        try:
            there.begin()
            hand = Hand(there)
            kills, heating = _kill(there, rng, count)
            complete = there.came(lambda: there.state() in OVER, COMPLETE_S, "the run completes") and _recorded(there)
        finally:
            if hand is not None:
                hand.close()
            there.end()
        base = there.base
        broken = [
            *judge.all_of(there.heard, base, speed),
            *judge.starts_without_heat(there.heard, f"{base}/heater/command", speed),
            *judge.credit_once(there.heard, f"{base}/status", speed),
            *(rests_in_full(_records(there)) if complete else ()),
        ]
    return Ran(kills, heating, broken, complete, time.monotonic() - began)


def _kill(there: Field, rng: Random, count: int) -> tuple[int, int]:
    """Kill and start, until the run is over; how often, and how often while the heater was on?"""
    kills = heating = 0
    while kills < count and there.state() not in OVER:
        after = math.exp(rng.uniform(math.log(SOONEST_S), math.log(LATEST_S)))
        time.sleep(after / there.speed)
        heating += there.newest("heater/report").get("duty", 0.0) > 0.0
        there.kill("serve")
        kills += 1
        there.mark(f"kill after {after:.1f} s")
        time.sleep(rng.uniform(0.0, 20.0) / there.speed)
        there.mark(judge.START)
        mark = len(there.heard)
        there.serve()
        if rng.random() < 0.8:  # else it is killed while it still starts
            there.wait(lambda mark=mark: bool(there.of("heater/command", mark)), 30, "a first command")  # type: ignore[misc]
    return kills, heating


def _recorded(there: Field) -> bool:
    """Does the record say that the run completed? A kill may come before anybody was told."""
    states = [e["id"] for path in record.files(_records(there)) for e in record.read(path).of("state")]
    return "complete" in states


def _records(there: Field) -> Path:
    return there.folder / "data" / "record" / there.tun


def rests_in_full(folder: Path) -> list[str]:
    """What the record on the disk says of the rests: each done once, in order, with all of its time."""
    wrong: list[str] = []
    done: list[dict[str, Any]] = []
    for path in record.files(folder):
        found = record.read(path)
        wrong += [f"{path.name}: {found.damage}"] if found.damage else []
        done += [dict(event["data"]) for event in found.of("step done")]
    if [step["index"] for step in done] != STEPS:
        wrong.append(f"steps done: {[step['index'] for step in done]}")
    short = [s for s in done if s["kind"] == "rest" and s["credited_s"] < s["planned_s"] - 0.5]
    return [*wrong, *(f"rest {s['index']} got {s['credited_s']} s of {s['planned_s']} s" for s in short)]


def main() -> int:
    args = options(__doc__, kills=500, seed=1, speed=20.0)
    total = heating = failed = runs = 0
    while total < args.kills:
        ran = run(args.seed + runs, args.speed, min(KILLS_A_RUN, args.kills - total))
        total, heating = total + ran.kills, heating + ran.heating
        failed += bool(ran.broken) or not ran.complete
        end = "complete" if ran.complete else "NOT COMPLETE"
        print(f"seed {args.seed + runs}: {ran.kills} kills, {end}, {ran.seconds:.0f} s; {total} in all", flush=True)
        for line in ran.broken:
            print(f"    {line}", flush=True)
        runs += 1
    print(f"{total} kills, {heating} of them with the heater on, in {runs} runs, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
