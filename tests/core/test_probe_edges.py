"""The probe room at its edges: equal values, what is remembered, what is not."""

from __future__ import annotations

import pytest

from tests.core.probe_room import Room


def test_the_largest_step_that_a_mash_may_do() -> None:
    """2 K and 0.1 K for each of 5 s: just 62.5 after 60.0 is believed, the next step of a sensor is not."""
    assert Room().say(62.5, after_s=5.0).fresh
    assert not Room().say(62.5625, after_s=5.0).fresh


@pytest.mark.parametrize("numbers", [(1, 1, 1), (5, 4, 5), (1, 2, 2)])
def test_lower_numbers_that_do_not_rise_are_no_restart(numbers: tuple[int, ...]) -> None:
    """The same number again does not rise, and after one that falls the count begins with one."""
    room = Room()
    for seq in numbers:
        assert not room.say(60.1, seq=seq).fresh


def test_a_stamp_as_early_as_ever_ends_a_late_row() -> None:
    """A reading earlier than any before: the minute of a set clock begins anew."""
    room = Room(None)
    room.say(60.0, lag_s=0.0)
    room.say(60.0, lag_s=50.0)
    room.say(60.0, after_s=30.0, lag_s=-1.0)
    room.say(60.0, lag_s=50.0)
    assert not room.say(60.0, after_s=35.0, lag_s=50.0).fresh


def test_a_clock_set_twice_takes_a_minute_each_time() -> None:
    """What was waited for the first time does not count for the second."""
    room = Room(None)
    room.say(60.0, lag_s=0.0)
    room.say(60.0, lag_s=3600.0)
    assert room.say(60.0, after_s=60.5, lag_s=3600.0).fresh
    assert not room.say(60.0, lag_s=7200.0).fresh


def test_a_refused_reading_ends_the_good_row() -> None:
    """The time of good readings counts from the first after the refused one."""
    room = Room()
    room.say(150.0)
    assert room.state.good_since is None
    assert room.say(60.0).good_since == room.now


def test_a_jump_has_a_number_as_well() -> None:
    """Sent again, it is no second reading on the new level."""
    room = Room()
    room.say(70.0, seq=7)
    room.say(70.0, seq=7)
    assert (room.seen.text, room.state.jump_run) == ("reading 7 was sent before", 1)
