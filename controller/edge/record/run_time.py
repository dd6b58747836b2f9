"""When in its run was each line of a record written?

Within a process the ticks' own clock tells, over a restart the clock that counts from boot where the machine went on,
else the wall clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


class RunTime:
    """Run time over the lines of a run's files, read in their order: s since the first line."""

    def __init__(self) -> None:
        self.run_s, self._speed, self._boot = 0.0, 1.0, ""
        self._clocked: Mapping[str, Any] | None = None  # the newest line that has a clock
        self._ticked: float | None = None  # the newest tick of this process

    def of(self, entry: Mapping[str, Any]) -> float:
        """The run time of the next line."""
        if entry.get("kind") in ("header", "process"):
            self._speed, boot = float(entry.get("speed", 1.0)), str(entry.get("boot_id", ""))
            self.run_s += self._apart_s(entry, boot == self._boot)
            self._boot, self._clocked, self._ticked = boot, entry, None
        elif "t" in entry:
            tick = float(entry["t"])
            self.run_s += self._apart_s(entry, True) if self._ticked is None else max(0.0, tick - self._ticked)
            self._clocked, self._ticked = entry, tick
        return self.run_s

    def at(self, stamp: Mapping[str, Any], boot: str) -> float:
        """The run time of a moment after the last line, by its `at` and `up`."""
        return self.run_s + self._apart_s(stamp, boot == self._boot)

    def _apart_s(self, entry: Mapping[str, Any], same_boot: bool) -> float:
        """Run time between the newest line that has a clock and another one."""
        before = self._clocked
        if before is None:
            return 0.0
        key = "up" if same_boot and "up" in before and "up" in entry else "at"
        return max(0.0, float(entry.get(key, 0.0)) - float(before.get(key, entry.get(key, 0.0)))) * self._speed
