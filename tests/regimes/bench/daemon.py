"""What does the daemon cost, beside the smallest daemon that could do the job?

    python -m tests.regimes.bench.daemon [--seconds 60]

Starts a Mosquitto, the stand-in, our daemon at 1 Hz and, at the same time on topics of its own, a minimal daemon of
asyncio, aiomqtt and simple-pid (three messages out each second, and in all that our daemon hears, read as JSON; no
guard, no journal, no program). Prints for both: resident memory, processor time a tick, lateness of the beat. The
modules are compiled beforehand, as an installation does it: compiled anew at each start they would cost our daemon
0.4 MiB and 0.1 s more.
"""

from __future__ import annotations

import compileall
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from controller.edge.files import config_files as files
from controller.messages.topics import topics
from tests.places import CONFIG
from tests.regimes.chaos.field import REPO, Field, field
from tests.regimes.command import options

MINIMAL = """
import asyncio, json, socket, sys, time
import aiomqtt
from simple_pid import PID

async def main(port, topics):
    pid = PID(0.1, 0.001, 0.0, setpoint=40.0, sample_time=None, output_limits=(0.0, 1.0))
    newest = [20.0]
    nodelay = [(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)]
    async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5, socket_options=nodelay) as client:
        for topic in ("minimal/probe", *topics):
            await client.subscribe(topic)
        async def hear():
            async for message in client.messages:
                try:
                    said = json.loads(message.payload)
                except ValueError:
                    continue
                if message.topic.value == "minimal/probe":
                    newest[0] = said["temperature"]
        task = asyncio.create_task(hear())
        due = time.monotonic() + 1.0
        seq = 0
        while True:
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            late = time.monotonic() - due
            due += 1.0
            seq += 1
            duty = pid(newest[0], dt=1.0)
            await client.publish("minimal/command", json.dumps({"seq": seq, "duty": duty, "late_s": late}), 1)
            await client.publish("minimal/stirrer", json.dumps({"seq": seq, "on": True}), 1)
            await client.publish("minimal/status", json.dumps({"t": newest[0], "duty": duty}), 1, True)

asyncio.run(main(int(sys.argv[1]), sys.argv[2:]))
"""
CLOCK_TICKS = os.sysconf("SC_CLK_TCK")


def rss_mb(pid: int) -> float:
    """Resident memory, MiB (proc(5), VmRSS)."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024.0
    raise ValueError("no VmRSS")


def cpu_s(pid: int) -> float:
    """Processor time used, user and system, s (proc(5), stat)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / CLOCK_TICKS


def percentile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, math.ceil(share * len(ordered)) - 1)] if ordered else math.nan


def intervals_ms(stamps: list[float]) -> list[float]:
    """How far is each command from the beat of one second, ms? The beat's phase is the median of the stamps."""
    phases = [stamp % 1.0 for stamp in stamps]
    middle = statistics.median((p - phases[0] + 0.5) % 1.0 for p in phases)
    return [abs((p - phases[0] + 0.5) % 1.0 - middle) * 1000.0 for p in phases]


def measure(there: Field, pid: int, seconds: float) -> dict[str, float]:
    """Memory and processor time of one process over so many seconds."""
    used = cpu_s(pid)
    time.sleep(seconds)
    return {"cpu_ms_a_tick": (cpu_s(pid) - used) / seconds * 1000.0, "rss_mb": rss_mb(pid)}


def run(seconds: float, folder: Path) -> dict[str, Any]:
    """Both daemons side by side, measured from the moment that a run goes on."""
    for package in ("controller", "sim"):
        compileall.compile_dir(REPO / package, quiet=1)
    with field(folder, "gannet", "short", 1.0) as there:
        there.site()
        there.serve()
        script = folder / "minimal.py"
        script.write_text(MINIMAL)
        heard = topics(files.settings(CONFIG, "gannet")).heard()
        there.start("minimal", [sys.executable, str(script), str(there.port), *heard])
        feeder = subprocess.Popen([sys.executable, "-c", FEEDER, str(there.port)], cwd=REPO, stdout=subprocess.DEVNULL)
        try:
            there.wait(lambda: there.state() == "running", 90, "a run")
            ours, least = there.processes["serve"].pid, there.processes["minimal"].pid
            mark = len(there.heard)
            used = cpu_s(least)
            figures = measure(there, ours, seconds)
            small = {"cpu_ms_a_tick": (cpu_s(least) - used) / seconds * 1000.0, "rss_mb": rss_mb(least)}
        finally:
            feeder.terminate()
            feeder.wait()
        stamps = [h.values()["at"] for h in there.of("heater/command", mark)]
        late = [h.values()["late_s"] * 1000 for h in there.heard[mark:] if h.topic == "minimal/command"]
    figures["late_ms_p99"] = percentile(intervals_ms(stamps), 0.99)
    small["late_ms_p99"] = percentile(late, 0.99)
    ratios = {key: figures[key] / small[key] for key in ("rss_mb", "cpu_ms_a_tick")}
    return {"seconds": seconds, "underback": figures, "minimal": small, "over_minimal": ratios}


FEEDER = """
import json, sys, time
import paho.mqtt.client as m
c = m.Client(m.CallbackAPIVersion.VERSION2); c.connect("127.0.0.1", int(sys.argv[1])); c.loop_start()
while True:
    c.publish("minimal/probe", json.dumps({"temperature": 20.0})); time.sleep(1)
"""


def main() -> None:
    args = options(__doc__, seconds=60.0, json=False)
    with tempfile.TemporaryDirectory() as folder:
        found = run(args.seconds, Path(folder))
    if args.json:
        print(json.dumps(found))
        return
    print(f"{'':12} {'memory':>10} {'CPU a tick':>12} {'beat late, p99':>16}")
    for name in ("underback", "minimal"):
        row = found[name]
        print(f"{name:12} {row['rss_mb']:7.1f} MiB {row['cpu_ms_a_tick']:9.2f} ms {row['late_ms_p99']:13.1f} ms")
    memory, cpu = found["over_minimal"].values()
    print(f"memory {memory:.2f} times (goal 1.5), CPU {cpu:.2f} (goal 1.2), load average {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
