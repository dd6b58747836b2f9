"""`underback check`: is this program right, does it fit the tun, what will come of it, and what is there to say about it?"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from controller.cli import DONE, NO, WRONG, Wrong
from controller.core.plan import Plan, document
from controller.core.problems import Problem, Problems
from controller.edge import choose, files


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which programs, on which tun, in which form?"""
    parser.add_argument("program", nargs="+", metavar="PROGRAM", help="a name below programs/, or a file")
    parser.add_argument("--tun", metavar="NAME", help="a tun below tuns/; else the program's own, else the only one")
    parser.add_argument(
        "--at", metavar="HH:MM", help="wanted time of dough-in, for the clock times; else as soon as can be"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a program, each on its line")
    parser.add_argument("--strict", action="store_true", help="advice that is not overruled counts as an answer of no")


def run(args: argparse.Namespace) -> int:
    """Check each program. 0: all well; 1: advice, with --strict; 2: something is wrong."""
    try:
        config = files.config_dir(args.config)
    except Problems as wrong:
        raise Wrong(*wrong.problems) from None
    codes = [_one(config, program, args) for program in args.program]
    return max(codes, default=DONE)


def _one(config: Path, program: str, args: argparse.Namespace) -> int:
    try:
        plan = choose.look(config, program, args.tun)
    except Problems as wrong:
        return _unreadable(program, wrong.problems, args.json)
    advice: list[Any] = []
    if args.json:
        _say(json.dumps(as_document(plan, advice), ensure_ascii=False, allow_nan=False))
    elif plan.problems:
        _complain(plan.problems)
    else:
        _say(page(plan, advice, args.at))
    if plan.problems:
        return WRONG
    return NO if args.strict and advice else DONE


def _unreadable(program: str, problems: tuple[Problem, ...], as_json: bool) -> int:
    if as_json:
        answer = {
            "program": program,
            "tun": None,
            "ok": False,
            "problems": _listed(problems),
            "advice": [],
            "plan": None,
        }
        _say(json.dumps(answer, ensure_ascii=False))
    else:
        _complain(problems)
    return WRONG


def _listed(problems: tuple[Problem, ...]) -> list[dict[str, str]]:
    return [{"where": p.where, "found": p.found, "wanted": p.wanted} for p in problems]


def as_document(plan: Plan, advice: list[Any]) -> dict[str, object]:
    """What `--json` prints for one program."""
    return {
        "program": plan.program.name,
        "tun": plan.tun.name,
        "ok": not plan.problems,
        "problems": _listed(plan.problems),
        "advice": [line for line in advice],
        "plan": document(plan),
    }


def page(plan: Plan, advice: list[Any], at: str | None) -> str:
    return str(document(plan))


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")


def _complain(problems: tuple[Problem, ...]) -> None:
    sys.stderr.write("".join(f"{problem}\n" for problem in problems))
