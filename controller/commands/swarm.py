"""`underback swarm`: many seeded mashes on random tuns, with random faults, judged by what must never happen.

A failing seed prints the one line that plays it again.
"""

from __future__ import annotations

import argparse
import functools
import multiprocessing
import re
import sys
import time
from collections import Counter
from collections.abc import Iterator

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from sim.swarm import Verdict, one
from sim.world.faults import KINDS, Fault, parse_all

MOST_SEEDS = 1_000_000


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which seeds, healthy or not, on how many cores?"""
    parser.add_argument("--seeds", default="1..20", metavar="A..B", help="these seeds, 1..20 unless said")
    parser.add_argument("--healthy", action="store_true", help="no faults: a trip counts as a failure")
    parser.add_argument("--fault", action="append", metavar="SPEC", help="these faults instead of random ones")
    parser.add_argument("--hours", type=float, metavar="H", help="stop after so many simulated hours")
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="processes side by side")
    parser.add_argument("--json", action="store_true", help="the sum as one JSON object")


def run(args: argparse.Namespace) -> int:
    """0: no promise was broken; 1: at least one was."""
    seeds, faults = _given(args)
    began, verdicts = time.monotonic(), []
    for verdict in _all(seeds, args.healthy, faults, args.jobs):
        verdicts.append(verdict)
        _tell(verdict, len(verdicts), len(seeds))
        if args.hours is not None and sum(v.simulated_s for v in verdicts) >= 3600.0 * args.hours:
            break
    answer = summary(verdicts, time.monotonic() - began)
    terminal.show(args.json, answer, page(answer))
    return DONE if not answer["failed"] else NO


def _given(args: argparse.Namespace) -> tuple[range, tuple[Fault, ...] | None]:
    """Raises Wrong with everything that is wrong."""
    wrong: list[str] = []
    match = re.fullmatch(r"(\d{1,9})(?:\.\.(\d{1,9}))?", args.seeds)
    low, high = (int(match[1]), int(match[2] or match[1])) if match else (0, -1)
    if high < low or high - low >= MOST_SEEDS:
        wrong.append(f"--seeds: found {args.seeds!r}, wanted A..B such as 1..100, at most {MOST_SEEDS} of them")
    if not (1 <= args.jobs <= 64):
        wrong.append(f"--jobs: found {args.jobs}, wanted 1 to 64")
    if args.hours is not None and not (args.hours > 0):
        wrong.append(f"--hours: found {args.hours:g}, wanted above 0")
    faults, unread = parse_all(args.fault or ())
    wrong += [f"--fault: {why}" for why in unread]
    if args.healthy and faults:
        wrong.append("--healthy: found together with --fault, wanted one of the two")
    if wrong:
        raise Wrong(*wrong)
    return range(low, high + 1), tuple(faults) or None


def _all(seeds: range, healthy: bool, faults: tuple[Fault, ...] | None, jobs: int) -> Iterator[Verdict]:
    judged = functools.partial(one, healthy=healthy, faults=faults)
    if jobs == 1:
        yield from map(judged, seeds)
        return
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        yield from pool.imap_unordered(judged, seeds)


def _tell(verdict: Verdict, done: int, of: int) -> None:
    """A failing seed at once, with its line to play it again; else a bar on a terminal."""
    if not verdict.sound:
        sys.stderr.write(f"seed {verdict.seed} ({verdict.what}): {verdict.result}\n")
        sys.stderr.write("".join(f"  {breach}\n" for breach in verdict.breaches[:5]))
        sys.stderr.write(f"  faults: {' '.join(map(str, verdict.faults)) or 'none'}\n  {verdict.replay()}\n")
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{'█' * (25 * done // of):░<25} {done} of {of} mashes ")


def summary(verdicts: list[Verdict], took_s: float) -> dict[str, object]:
    """The sum of a swarm."""
    hours = sum(verdict.simulated_s for verdict in verdicts) / 3600.0
    return {
        "mashes": len(verdicts),
        "simulated_h": round(hours, 1),
        "times_real_time": round(hours * 3600.0 / took_s) if took_s > 0 else None,
        "commands": sum(verdict.commands for verdict in verdicts),
        "faults": sum(len(verdict.faults) for verdict in verdicts),
        "kinds_of_fault": len({fault.kind for verdict in verdicts for fault in verdict.faults}),
        "of_kinds": sum(kind.swarm_s is not None for kind in KINDS.values()),
        "results": dict(Counter(verdict.result for verdict in verdicts).most_common()),
        "trips": dict(Counter(name for verdict in verdicts for name, _ in verdict.trips).most_common()),
        "breaches": dict(Counter(b.promise for verdict in verdicts for b in verdict.breaches).most_common()),
        "failed": [verdict.seed for verdict in verdicts if not verdict.sound],
    }


def page(answer: dict[str, object]) -> list[str]:
    """The sum for a person."""
    return [
        f"{answer['mashes']} mashes, {answer['simulated_h']} h simulated, {answer['times_real_time']} times real time",
        f"  {answer['faults']} faults of {answer['kinds_of_fault']} kinds; {answer['commands']} heater commands",
        f"  ended: {_counts(answer['results'])}",
        f"  trips: {_counts(answer['trips'])}",
        f"  promises broken: {_counts(answer['breaches'])}",
    ]


def _counts(counted: object) -> str:
    assert isinstance(counted, dict)
    return ", ".join(f"{name} {count}" for name, count in counted.items()) or "none"
