"""Short runs in bad weather: a real Mosquitto, a bad network, dying processes, strangers; judged from the messages.

    python -m tests.regimes.chaos.storm [--faults 200] [--seed 1] [--speed 20]

Each run is a program of two rests on the simulated Gannet, with a scripted brewer who looks after trips. Faults come
one after another at random moments; then the weather is fair and the run has to complete. A run that breaks a promise
prints the line that plays it again.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import NamedTuple

from tests.regimes.chaos import judge
from tests.regimes.chaos.field import Field, Heard
from tests.regimes.chaos.hand import Hand
from tests.regimes.chaos.proxy import Mood, Proxy

FAULTS_A_RUN = 12
COMPLETE_S = 240.0  # real seconds after the last fault
NONSENSE = [
    b"",
    b"NaN",
    b"true",
    b"null",
    b"{}",
    b"[]",
    b'"65"',
    b"1e999",
    b"\xff\xfe",
    b"[" * 900,
    b'{"temperature":1,"temperature":2}',
    b'{"temperature":"65"}',
    b'{"temperature":true}',
    b'{"temperature":' + b"9" * 5000 + b"}",
    b"x" * 70_000,
]


class Weather:
    """One run and what is done to it."""

    def __init__(self, there: Field, proxy: Proxy, rng: Random) -> None:
        self.there, self.proxy, self.rng = there, proxy, rng
        self.base = there.base
        self.ours: set[bytes] = set()  # payloads that the storm itself put on the heater's topic
        self.foreign_heat = False  # heat of an earlier owner was replayed: the daemon then has to stop for good

    def seconds(self, low: float, high: float) -> float:
        """So many of the tun's seconds, as real ones."""
        return self.rng.uniform(low, high) / self.there.speed

    def say(self, name: str, payload: bytes, retain: bool = False) -> None:
        self.there.publish(f"{self.base}/{name}", payload, retain)

    def command(self, payload: bytes, retain: bool = False) -> None:
        self.ours.add(payload)
        self.say("heater/command", payload, retain)

    # ------------------------------------------------------------ the network

    def _mood(self, mood: Mood, low: float, high: float) -> None:
        self.proxy.mood = mood
        time.sleep(self.seconds(low, high))
        self.proxy.mood = Mood()

    def slow_network(self) -> None:
        self._mood(Mood(delay_s=self.seconds(0.5, 4.0)), 10, 60)

    def narrow_network(self) -> None:
        self._mood(Mood(bytes_per_s=self.rng.uniform(4_000, 40_000)), 10, 60)

    def deaf_network(self) -> None:
        self._mood(Mood(deaf=True), 5, 40)
        self.proxy.reset()

    def mute_network(self) -> None:
        self._mood(Mood(mute=True), 5, 40)
        self.proxy.reset()

    def black_hole(self) -> None:
        self._mood(Mood(deaf=True, mute=True), 5, 40)
        self.proxy.reset()

    def reset(self) -> None:
        self.proxy.reset()

    def resets(self) -> None:
        for _ in range(3):
            self.proxy.reset()
            time.sleep(self.seconds(1, 10))

    # ------------------------------------------------------------ processes

    def kill_daemon(self) -> None:
        self.there.kill("serve")
        time.sleep(self.seconds(0, 40))
        self.there.serve()

    def end_daemon(self) -> None:
        self.there.kill("serve", signal.SIGTERM)
        time.sleep(self.seconds(0, 40))
        self.there.serve()

    def _freeze(self, name: str, low: float, high: float) -> None:
        process = self.there.processes[name]
        os.kill(process.pid, signal.SIGSTOP)
        time.sleep(self.seconds(low, high))
        os.kill(process.pid, signal.SIGCONT)

    def freeze_daemon(self) -> None:
        self._freeze("serve", 1, 60)

    def freeze_broker(self) -> None:
        self._freeze("broker", 1, 9)

    def freeze_nodes(self) -> None:
        self._freeze("standin", 1, 30)

    def kill_broker(self) -> None:
        self.there.kill("broker")
        time.sleep(self.seconds(1, 60))
        self.there.broker()

    # ------------------------------------------------------------ the wall clock

    def _off_s(self) -> float:
        """An hour on or back as in spring and autumn, a day, 1970, or seconds."""
        return self.rng.choice([3600.0, -3600.0, 86_400.0, -time.time(), self.rng.uniform(-40.0, 40.0)])

    def clock_jumps(self) -> None:
        for _ in range(3):
            self.there.set_clock(self._off_s())
            time.sleep(self.seconds(2, 20))
        self.there.set_clock(0.0)

    def clock_set_while_away(self) -> None:
        """As a machine without a battery clock: killed, back in another time, set right later."""
        self.there.kill("serve")
        self.there.set_clock(self._off_s())
        time.sleep(self.seconds(0, 20))
        self.there.serve()
        time.sleep(self.seconds(20, 60))
        self.there.set_clock(0.0)

    # ------------------------------------------------------------ strangers and nonsense

    def nonsense_readings(self) -> None:
        for payload in self.rng.sample(NONSENSE, 6):
            self.say("probe/mash", payload)

    def nonsense_everywhere(self) -> None:
        names = ("heater/report", "level", "order", "heater/online", "probe/mash/online", "probe/second", "status")
        for name in names:
            payload = self.rng.choice(NONSENSE)
            if name != "status":
                self.say(name, payload)

    def wild_readings(self) -> None:
        for value in (-127.0, 85.0, 127.94, 4095.0):
            self.say("probe/mash", json.dumps({"temperature": value, "seq": self.rng.randrange(10**6)}).encode())

    def flood_of_readings(self) -> None:
        until = time.monotonic() + self.seconds(10, 20)
        while time.monotonic() < until:
            for _ in range(50):
                self.say("probe/second", b'{"temperature":"flood"}')
            time.sleep(0.025)

    def flood_of_orders(self) -> None:
        for n in range(300):
            self.say("order", json.dumps({"id": f"flood-{n}", "order": "resume"}).encode())

    def old_orders(self) -> None:
        for message in self.there.of("order")[-5:]:
            self.say("order", message.payload)

    def stale_order(self) -> None:
        nonce = self.there.newest("status").get("nonce")
        for at in (time.time() - 600, time.time() + 600):
            order = {"id": f"stale-{at}", "order": "advance", "at": at, "valid_s": 10, "nonce": nonce}
            self.say("order", json.dumps({**order, "nonce": "old"}).encode())

    def retained_orders(self) -> None:
        for order in ("start", "restart", "clear", "advance"):
            self.say("order", json.dumps({"id": f"trap-{order}", "order": order, "at": 0}).encode(), True)
        self.proxy.reset()
        time.sleep(self.seconds(30, 60))
        self.say("order", b"", True)

    def retained_heat(self) -> None:
        """Left over from earlier: retained while the daemon is away, so that it meets it when it comes back."""
        self.there.kill("serve", signal.SIGTERM)
        self.command(b'{"epoch":0,"seq":0,"duty":1.0,"valid_s":10,"owner":"trap"}', True)
        time.sleep(self.seconds(2, 10))
        self.there.serve()
        time.sleep(self.seconds(20, 40))
        self.command(b"", True)

    def replayed_heat(self) -> None:
        hot = [h.payload for h in self.there.of("heater/command") if b'"duty":0.0,' not in h.payload]
        if not hot:
            return
        owner = [json.loads(payload).get("owner") for payload in (hot[-1], self.there.of("heater/command")[-1].payload)]
        self.foreign_heat |= owner[0] != owner[1]
        self.ours.add(hot[-1])
        self.say("heater/command", hot[-1])

    def foreign_off(self) -> None:
        self.command(b'{"duty": 0}')

    def lost_level(self) -> None:
        self.say("level", b'{"ok": false}')

    def node_says_gone(self) -> None:
        self.say("heater/online", b"false")
        time.sleep(self.seconds(5, 20))
        self.say("heater/online", b"true", True)

    def plain_hold(self) -> None:
        self.say("order", b"hold")


FAULTS: dict[str, Callable[[Weather], None]] = {
    name: method
    for name, method in vars(Weather).items()
    if not name.startswith("_") and name not in ("seconds", "say", "command")
}


class Ran(NamedTuple):
    """One run's outcome."""

    seed: int
    faults: Counter[str]
    broken: list[str]
    complete: bool
    seconds: float


def run(seed: int, speed: float, count: int = FAULTS_A_RUN) -> Ran:
    """One run of the program with so many faults."""
    rng, began = Random(f"storm {seed}"), time.monotonic()
    faults: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        there = Field(Path(folder), "gannet", "short", speed)
        proxy = Proxy(there.port)
        there.via(proxy.port)
        there.skew = Path(folder) / "skew"
        try:
            there.begin()
            hand = Hand(there)
            weather = Weather(there, proxy, rng)
            for _ in range(count):
                time.sleep(weather.seconds(10, 60))
                name = rng.choice(sorted(FAULTS))
                faults[name] += 1
                there.mark(name)
                FAULTS[name](weather)
                if there.processes["serve"].poll() is not None:
                    there.serve()
            complete = _completes(there, weather.foreign_heat)
            hand.close()
            broken = judged(there.heard, weather.ours, there.base, speed)
        finally:
            there.end()
            proxy.close()
    return Ran(seed, faults, broken, complete, time.monotonic() - began)


def _completes(there: Field, foreign_heat: bool) -> bool:
    """The run completes; after an earlier owner's heat it may have ended aborted instead, with G19 standing."""

    def over() -> bool:
        trips = {trip["id"] for trip in there.newest("status").get("trips", ())}
        return there.state() == "complete" or (foreign_heat and there.state() == "aborted" and "G19" in trips)

    try:
        there.wait(over, COMPLETE_S, "the run completes")
    except AssertionError as why:
        print(why, file=sys.stderr)
        return False
    return True


def judged(heard: list[Heard], strangers: set[bytes], base: str, speed: float) -> list[str]:
    """What the record breaks; what the storm itself sent to the heater is no word of the daemon's."""
    topic = f"{base}/heater/command"
    return judge.all_of([h for h in heard if h.topic != topic or h.payload not in strangers], base, speed)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--speed", type=float, default=20.0)
    args = parser.parse_args()
    total: Counter[str] = Counter()
    failed, seed = 0, args.seed
    while total.total() < args.faults:
        ran = run(seed, args.speed, min(FAULTS_A_RUN, args.faults - total.total()))
        total += ran.faults
        good = ran.complete and not ran.broken
        failed += not good
        end = "complete" if ran.complete else "NOT COMPLETE"
        print(f"seed {seed}: {ran.faults.total()} faults, {end}, {ran.seconds:.0f} s", flush=True)
        for line in ran.broken:
            print(f"    {line}")
        if not good:
            print(f"    again: python -m tests.regimes.chaos.storm --seed {seed} --faults {ran.faults.total()}")
        seed += 1
    print(f"{total.total()} faults of {len(total)} kinds in {seed - args.seed} runs, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
