"""What does a flood on the reading topic do to the beat?

    python -m tests.regimes.bench.load [--seconds 60] [--rate 2000]

The daemon runs a program at real time on a real Mosquitto while a stranger sends readings by the thousand. Printed: the
time between a command and the newest reading it can have used (p50, p99), gaps between commands, and memory before,
during and after.
"""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.regimes.bench.daemon import percentile, rss_mb
from tests.regimes.chaos.field import field
from tests.regimes.command import options

FLOOD = """
import sys, time
import paho.mqtt.client as m
port, rate, seconds = int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3])
c = m.Client(m.CallbackAPIVersion.VERSION2); c.connect("127.0.0.1", port); c.loop_start()
begin, sent = time.monotonic(), 0
while (now := time.monotonic() - begin) < seconds:
    while sent < now * rate:
        c.publish("underback/gannet/probe/second", b'{"temperature": 20.0}', 0); sent += 1
    time.sleep(0.005)
time.sleep(1.0)
print(sent)
"""


def main() -> None:
    args = options(__doc__, seconds=60.0, rate=2000.0)
    with tempfile.TemporaryDirectory() as folder, field(Path(folder), "gannet", "short", 1.0) as there:
        there.observe_only("heater/command", "status")
        there.site()
        there.serve()
        there.wait(lambda: there.state() == "running", 90, "a run")
        pid = there.processes["serve"].pid
        before, mark = rss_mb(pid), len(there.heard)
        flood = [sys.executable, "-c", FLOOD, str(there.port), str(args.rate), str(args.seconds)]
        stranger = subprocess.Popen(flood, stdout=subprocess.PIPE)
        highest = before
        while stranger.poll() is None:
            highest = max(highest, rss_mb(pid))
            time.sleep(0.5)
        sent = int(stranger.stdout.read()) if stranger.stdout is not None else 0
        time.sleep(5.0)
        after = rss_mb(pid)
        commands = there.of("heater/command", mark)
        ages = [h.values()["reading_age_s"] for h in commands if h.values()["reading_age_s"] is not None]
        gaps = [b.at - a.at for a, b in itertools.pairwise(commands)]
    print(f"{sent} messages in {args.seconds:g} s, load average {os.getloadavg()[0]:.1f}")
    print(f"reading to command   p50 {percentile(ages, 0.5):.2f} s, p99 {percentile(ages, 0.99):.2f} s")
    print(f"command to command   p99 {percentile(gaps, 0.99):.2f} s, longest {max(gaps):.2f} s")
    print(f"memory               before {before:.1f}, highest {highest:.1f}, after {after:.1f} MiB")


if __name__ == "__main__":
    main()
