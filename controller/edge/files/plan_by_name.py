"""Which program on which tun? What is asked for by name, as a plan or as every reason why not."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path

from controller.brewing.kinetics.calibration import Calibration
from controller.edge.files import config_files, measured_worts
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
    loaded: Program | None = None
    brewery: Calibration | None = None
    vessel: Tun | None = None
    try:
        loaded = config_files.load_program(config, program)
    except Problems as wrong:
        problems += wrong.problems
    try:
        brewery = measured_worts.load(config_files.load_service(config))
    except Problems as wrong:
        problems += wrong.problems
    wished = config_files.written_tun(config, program) if loaded is None else loaded.tun
    try:
        if loaded is not None or tun or wished or len(config_files.names(config / "tuns")) == 1:
            vessel = tun_for(config, loaded, tun, program, wished)
    except Problems as wrong:
        problems += wrong.problems
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
    if named is not None:
        return config_files.load_tun(config, named)
    if wished in known:
        return config_files.load_tun(config, wished)
    if len(known) <= 1:
        return config_files.load_tun(config, config_files.only_tun(config))
    if wished or program is None:
        raise Problems(_at_lines(config, written, [_no_such_tun(wished, known)]))
    raise Problems([Problem("--tun", "nothing", _which_fit(config, program, known))])


def _no_such_tun(named: str, known: list[str]) -> Problem:
    near = difflib.get_close_matches(named, known, n=1, cutoff=0.5)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    return Problem("tun", f'"{named[:60]}"', f"one of {', '.join(known)}{hint}", ("tun",))


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
