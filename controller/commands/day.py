"""Lay several batches of a day beside one clock: heat-up, grain, mash, run-off, cleaning; and say what clashes.

underback day day.toml

    [[batch]]
    program = "sandpiper"
    grain = "06:00"             # or start, or ready_by; left out: when the tun is clean again
    [[batch]]
    program = "sandpiper"
    liquor = "tank"
    [liquor_tank]
    volume = "105 L"
    power = "5 kW"
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, NO
from controller.edge.files import config_files, plan_by_name
from controller.plan.day import Day, Done, clock, conflicts, planned
from controller.plan.plan import Plan
from controller.settings.faults_in_words import read
from controller.settings.problems import Problem, Problems

HEADS = ("begin", "grain", "mash", "mashed", "run off", "clean")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the day, such as day.toml")
    parser.add_argument("--json", action="store_true", help="print the times in s after midnight, and the clashes")


def run(args: argparse.Namespace) -> int:
    """0: it goes; 1: something clashes; 2: a file is wrong."""
    config = config_files.config_dir(args.config, simulated=True)
    day = _load(Path(args.file))
    found = planned(list(zip(day.batch, _plans(config, day), strict=True)))
    said = list(conflicts(day, found))
    document = {"batches": [_document(done) for done in found], "conflicts": said}
    terminal.show(args.json, document, [*_table(found), *_tank(day), *(["", *said] if said else [])])
    return NO if said else DONE


def _load(path: Path) -> Day:
    """The day's file. Raises Problems."""
    data, text = config_files.table(path)
    day, problems = read(Day, data, _one_time)
    if day is None or problems:
        raise Problems([config_files.at_line(problem, path, text) for problem in problems])
    return day


def _one_time(day: Day) -> Iterator[Problem]:
    """A batch is placed by one time, or by none."""
    for at, batch in enumerate(day.batch):
        said = [key for key in ("start", "grain", "ready_by") if getattr(batch, key) is not None]
        if len(said) > 1:
            yield Problem(f"[[batch]] {at + 1}", " and ".join(said), "one of them, or none", ("batch", at, said[1]))


def _plans(config: Path, day: Day) -> list[Plan]:
    """The plans, in order. Raises Problems, those of all batches at once."""
    problems: list[Problem] = []

    def of(program: str, tun: str) -> Plan | None:
        return config_files.tried(problems, lambda: plan_by_name.load_plan(config, program, tun or None))

    found = [of(batch.program, batch.tun) for batch in day.batch]
    if problems:
        raise Problems(problems)
    return [plan for plan in found if plan is not None]


def _times(done: Done) -> tuple[float, ...]:
    return done.begin_s, done.grain_s, done.mash_s, done.mashed_s, done.run_off_s, done.clean_s


def _document(done: Done) -> dict[str, object]:
    times = {head.replace(" ", "_"): round(time_s) for head, time_s in zip(HEADS, _times(done), strict=True)}
    return {"program": done.plan.program.name, "tun": done.plan.tun.name, **times}


def _table(found: list[Done]) -> Iterator[str]:
    yield f"  {'':<28}" + "".join(f"{head:>10}" for head in HEADS)
    for number, done in enumerate(found, 1):
        name = f"{number} {done.plan.program.name} on {done.plan.tun.name}"
        yield f"  {name[:28]:<28}" + "".join(f"{clock(time_s):>10}" for time_s in _times(done))


def _tank(day: Day) -> Iterator[str]:
    if day.liquor_tank is not None:
        tank = day.liquor_tank
        hot = clock(tank.start + tank.heat_up_s)
        yield f"  hot liquor: {tank.volume_l:g} L, hot at {hot}; only timed, this program does not heat it"
