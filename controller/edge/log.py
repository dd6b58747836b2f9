"""How does the daemon speak to its log?

One line an event on stderr: plain text for a person, JSON with a priority prefix where a service manager reads
(`<N>`, systemd's SyslogLevelPrefix).
"""

from __future__ import annotations

import contextlib
import os
import sys
from typing import Any, Literal

from controller.edge.lean import without

with without("rich"):  # structlog would draw tracebacks with it; no line here holds one
    import structlog

Level = Literal["debug", "info", "warning", "error"]
PRIORITY: dict[str, int] = {"debug": 7, "info": 6, "warning": 4, "error": 3}  # syslog, RFC 5424
RANK: dict[Level, int] = {"debug": 10, "info": 20, "warning": 30, "error": 40}  # the standard library's levels

_json = structlog.processors.JSONRenderer(ensure_ascii=False, default=str)


class _Stderr:
    """Where the lines go: to what stderr is at the time."""

    def write(self, line: str) -> None:
        sys.stderr.write(f"{line}\n")
        sys.stderr.flush()

    debug = info = warning = error = write


class Log:
    """Lines to stderr. Never raises: a log that cannot be written must not end a mash."""

    def __init__(self, least: Level = "info", managed: bool | None = None) -> None:
        managed = "JOURNAL_STREAM" in os.environ if managed is None else managed
        self._log = structlog.wrap_logger(
            _Stderr(),
            processors=[_managed] if managed else _plain(),
            wrapper_class=structlog.make_filtering_bound_logger(RANK[least]),
        )

    def say(self, level: Level, text: str, **fields: Any) -> None:
        """One line."""
        with contextlib.suppress(Exception):
            getattr(self._log, level)(text, **fields)

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
