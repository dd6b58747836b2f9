"""Who notices when the beat itself stands still?

A thread of its own, since a stalled event loop cannot notice its own stall. A beat that comes over 2 s late must not
heat; after 5 s without one the thread ends the process, and the heater's lease does the rest. Real time throughout: a
stalled machine is stalled at any speed.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable

LATE_S, DEAD_S = 2.0, 5.0
LOOK_S = 0.25
STALLED_EXIT = 75  # EX_TEMPFAIL of sysexits.h: the service manager may start anew


def _end_process() -> None:
    os.write(2, b"<2>underback: the beat stood still for over 5 s; ending, the heater's lease runs out\n")
    os._exit(STALLED_EXIT)


class Watchdog:
    """Watches that `beat` is called at least every few seconds."""

    def __init__(
        self,
        late_s: float = LATE_S,
        dead_s: float = DEAD_S,
        end: Callable[[], None] = _end_process,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.late_s, self.dead_s = late_s, dead_s
        self.stalls = 0
        self._end, self._clock = end, clock
        self._beaten = clock()
        self._late = False
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="watchdog", daemon=True)

    def start(self) -> None:
        self._beaten = self._clock()
        self._thread.start()

    def beat(self) -> bool:
        """The loop is alive. True if this beat came so late that this tick must not heat."""
        late = self._clock() - self._beaten > self.late_s
        self._beaten = self._clock()
        self._late = False
        return late

    def stop(self) -> None:
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(1.0)

    def look(self) -> None:
        """One look from outside the loop."""
        age = self._clock() - self._beaten
        if age > self.late_s and not self._late:
            self._late = True
            self.stalls += 1
        if age > self.dead_s:
            self._end()

    def _watch(self) -> None:
        while not self._stop.wait(LOOK_S):
            self.look()
