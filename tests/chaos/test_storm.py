"""One minute of bad weather in the ordinary test run; `python -m tests.chaos.storm` has the rest."""

from __future__ import annotations

from tests.chaos import storm
from tests.chaos.field import needs_mosquitto

pytestmark = needs_mosquitto


def test_a_run_in_bad_weather_completes_and_breaks_no_promise() -> None:
    """Eight faults in a short run at speed 20: the record of messages is clean and the run completes."""
    ran = storm.run(seed=3, speed=20.0, count=8)
    assert ran.broken == []
    assert ran.complete, ran.faults


def test_there_are_at_least_twenty_kinds_of_weather() -> None:
    """The command draws from all of them."""
    assert len(storm.FAULTS) >= 20
