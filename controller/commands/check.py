"""`underback check`: is this program right, does it fit the tun, what will come of it, what is there to say of it?"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from controller.brewing.advice.advice import Changes
from controller.commands.shared import own_streams, terminal
from controller.commands.shared.exit_codes import DONE, NO, WRONG, Wrong
from controller.core.supply import drawn_w
from controller.edge.files import config_files, plan_by_name, shared_topics, simulated_days, writable
from controller.edge.record import run_header
from controller.plan.advise import Said, advise
from controller.plan.forecast import Forecast, forecast
from controller.plan.plan import Plan, document
from controller.report import plan_page, wort_page
from controller.settings.problems import Problem, Problems, gathered
from controller.settings.service import Service, Settings


def arguments(parser: argparse.ArgumentParser) -> None:
    """Which programs, on which tun, in which form?"""
    parser.add_argument("program", nargs="+", metavar="PROGRAM", help="a name below programs/, or a file")
    parser.add_argument("--tun", metavar="NAME", help="a tun below tuns/; else the program's own, else the only one")
    parser.add_argument("--at", metavar="HH:MM", type=clock_s, help="wanted time of dough-in, for times by the clock")
    parser.add_argument("--together", action="store_true", help="the programs run at the same time, on one supply")
    parser.add_argument("--why", action="store_true", help="draw the enzymes, and tell what each rest is for and does")
    parser.add_argument("--sources", action="store_true", help="with --why: where each figure and window comes from")
    parser.add_argument("--html", metavar="FILE", help="the same lesson as a page")
    parser.add_argument("--sheet", metavar="FILE", help="one page to print before the day; with --at by the clock")
    parser.add_argument("--json", action="store_true", help="one JSON object a program, each on its line")
    parser.add_argument("--strict", action="store_true", help="advice that is not overruled counts as an answer of no")


def clock_s(text: str) -> float:
    """A time of day in seconds after midnight. Raises ArgumentTypeError."""
    hours, _, minutes = text.partition(":")
    digits = hours.isascii() and hours.isdigit() and minutes.isascii() and minutes.isdigit() and len(minutes) == 2
    if not digits or len(hours) > 2 or int(hours) > 23 or int(minutes) > 59:
        raise argparse.ArgumentTypeError(f"found {text!r}, wanted a time of day such as 06:00")
    return 3600.0 * int(hours) + 60.0 * int(minutes)


class Answer(NamedTuple):
    """What there is to say of one program."""

    program: str
    plan: Plan | None
    problems: tuple[Problem, ...]
    said: tuple[Said, ...] = ()
    here: tuple[str, ...] = ()  # what this brewery's data folder tells: days, calibrations not its own

    def document(self) -> dict[str, object]:
        """One program as `--json` shows it."""
        plan, expected = self.plan, self.expected()
        wort = {"what_if": [], "malt": []} if expected is None else expected.document()
        return {
            "program": plan.program.name if plan else self.program,
            "tun": plan.tun.name if plan else None,
            "ok": not self.problems,
            "problems": [{"where": p.where, "found": p.found, "wanted": p.wanted} for p in self.problems],
            "advice": [line.document() for line in self.said],
            "plan": document(plan) if plan else None,
            "prediction": None if expected is None else expected.prediction.as_json(),
            **wort,
        }

    def expected(self) -> Forecast | None:
        """The wort to expect, where the program can be run and there is grain in it."""
        return None if self.plan is None or self.problems else forecast(self.plan)


def run(args: argparse.Namespace) -> int:
    """Check each program. 0: all well; 1: advice, with --strict; 2: something is wrong."""
    if wrong := writable.file_problems((("--html", args.html),)):
        raise Wrong(*wrong)
    config = config_files.config_dir(args.config, simulated=True)
    changes, unfit = _brewery(config)
    looked = [_look(config, program, args.tun) for program in args.program]
    if unfit and not args.json:  # a person is told once, a program in each object
        raise Wrong(*dict.fromkeys([*unfit, *(problem for answer in looked for problem in answer.problems)]))
    looked = [answer._replace(problems=tuple(dict.fromkeys((*unfit, *answer.problems)))) for answer in looked]
    answers = _advised(looked, changes, args.together)
    _sheet(answers, args)
    unwritten = writable.write("--html", args.html, lambda to: to.write_text(_page(answers), encoding="utf-8"))
    for at, answer in enumerate(answers):
        _show(answer, args, blank=at > 0)
    if unwritten:
        raise Wrong(*unwritten)
    return max(_code(answer, args.strict) for answer in answers)


def _sheet(answers: Sequence[Answer], args: argparse.Namespace) -> None:
    """The page to print, of the one program that was asked for. Raises Wrong."""
    if args.sheet is None:
        return
    if len(answers) != 1:
        raise Wrong(f"--sheet: found {len(answers)} programs, wanted one: a sheet is of one program")
    plan, own = answers[0].plan, own_streams.chosen(args.units, args.config)
    if plan is None or answers[0].problems:
        return
    from controller.report import brew_sheet  # only where a sheet is made

    page = brew_sheet.html(plan, args.at, own)
    if wrong := writable.write("--sheet", args.sheet, lambda to: _written(to, page)):
        raise Wrong(*wrong)


def _written(to: Path, page: str) -> None:
    to.write_text(page, encoding="utf-8")


def _brewery(config: Path) -> tuple[Changes, list[Problem]]:
    """The brewery's own advice, and what is wrong with it or with the service file: all files are checked."""
    problems: list[Problem] = []
    changes = gathered(problems, lambda: config_files.load_advice(config))
    gathered(problems, lambda: config_files.load_service(config))
    return changes or {}, problems


def _look(config: Path, program: str, tun: str | None) -> Answer:
    try:
        plan = plan_by_name.look(config, program, tun)
    except Problems as wrong:
        return Answer(program, None, wrong.problems)
    problems = (*plan.problems, *shared_topics.refused(config, plan.tun))
    service = config_files.tried([], lambda: config_files.load_service(config))
    return Answer(program, plan, problems, here=() if service is None else tuple(_here(service, plan)))


def _here(service: Service, plan: Plan) -> Iterator[str]:
    """What does the data folder tell of this program on this tun?"""
    yield from (f"  note: {said}" for said in run_header.not_own(Settings(plan.tun, service, "")))
    if days := simulated_days.quoted(service, plan):
        yield days


def _advised(answers: Sequence[Answer], changes: Changes, together: bool) -> list[Answer]:
    """The answers with advice. Programs that run together share a supply, each with the others' tuns."""
    tuns = {answer.plan.tun.name: answer.plan.tun for answer in answers if answer.plan}
    draws_w = {name: drawn_w(tun, tun.heater.duty_cap, None) for name, tun in tuns.items()}

    def advised(answer: Answer) -> Answer:
        if answer.plan is None:
            return answer
        tun = answer.plan.tun
        others_w = sum(w for name, w in draws_w.items() if name != tun.name) if together else 0.0
        age_days = run_header.advised_days(tun, time.time())
        return answer._replace(said=advise(answer.plan, changes, calibration_age_days=age_days, others_w=others_w))

    return [advised(answer) for answer in answers]


def _code(answer: Answer, strict: bool) -> int:
    if answer.problems:
        return WRONG
    return NO if strict and any(line.overruled is None for line in answer.said) else DONE


def _show(answer: Answer, args: argparse.Namespace, blank: bool) -> None:
    """The answer on stdout; what is wrong, where it is no JSON, on stderr."""
    if args.json:
        terminal.show(True, answer.document(), (), allow_nan=False)
        return
    sys.stderr.write("".join(f"{problem}\n" for problem in answer.problems))
    if answer.problems:
        said = tuple(line for line in answer.said if line.advice.level != "stop")  # those are told as problems
        if any(problem.path == ("dough_in", "strike") for problem in answer.problems):
            said = ()  # the mash would not go as planned, and advice on it would mislead
        sys.stderr.write("".join(f"{line}\n" for line in plan_page.advice_lines(said)))
    elif answer.plan is not None:
        print("\n" * blank + plan_page.page(answer.plan, answer.said, args.at))
        print(*_wort(answer, args), "", *answer.here, _verdict(answer, args), sep="\n")


def _verdict(answer: Answer, args: argparse.Namespace) -> str:
    """What came of the check in a line, and what to do next."""
    warned = sum(line.advice.level == "warn" and line.overruled is None for line in answer.said)
    warned += sum(note.level == "warn" for note in plan_page.notes(answer.plan)) if answer.plan else 0
    but = f", {warned} warning{'s' * (warned > 1)}" if warned else ""
    tun = f" --tun {args.tun}" if args.tun else ""
    config = f" --config {args.config}" if args.config else ""
    return f"No problems{but}. Next: underback{config} dryrun {answer.program}{tun}"


def _wort(answer: Answer, args: argparse.Namespace) -> list[str]:
    """What is said of the wort to expect; where it is asked for, as a lesson."""
    expected, plan = answer.expected(), answer.plan
    if expected is None or plan is None:
        return []
    if args.why or args.sources:
        from controller.report import lesson_text, lessons  # only where the lesson is asked for

        taught = lesson_text.lines(lessons.of_plan(plan, expected), args.sources)
        return ["", *taught, *wort_page.second_opinion(expected)]
    found, program = expected.prediction.as_json(), plan.program
    return ["", *wort_page.short(found), *wort_page.beside_the_aim(found, program.aim, answer.program)]


def _page(answers: Sequence[Answer]) -> str:
    """The lessons of all programs that can be run, as one page."""
    from controller.report import lesson_page, lessons  # likewise

    found = [lessons.of_plan(one.plan, expected) for one in answers if one.plan and (expected := one.expected())]
    parts = [lesson_page.section(lesson, f"lesson-{n}") for n, lesson in enumerate(found, start=1)]
    return lesson_page.page(", ".join(one.plan.program.title for one in answers if one.plan), parts, found)
