"""What time is it, and how far may that be trusted?

The one place that reads clocks. Everything runs on one scaled monotonic clock that counts suspend where the machine can
(CLOCK_BOOTTIME, Linux); wall-clock time is a stamp only. A simulated tun may run faster than life, a real one never.
"""

from __future__ import annotations

import asyncio
import ctypes
import time
from pathlib import Path
from typing import Protocol

from controller.core.nouns import Instant

FASTEST = 60.0  # times real time; above it one tick would be shorter than a busy machine's hiccups
ASK_S = 10.0  # the kernel is asked so often whether the wall clock is in step
TIME_ERROR = 5  # adjtimex(2): the clock is not in step


class Clock(Protocol):
    """What the service asks of a clock."""

    speed: float

    def now(self) -> Instant:
        """Seconds on the scaled monotonic clock; counts suspend."""

    def wall_s(self) -> float:
        """Unix seconds of this machine, never scaled."""

    def gap_s(self) -> float:
        """By how much has the suspend-counting clock run ahead of the other since the last call?"""

    def confirmed(self) -> bool:
        """Does the machine say that its wall clock is in step?"""

    async def sleep_until(self, at: Instant) -> None:
        """Wait until the scaled clock reads `at`."""


class MachineClock:
    """This machine's clocks, `speed` times as fast."""

    def __init__(self, speed: float = 1.0) -> None:
        if not (0.0 < speed <= FASTEST):
            raise ValueError(f"speed must be above 0 and at most {FASTEST:g}, not {speed:g}")
        self.speed = speed
        self._read = since_boot_s
        self._zero = self._read()
        self._ahead = self._zero - time.monotonic()
        self._asked: tuple[float, bool] = (-ASK_S, False)

    def now(self) -> Instant:
        return (self._read() - self._zero) * self.speed

    def wall_s(self) -> float:
        return time.time()

    def gap_s(self) -> float:
        ahead = self._read() - time.monotonic()
        gap, self._ahead = ahead - self._ahead, ahead
        return gap if gap > 0.001 else 0.0

    def confirmed(self) -> bool:
        if time.monotonic() - self._asked[0] >= ASK_S:
            self._asked = (time.monotonic(), in_step())
        return self._asked[1]

    async def sleep_until(self, at: Instant) -> None:
        await asyncio.sleep(max(0.0, (at - self.now()) / self.speed))


class _Timex(ctypes.Structure):
    """struct timex of adjtimex(2): only `modes` (0 = read) matters to us; the rest is room for the answer."""

    _fields_ = (("modes", ctypes.c_uint), ("rest", ctypes.c_byte * 252))


def in_step() -> bool:
    """Does the kernel say that the wall clock is kept in step (adjtimex(2))? False where it cannot be asked."""
    try:
        return int(ctypes.CDLL(None).adjtimex(ctypes.byref(_Timex()))) not in (-1, TIME_ERROR)
    except (OSError, AttributeError):
        return False


def boot_id() -> str:
    """A word that changes at each boot of the machine; empty where the kernel does not give one."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
    except (OSError, ValueError):
        return ""


def since_boot_s() -> float:
    """Seconds since boot, suspend included: the clock to tell an outage of the process alone."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()
