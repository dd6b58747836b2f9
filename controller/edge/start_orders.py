"""How does a `start` order get its course?

The order names a program of this machine; the file is read and compiled for the tun here, off the beat. A name only,
never a path: what comes over the wire must not choose among this machine's files.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from controller.core.nouns import Course
from controller.edge.files import config_files, measured_worts
from controller.edge.record import run_header
from controller.plan import plan
from controller.settings.problems import Problems
from controller.settings.service import Settings

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}").fullmatch


def compiler(config: Path, settings: Settings) -> Callable[[Mapping[str, Any]], Course | tuple[str, ...]]:
    """A function from a start order's arguments to the course, or to every reason why there is none.

    With the course comes what goes on record at the start of its run.
    """

    def compiled(args: Mapping[str, Any]) -> Course | tuple[str, ...]:
        made = _planned(config, settings, args)
        if not isinstance(made, plan.Plan):
            return made
        return made.course._replace(filed=run_header.at_start(config, made, settings, time.time()))

    return compiled


def unchanged(config: Path, settings: Settings) -> Callable[[str, str], bool]:
    """A function that tells whether a program's file still compiles to the same course."""

    def same(program: str, digest: str) -> bool:
        made = _planned(config, settings, {"program": program})
        return isinstance(made, plan.Plan) and made.course.digest == digest

    return same


def _planned(config: Path, settings: Settings, args: Mapping[str, Any]) -> plan.Plan | tuple[str, ...]:
    """The plan of the named program, or what is wrong with name, file or plan."""
    name = args.get("program")
    if not isinstance(name, str) or not _NAME(name):
        known = ", ".join(config_files.names(config / "programs"))
        return (f"a program's name: program=NAME, one of {known}",)
    try:
        made = plan.make(
            config_files.load_program(config, name), settings.tun, measured_worts.load_if_sound(settings.service)
        )
    except Problems as wrong:
        return tuple(str(p) for p in wrong.problems)
    return tuple(str(p) for p in made.problems) or made
