"""Which program on which tun? What is asked for by name, as a plan or as every reason why not."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path

from controller.edge.files import config_files, measured_worts
from controller.edge.files.config_files import tried
from controller.plan.plan import Plan, make
from controller.plan.recipe import Program
from controller.settings.problems import Problem, Problems
from controller.settings.tun import Tun


def load_plan(config: Path, program: str, tun: str | None) -> Plan:
    """The plan of a program on a tun. Raises Problems: those of both files, or why the program does not fit."""
    plan = look(config, program, tun)
    if plan.problems:
        raise Problems(plan.problems)
    return plan


def look(config: Path, program: str, tun: str | None) -> Plan:
    """As `load_plan`, but a program that does not fit comes back with its problems, placed in its file."""
    problems: list[Problem] = []
    loaded = tried(problems, lambda: config_files.load_program(config, program))
    brewery = tried(problems, lambda: measured_worts.load(config_files.load_service(config)))
    wished = config_files.written_tun(config, program) if loaded is None else loaded.tun
    named = loaded is not None or tun or wished or len(config_files.names(config / "tuns")) == 1
    vessel = tried(problems, lambda: tun_for(config, loaded, tun, program, wished)) if named else None
    if problems or loaded is None or vessel is None:
        raise Problems(problems)
    plan = make(loaded, vessel, brewery)
    return plan._replace(problems=_at_lines(config, program, plan.problems)) if plan.problems else plan


def tun_for(config: Path, program: Program | None, named: str | None, written: str = "", wished: str = "") -> Tun:
    """The tun that is named, else the one the program was written for, else the only one. Raises Problems.

    `written`: the program as it was asked for, so that a tun that it names wrongly is told at its line. `wished`: the
    tun that its file names, though the program itself could not be read.
    """
    known = config_files.names(config / "tuns")
    wished = wished or (program.tun if program is not None else "")
    if named is not None or wished in known:
        return config_files.load_tun(config, wished if named is None else named)
    if len(known) <= 1:
        return config_files.load_tun(config, config_files.only_tun(config))
    if not wished and program is not None:
        raise Problems([Problem("--tun", "nothing", _which_fit(config, program, known))])
    near = difflib.get_close_matches(wished, known, n=1, cutoff=0.5)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    wrong = Problem("tun", f'"{wished[:60]}"', f"one of {', '.join(known)}{hint}", ("tun",))
    raise Problems(_at_lines(config, written, [wrong]))


def _which_fit(config: Path, program: Program, known: list[str]) -> str:
    fitting = []
    for name in known:
        try:
            if not make(program, config_files.load_tun(config, name)).problems:
                fitting.append(name)
        except Problems:
            continue  # a tun file that is wrong itself fits nothing; naming it shows why
    if fitting:
        return f"one of {', '.join(fitting)}, which this program fits: add --tun {fitting[0]}"
    return f"one of {', '.join(known)}, though this program fits none of them as it stands"


def _at_lines(config: Path, program: str, problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """The problems, placed in the program's file where there is one."""
    if not program:
        return tuple(problems)
    path = config_files.program_path(config, program)
    text = config_files.content(path) if path.suffix.lower() == ".toml" else ""
    return tuple(config_files.at_line(problem, path, text) for problem in problems)
