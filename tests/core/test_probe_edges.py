"""The probe room at its edges: equal values, what is remembered, what is not."""

from __future__ import annotations

import pytest

from controller.core import probe
from controller.core.nouns import Presence, Reading
from tests.core.probe_room import PROBE, Room


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


HEARD = probe.START._replace(at=90.0)


@pytest.mark.parametrize(
    ("word", "now", "gone", "reborn"),
    [
        (Presence(False, 95.0), 95.0, True, False),
        (Presence(False, 90.0), 95.0, True, False),
        (Presence(False, 89.0), 95.0, False, False),  # heard since
        (Presence(False, 95.0, retained=True), 100.0, False, False),
        (Presence(False, 95.0, retained=True), 100.1, True, False),
        (Presence(True, 95.0), 200.0, False, True),
        (Presence(True, 90.0), 200.0, False, False),  # believed since
        (Presence(True, 95.0, retained=True), 200.0, False, False),
    ],
)
def test_what_a_nodes_presence_says(word: Presence, now: float, gone: bool, reborn: bool) -> None:
    """Gone by its word until it is heard, a retained copy after 5 s; there anew where it says so itself."""
    assert (probe.gone(word, HEARD, now), probe.reborn(word, HEARD), probe.reborn(None, HEARD)) == (gone, reborn, False)


def test_after_a_look_count_and_clock_are_taken_as_they_come() -> None:
    """What was believed stays, how the sender counts and what its clock says is forgotten."""
    known = HEARD._replace(value_c=60.0, seq=9, lower_run=2, lower_seq=3, lag_s=5.0, lag_since=80.0, good_run=4)
    assert probe.anew(known) == HEARD._replace(value_c=60.0, good_run=4)
    assert (probe.START.jump_run, probe.START.good_run, probe.START.lower_run) == (0, 0, 0)
    assert tuple(probe.ProbeState()) == tuple(probe.START)


COUNTS = probe.START._replace(value_c=60.0, at=99.0, seq=900, lag_s=5.0, lower_run=2, lower_seq=2)


@pytest.mark.parametrize(
    ("lag_s", "strict", "born", "fresh"),
    [(5.0, True, False, True), (15.0, True, False, True), (15.5, True, False, False), (-5.0, True, False, True),
     (None, True, False, False), (None, True, True, True), (None, False, False, True)],
)  # fmt: skip
def test_a_count_that_begins_anew_in_a_run(lag_s: float | None, strict: bool, born: bool, fresh: bool) -> None:
    """Its stamps must be about as late as ever, to 10 s, or its node has just said that it is there."""
    sample = Reading(60.0, 100.0, 3, lag_s)
    state, seen = probe.look(PROBE, 2.0, COUNTS, (sample,), 100.0, 0.0, False, strict=strict, born=born)
    assert seen.fresh is fresh
    assert (state.lower_run, state.lower_seq) == ((0, -1) if fresh else (3, 3))
    unstamped = COUNTS._replace(lag_s=None)
    assert probe.look(PROBE, 2.0, unstamped, (sample,), 100.0, 0.0, False, strict=True)[1].fresh is False


def test_a_reading_that_was_sent_before_changes_no_clock() -> None:
    """What is known of the sender's clock rests on new readings."""
    again = Reading(60.0, 100.0, 900, 1.0)
    assert probe.look(PROBE, 2.0, COUNTS, (again,), 100.0, 0.0, False)[0].lag_s == 5.0
