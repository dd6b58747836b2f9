"""A run's record damaged in several places at once: never heat, never a skipped rest, never a crash.

    python -m tests.regimes.chaos.damages [--count 100000] [--seed 1]

Four records of the real service, each of at most 300 lines: a rise, a rest, the step after it, a latched trip. Each
damaged copy is read as a process that starts reads it. Either the damage is seen, then a latched trip stands and the
run waits; or what is read is a beginning of what was written, and what was dropped is one line cut short. Every 500th
is lived on for two minutes by the real service.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random
from typing import NamedTuple
from unittest import mock

from controller.core.nouns import RunState
from controller.core.procedure import resume
from controller.edge.record import line_format as record
from controller.edge.record import reader as restart
from controller.edge.service import Service
from controller.settings.service import Settings
from tests.edge.virtual import Clock, Rig, run
from tests.regimes.chaos.cuts import Camera, Start, fresh, too_hot
from tests.regimes.command import options

RECORDS = 300
LIVED = 500  # every so manieth
LIFE_S = 120.0
NAME = "00000001-run.jsonl"
MOMENTS = {"rise": 200.0, "rest": 2150.0, "next step": 2900.0, "latched trip": 400.0}


class Whole(NamedTuple):
    """An undamaged record and what it says."""

    name: str
    start: Start
    data: bytes
    lines: list[dict[str, object]]
    leg: int
    credit_s: float
    latched: bool
    at: float


def whole(name: str, until_s: float) -> Whole:
    """Live so long, keep the newest 300 lines' worth: samples before them are left out, the lines numbered anew."""
    start = fresh("water-trial", 7, False)
    with tempfile.TemporaryDirectory() as folder:
        disks = Camera(0, Random(0), {}, Path(folder))

        async def main() -> Service:
            rig = Rig(start.settings, start.site, Path(folder), "whole", disks=disks)
            if name == "latched trip":
                asyncio.get_running_loop().call_at(until_s - 60.0, too_hot, rig, 4)
            await rig.run(lambda service: False, until_s)
            return rig.service

        service = run(main(), -0.75)
        found = next(data for path, data in disks.synced.items() if path.stem.endswith("-run"))
    lines = record.scan(Path(NAME), found).lines
    spare = [n for n, line in enumerate(lines) if line["kind"] == "sample"][: max(0, len(lines) - RECORDS)]
    kept = [line for n, line in enumerate(lines) if n not in set(spare)]
    plain = [{k: v for k, v in line.items() if k not in ("n", "crc")} for line in kept]
    data = b"".join(record.line({"n": n, **line}) for n, line in enumerate(plain))
    state = service.state
    latched = any(trip.latched for trip in state.guard.trips)
    now, written = state.run, record.scan(Path(NAME), data).lines
    return Whole(name, start, data, written, now.leg, now.progress.credited_s, latched, state.now)


def wounded(data: bytes, rng: Random) -> bytes:
    """One to six wounds, half of them in the last 4 KiB."""
    hurt = bytearray(data)
    for _ in range(rng.randint(1, 6)):
        if not hurt:
            break
        low = max(0, len(hurt) - 4096) if rng.random() < 0.5 else 0
        at = rng.randrange(low, len(hurt))
        WOUNDS[rng.randrange(len(WOUNDS))](hurt, at, rng)
    return bytes(hurt)


def _flip(hurt: bytearray, at: int, rng: Random) -> None:
    hurt[at] ^= 1 << rng.randrange(8)


def _zero(hurt: bytearray, at: int, rng: Random) -> None:
    length = len(hurt[at : at + rng.choice((1, 16, 512, 4096))])
    hurt[at : at + length] = bytes(length)


def _noise(hurt: bytearray, at: int, rng: Random) -> None:
    length = len(hurt[at : at + rng.choice((1, 16, 512))])
    hurt[at : at + length] = rng.randbytes(length)


def _cut(hurt: bytearray, at: int, rng: Random) -> None:
    del hurt[at : at + rng.choice((1, 40, 400, len(hurt)))]


def _insert(hurt: bytearray, at: int, rng: Random) -> None:
    hurt[at:at] = rng.randbytes(rng.randint(1, 64))


def _line(hurt: bytearray, at: int) -> slice:
    """The whole line that this place is in."""
    return slice(hurt.rfind(b"\n", 0, at) + 1, hurt.find(b"\n", at) + 1 or len(hurt))


def _twice(hurt: bytearray, at: int, rng: Random) -> None:
    line = _line(hurt, at)
    hurt[line.stop : line.stop] = hurt[line]


def _line_out(hurt: bytearray, at: int, rng: Random) -> None:
    del hurt[_line(hurt, at)]


def _newline(hurt: bytearray, at: int, rng: Random) -> None:
    end = hurt.find(b"\n", at)
    if end >= 0:
        hurt[end : end + 1] = rng.choice((b"", b" ", b"\0", b"\r"))


WOUNDS = (_flip, _zero, _noise, _cut, _insert, _twice, _line_out, _newline)


class StillClock(Clock):
    """A clock that stands where the process starts."""

    def __init__(self, at: float) -> None:
        super().__init__()
        self._at = at

    def now(self) -> float:
        return self._at


def judged(whole: Whole, data: bytes, folder: Path) -> tuple[str, list[str]]:
    """What does a starting process make of it, and what is wrong with that?"""
    wrong: list[str] = []
    settings: Settings = whole.start.settings
    (folder / NAME).write_bytes(data)
    got = record.scan(Path(NAME), data)
    if got.lines != whole.lines[: len(got.lines)]:
        wrong.append("lines that were never written")
    found = record.find(folder)
    past = restart.recall(settings, found, StillClock(whole.at + 20.0), 0.0, lambda program, digest: True)
    latched = any(trip.latched for trip in past.guard.trips)
    if found.damage:
        locked = any(trip.id == "G20" and trip.latched for trip in past.guard.trips)
        wrong += [] if locked else ["damage seen, but nothing is locked"]
    elif data[got.good_bytes :].count(record.MARK) > 1:
        wrong.append(f"{data[got.good_bytes :].count(record.MARK)} lines dropped as one that was cut short")
    pending = past.pending
    if pending is None:
        return ("locked" if found.damage else "nothing was running"), wrong
    credited_s = pending.run.progress.credited_s
    if pending.run.leg > whole.leg or (pending.run.leg == whole.leg and credited_s > whole.credit_s):
        wrong.append(f"step {pending.run.leg} at {credited_s} s: further than the run was")
    kind = resume.decide(pending, pending.last_c, 80.0, latched).kind
    if kind == "resume" and found.damage:
        wrong.append("resumed by itself over damage")
    length = "shorter" if len(got.lines) < len(whole.lines) else "whole"
    return "locked" if found.damage else f"{length}, {kind}", wrong


def heats(whole: Whole, data: bytes) -> bool:
    """Does the real service heat within two minutes of this start?"""
    with tempfile.TemporaryDirectory() as folder:
        disks = Camera(0, Random(0), {NAME: data}, Path(folder))

        async def main() -> bool:
            rig = Rig(whole.start.settings, fresh("water-trial", 7, False).site, Path(folder), "again", disks=disks)
            await rig.run(lambda service: service.state.run.state is RunState.COMPLETE, LIFE_S)
            return any(b'"duty":0.0,' not in command for command in rig.commands())

        with mock.patch.object(restart, "since_boot_s", lambda: 2e4):
            return run(main(), whole.at + 20.0)


def main() -> int:
    args = options(__doc__, count=100_000, seed=1)
    records = [whole(name, until) for name, until in MOMENTS.items()]
    for one in records:
        print(f"{one.name}: {len(one.lines)} lines, {len(one.data)} bytes, step {one.leg}, {one.credit_s:.0f} s")
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        count, failed = damaged(records, args.seed, args.count, Path(folder))
    lived = -(-args.count // LIVED)
    print(f"{args.count} damages, {lived} of them lived on, {time.monotonic() - began:.0f} s: {dict(count)}")
    print(f"{failed} promises broken")
    return 1 if failed else 0


def damaged(records: list[Whole], seed: int, number: int, folder: Path) -> tuple[Counter[str], int]:
    """So many damages: what came of them, and how many broke a promise."""
    count: Counter[str] = Counter()
    failed = 0
    for n in range(number):
        one = records[n % len(records)]
        data = wounded(one.data, Random(f"damage {seed} {n}"))
        kind, wrong = judged(one, data, folder)
        count[kind] += 1
        if n % LIVED == 0 and heats(one, data) and kind == "locked":
            wrong.append("heat over a damaged record")
        failed += bool(wrong)
        if n % 10_000 == 9_999:
            print(f"{n + 1} damages, {failed} promises broken", flush=True)
        for line in wrong:
            print(f"    seed {seed}, number {n}, {one.name}: {line}", flush=True)
    return count, failed


if __name__ == "__main__":
    sys.exit(main())
