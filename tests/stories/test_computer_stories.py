"""The daemon's own machine: stalls, sleep, clocks, disk."""

from __future__ import annotations

import pytest

from controller.core.nouns import RunState
from tests.stories.tale import RAMP, REST, tell


def test_a_stall_over_two_seconds_cuts_and_returns() -> None:
    """C5: the loop stood still for 4 s: heat off until three new readings are in, told, and no trip."""
    tale = tell(f"loop_stall@{RAMP}=4")
    assert tale.trips() == set()
    assert "G17" in [event.id for _, event in tale.events]
    off = next(m.at for m in tale.moments if m.at > RAMP and m.duty == 0.0)
    assert any(m.duty > 0.0 for m in tale.moments if off + 2.0 <= m.at <= off + 20.0)
    assert all(m.duty == 0.0 for m in tale.moments if off <= m.at < off + 2.0)
    assert tale.result is RunState.COMPLETE


def test_a_stall_under_two_seconds_does_not() -> None:
    """C5: 1.9 s late is allowed."""
    assert tell(f"loop_stall@{REST}=1.9").trips() == set()


@pytest.mark.parametrize("seconds", [10, 60, 600])
def test_after_sleep_every_reading_is_stale(seconds: int) -> None:
    """C4: the machine slept: no heat on old readings, none before the third new one after it woke."""
    tale = tell(f"suspend@{RAMP}={seconds}")
    woke = next(m.at for m in tale.moments if m.at > RAMP + seconds - 1)
    assert all(m.duty == 0.0 for m in tale.moments if woke <= m.at < woke + 2.0)
    assert tale.result is RunState.COMPLETE
    assert tale.without_evidence == 0


@pytest.mark.parametrize("by", [3600, -3600, -1_000_000_000, 315_360_000])
def test_a_clock_that_is_set_changes_no_rest(by: int) -> None:
    """C3: rest time runs on the monotonic clock alone, whatever the wall clock does."""
    tale = tell(f"clock_jump@{REST}+200={by}")
    assert tale.trips() == set()
    done = next(event for _, event in tale.events if event.kind == "step done" and event.id == "beta")
    assert done.data is not None
    assert 900.0 <= done.data["credited_s"] <= 902.0


def test_a_full_disk_does_not_stop_the_mash() -> None:
    """C6: the run goes on, the note is loud; heat needs no disk unless something tripped."""
    tale = tell(f"disk_bad@{REST}")
    assert tale.result is RunState.COMPLETE
    assert any(event.id == "G20" for _, event in tale.events)


def test_a_trip_with_a_full_disk_gives_no_heat_back() -> None:
    """C6: a trip that cannot be recorded is followed by no heat."""
    tale = tell(f"disk_bad@{REST}", f"loop_stall@{REST + 60}=21", until_s=REST + 600.0)
    first = tale.first("G17")
    assert first is not None and tale.cold(first)


def test_no_start_without_a_record() -> None:
    """C6: the disk is bad before the start: refused, with the reason."""
    tale = tell("disk_bad@0", until_s=200.0)
    assert tale.cold() and any("record" in why for why in tale.refusals)
