"""The daemon on a machine whose wall clock is set: `python -m tests.regimes.chaos.skewed FILE serve ...`

FILE holds by how many seconds the wall clock is off, and is read anew each time the clock is. Everything else is the
daemon as it is; no root and no foreign library is needed.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from controller.cli import main
from controller.edge.clock import MachineClock


def off_s(file: Path) -> float:
    """By how much is the wall clock off? A file that is not there or half written: not at all."""
    try:
        return float(file.read_text())
    except (OSError, ValueError):
        return 0.0


def skew(file: Path) -> None:
    """From now on the daemon's wall clock is off by what the file says."""

    def wall_s(clock: MachineClock) -> float:
        return time.time() + off_s(file)

    setattr(MachineClock, "wall_s", wall_s)  # noqa: B010


if __name__ == "__main__":
    skew(Path(sys.argv[1]))
    sys.exit(main(sys.argv[2:]))
