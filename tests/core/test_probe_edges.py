"""The probe room and the quick watch on its readings at their edges: equal values, what is remembered, what is not."""

from __future__ import annotations

import pytest

from controller.core.guard import watch_mash
from controller.core.guard.registry import Finding, Memory
from controller.core.nouns import Bad, HeaterReport, RunState
from controller.settings.tun import Probe
from tests.core.guard.test_guard_corners import NOW, TUN, hot, senses
from tests.core.probe_room import Room

PLAIN = Probe(topic="p")
HIGH = Probe(topic="p", raw_boil_c=98.0)  # reads 2 % low: 79.0 is 80.6 °C
LOW = Probe(topic="p", raw_boil_c=102.0)  # reads 2 % high: 81.0 is 79.4 °C


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


# ---------------------------------------------------------------- the quick watch


def rule_of(mash: Probe, second: Probe | None = None, limit_c: float = 80.0) -> dict[str, object]:
    """A tun with these probes and this hard limit."""
    probes = TUN.probes.model_copy(update={"mash": mash, "second": second})
    guard = TUN.guard.model_copy(update={"hard_limit_c": limit_c})
    return {"tun": TUN.model_copy(update={"probes": probes, "guard": guard})}


def test_each_probe_is_judged_by_its_own_correction() -> None:
    """79.0 of a probe that reads low is over the limit of 80, whichever of the two it is, and no more where it reads
    true; 81.0 of one that reads high is a cut, as every raw reading over the limit, and no trip."""
    over = Finding("G07", 79.0 / 0.98, 80.0)
    two = hot(79.0, 79.0)
    assert watch_mash.hot(senses(raw=two, raw_second=(), **rule_of(HIGH)), Memory())[1] == over
    assert watch_mash.hot(senses(raw=(), raw_second=two, **rule_of(PLAIN, HIGH)), Memory())[1] == over
    assert watch_mash.hot(senses(raw=two, raw_second=(), **rule_of(PLAIN, HIGH)), Memory())[1] is None
    assert watch_mash.hot(senses(raw=(), raw_second=two, **rule_of(HIGH, PLAIN)), Memory())[1] is None
    high = watch_mash.hot(senses(raw=hot(81.0, 81.0), raw_second=(), **rule_of(LOW)), Memory())[1]
    assert high == Finding("G07", 0.0, 80.0, cut_only=True)


def test_what_is_under_the_limit() -> None:
    """Every message a reading, each under it raw and corrected; at the limit is not under, nor is a bad message."""
    assert watch_mash._all_under(hot(63.0, 79.9), PLAIN, 80.0)
    assert not watch_mash._all_under(hot(63.0, 80.0), PLAIN, 80.0)
    assert not watch_mash._all_under((*hot(63.0), Bad("text", NOW)), PLAIN, 80.0)
    assert not watch_mash._all_under(hot(79.0), HIGH, 80.0)
    assert not watch_mash._all_under(hot(81.0), LOW, 80.0)
    assert not watch_mash._all_under(hot(80.0), LOW, 80.0)
    assert watch_mash._all_under(hot(98.0), HIGH, 100.5)
    assert not watch_mash._all_under(hot(98.0), HIGH, 100.0)
    assert not watch_mash._all_under(hot(float("nan")), PLAIN, 80.0)


def test_a_false_value_at_the_limit_cuts() -> None:
    """85.0 with a limit of 85 is no reading that could be true, but it is not under the limit either."""
    found = watch_mash.hot(senses(raw=hot(85.0), raw_second=(), **rule_of(PLAIN, None, 85.0)), Memory())[1]
    assert found == Finding("G07", 0.0, 85.0, cut_only=True)


@pytest.mark.parametrize("value", [63.0, -5.0])
def test_a_cool_reading_ends_the_hot_row_of_its_probe(value: float) -> None:
    """Whichever probe had been hot once; the lowest value that a thermometer may give is a reading as well."""
    one, two = Memory(hot_run=1), Memory(hot_second=1)
    assert watch_mash.hot(senses(raw=hot(value), raw_second=()), one)[0].hot_run == 0
    assert watch_mash.hot(senses(raw=(), raw_second=hot(value)), two)[0].hot_second == 0
    assert watch_mash.hot(senses(raw=(), raw_second=hot(value)), one)[0].hot_run == 1


def test_what_is_kept_of_a_mash_above_its_program() -> None:
    """The row ends with one reading below; a fallen program is armed by it; the last value above is remembered."""
    row = Memory(above_run=2, above_c=75.2, highest_c=72.0)
    assert watch_mash.above(senses(raw=hot(70.0)), row)[0].above_run == 0
    fallen = Memory(above_armed=False, highest_c=72.0)
    assert watch_mash.above(senses(raw=hot(70.0)), fallen)[0].above_armed
    memory, _ = watch_mash.above(senses(raw=hot(75.1, 75.2, 75.3)), Memory(highest_c=72.0))
    assert watch_mash.above(senses(raw=()), memory)[1] == Finding("G06", 75.3, 75.0)


@pytest.mark.parametrize("memory", [Memory(differ_since=5.0), Memory(differ_noted_since=5.0)])
def test_probes_that_nobody_compares_are_not_apart(memory: Memory) -> None:
    """Held, whatever had been counted of the two probes is forgotten."""
    assert watch_mash.probes(senses(state=RunState.HELD), memory) == (Memory(), None)


@pytest.mark.parametrize(("probe_c", "node_c"), [(86.0, 70.0), (70.0, 86.0)])
def test_the_hotter_of_two_outlet_readings_counts(probe_c: float, node_c: float) -> None:
    """The outlet's own probe and what the heater node says of its outlet: one of them is enough."""
    node = HeaterReport(NOW - 0.5, "b", 1, 50, 0.0, 9.0, outlet_c=node_c)
    found = watch_mash.outlet(senses(raw_outlet=hot(probe_c), heater=node), Memory())[1]
    assert found == Finding("G08", 86.0, 85.0, latched=False)
