"""How does the daemon speak to its log?

One line an event on stderr: plain text for a person, JSON with a priority prefix where a service manager reads
(`<N>`, systemd's SyslogLevelPrefix).
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable
from typing import Any, Literal, NamedTuple

import structlog

Level = Literal["debug", "info", "warning", "error"]
PRIORITY: dict[str, int] = {"debug": 7, "info": 6, "warning": 4, "error": 3}  # syslog, RFC 5424
RANK: dict[Level, int] = {"debug": 10, "info": 20, "warning": 30, "error": 40}  # the standard library's levels

_json = structlog.processors.JSONRenderer(ensure_ascii=False, default=str)
AGAIN_S, LONGEST_S, KEPT = 30.0, 3600.0, 200  # own proposal


class Repeated(NamedTuple):
    """An error that was said: when it may be said again, and how often it came since."""

    due_s: float
    wait_s: float
    held_back: int


class _Stderr:
    """Where the lines go: to what stderr is at the time."""

    def write(self, line: str) -> None:
        sys.stderr.write(f"{line}\n")
        sys.stderr.flush()

    debug = info = warning = error = write


class Log:
    """Lines to stderr. Never raises: a log that cannot be written must not end a mash.

    An error that comes again and again is said once, and then at growing intervals with how often it came.
    """

    def __init__(
        self, least: Level = "info", managed: bool | None = None, now: Callable[[], float] = time.monotonic
    ) -> None:
        managed = "JOURNAL_STREAM" in os.environ if managed is None else managed
        self._log = structlog.wrap_logger(
            _Stderr(),
            processors=[_managed] if managed else _plain(),
            wrapper_class=structlog.make_filtering_bound_logger(RANK[least]),
        )
        self._now = now
        self._repeated: dict[str, Repeated] = {}

    def say(self, level: Level, text: str, **fields: Any) -> None:
        """One line."""
        with contextlib.suppress(Exception):
            times = self._times(f"{text} {fields}") if level == "error" else 1
            if times:
                getattr(self._log, level)(text, **fields, **({"times": times} if times > 1 else {}))

    def _times(self, error: str) -> int:
        """How many times has this come since it was last said? 0: it is not due to be said again."""
        now, last = self._now(), self._repeated.get(error)
        if last is not None and now < last.due_s:
            self._repeated[error] = last._replace(held_back=last.held_back + 1)
            return 0
        wait_s = AGAIN_S if last is None or not last.held_back else min(LONGEST_S, 2.0 * last.wait_s)
        if len(self._repeated) >= KEPT:
            self._repeated.clear()
        self._repeated[error] = Repeated(now + wait_s, wait_s, 0)
        return 1 + (last.held_back if last is not None else 0)

    def info(self, text: str, **fields: Any) -> None:
        self.say("info", text, **fields)

    def warning(self, text: str, **fields: Any) -> None:
        self.say("warning", text, **fields)

    def error(self, text: str, **fields: Any) -> None:
        self.say("error", text, **fields)


def _managed(logger: Any, level: str, fields: structlog.typing.EventDict) -> str:
    """The line for a service manager, which adds the time."""
    text = fields.pop("event")
    return f"<{PRIORITY[level]}>{_json(logger, level, {'text': text, **fields})!s}"


def _plain() -> list[structlog.typing.Processor]:
    """The line for a person, in colour on a terminal."""
    colours = "NO_COLOR" not in os.environ and bool(getattr(sys.stderr, "isatty", bool)())
    return [
        structlog.processors.TimeStamper("%H:%M:%S", utc=False),
        structlog.processors.add_log_level,
        structlog.dev.ConsoleRenderer(colors=colours, sort_keys=False),
    ]
