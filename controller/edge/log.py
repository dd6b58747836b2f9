"""How does the daemon speak to its log?

One line an event on stderr: plain text for a person, JSON with a priority prefix where a service manager reads
(`<N>`, systemd's SyslogLevelPrefix). Thirty lines of our own, since the usual libraries cost 1 to 6 MB of memory in a
process that is to stay small (measured).
"""

from __future__ import annotations

import json
import os
import sys
import time
from typing import Any, Literal

Level = Literal["debug", "info", "warning", "error"]
PRIORITY: dict[Level, int] = {"debug": 7, "info": 6, "warning": 4, "error": 3}  # syslog, RFC 5424


class Log:
    """Lines to stderr. Never raises: a log that cannot be written must not end a mash."""

    def __init__(self, least: Level = "info", managed: bool | None = None) -> None:
        self._least = PRIORITY[least]
        self._managed = "JOURNAL_STREAM" in os.environ if managed is None else managed

    def say(self, level: Level, text: str, **fields: Any) -> None:
        """One line."""
        if PRIORITY[level] > self._least:
            return
        try:
            sys.stderr.write(self._line(level, text, fields))
            sys.stderr.flush()
        except (OSError, ValueError):
            return

    def _line(self, level: Level, text: str, fields: dict[str, Any]) -> str:
        if self._managed:
            values = {"text": text, **fields}
            return f"<{PRIORITY[level]}>{json.dumps(values, ensure_ascii=False, default=str)}\n"
        more = "".join(f" {key}={value}" for key, value in fields.items())
        return f"{time.strftime('%H:%M:%S')} {level:<7} {text}{more}\n"

    def info(self, text: str, **fields: Any) -> None:
        self.say("info", text, **fields)

    def warning(self, text: str, **fields: Any) -> None:
        self.say("warning", text, **fields)

    def error(self, text: str, **fields: Any) -> None:
        self.say("error", text, **fields)
