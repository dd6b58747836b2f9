"""`underback dryrun PROGRAM --days N`: when is it ready, how true is each rest, and what does that hang on most?"""

from __future__ import annotations

import argparse
import functools
import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.edge.files import simulated_days, writable
from controller.plan.plan import Plan
from controller.report import days_page
from controller.settings.service import Settings
from sim import days
from sim.days import Day, DayResult

MOST_DAYS = 100_000
TELLING = 0.05  # a factor with less of the variance is not named
BY_CHANCE = (
    4.0  # over the number of days: 95 of 100 factors that do nothing show less of the variance (chi-square, 3.84)
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """How many days, on how many cores, or which one of them?"""
    parser.add_argument("--days", type=int, metavar="N", help="so many days, each with its own room, goods and tun")
    parser.add_argument("--day", type=int, metavar="K", help="only the K-th of these days, told as a usual dry run")
    parser.add_argument(
        "--jobs", type=int, metavar="N", help="processes side by side for --days; all cores unless said"
    )


def problems(args: argparse.Namespace) -> list[str]:
    """What is wrong with these words?"""
    wrong = []
    if args.days is None:
        alone = "--day: found without --days, wanted both: the draw hangs on how many days there are"
        return [] if args.day is None else [alone]
    if not 1 <= args.days <= MOST_DAYS:
        wrong.append(f"--days: found {args.days}, wanted 1 to {MOST_DAYS}")
    elif args.day is not None and not 1 <= args.day <= args.days:
        wrong.append(f"--day: found {args.day}, wanted 1 to {args.days}")
    if args.jobs is not None and not 1 <= args.jobs <= 64:
        wrong.append(f"--jobs: found {args.jobs}, wanted 1 to 64")
    if args.fault:
        wrong.append("--fault: found together with --days, wanted one of the two")
    if args.csv is not None and args.day is None:
        wrong.append("--csv: found together with --days, wanted --day K too: a file holds one day")
    return wrong


def run(args: argparse.Namespace, settings: Settings, plan: Plan) -> int:
    """0: every day completed; 1: at least one did not."""
    drawn, bar, results = days.draw(settings, args.days, args.seed), terminal.Bar(), []
    try:
        for result in _each(settings, plan, drawn, args.jobs or len(os.sched_getaffinity(0))):
            results.append(result)
            bar.tell(len(results) / len(drawn), f"{len(results)} of {len(drawn)} days")
    except KeyboardInterrupt:
        sys.stderr.write("\nended by hand; what is done is told\n")
    bar.clear()
    if not results:
        raise Wrong("--days: ended before the first day was done")
    answer = {**days.summary(plan, results), "seed": args.seed, "days_wanted": args.days}
    if len(results) == args.days:
        simulated_days.keep(settings.service, plan, answer, time.time())
    unwritten = writable.write("--report", args.report, lambda to: _write(to, plan, answer, results))
    terminal.show(args.json, answer, page(plan, answer), allow_nan=False)
    if unwritten:
        raise Wrong(*unwritten)
    return DONE if answer["complete"] == len(results) else NO


def _each(settings: Settings, plan: Plan, drawn: Sequence[Day], jobs: int) -> Iterator[DayResult]:
    """The days in their order, however many work on them."""
    judged = functools.partial(days.one, settings, plan)
    if jobs == 1 or len(drawn) == 1:
        yield from map(judged, drawn)
        return
    with multiprocessing.get_context("spawn").Pool(min(jobs, len(drawn)), _deaf) as pool:
        yield from pool.imap(judged, drawn)


def _deaf() -> None:
    """Ctrl-C is for the process that tells what is done."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _write(path: Path, plan: Plan, answer: dict[str, Any], results: Sequence[DayResult]) -> None:
    path.write_text(days_page.html(plan.program.title, page(plan, answer), days.fan(results)), encoding="utf-8")


def page(plan: Plan, answer: dict[str, Any]) -> list[str]:
    """The days for a person."""
    tun = plan.tun.title or plan.tun.name
    lines = [
        f"{plan.program.title} on {tun}, {answer['days']} simulated days, seed {answer['seed']}",
        f"  {answer['complete']} of {answer['days']} complete",
    ]
    if (took := answer["duration_s"]) is not None:
        late, early, middle = (took[key] / 60.0 for key in ("p95", "p5", "p50"))
        lines += [
            f"  ready {middle:.0f} min after the start; nine days of ten {early:.0f} to {late:.0f} min",
            f"  heater's energy {_span(answer['energy_kwh'], 'kWh', 2)}",
        ]
    if answer["apparent_limit_pct"] is not None:
        lines.append(f"  apparent limit of attenuation by the estimate {_span(answer['apparent_limit_pct'], '%', 1)}")
    lines += ["", f"  {'rest':<22} {'target':>7} {'true mean, nine days of ten':>28} {'most over':>10} {'kept':>6}"]
    lines += [_rest(rest) for rest in answer["rests"]]
    lines += ["", f"  kept: days whose true mean was within {days.IN_BAND_K:g} K of the target"]
    telling = max(TELLING, BY_CHANCE / answer["days"])
    for name, key in (("when it is ready", "variance_of_duration"), ("the limit", "variance_of_limit")):
        if told := [f"{factor} {share:.0%}" for factor, share in answer[key].items() if share >= telling]:
            lines.append(f"  {name} hangs on: {', '.join(told)} (share of the variance)")
    lines += [f"  {trip} on {count} of {answer['days']} days" for trip, count in answer["days_with_trip"].items()]
    for ended in answer["ended_otherwise"]:
        again = f"--days {answer['days_wanted']} --seed {answer['seed']} --day {ended['day']}"
        lines.append(f"  day {ended['day']} ended {ended['result']} ({', '.join(ended['trips']) or 'no trip'}): ")
        lines[-1] += f"underback dryrun {answer['program']} --tun {answer['tun']} {again}"
    return lines


def _span(of: dict[str, float], unit: str, digits: int) -> str:
    return f"{of['p50']:.{digits}f} {unit} ({of['p5']:.{digits}f} to {of['p95']:.{digits}f})"


def _rest(rest: dict[str, Any]) -> str:
    mean = "-" if rest["mean_c"] is None else _span(rest["mean_c"], "°C", 2)
    over = "-" if rest["most_over_k"] is None else f"{rest['most_over_k']:.2f} K"
    return f"  {rest['name'][:22]:<22} {rest['target_c']:>5.1f}°C {mean:>28} {over:>10} {rest['kept_share']:>6.0%}"
