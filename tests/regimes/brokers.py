"""Does the daemon keep its promises on brokers of others? Each is started here, on loopback, and ended by its own id.

    python -m tests.regimes.brokers [--only rabbitmq] [--restarts 2]

A broker that speaks MQTT 3.1.1 alone is first met with version = 5: the daemon's log must name `version = 3`. Then a
whole short mash of the simulated Gannet, the broker killed while it heats and back seconds later, some times over;
judged from the messages. At the end the daemon is killed: its last will must come.

Needs mosquitto and rabbitmq-server (Debian), node and npm; what npm installs is kept (`foreign.py`).
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from tests.regimes.broker_kinds import KINDS, SPEED, Kind, version_of
from tests.regimes.chaos import judge
from tests.regimes.chaos.hand import Hand
from tests.regimes.command import options
from tests.regimes.foreign import Missing

AWAY_S = 3.0  # real: half a minute of the tun's
TOLD = "version = 3"


class Ran(NamedTuple):
    """What came of one broker."""

    broken: list[str]
    commands: int
    latest_s: float  # real seconds from a broker's return until the daemon speaks again
    seconds: float


def told(folder: Path, name: str) -> list[str]:
    """The daemon with MQTT 5 on a broker that has none: does it say what to do?"""
    make, _ = KINDS[name]
    there = make(folder, 5)
    try:
        there.broker()
        there.serve()
        there.wait(lambda: TOLD in there.said_by("serve"), 30.0, f"the daemon says {TOLD}")
    except AssertionError as why:
        return [str(why)]
    finally:
        there.end()
    return []


def mashed(folder: Path, name: str, restarts: int) -> Ran:
    """A whole mash with restarts of the broker."""
    make, version = KINDS[name]
    there, began, latest_s = make(folder, version), time.monotonic(), 0.0
    broken: list[str] = []
    try:
        there.begin()
        hand = Hand(there)
        for _ in range(restarts):
            latest_s = max(latest_s, broken_and_back(there))
        there.wait(lambda: there.state() == "complete", 300.0, "the run completes")
        hand.close()
        broken += judge.all_of(there.heard, there.base, there.speed)
        seen = len(there.heard)
        there.kill("serve")
        there.wait(lambda: bool(there.of("online", seen)), 30.0, "the last will comes")
        broken += [] if there.of("online", seen)[0].payload == b"false" else ["the last will is not false"]
    except AssertionError as why:
        broken.append(str(why))
    finally:
        there.end()
    return Ran(broken, len(there.of("heater/command")), latest_s, time.monotonic() - began)


def broken_and_back(there: Kind) -> float:
    """The broker dies while it heats, and is back later. How long until the daemon speaks again, real seconds?"""
    there.wait(lambda: there.newest("heater/report").get("duty", 0.0) > 0.0, 120.0, "the heater is on")
    there.mark("broker killed")
    there.kill("broker")
    time.sleep(AWAY_S)
    there.broker()
    back, seen = time.monotonic(), len(there.heard)
    there.wait(lambda: bool(there.of("heater/command", seen)), 60.0, "the daemon speaks again")
    return time.monotonic() - back


def tried(name: str, restarts: int) -> list[str]:
    """All of one broker. What it broke."""
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        wrong = [] if KINDS[name][0].five else told(Path(one), name)
        ran = mashed(Path(other), name, restarts)
    words = "" if KINDS[name][0].five else f"names `{TOLD}`; "
    said = f"{words}{ran.commands} commands, {restarts} restarts, speaks again within {ran.latest_s:.1f} s"
    print(
        f"{name} {version_of(name)}: {said}; {len(wrong + ran.broken)} promises broken, {ran.seconds:.0f} s", flush=True
    )
    return wrong + ran.broken


def main(words: list[str] | None = None) -> int:
    """1 when a promise is broken, 3 when something is not installed."""
    asked, bad = options(__doc__, words, only=sorted(KINDS), restarts=2), 0
    for name in asked.only:
        try:
            broken = tried(name, asked.restarts)
        except Missing as what:
            print(f"{name}: not tried, missing: {what}")
            bad = max(bad, 3)
            continue
        print("".join(f"    {line}\n" for line in broken), end="", flush=True)
        bad = 1 if broken else bad
    return bad


if __name__ == "__main__":
    print(f"at {SPEED:g} times real time")
    sys.exit(main())
