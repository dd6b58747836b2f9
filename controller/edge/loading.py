"""How does a `start` order get its course?

The order names a program of this machine; the file is read and compiled for the tun here, off the beat. A name only,
never a path: what comes over the wire must not choose among this machine's files.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from controller.core import plan
from controller.core.model import Course
from controller.core.problems import Problems
from controller.core.settings import Settings
from controller.edge import files, worts

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}").fullmatch


def compiler(config: Path, settings: Settings) -> Callable[[Mapping[str, Any]], Course | tuple[str, ...]]:
    """A function from a start order's arguments to the course, or to every reason why there is none."""

    def compiled(args: Mapping[str, Any]) -> Course | tuple[str, ...]:
        name = args.get("program")
        if not isinstance(name, str) or not _NAME(name):
            known = ", ".join(files.names(config / "programs"))
            return (f"a program's name: program=NAME, one of {known}",)
        try:
            made = plan.make(files.load_program(config, name), settings.tun, worts.load_if_sound(settings.service))
        except Problems as wrong:
            return tuple(str(p) for p in wrong.problems)
        return tuple(str(p) for p in made.problems) or made.course

    return compiled


def unchanged(config: Path, settings: Settings) -> Callable[[str, str], bool]:
    """A function that tells whether a program's file still compiles to the same course."""
    compiled = compiler(config, settings)

    def same(program: str, digest: str) -> bool:
        made = compiled({"program": program})
        return isinstance(made, Course) and made.digest == digest

    return same
