"""What does a dry run cost in CPU time, beside the bare loop and beside an older commit, pair by pair?

    python -m tests.regimes.speed [--against COMMIT] [--pairs 9] [--program sandpiper]

Each pair runs, one after another: the command of this tree, that of the older commit (in a work tree of its own, which
is removed again), `check` of both, and the bare loop: simple-pid and a tun of two heat stores, one step a simulated
second. Commands are processes of their own, so that interpreter, imports and output count; the start-up, taken as the
time of `check --help`, is told apart. Medians of the pairs, so that a busy minute hits both sides.
"""

from __future__ import annotations

import compileall
import contextlib
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from time import process_time

from simple_pid import PID

from tests.places import ROOT
from tests.regimes.command import options

POWER_W, FILM_W_PER_K, LOSS_W_PER_K, ROOM_C = 5000.0, 250.0, 4.0, 18.0
METAL_J_PER_K, MASH_J_PER_K = 20_000.0, 300_000.0


def cpu_s(tree: Path, *words: str) -> float:
    """How much CPU time does a command of this tree take, as a process? Raises CalledProcessError where it fails."""
    before = os.times()
    subprocess.run(
        [sys.executable, "-m", "controller", *words],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
        check=True,
        capture_output=True,
    )
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def simulated_s(tree: Path, program: str) -> float:
    """How many seconds does the run simulate? By its own record, a row a second."""
    with tempfile.TemporaryDirectory() as folder:
        rows = Path(folder, "rows.csv")
        cpu_s(tree, "dryrun", program, "--csv", str(rows))
        return float(rows.read_text(encoding="utf-8").splitlines()[-1].split(",")[0])


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


@contextlib.contextmanager
def older(commit: str) -> Iterator[Path | None]:
    """The tree of an older commit, for as long as it is needed; None where none is asked for."""
    if not commit:
        yield None
        return
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "older"
        git = ["git", "-C", str(ROOT), "worktree"]
        subprocess.run([*git, "add", "--quiet", "--detach", str(tree), commit], check=True)
        try:
            yield tree
        finally:
            subprocess.run([*git, "remove", "--force", str(tree)], check=True)


def main(words: list[str]) -> None:
    """Print the figures."""
    given = options(__doc__, words, against="", pairs=9, program="sandpiper")
    program, pairs, against = given.program, given.pairs, given.against
    with older(against) as before:
        trees = {"this tree": ROOT, **({against: before} if before is not None else {})}
        spans = {name: simulated_s(tree, program) for name, tree in trees.items()}
        for tree in trees.values():
            compileall.compile_dir(tree / "controller", quiet=1)
            compileall.compile_dir(tree / "sim", quiet=1)
        took: dict[tuple[str, str], list[float]] = {}
        for _ in range(pairs):
            for name, tree in trees.items():
                for words_of in (("dryrun", program), ("check", program), ("check", "--help")):
                    took.setdefault((name, " ".join(words_of)), []).append(cpu_s(tree, *words_of))
            took.setdefault(("bare loop", program), []).append(bare_loop_s(round(spans["this tree"])))
    middle = {key: median(values) for key, values in took.items()}
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, {platform.python_version()}")
    for (name, what), seconds in middle.items():
        low, high = min(took[name, what]), max(took[name, what])
        print(f"{name:<12} {what:<20} {seconds:8.3f} s CPU, median of {pairs} ({low:.3f} to {high:.3f})")
    bare_us = 1e6 * middle["bare loop", program] / spans["this tree"]
    own = {n: 1e6 * (middle[n, f"dryrun {program}"] - middle[n, "check --help"]) / spans[n] for n in trees}
    for name, each_us in own.items():
        print(f"{name:<12} {each_us:6.0f} us a simulated second, start-up apart: {each_us / bare_us:.0f} times bare")
    if against:
        print(f"{against} over this tree: {own[against] / own['this tree']:.2f} times")


if __name__ == "__main__":
    main(sys.argv[1:])
