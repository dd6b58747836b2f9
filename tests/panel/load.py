"""What do 200 tuns cost one broker? python -m tests.panel.load [SECONDS]: broker CPU and memory, status delay.

Each tun speaks with the daemon's own payloads at the daemon's own rate, QoS 1: a heater command and a reading a second,
a heater report a second, a status every two seconds. One listener hears every status, as a panel does.
"""

from __future__ import annotations

import asyncio
import json
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

import aiomqtt

from controller.core.heater_command import HeaterCommand
from controller.messages import outgoing
from tests.edge.statuses import a_mash
from tests.panel.stage import PASSWORD, Broker

TUNS = 200
WARM_S = 3.0


async def tun(port: int, number: int, until: float, sent: list[int]) -> None:
    """One tun: its messages each second, at its own moment of the second."""
    base = f"underback/tun{number:03d}"
    report = json.dumps({"boot": "b", "epoch": 1, "seq": 1, "duty": 0.0, "lease_left_s": 10.0, "fault": None})
    status = {**a_mash(), "tun": f"tun{number:03d}"}
    async with aiomqtt.Client(
        "127.0.0.1", port, username="daemon", password=PASSWORD, identifier=base, protocol=aiomqtt.ProtocolVersion.V5
    ) as client:
        await asyncio.sleep(number / TUNS)
        due, seq = time.monotonic(), 0
        while due < until:
            seq += 1
            command = outgoing.heater_command(HeaterCommand(1, seq, 0.0, 10.0, "off"), time.time(), "boot")
            await client.publish(f"{base}/heater/command", command, 1)
            await client.publish(f"{base}/probe/mash", b"63.02", 1)
            await client.publish(f"{base}/heater/report", report, 1)
            if seq % 2 == 0:
                status["at"] = time.time()
                await client.publish(f"{base}/status", outgoing.document(status), 1, retain=True)
                sent[0] += 1
            sent[1] += 3 + (seq % 2 == 0)
            due += 1.0
            await asyncio.sleep(max(0.0, due - time.monotonic()))


async def listen(port: int, delays: list[float]) -> None:
    """Every status, and how long after its stamp it arrived."""
    async with aiomqtt.Client(
        "127.0.0.1", port, username="operator", password=PASSWORD, protocol=aiomqtt.ProtocolVersion.V5
    ) as client:
        await client.subscribe("underback/+/status", 1)
        async for message in client.messages:
            if not message.retain and isinstance(message.payload, bytes):
                delays.append(time.time() - float(json.loads(message.payload)["at"]))


def cpu_s(pid: int) -> float:
    """CPU time of a process so far, s (proc(5): fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def peak_mib(pid: int) -> float:
    """Highest resident memory of a process, MiB (VmHWM)."""
    line = next(text for text in Path(f"/proc/{pid}/status").read_text().splitlines() if text.startswith("VmHWM"))
    return int(line.split()[1]) / 1024


async def measured(broker: Broker, seconds: float) -> str:
    """The figures in one line."""
    delays: list[float] = []
    sent = [0, 0]
    until = time.monotonic() + WARM_S + seconds
    listener = asyncio.create_task(listen(broker.port, delays))
    async with asyncio.TaskGroup() as group:
        for number in range(TUNS):
            group.create_task(tun(broker.port, number, until, sent))
        await asyncio.sleep(WARM_S)
        delays.clear()
        before, messages, began = cpu_s(broker.process.pid), sent[1], time.monotonic()
        await asyncio.sleep(seconds - 1.0)
        used, count, took = cpu_s(broker.process.pid) - before, sent[1] - messages, time.monotonic() - began
        ordered = sorted(delays)
    listener.cancel()
    p99 = ordered[int(0.99 * len(ordered))]
    assert len(ordered) > 0.9 * TUNS * took / 2, f"only {len(ordered)} statuses arrived"
    return (
        f"{TUNS} tuns, {count / took:.0f} messages/s in, {len(ordered) / took:.0f} statuses/s out: broker CPU "
        f"{100 * used / took:.1f} % of a core, peak {peak_mib(broker.process.pid):.1f} MiB; status delay median "
        f"{1000 * statistics.median(ordered):.1f} ms, p99 {1000 * p99:.1f} ms, worst {1000 * ordered[-1]:.1f} ms"
    )


def main() -> int:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    with tempfile.TemporaryDirectory() as place:
        broker = Broker(Path(place))
        try:
            print(asyncio.run(measured(broker, seconds)))
        finally:
            broker.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
