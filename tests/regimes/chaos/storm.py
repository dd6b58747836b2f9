"""Short runs in bad weather: a real Mosquitto, a bad network, dying processes, strangers; judged from the messages.

    python -m tests.regimes.chaos.storm [--faults 200] [--seed 1] [--speed 20] [--version 3]

Each run is a program of two rests on the simulated Gannet, with a scripted brewer who looks after trips. Faults come
one after another at random moments; then the weather is fair and the run has to complete. A run that breaks a promise
prints the line that plays it again.
"""

from __future__ import annotations

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
from typing import Any, NamedTuple

from tests.regimes.chaos import judge
from tests.regimes.chaos.field import Field, Heard
from tests.regimes.chaos.hand import Hand
from tests.regimes.chaos.proxy import Mood, Proxy
from tests.regimes.command import options

FAULTS_A_RUN = 12
COMPLETE_S = 240.0  # real seconds after the last fault
NONSENSE = [
    *(b"", b"NaN", b"true", b"null", b"{}", b"[]", b'"65"', b"1e999", b"\xff\xfe", b"[" * 900),
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

    def order(self, name: str, retain: bool = False, **said: object) -> None:
        self.say("order", json.dumps({"id": name, **said}).encode(), retain)

    def rest(self, low: float, high: float) -> None:
        time.sleep(self.seconds(low, high))

    def net(self, low: float, high: float, **mood: Any) -> None:
        """A bad network for so many of the tun's seconds; one that loses messages ends with a reset."""
        self.proxy.mood = Mood(**mood)
        self.rest(low, high)
        self.proxy.mood = Mood()
        if "deaf" in mood or "mute" in mood:
            self.proxy.reset()

    def away(self, name: str, high: float, how: signal.Signals = signal.SIGKILL, low: float = 0.0) -> None:
        """A process ends and is started anew later."""
        self.there.kill(name, how)
        self.rest(low, high)
        (self.there.broker if name == "broker" else self.there.serve)()

    def freeze(self, name: str, high: float) -> None:
        pid = self.there.processes[name].pid
        os.kill(pid, signal.SIGSTOP)
        self.rest(1, high)
        os.kill(pid, signal.SIGCONT)

    def off_s(self) -> float:
        """An hour on or back as in spring and autumn, a day, 1970, or seconds."""
        return self.rng.choice([3600.0, -3600.0, 86_400.0, -time.time(), self.rng.uniform(-40.0, 40.0)])


def resets(weather: Weather) -> None:
    for _ in range(3):
        weather.proxy.reset()
        weather.rest(1, 10)


def clock_jumps(weather: Weather) -> None:
    for _ in range(3):
        weather.there.set_clock(weather.off_s())
        weather.rest(2, 20)
    weather.there.set_clock(0.0)


def clock_set_while_away(weather: Weather) -> None:
    """As a machine without a battery clock: killed, back in another time, set right later."""
    weather.there.kill("serve")
    weather.there.set_clock(weather.off_s())
    weather.rest(0, 20)
    weather.there.serve()
    weather.rest(20, 60)
    weather.there.set_clock(0.0)


def nonsense_readings(weather: Weather) -> None:
    for payload in weather.rng.sample(NONSENSE, 6):
        weather.say("probe/mash", payload)


def nonsense_everywhere(weather: Weather) -> None:
    for name in ("heater/report", "level", "order", "heater/online", "probe/mash/online", "probe/second"):
        weather.say(name, weather.rng.choice(NONSENSE))


def wild_readings(weather: Weather) -> None:
    for value in (-127.0, 85.0, 127.94, 4095.0):
        said = {"temperature": value, "seq": weather.rng.randrange(10**6)}
        weather.say("probe/mash", json.dumps(said).encode())


def flood_of_readings(weather: Weather) -> None:
    until = time.monotonic() + weather.seconds(10, 20)
    while time.monotonic() < until:
        for _ in range(50):
            weather.say("probe/second", b'{"temperature":"flood"}')
        time.sleep(0.025)


def flood_of_orders(weather: Weather) -> None:
    for n in range(300):
        weather.order(f"flood-{n}", order="resume")


def old_orders(weather: Weather) -> None:
    for message in weather.there.of("order")[-5:]:
        weather.say("order", message.payload)


def stale_order(weather: Weather) -> None:
    for at in (time.time() - 600, time.time() + 600):
        weather.order(f"stale-{at}", order="advance", at=at, valid_s=10, nonce="old")


def retained_orders(weather: Weather) -> None:
    for order in ("start", "restart", "clear", "advance"):
        weather.order(f"trap-{order}", True, order=order, at=0)
    weather.proxy.reset()
    weather.rest(30, 60)
    weather.say("order", b"", True)


def retained_heat(weather: Weather) -> None:
    """Left over from earlier: retained while the daemon is away, so that it meets it when it comes back."""
    weather.there.kill("serve", signal.SIGTERM)
    weather.command(b'{"epoch":0,"seq":0,"duty":1.0,"valid_s":10,"owner":"trap"}', True)
    weather.rest(2, 10)
    weather.there.serve()
    weather.rest(20, 40)
    weather.command(b"", True)


def replayed_heat(weather: Weather) -> None:
    sent = [h.payload for h in weather.there.of("heater/command")]
    hot = [payload for payload in sent if b'"duty":0.0,' not in payload]
    if hot:
        owners = {json.loads(payload).get("owner") for payload in (hot[-1], sent[-1])}
        weather.foreign_heat |= len(owners) > 1
        weather.command(hot[-1])


def node_says_gone(weather: Weather) -> None:
    weather.say("heater/online", b"false")
    weather.rest(5, 20)
    weather.say("heater/online", b"true", True)


FAULTS: dict[str, Callable[[Weather], None]] = {
    "slow_network": lambda w: w.net(10, 60, delay_s=w.seconds(0.5, 4.0)),
    "narrow_network": lambda w: w.net(10, 60, bytes_per_s=w.rng.uniform(4_000, 40_000)),
    "deaf_network": lambda w: w.net(5, 40, deaf=True),
    "mute_network": lambda w: w.net(5, 40, mute=True),
    "black_hole": lambda w: w.net(5, 40, deaf=True, mute=True),
    "reset": lambda w: w.proxy.reset(),
    "kill_daemon": lambda w: w.away("serve", 40),
    "end_daemon": lambda w: w.away("serve", 40, signal.SIGTERM),
    "kill_broker": lambda w: w.away("broker", 60, low=1.0),
    "freeze_daemon": lambda w: w.freeze("serve", 60),
    "freeze_broker": lambda w: w.freeze("broker", 9),
    "freeze_nodes": lambda w: w.freeze("standin", 30),
    "foreign_off": lambda w: w.command(b'{"duty": 0}'),
    "lost_level": lambda w: w.say("level", b'{"ok": false}'),
    "plain_hold": lambda w: w.say("order", b"hold"),
} | {
    fault.__name__: fault
    for fault in (
        *(resets, clock_jumps, clock_set_while_away, nonsense_readings, nonsense_everywhere, wild_readings),
        *(flood_of_readings, flood_of_orders, old_orders, stale_order, retained_orders, retained_heat, replayed_heat),
        node_says_gone,
    )
}


class Ran(NamedTuple):
    """One run's outcome."""

    seed: int
    faults: Counter[str]
    broken: list[str]
    complete: bool
    seconds: float


def run(seed: int, speed: float, count: int = FAULTS_A_RUN, version: int = 5, program: str = "short") -> Ran:
    """One run of the program with so many faults."""
    rng, began = Random(f"storm {seed}"), time.monotonic()
    faults: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        there = Field(Path(folder), "gannet", program, speed, version=version)
        proxy = Proxy(there.port)
        there.reach(there.config, proxy.port)
        there.skew = Path(folder) / "skew"
        try:
            there.begin()
            hand = Hand(there)
            weather = Weather(there, proxy, rng)
            for _ in range(count):
                weather.rest(10, 60)
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

    return there.came(over, COMPLETE_S, "the run completes")


def judged(heard: list[Heard], strangers: set[bytes], base: str, speed: float) -> list[str]:
    """What the record breaks; what the storm itself sent to the heater is no word of the daemon's."""
    topic = f"{base}/heater/command"
    return judge.all_of([h for h in heard if h.topic != topic or h.payload not in strangers], base, speed)


def main() -> int:
    args = options(__doc__, faults=200, seed=1, speed=20.0, version=5)
    total: Counter[str] = Counter()
    failed, seed = 0, args.seed
    while total.total() < args.faults:
        ran = run(seed, args.speed, min(FAULTS_A_RUN, args.faults - total.total()), args.version)
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
