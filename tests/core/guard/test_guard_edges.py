"""The guard at its edges: equal values, what is carried on from tick to tick, what an event says beside its words."""

from __future__ import annotations

import pytest

from controller.core.guard import gate as guard
from controller.core.guard import notes as guard_notes
from controller.core.guard.history import Line, Past
from controller.core.nouns import Demand, Foreign, HeaterReport, Link, Order, RunState, Switch
from tests.core.guard.test_guard_corners import BASE, HELD, NOW, OPEN, SEEN, TUN, check, kept, senses

S = RunState
HISTORY = Past(lines=tuple(Line(NOW - 50.0 + 10.0 * n, 63.0, 0.0) for n in range(5)), next_at=NOW + 5.0)


def test_a_number_just_taken_counts_in_the_same_tick() -> None:
    """While checking, the heater's answer to the new epoch is an answer at once; to the old one it is none any more."""
    answer = HeaterReport(NOW - 0.5, "b", 7, 50, 0.0, 9.0)
    assert check(state=S.CHECKING, epoch_seen=6, heater=answer).state.memory.acked_seq == 50
    old = answer._replace(epoch=1)
    assert check(state=S.CHECKING, epoch_seen=6, heater=old).state.memory.acked_seq == 49
    assert check(state=S.CHECKING, epoch_seen=0, heater=old).state.memory.acked_seq == 50


def test_history_is_kept_and_forgotten() -> None:
    """A tick adds a line to the history where one is due; a new connection and a sleep throw all of it away."""
    assert [line.at for line in check().state.past.lines] == [NOW]
    assert check(OPEN._replace(past=HISTORY)).state.past.lines == HISTORY.lines
    assert len(check(OPEN._replace(past=HISTORY, link_up=False)).state.past.lines) == 1
    assert len(check(OPEN._replace(past=HISTORY), gap_s=5.1).state.past.lines) == 1
    assert check(OPEN._replace(past=HISTORY), gap_s=5.0).state.past.lines == HISTORY.lines


def test_what_the_history_says_is_a_finding_like_any_other() -> None:
    """2 K in three minutes with the heater long off: a trip and OFF in the very tick in which the line is added."""
    lines = tuple(Line(NOW - 200.0 + 10.0 * n, 61.0, 0.0) for n in range(20))
    gate = check(OPEN._replace(past=Past(lines=lines, off_since=NOW - 1000.0)))
    assert [(trip.id, trip.value) for trip in gate.state.trips] == [("G10", 2.0)]
    assert gate.command is not None
    assert gate.command.duty == 0.0


@pytest.mark.parametrize(("asked", "share"), [(0.0, True), (1.0, True), (1.01, False), (1.2, False)])
def test_both_ends_are_shares_at_the_last_line(asked: float, share: bool) -> None:
    """Nothing and all of the heater's power are demands, a hundredth more is none; told at the last line itself."""
    wanted = (asked, "t") if share else (0.0, "demand was no number")
    assert guard._allowed(OPEN, BASE, [], Demand(asked, "t"), 10) == wanted


def test_flow_of_just_ten_seconds_ago_is_proof() -> None:
    """The word of a flow switch holds for its ten seconds, the last of them included."""
    assert guard.shut(OPEN, senses(flow=Switch(True, NOW - 10.0)), 10) == ""
    assert guard.shut(OPEN, senses(flow=Switch(True, NOW - 10.01)), 10) == "flow is not proven"


def test_the_loser_knows_that_nothing_is_let_out() -> None:
    """Heat was on when a higher epoch came: silence, and the duty let out is nothing."""
    gate = check(OPEN._replace(duty=0.5), epoch_seen=2)
    assert (gate.command, gate.state.duty) == (None, 0.0)


def test_a_lease_is_never_negative() -> None:
    """Where a file lets readings be up to 20 s old, heat on one of 13 s gets no second of lease."""
    patient = TUN.model_copy(update={"guard": TUN.guard.model_copy(update={"reading_gone_s": 20.0})})
    gate = check(OPEN._replace(duty=0.5), tun=patient, seen=SEEN._replace(age_s=13.0))
    assert gate.command is not None
    assert (gate.command.duty, gate.command.valid_s) == (0.5, 0.0)


@pytest.mark.parametrize(
    ("before", "off_seq", "asked", "after"),
    [(0.0, 0, 0.5, -1), (0.0, 0, 0.0, 0), (0.5, 1, 0.0, 61), (0.5, -1, 0.0, 61), (0.0, -1, 0.0, 61), (0.0, 5, 0.0, 5)],
)
def test_which_off_was_the_first_of_its_row(before: float, off_seq: int, asked: float, after: int) -> None:
    """Heat ends the row of OFFs, number 0 included; the first OFF after heat begins a new one; more of them do not."""
    state = OPEN._replace(duty=before, memory=OPEN.memory._replace(off_seq=off_seq))
    assert check(state, asked).state.memory.off_seq == after


@pytest.mark.parametrize(("before", "asked"), [(0.0, 0.5), (0.5, 0.0)])
def test_a_new_row_is_a_new_judgement_of_the_heater(before: float, asked: float) -> None:
    """What the heater contradicted in the row before does not count for the next, heat or OFF."""
    state = OPEN._replace(duty=before, memory=OPEN.memory._replace(contradict_since=NOW - 1.0))
    assert check(state, asked, heater=None).state.memory.contradict_since is None
    still = OPEN._replace(memory=OPEN.memory._replace(contradict_since=NOW - 1.0))
    assert check(still, 0.0, heater=None).state.memory.contradict_since == NOW - 1.0


def test_the_second_at_which_heat_may_return_is_ready() -> None:
    """At `off_until` there is nothing more to wait for."""
    view = guard.view(OPEN._replace(off_until=NOW), NOW, 10.0, True)
    assert (view.ready, view.waits_for) == (True, "")


def test_evidence_is_lost_without_any_trip() -> None:
    """With nothing running no trip comes of a reading that is gone; the evidence is lost all the same."""
    gone = check(state=S.IDLE, seen=SEEN._replace(age_s=10.1))
    assert (gone.state.trips, gone.state.qualified) == ((), False)
    assert check(state=S.IDLE, seen=SEEN._replace(age_s=10.0)).state.qualified


@pytest.mark.parametrize(
    ("quiet_c", "value_c", "elapsed_s", "good"),
    [
        (66.0, 62.73, 60.0, True),
        (66.0, 62.71, 60.0, False),
        (18.0, 15.01, 36_000.0, True),
        (18.0, 14.99, 36_000.0, False),
    ],
)
def test_how_far_a_mash_may_have_cooled(quiet_c: float, value_c: float, elapsed_s: float, good: bool) -> None:
    """3 K and 35 % an hour of what it was over a room of 18 °C: 3.28 K in a minute from 66 °C; from the room's own
    temperature 3 K, however long it lasts."""
    state = OPEN._replace(qualified=False, qualify_from=NOW - 20.0, quiet_c=quiet_c, quiet_at=NOW - elapsed_s)
    assert TUN.room_c == 18.0
    assert check(state, seen=SEEN._replace(value_c=value_c)).state.qualified is good


def test_a_switch_never_heard_has_been_silent_for_a_day() -> None:
    """The figure in the trip's words is a day where there was no word at all, and never more than that."""
    assert check(level=None).state.trips[0].value == 86_400.0
    assert check(level=Switch(True, NOW - 100_000.0)).state.trips[0].value == 86_400.0


# ---------------------------------------------------------------- notes


def test_what_is_no_note() -> None:
    """Five seconds of sleep are none yet; a stranger's heat is a trip and not a note; nothing is over no target."""
    assert check(gap_s=5.0).state.notes == ()
    stranger = check(link=Link(True, 0.0, foreign=Foreign(0.5, None, NOW)))
    assert ([t.id for t in stranger.state.trips], stranger.state.notes) == (["G19"], ())
    for changes in ({"target": BASE.target._replace(target_c=None)}, {"seen": SEEN._replace(value_c=None)}):
        assert guard_notes._over_k(senses(**changes)) == 0.0
    assert guard_notes._over_k(senses(seen=SEEN._replace(value_c=66.5))) == 3.5


# ---------------------------------------------------------------- trips


def test_events_say_whether_it_stays() -> None:
    """One that waits for a person from now on is latched in its event, one that is over is not, nor a cleared one."""
    old = OPEN._replace(trips=(kept("G02", NOW - 900.1, False),), off_until=NOW + 9)
    assert [e.latched for e in check(old, seen=SEEN._replace(age_s=11.0)).events] == [True]
    over = OPEN._replace(trips=(kept("G02", NOW - 70.0, False),), gone=(("G02", NOW - 60.0),))
    assert [e.latched for e in check(over).events] == [False]
    order = Order("clear", NOW, "o", {}, "brewer", trip="G09")
    event = guard.clear(HELD, order, S.HELD, NOW, 60.0)[2]
    assert event is not None
    assert (event.latched, event.data) == (False, {"by": "brewer"})


def test_a_trip_ends_at_the_second_it_may() -> None:
    """At `off_until` a self-clearing trip is over, a hundredth before it is not."""
    state = OPEN._replace(trips=(kept("G02", NOW - 70.0, False),), gone=(("G02", NOW - 60.0),))
    assert check(state._replace(off_until=NOW)).state.trips == ()
    assert len(check(state._replace(off_until=NOW + 0.01)).state.trips) == 1


@pytest.mark.parametrize(("trip", "longer_s"), [("G23", 5400.0), ("G09", 1800.0)])
def test_clearing_g23_alone_gives_more_time(trip: str, longer_s: float) -> None:
    """An hour on top of what was given before, for the run that lasted too long; nothing for any other trip. What was
    read when heat was cut is no measure any more."""
    state = HELD._replace(trips=(kept(trip, NOW - 60.0, True),), gone=((trip, 0.0),), longer_s=1800.0, quiet_c=50.0)
    after = guard.clear(state, Order("clear", NOW, "o", {}, "b", trip=trip), S.HELD, NOW, 60.0)[0]
    assert (after.longer_s, after.quiet_c) == (longer_s, None)
