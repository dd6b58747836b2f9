"""How much faster than real time is a dry run, started cold and on one core?

    python -m tests.regimes.bench.dryrun_speed [CONFIG]

The command `underback dryrun sandpiper --tun gannet --json` runs five times as a process of its own, so interpreter,
imports, files and output all count. Beside it stands a bare loop in this process: simple-pid and a tun of two heat
stores, one step a second over the same simulated time. Wall time is what somebody waits for; CPU time tells how much
of it this machine spent on other things.
"""

from __future__ import annotations

import compileall
import json
import os
import platform
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter, process_time
from typing import NamedTuple

from simple_pid import PID

TIMES = 5
WANTED = 5000.0  # simulated seconds a second
POWER_W, FILM_W_PER_K, LOSS_W_PER_K, ROOM_C = 5000.0, 250.0, 4.0, 18.0
METAL_J_PER_K, MASH_J_PER_K = 20_000.0, 300_000.0


class Took(NamedTuple):
    """One run of the command."""

    wall_s: float
    cpu_s: float


def simulated_s(config: str) -> float:
    """How many seconds does the run simulate? By its own record, a row a second."""
    with tempfile.TemporaryDirectory() as folder:
        rows = Path(folder, "rows.csv")
        command(config, "--csv", str(rows))
        return float(rows.read_text(encoding="utf-8").splitlines()[-1].split(",")[0])


def dry_run(config: str) -> Took:
    """How long does the command take, as a process? Raises CalledProcessError where the run does not end complete."""
    before, begun = os.times(), perf_counter()
    command(config)
    wall_s, after = perf_counter() - begun, os.times()
    return Took(wall_s, after.children_user + after.children_system - before.children_user - before.children_system)


def command(config: str, *more: str) -> None:
    """Run it, and see that its answer says complete."""
    words = ("-m", "controller", "--config", config, "dryrun", "sandpiper", "--tun", "gannet", "--json", *more)
    done = subprocess.run([sys.executable, *words], check=True, capture_output=True, text=True)
    assert json.loads(done.stdout)["result"] == "complete"


def bare_loop_s(steps: int) -> float:
    """How much CPU time do a bare PID and a tun of two heat stores take for as many steps of 1 s?"""
    pid = PID(0.3, 0.0005, 0.0, setpoint=65.0, sample_time=None, output_limits=(0.0, 1.0))
    metal_c = mash_c = 40.0
    begun = process_time()
    for _ in range(steps):
        duty = pid(mash_c, dt=1.0) or 0.0
        passed_w = FILM_W_PER_K * (metal_c - mash_c)
        metal_c += (duty * POWER_W - passed_w) / METAL_J_PER_K
        mash_c += (passed_w - LOSS_W_PER_K * (mash_c - ROOM_C)) / MASH_J_PER_K
    took_s = process_time() - begun
    assert abs(mash_c - 65.0) < 1.0
    return took_s


def main() -> None:
    """Print the figures."""
    config = sys.argv[1] if len(sys.argv) > 1 else "config"
    for package in ("controller", "sim"):  # as an installation does
        compileall.compile_dir(package, quiet=1)
    span_s = simulated_s(config)
    runs = [dry_run(config) for _ in range(TIMES)]
    bare_s = min(bare_loop_s(round(span_s)) for _ in range(TIMES))
    best, middle = min(r.wall_s for r in runs), median(r.wall_s for r in runs)
    cpu_s = min(r.cpu_s for r in runs)
    load = os.getloadavg()[0]
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {load:.1f}, Python {platform.python_version()}")
    print(f"simulated                {span_s:9.0f} s")
    print(f"wall time, best of {TIMES}     {best:9.2f} s   {span_s / best:7.0f} x real time (wanted {WANTED:.0f})")
    print(f"wall time, median        {middle:9.2f} s   {span_s / middle:7.0f} x")
    print(f"CPU time, best           {cpu_s:9.2f} s   {span_s / cpu_s:7.0f} x")
    print(f"bare loop, CPU, best     {bare_s:9.3f} s   the command takes {cpu_s / bare_s:.0f} times as much")


if __name__ == "__main__":
    main()
