"""Where does a probe's calibration history stand, and how old is the calibration in force?"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from controller.settings.service import Settings
from controller.settings.tun import Probe, Tun

AHEAD_S = 3600.0  # a record from so far in the future was written by a wrong clock
MASH_C = 65.0  # where errors matter


def history(settings: Settings, role: str) -> Path:
    """Where do a probe's calibrations stand, one line each?"""
    return Path(settings.service.data_dir) / "calibration" / f"{settings.tun.name}-{role}.jsonl"


def advised_days(tun: Tun, wall_s: float) -> float | None:
    """By which age does the advice go? A simulated probe needs no checking."""
    return 0.0 if tun.simulated else age_days(tun.probes.mash, wall_s)


def age_days(probe: Probe, wall_s: float) -> float | None:
    """How old is the calibration that is in force, in days? None: never calibrated, or a date that cannot be."""
    if probe.calibrated_on is None:
        return None
    try:
        then = datetime.fromisoformat(probe.calibrated_on).replace(tzinfo=UTC).timestamp()
    except ValueError:
        return None
    return None if then > wall_s + AHEAD_S + 86400.0 else max(0.0, (wall_s - then) / 86400.0)
