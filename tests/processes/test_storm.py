"""Half a minute of bad weather in the ordinary test run; `python -m tests.regimes.chaos.storm` has the rest."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from controller.edge.clock import MachineClock
from tests.regimes.chaos import skewed, storm
from tests.regimes.chaos.field import needs_mosquitto

pytestmark = needs_mosquitto


def test_a_run_in_bad_weather_completes_and_breaks_no_promise() -> None:
    """Four faults in a short run at speed 20: the record of messages is clean and the run completes."""
    ran = storm.run(seed=3, speed=20.0, count=4, program="brief")
    assert ran.broken == []
    assert ran.complete, ran.faults


def test_there_are_at_least_twenty_kinds_of_weather() -> None:
    """The command draws from all of them."""
    assert len(storm.FAULTS) >= 20


def off_s(clock: MachineClock, by_s: float) -> bool:
    """Is the daemon's wall clock off by so much, between two looks at the machine's?"""
    before_s, seen_s, after_s = time.time(), clock.wall_s(), time.time()
    return before_s <= seen_s - by_s <= after_s


def test_the_wall_clock_of_the_storm_jumps(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A day back in the file is a day back on the daemon's wall clock; without a file it is right."""
    monkeypatch.setattr(MachineClock, "wall_s", MachineClock.wall_s)  # put back afterwards
    file, clock = tmp_path / "skew", MachineClock()
    skewed.skew(file)
    assert off_s(clock, 0.0)
    file.write_text("-86400.0")
    assert off_s(clock, -86_400.0)
