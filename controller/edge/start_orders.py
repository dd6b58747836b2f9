"""How does a `start` order get its course, and how without holding up the beat?

The order names a program of this machine; the file is read and compiled for the tun here, off the beat. A name only,
never a path: what comes over the wire must not choose among this machine's files.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any

from controller.core.nouns import Course, Order
from controller.edge.files import config_files, measured_worts, simulated_days
from controller.edge.record import run_header
from controller.plan import plan
from controller.settings.problems import Problem
from controller.settings.service import Settings

Compile = Callable[[Mapping[str, Any]], Course | tuple[str, ...]]
Offload = Callable[[Callable[[], Any]], Awaitable[Any]]

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}").fullmatch


def compiler(config: Path, settings: Settings) -> Compile:
    """A function from a start order's arguments to the course, or to every reason why there is none.

    With the course comes what goes on record at the start of its run.
    """

    def compiled(args: Mapping[str, Any]) -> Course | tuple[str, ...]:
        if not isinstance(made := _planned(config, settings, args), plan.Plan):
            return made
        filed = run_header.at_start(config, made, settings, time.time())
        days_s = simulated_days.ready_s(settings.service, made)
        return made.course._replace(people=made.course.people._replace(filed=filed, days_s=days_s))

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
    problems: list[Problem] = []
    program = config_files.tried(problems, lambda: config_files.load_program(config, name))
    if program is None:
        return tuple(map(str, problems))
    made = plan.make(program, settings.tun, measured_worts.load_if_sound(settings.service))
    return tuple(map(str, made.problems)) or made


LOAD_S = 10.0  # reading and compiling a program may take so long


class ProgramLoader:
    """The programs that are being read."""

    def __init__(
        self,
        compile_program: Compile,
        offload: Offload,
        ready: Callable[[Order], None],
        failed: Callable[[BaseException], None],
    ) -> None:
        self._compile, self._offload, self._ready, self._failed = compile_program, offload, ready, failed
        self._loads: set[asyncio.Task[None]] = set()

    def prepare(self, order: Order) -> Order | None:
        """The order itself, or None where it comes back later, by `ready`."""
        if order.name != "start":
            return order
        task = asyncio.create_task(self._load(order), name="load")
        self._loads.add(task)
        task.add_done_callback(self._loads.discard)
        return None

    def cancel(self) -> None:
        """Nobody waits for them any more."""
        for task in self._loads:
            task.cancel()

    async def _load(self, order: Order) -> None:
        try:
            async with asyncio.timeout(LOAD_S):
                made = await self._offload(lambda: self._compile(order.args))
        except TimeoutError:
            made = (f"the program could not be read within {LOAD_S:g} s",)
        except Exception as bug:
            self._failed(bug)
            return
        known = order._replace(course=made) if isinstance(made, Course) else order._replace(problems=tuple(made))
        self._ready(known)
