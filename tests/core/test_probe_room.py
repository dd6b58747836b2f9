"""The probe room, reading by reading: order, stamps, false values, jumps, and when it is believed again."""

from __future__ import annotations

from math import inf, nan

import pytest

from controller.core.nouns import FALSE_VALUES_C, Bad, Reading
from controller.settings.tun import Probe
from tests.core.probe_room import Room


def test_nothing_yet() -> None:
    """Before any reading there is no value, and its age is endless."""
    seen = Room(None).seen
    assert (seen.value_c, seen.age_s, seen.health, seen.text) == (None, inf, "failure", "no reading yet")
    assert seen.doubtful
    assert not seen.fresh


def test_a_good_reading() -> None:
    """Believed at once, counted, its age counts from its arrival, with the broker's delay on top."""
    room = Room()
    assert (room.seen.value_c, room.seen.good_run, room.seen.health, room.seen.text) == (60.0, 6, "good", "")
    assert room.seen.good_since == 101.0
    assert (room.seen.fresh, room.seen.doubtful, room.seen.age_s) == (True, False, 0.0)
    room.now += 3.0
    assert room.look(delay_s=1.5).age_s == 4.5
    assert not room.seen.fresh


def test_age_makes_doubtful_and_then_gone() -> None:
    """Just over 5 s is doubtful, just over 10 s is gone; at 5 and 10 s not yet."""
    room = Room()
    room.now += 5.0
    assert room.look().health == "good"
    room.now += 0.1
    assert (room.look().health, room.seen.doubtful, room.seen.value_c) == ("out of specification", True, 60.0)
    room.now += 4.9
    assert room.look().value_c == 60.0
    room.now += 0.1
    assert (room.look().health, room.seen.value_c) == ("failure", None)


@pytest.mark.parametrize("value", [-5.01, 105.01, nan, inf, -inf])
def test_out_of_range_is_refused(value: float) -> None:
    """Counted in a row since the first; the last believed value stays."""
    room = Room()
    first = room.say(value)
    second = room.say(value)
    assert (first.refused_run, second.refused_run) == (1, 2)
    assert first.refused_since == second.refused_since == 107.0
    assert (second.value_c, second.doubtful, second.good_run) == (60.0, True, 0)
    assert "outside -5 to 105" in second.text
    assert room.say(60.0).refused_run == 0


@pytest.mark.parametrize("value", [-5.0, 105.0])
def test_ends_of_the_range_are_readings(value: float) -> None:
    """The first reading may lie on either end of the range."""
    assert Room(value).seen.value_c == value


def test_garbage_counts_as_refused() -> None:
    """A message that is no reading makes doubtful and counts."""
    room = Room()
    room.now += 1.0
    seen = room.look(Bad("no number", room.now))
    assert (seen.refused_run, seen.text, seen.refused_since, seen.doubtful) == (1, "no number", 107.0, True)


def test_a_good_one_beside_a_bad_one_stays_doubtful() -> None:
    """One refused message between two ticks makes the second doubtful, whichever came last."""
    room = Room()
    room.now += 1.0
    seen = room.look(Bad("no number", room.now), Reading(60.0, room.now, 99))
    assert (seen.doubtful, seen.fresh, seen.refused_run) == (True, True, 0)


@pytest.mark.parametrize("value", sorted(FALSE_VALUES_C))
def test_false_values_are_refused_without_a_neighbour(value: float) -> None:
    """A failed sensor's value is refused at 60 °C, and believed next to a believed reading close to it."""
    room = Room()
    assert room.say(value).refused_run == 1
    assert room.seen.raw_c == value
    assert "gives when it has failed" in room.seen.text
    near = Room(value + 1.0)
    assert near.say(value).value_c == value


@pytest.mark.parametrize(("value", "believed"), [(0.0, True), (32.0, True), (85.0, False), (-0.0625, False)])
def test_false_values_first_of_all(value: float, believed: bool) -> None:
    """Cold liquor may really be 0 or 32 °C; 85 and a line pulled high are not believed first of all."""
    assert (Room(None).say(value).value_c == value) is believed


def test_false_values_after_a_gap_count_as_first() -> None:
    """More than ten seconds after the last believed one there is no neighbour any more; at ten there still is."""
    room = Room(84.0)
    assert room.say(85.0, after_s=10.0).value_c == 85.0
    room = Room(84.0)
    assert room.say(85.0, after_s=10.1).refused_run == 1


def test_neighbour_limit() -> None:
    """2.0 K apart speaks for a false value, more does not."""
    assert Room(83.0).say(85.0).value_c == 85.0
    assert Room(82.9).say(85.0).refused_run == 1


def test_a_repeated_sequence_is_no_news() -> None:
    """The same sample twice is neither believed nor nonsense: its age goes on."""
    room = Room()
    room.now += 1.0
    seen = room.look(Reading(61.0, room.now, 6))
    assert (seen.value_c, seen.age_s, seen.refused_run, seen.good_run) == (60.0, 1.0, 0, 6)
    assert (seen.text, seen.doubtful) == ("reading 6 was sent before", True)


def test_no_sequence_is_taken_as_it_comes() -> None:
    """Without a sender's count every reading is news, also after one with a count."""
    assert Room().say(60.5, seq=None).value_c == 60.5


def test_older_sequence_is_ignored_until_three_rise() -> None:
    """A late reading is ignored; three rising lower numbers mean that the node has restarted."""
    room = Room()
    room.seq = 0
    assert room.say(60.1, seq=1).text == "reading 1 is older than 6"
    assert room.say(60.1, seq=2).value_c == 60.0
    assert room.say(60.1, seq=3).value_c == 60.1
    assert room.say(60.2, seq=4).value_c == 60.2


def test_a_restart_that_begins_with_a_false_value() -> None:
    """Where the third reading after a restart is refused, the count of lower numbers begins anew."""
    room = Room()
    for seq, value in ((1, 60.0), (2, 60.0), (3, 85.0)):
        room.say(value, seq=seq)
    assert room.seen.refused_run == 1
    assert not room.say(60.1, seq=4).fresh
    assert not room.say(60.1, seq=5).fresh
    assert not room.say(60.1, seq=6).fresh
    assert room.say(60.1, seq=7).fresh


def test_lower_numbers_that_fall_are_no_restart() -> None:
    """Readings held up and sent backwards never count as a restart."""
    room = Room()
    for seq in (5, 4, 3, 2, 1):
        assert room.say(60.1, seq=seq).value_c == 60.0
    for seq in (2, 3):
        room.say(60.1, seq=seq)
    assert room.seen.value_c == 60.1


def test_a_late_stamp_is_refused() -> None:
    """10 s behind the sender's own usual lag is borne, 10.1 s is an old reading."""
    room = Room(None)
    room.say(60.0, lag_s=0.5)
    assert room.say(60.1, lag_s=10.5).value_c == 60.1
    seen = room.say(60.2, lag_s=10.6)
    assert (seen.value_c, seen.text) == (60.1, "reading is 10 s late by its sender's clock")
    assert room.say(60.3, lag_s=0.6).value_c == 60.3


def test_a_set_clock_is_believed_after_a_minute() -> None:
    """A lag that stays changed for more than 60 s is a set clock; at 60 s not yet; a good one between starts anew."""
    room = Room(None)
    room.say(60.0, lag_s=0.0)
    assert room.say(60.0, lag_s=3600.0).text.startswith("reading is 3600 s late")
    assert room.say(60.0, after_s=60.0, lag_s=3600.0).fresh is False
    assert room.say(60.0, after_s=0.5, lag_s=3600.0).fresh
    assert room.say(60.0, lag_s=3600.0).fresh
    room = Room(None)
    room.say(60.0, lag_s=0.0)
    room.say(60.0, lag_s=50.0)
    room.say(60.0, after_s=30.0, lag_s=1.0)
    room.say(60.0, lag_s=50.0)
    assert room.say(60.0, after_s=35.0, lag_s=50.0).fresh is False


@pytest.mark.parametrize("lag", [nan, inf, 1e12, -1e12])
def test_a_stamp_that_is_no_time_is_left_out(lag: float) -> None:
    """It is no fence then, and nothing is remembered of it."""
    room = Room()
    assert room.say(60.1, lag_s=lag).value_c == 60.1
    assert room.state.lag_s is None


def test_lag_follows_the_fastest() -> None:
    """The usual lag is the smallest seen; a smaller one is taken at once."""
    room = Room(None)
    room.say(60.0, lag_s=5.0)
    room.say(60.0, lag_s=2.0)
    room.say(60.0, lag_s=9.0)
    assert room.state.lag_s == 2.0


def test_step_within_what_a_mash_may_do() -> None:
    """2.0 K and 0.1 K a second are believed at once, more is a jump."""
    assert Room().say(62.09).value_c == 62.09
    assert Room().say(57.91).value_c == 57.91
    assert Room().say(62.11).value_c == 60.0
    assert Room().say(57.89).value_c == 60.0
    assert Room().say(62.99, after_s=10.0).value_c == 62.99


def test_a_new_level_is_believed_after_five() -> None:
    """Five consistent readings make a new level; four do not; what is not yet believed is shown beside."""
    room = Room()
    for n in range(4):
        seen = room.say(55.0)
        assert (seen.value_c, seen.jump_c, seen.jump_since, seen.doubtful) == (60.0, 55.0, 107.0, True), n
        assert (seen.good_run, seen.good_since, seen.raw_c) == (0, None, 55.0)
    assert seen.text == "temperature jumped from 60.0 to 55.0 °C"
    seen = room.say(55.0)
    assert (seen.value_c, seen.jump_c, seen.good_run) == (55.0, None, 1)


def test_readings_that_do_not_agree_make_no_level() -> None:
    """More than 2 K from the one before starts the count, and the time, anew."""
    room = Room()
    for value in (55.0, 57.0, 55.0):
        room.say(value)
    assert room.seen.jump_since == 107.0
    assert room.say(57.1).jump_since == 110.0
    for _ in range(3):
        assert room.say(57.1).value_c == 60.0
    assert room.say(57.1).value_c == 57.1


@pytest.mark.parametrize(
    ("to", "believed"), [(65.0, True), (65.1, False), (90.0, False), (55.0, True), (54.9, False), (20.0, False)]
)
def test_far_away_needs_a_person(to: float, believed: bool) -> None:
    """A level up to 5 K away is believed by itself; further up or down never, unless an addition was announced: a fall
    that is believed asks for heat."""
    room, trusting = Room(), Room(trust=True)
    for _ in range(12):
        room.say(to)
        trusting.say(to)
    assert (room.seen.value_c == to) is believed
    assert trusting.seen.value_c == to


def test_a_spike_between_levels_of_nonsense() -> None:
    """Nonsense starts the count of a jump anew but not its time; a jump forgets the nonsense before it."""
    room = Room()
    room.say(56.0)
    assert room.say(200.0).jump_c is None
    seen = room.say(56.0)
    assert (seen.refused_run, seen.refused_since, seen.jump_since) == (0, None, 107.0)
    for _ in range(3):
        assert room.say(56.0).value_c == 60.0
    assert room.say(56.0).value_c == 56.0


def test_first_reading_ever_is_no_jump() -> None:
    """Whatever lies in range is believed first of all."""
    assert Room(None).say(71.0).value_c == 71.0


def test_correction_of_the_probe_counts() -> None:
    """What is believed is the corrected value; the range and the sensors' false values are judged on the raw one."""
    which = Probe(topic="p", raw_ice_c=1.0, raw_boil_c=101.0, boil_c=100.0)
    room = Room(61.0, which=which)
    assert room.seen.value_c == pytest.approx(60.0)
    assert room.say(105.5).refused_run == 1
