"""Power cuts at random moments, unsynced data dropped, on the real service and journal in virtual time.

    python -m tests.regimes.chaos.cuts [--cuts 1000] [--seed 1]

A whole run of a shipped program is lived once; at random disk calls the tun, the brewer and what the disk then held are
kept. Each is a power cut: of what was not synced nothing, a beginning, or (one in twenty) an end without its beginning
survives, and zeros after it.
The machine comes back after a while, with or without a clock that can tell, and lives on; some of those lives are cut
again. Wanted: the step where it was, a credit at most 5 s behind and never ahead, latched trips kept, no heat in 10 s,
none before the decision is on the disk, none over a damaged record.
"""

from __future__ import annotations

import asyncio
import copy
import json
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random
from typing import NamedTuple
from unittest import mock

from controller.core.nouns import RunState
from controller.edge.files import config_files as files
from controller.edge.record import reader as restart
from controller.edge.service import Service
from controller.plan import plan
from controller.settings.service import Settings
from sim.people.manner import PATIENT
from sim.people.person import Person
from sim.simulated_site import SimulatedSite
from sim.world.world import World
from tests.edge.virtual import Clock, Disks, Rig, run
from tests.places import CONFIG
from tests.regimes.command import options

PROGRAMS = ("water-trial", "redstart", "sandpiper", "dotterel")
CUTS_A_RUN, AGAIN = 50, 4
LOST_S = 5.0  # of rest time, at most
LOCK_S = 9.0  # the start-up lock, less a tick
LONGEST_S, SHORT_S = 6 * 3600.0, 420.0
WHOLE = 20  # every so manieth life after a cut goes on to its end
OVER_C = b'{"temperature":84.0,"seq":%d}'


class Shot(NamedTuple):
    """What is left when the power goes."""

    at: float
    site: SimulatedSite
    synced: dict[str, bytes]
    written: dict[str, bytes]
    run_id: str
    legs: tuple[int, int]  # before and after the tick in which the power went
    credits_s: tuple[float, float]
    trips: frozenset[str]  # latched, and told to the outside


class Camera(Disks):
    """A disk that keeps so many moments of its calls, all equally likely (reservoir sampling: Vitter 1985, R)."""

    def __init__(self, keep: int, rng: Random, before: dict[str, bytes], folder: Path) -> None:
        super().__init__()
        self.shots: list[Shot] = []
        self.life: Life | None = None
        self._keep, self._rng, self._seen = keep, rng, 0
        for name, data in before.items():
            (folder / name).write_bytes(data)
            self.written[folder / name], self.synced[folder / name] = bytearray(data), data

    def _call(self, what: str) -> None:
        super()._call(what)
        if self.life is None or self._keep == 0:
            return
        self._seen += 1
        place = self._rng.randrange(self._seen)
        if place < self._keep:
            self.shots[place : place + 1] = [self.life.shot()]


class Life:
    """One process from its start to a power cut or its end, watched each second."""

    def __init__(self, settings: Settings, disks: Camera, rig: Rig) -> None:
        self.settings, self.disks, self.rig = settings, disks, rig
        self.begun, self.first = rig.clock.now(), rig.service.state
        self.wrong: list[str] = []
        self.hot = self.twice = False
        self._before = self.first
        self._told: set[str] = set()
        self._index: int | None = None
        rig.broker.listen([rig.topics.heater_command], self._command)
        rig.broker.listen([rig.topics.event, rig.topics.status], self._heard)
        disks.life = self

    def shot(self) -> Shot:
        state, before = self.rig.service.state, self._before
        names = {path.name: data for path, data in self.disks.synced.items()}
        written = {path.name: bytes(data) for path, data in self.disks.written.items()}
        legs, credits = (before.run.leg, state.run.leg), (before.run.progress.credited_s, state.run.progress.credited_s)
        now, site = self.rig.clock.now(), copied(self.rig.site)
        return Shot(now, site, names, written, state.run.begun.id or "", legs, credits, frozenset(self._told))

    def second(self, service: Service) -> None:
        """Once a second, between ticks."""
        self._before = service.state
        kept, run = self.first.pending, service.state.run
        if kept is not None and run.leg == kept.run.leg and service.state.pending is None:
            most = kept.run.progress.credited_s + (kept.outage_s or 0.0) + (self.rig.clock.now() - self.begun)
            if run.progress.credited_s > most + 1.0 and not self.twice:
                self.twice = True
                self.wrong.append(f"credit {run.progress.credited_s} s, at most {most:.1f} s are possible")

    def _heard(self, topic: str, payload: bytes, retained: bool) -> None:
        said = json.loads(payload)
        if topic == self.rig.topics.event:
            self._told |= {said["id"]} if said["kind"] == "trip" and said["id"] == "G07" else set()
            return
        step = said.get("step")
        if not step or said.get("run") is None:
            return
        if self._index is not None and step["index"] not in (self._index, self._index + 1):
            self.wrong.append(f"step {step['index']} after {self._index}")
        self._index = step["index"]

    def _command(self, topic: str, payload: bytes, retained: bool) -> None:
        if json.loads(payload)["duty"] <= 0.0:
            return
        if any(trip.latched for trip in self.rig.service.state.guard.trips):
            self.wrong.append("heat under a latched trip")
        if self.hot:
            return
        self.hot = True
        since = self.rig.clock.now() - self.begun
        if since < LOCK_S:
            self.wrong.append(f"heat {since:.1f} s after the start")
        if self.first.pending is not None and not self._decided():
            self.wrong.append("heat before the decision is on the disk")

    def _decided(self) -> bool:
        """Is there a decision on the disk after this process' own first line?"""
        lines = [json.loads(raw) for path in sorted(self.disks.synced) for raw in self._sound(path)]
        mine = max((n for n, line in enumerate(lines) if line["kind"] in ("process", "header")), default=0)
        return any(line["kind"] == "resume" for line in lines[mine:])

    def _sound(self, path: Path) -> list[bytes]:
        return [raw for raw in self.disks.synced[path].splitlines() if raw[:1] == b"{" and raw[-1:] == b"}"]


def copied(site: SimulatedSite) -> SimulatedSite:
    """Tun and brewer as they are. A deed in hand cannot be copied: the rest of it is left out, the answer comes."""
    person = site.person
    assert person is not None
    deed, person._deed = person._deed, None
    made = copy.deepcopy(site)
    person._deed = deed
    return made


class Start(NamedTuple):
    """With what does a process begin?"""

    settings: Settings
    site: SimulatedSite
    on_disk: dict[str, bytes]
    at: float
    boot: str
    sure: bool = True  # the wall clock is in step
    shot: Shot | None = None  # what there was before


class Lived(NamedTuple):
    """What came of it."""

    wrong: list[str]
    kind: str
    shots: list[Shot]


def lived(start: Start, keep: int, longest_s: float, rng: Random, trip_at: float | None = None) -> Lived:
    """One life of the service."""
    with tempfile.TemporaryDirectory() as folder:
        disks = Camera(keep, rng, start.on_disk, Path(folder))

        async def main() -> tuple[Life, RunState]:
            clock = Clock()
            clock.sure = start.sure
            rig = Rig(start.settings, start.site, Path(folder), start.boot, disks=disks, clock=clock)
            life = Life(start.settings, disks, rig)
            if trip_at is not None:
                asyncio.get_running_loop().call_at(trip_at, too_hot, rig, 4)

            def look(service: Service) -> bool:
                life.second(service)
                return service.state.run.state in (RunState.COMPLETE, RunState.STOPPED)

            await rig.run(look, longest_s)
            return life, rig.service.state.run.state

        with (
            mock.patch.object(restart, "boot_id", lambda: start.boot),
            mock.patch.object(restart, "since_boot_s", lambda: asyncio.get_running_loop().time() + 1e4),
        ):
            life, state = run(main(), start.at)
    wrong = life.wrong + (came_back(life, start.shot) if start.shot is not None else [])
    person = start.site.person
    clears = person is not None and person.manner.clears
    whole = longest_s == LONGEST_S and clears and not any(t.latched for t in life.first.guard.trips)
    if whole and (start.shot is None or start.shot.run_id) and life.first.pending is not None:
        wrong += [] if state is RunState.COMPLETE else [f"not complete but {state}"]
    return Lived(wrong, _kind(life), disks.shots)


def too_hot(rig: Rig, times: int) -> None:
    """Somebody says four times that the mash is over the hard limit: G07 latches."""
    rig.broker.publish(rig.service.settings.tun.probes.mash.topic, OVER_C % (rig.site.world.probes["mash"].seq + 1))
    if times > 1:
        asyncio.get_running_loop().call_later(0.4, too_hot, rig, times - 1)


def _kind(life: Life) -> str:
    if any(trip.id == "G20" for trip in life.first.guard.trips):
        return "locked by damage"
    if life.first.pending is None:
        return "nothing was running"
    if any(trip.latched for trip in life.first.guard.trips):
        return "latched trip kept"
    said = [json.loads(payload) for topic, payload, _ in life.rig.broker.history if topic == life.rig.topics.event]
    return next((f"decided: {e['id']}" for e in said if e["kind"] == "resume"), "undecided")


def came_back(life: Life, shot: Shot) -> list[str]:
    """Is what the process found at its start what there was when the power went?"""
    wrong: list[str] = []
    trips = {trip.id for trip in life.first.guard.trips if trip.latched}
    if not shot.trips <= trips and "G20" not in trips:
        wrong.append(f"latched trips lost: {sorted(shot.trips - trips)}")
    pending = life.first.pending
    if pending is None or "G20" in trips:
        return wrong
    leg, credit = pending.run.leg, pending.run.progress.credited_s
    if leg not in shot.legs:
        wrong.append(f"step {leg}, was in {shot.legs}")
    elif shot.legs[0] == shot.legs[1] and not (shot.credits_s[0] - LOST_S <= credit <= shot.credits_s[1] + 0.2):
        wrong.append(f"credit {credit} s, was {shot.credits_s}")
    return wrong


def survived(shot: Shot, rng: Random) -> dict[str, bytes]:
    """What the disk holds afterwards: what was synced, of the rest what chance left, and room never filled."""
    left: dict[str, bytes] = {}
    for name, synced in shot.synced.items():
        rest = shot.written[name][len(synced) :]
        place, kind = rng.randint(0, len(rest)), rng.random()
        if kind < 0.4:
            rest = b""
        elif kind < 0.95:
            rest = rest[:place]
        else:  # the later block reached the disk, the former did not
            rest = bytes(place) + rest[place:]
        left[name] = synced + rest + bytes(rng.choice((0, 5000)))
    return left


def after(shot: Shot, settings: Settings, name: str, rng: Random) -> Start:
    """The machine comes back."""
    away = rng.choice([rng.uniform(1.0, 60.0), rng.uniform(1.0, 60.0), rng.uniform(60.0, 1740.0), 1799.0, 1810.0])
    site = copied(shot.site)
    site.until(shot.at + away)  # nobody hears what is said meanwhile
    return Start(settings, site, survived(shot, rng), shot.at + away, name, rng.random() < 0.8, shot)


def fresh(program: str, seed: int, clears: bool) -> Start:
    """A tun, a brewer and an empty disk."""
    settings = files.settings(CONFIG, "gannet")
    made = plan.make(files.load_program(CONFIG, program), settings.tun)
    world = World(settings, made.course, seed, (), None, made.program.liquor.temperature_c)
    site = SimulatedSite(world, Person(world, PATIENT._replace(clears=clears)))
    return Start(settings, site, {}, -0.75, f"{seed}-0")


def one_run(seed: int, cuts: int) -> tuple[Counter[str], list[str]]:
    """A run lived whole, and its power cuts."""
    rng = Random(f"cuts {seed}")
    trip_at = rng.uniform(300.0, 3000.0) if seed % 4 == 0 else None
    longest = LONGEST_S if trip_at is None else trip_at + 900.0
    start = fresh(PROGRAMS[seed % len(PROGRAMS)], seed, trip_at is None)
    settings = start.settings
    first = lived(start, min(cuts, CUTS_A_RUN), longest, rng, trip_at)
    wrong = [f"seed {seed}, whole: {text}" for text in first.wrong]
    count: Counter[str] = Counter()
    shots = [(shot, 1) for shot in first.shots]
    while shots and count.total() < cuts:
        shot, depth = shots.pop(0)
        n = count.total()
        again = AGAIN if depth == 1 and rng.random() < 0.1 else 0
        whole = n % WHOLE == 0
        life = lived(after(shot, settings, f"{seed}-{n + 1}", rng), again, LONGEST_S if whole else SHORT_S, rng)
        shots = [(more, depth + 1) for more in life.shots] + shots
        count[life.kind] += 1
        wrong += [f"seed {seed}, cut {n} at {shot.at:.1f} s: {text}" for text in life.wrong]
    return count, wrong


def main() -> int:
    args = options(__doc__, cuts=1000, seed=1)
    total: Counter[str] = Counter()
    failed, seed, began = 0, args.seed, time.monotonic()
    while total.total() < args.cuts:
        count, wrong = one_run(seed, min(CUTS_A_RUN, args.cuts - total.total()))
        total += count
        failed += len(wrong)
        print(f"seed {seed}: {dict(count)}; {total.total()} in all, {time.monotonic() - began:.0f} s", flush=True)
        for line in wrong:
            print(f"    {line}", flush=True)
        seed += 1
    print(f"{total.total()} power cuts in {seed - args.seed} runs, {failed} promises broken: {dict(total)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
