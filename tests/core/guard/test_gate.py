"""May this heat leave the house: every reason to say no, one at a time, and what the gate obeys."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from controller.core.guard import gate
from controller.core.guard.heat_account import HeatAccount
from controller.core.guard.heater_line import HeaterLine
from controller.core.guard.history import History, Line
from controller.core.guard.interlocks.g05_probes_differ import ProbesDiffer
from controller.core.guard.interlocks.g06_above_program import AboveProgram
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.registry import ALL
from controller.core.guard.state import GuardState
from controller.core.nouns import Foreign, HeaterReport, Link, RunState, Switch, Target, View
from tests.core.guard.looks import (
    BASE,
    BLOCKED,
    LATCHED,
    NOW,
    OFF,
    OPEN,
    SEEN,
    TUN,
    S,
    check,
    duty,
    having,
    ids,
    line,
    memory,
    read,
    senses,
)

EVERY = set(RunState)


def evidence(state: GuardState = OPEN, **changes: Any) -> GuardState:
    """The guard with other evidence."""
    return state._replace(evidence=state.evidence._replace(**changes))


# ---------------------------------------------------------------- what the gate lets out


def test_open_lets_the_demand_out() -> None:
    """With everything in order the demand leaves, capped by the heater's own cap, with its reason and reading."""
    out = check()
    assert out.command is not None
    assert (out.command.duty, out.command.reason, out.command.seq, out.command.reading_seq) == (0.5, "test", 61, 9)
    assert (out.command.reading_age_s, out.command.valid_s, out.command.epoch) == (0.5, 10.0, 1)
    assert (out.events, out.replies, out.state.line.seq, out.state.line.duty) == ((), (), 61, 0.5)
    assert (out.state.evidence.quiet_c, out.state.evidence.quiet_at) == (63.0, NOW)
    capped = TUN.model_copy(update={"heater": TUN.heater.model_copy(update={"duty_cap": 0.3})})
    assert duty(check(tun=capped)) == 0.3


SHUT: dict[str, tuple[GuardState, dict[str, Any], str]] = {
    "lost": (OPEN._replace(lost=True), {}, "another controller owns this tun"),
    "tripped": (OPEN._replace(trips=(LATCHED,)), {}, "G07 hard limit"),
    "idle": (OPEN, {"state": S.IDLE}, "idle"),
    "held": (OPEN, {"state": S.HELD}, "held"),
    "restarting": (OPEN, {"state": S.RESTARTING}, "restarting"),
    "too soon": (evidence(off_until=NOW + 0.1), {}, "heat stays off for another 0 s"),
    "much too soon": (evidence(off_until=NOW + 42.0), {}, "heat stays off for another 42 s"),
    "not qualified": (evidence(qualified=False, from_at=NOW), {}, "waiting for good readings and an answering heater"),
    "no value": (OPEN, {"seen": SEEN._replace(value_c=None)}, "no fresh reading"),
    "not durable": (OPEN._replace(durable_need=11), {}, "the record of the last decision is not on disk yet"),
    "no level word": (OPEN, {"level": Switch(False, NOW, NOW - 1.0), "state": S.PAUSED}, "G13 no liquid or no flow"),
    "level lost": (OPEN, {"level": None}, "G13 no liquid or no flow"),
    "a hot reading": (OPEN, {"raw": read(80.0)}, "G07 hard limit"),
    "blocked": (OPEN, {"target": BASE.run.target._replace(heat="blocked")}, "heat is blocked in resting"),
    "heat off": (OPEN, {"target": BASE.run.target._replace(heat="off")}, "heat is off in resting"),
    "not stirred": (OPEN, {"stirred": False}, "stirrer or pump is not running"),
    "flow not proven": (OPEN, {"pump_on_s": 1.0, "flow": Switch(False, NOW, NOW - 1.0)}, "flow is not proven"),
    "flow never heard": (OPEN, {"pump_on_s": 1.0, "flow": None}, "flow is not proven"),
    "flow old": (OPEN, {"pump_on_s": 1.0, "flow": Switch(True, NOW - 10.1)}, "flow is not proven"),
}


@pytest.mark.parametrize(("state", "sense", "why"), SHUT.values(), ids=list(SHUT))
def test_shut(state: GuardState, sense: dict[str, Any], why: str) -> None:
    """Each single thing that is not in order means OFF, with the reason in the command; OFF keeps its whole lease."""
    out = check(state, **sense)
    assert out.command is not None
    assert (out.command.duty, out.command.reason, out.command.valid_s) == (0.0, why, 10.0)


WHY: dict[str, tuple[dict[str, Any], str]] = {
    "all well": ({}, ""),
    "no level": ({"level": None}, "no liquid at the heater"),
    "level bad": ({"level": Switch(False, NOW, NOW - 1.0)}, "no liquid at the heater"),
    "level old": ({"level": Switch(True, NOW - 10.01)}, "no liquid at the heater"),
    "level of ten seconds ago": ({"level": Switch(True, NOW - 10.0)}, ""),
    "flow of ten seconds ago": ({"flow": Switch(True, NOW - 10.0)}, ""),
    "flow old": ({"flow": Switch(True, NOW - 10.01)}, "flow is not proven"),
    "no link": ({"link": Link(False, 0.0)}, "broker out of reach"),
    "reading gone": ({"seen": SEEN._replace(age_s=10.1)}, "no fresh reading"),
    "reading old": ({"seen": SEEN._replace(age_s=10.0)}, ""),
    "no number": ({"seen": SEEN._replace(age_s=nan)}, "no fresh reading"),
    "no switches": (
        {"tun": TUN.model_copy(update={"level": None, "flow": None}), "level": None, "flow": None}, "",
    ),
    "just durable": ({"durable_seq": 7}, ""),
    "not durable": ({"durable_seq": 6}, "the record of the last decision is not on disk yet"),
}  # fmt: skip


@pytest.mark.parametrize(("sense", "why"), WHY.values(), ids=list(WHY))
def test_what_no_interlock_watches_still_shuts(sense: dict[str, Any], why: str) -> None:
    """The gate itself wants reading, link, record, liquid and flow, whatever the interlocks before it say."""
    assert gate.shut(OPEN._replace(durable_need=7), senses(**sense)) == why


def test_heat_may_come_back_at_the_exact_second() -> None:
    """At `off_until` heat may come back, a tenth before it may not."""
    assert duty(check(evidence(off_until=NOW))) == 0.5
    assert duty(check(OPEN._replace(durable_need=10))) == 0.5
    assert duty(check(durable_seq=0)) == 0.5


@pytest.mark.parametrize(("age_s", "asked", "out"), [(5.0, 0.5, 0.5), (5.1, 0.5, 0.4), (5.1, 0.2, 0.2)])
def test_an_old_reading_may_not_raise_the_duty(age_s: float, asked: float, out: float) -> None:
    """Past 5 s the duty may fall but not rise; at 5 s it may still rise."""
    assert duty(check(line(duty=0.4, off_seq=-1), asked, seen=SEEN._replace(age_s=age_s))) == out


@pytest.mark.parametrize(("age_s", "gone_s", "valid_s"), [
    (0.0, 10.0, 10.0), (2.0, 10.0, 10.0), (2.5, 10.0, 9.5), (9.0, 10.0, 3.0), (10.0, 10.0, 2.0), (13.0, 20.0, 0.0),
])  # fmt: skip
def test_a_lease_never_outlives_its_reading_by_more_than_12_s(age_s: float, gone_s: float, valid_s: float) -> None:
    """12 s less the age, at most the lease, and never below nothing where a file lets readings be older."""
    patient = TUN.model_copy(update={"guard": TUN.guard.model_copy(update={"reading_gone_s": gone_s})})
    out = check(line(duty=1.0, off_seq=-1), tun=patient, seen=SEEN._replace(age_s=age_s))
    assert out.command is not None
    assert (out.command.duty, out.command.valid_s) == (0.5, valid_s)
    off = check(OPEN, 0.0, seen=SEEN._replace(age_s=inf, value_c=None))
    assert off.command is not None
    assert (off.command.valid_s, off.command.reading_age_s) == (10.0, None)


@pytest.mark.parametrize("value", [nan, inf, -inf, -0.01, 1.01])
def test_demand_must_be_a_share(value: float) -> None:
    """A demand that is no share of the heater's power is a bug of ours and ends the process, whose last word is OFF;
    both ends are shares."""
    with pytest.raises(ValueError, match=f"a duty of {value:g} was asked for \\(test\\)"):
        check(OPEN, value)
    assert [duty(check(OPEN, share)) for share in (0.0, 1.0)] == [0.0, 1.0]


TRIPPED: dict[str, tuple[str, dict[str, Any], bool]] = {
    "there": ("G13", {"level": None, "state": S.HELD}, True),
    "over": ("G13", {"state": S.HELD}, False),
    "another": ("G05", {"level": None, "state": S.HELD}, False),
    "unknown with heat off": ("G10", {"state": S.HELD}, True),
    "unknown in a run": ("G10", {}, False),
}


@pytest.mark.parametrize(("name", "changes", "there"), TRIPPED.values(), ids=list(TRIPPED))
def test_a_cause_is_looked_at_again_while_heat_is_off(name: str, changes: dict[str, Any], there: bool) -> None:
    """Held, the interlock whose trip is on is asked as if the run went on, and nobody else."""
    trip = LATCHED._replace(id=name, unit="s")
    out = check(OPEN._replace(trips=(trip,)), **changes)
    assert (out.state.gone == ()) is there
    assert ids(out) == [name]


# ---------------------------------------------------------------- number, link and sleep


@pytest.mark.parametrize(("state", "seen", "epoch"), [
    (S.CHECKING, 0, 1), (S.CHECKING, 1, 2), (S.CHECKING, 6, 7), (S.IDLE, 0, 1), (S.RUNNING, 1, 1),
])  # fmt: skip
def test_epoch_is_taken_while_checking_only(state: RunState, seen: int, epoch: int) -> None:
    """Above every owner heard of; the command carries it."""
    out = check(state=state, epoch_seen=seen)
    assert out.command is not None
    assert (out.state.epoch, out.command.epoch) == (epoch, epoch)


def test_a_number_just_taken_counts_in_the_same_tick() -> None:
    """While checking, the heater's answer to the new epoch is an answer at once; to the old one it is none any more."""
    answer = HeaterReport(NOW - 0.5, "b", 7, 50, 0.0, 9.0)
    assert check(state=S.CHECKING, epoch_seen=6, report=answer).state.line.acked_seq == 50
    old = answer._replace(epoch=1)
    assert check(state=S.CHECKING, epoch_seen=6, report=old).state.line.acked_seq == 49
    assert check(state=S.CHECKING, epoch_seen=0, report=old).state.line.acked_seq == 50


def test_the_loser_is_silent_for_good() -> None:
    """A higher number: one last OFF, then no command any more; a stranger's heat alone is answered by OFF."""
    last = check(line(duty=0.5, off_seq=-1), epoch_seen=2)
    assert (duty(last), last.state.lost, last.state.line.duty) == (0.0, True, 0.0)
    assert [event.id for event in last.events] == ["G19"]
    out = check(last.state, epoch_seen=2)
    assert (out.command, out.state.lost, out.state.line.duty) == (None, True, 0.0)
    foreign = check(link=Link(True, 0.0, foreign=Foreign(1.0, 1, NOW)))
    assert (duty(foreign), foreign.state.lost) == (0.0, True)


def test_the_loser_remembers_no_duty() -> None:
    """What left before is off by then, whatever was remembered."""
    out = check(line(OPEN._replace(lost=True), duty=0.5), epoch_seen=2)
    assert (out.command, out.state.line.duty) == (None, 0.0)


COLD: dict[str, tuple[float, dict[str, Any], bool]] = {
    "it leaves": (0.5, {}, False),
    "none is wanted": (0.0, {}, False),
    "it stays": (0.5, {"stirred": False}, True),
    "hardly any is wanted, and stays": (0.01, {"stirred": False}, True),
    "it stays, none is wanted": (0.0, {"stirred": False}, False),
    "blocked": (0.5, {"target": BLOCKED}, False),
    "held": (0.5, {"state": S.HELD}, False),
}


@pytest.mark.parametrize(("asked", "changes", "cold"), COLD.values(), ids=COLD)
def test_since_when_wanted_heat_stays(asked: float, changes: dict[str, Any], cold: bool) -> None:
    """Only where the program wants heat, is asked for some, and none leaves."""
    noted = check(OPEN, asked, **changes).state.noted
    why = "stirrer or pump is not running" if cold else ""
    assert (noted.cold_since, noted.cold_why) == (NOW if cold else None, why)


def test_what_a_tick_leaves_remembered() -> None:
    """Gaps of a link, the heat of the tick before, and each interlock's own memory."""
    gap = evidence(qualified=False, in_gap=True, from_at=NOW)
    assert check(gap).state.link_gaps.cut and not check(evidence(qualified=False, from_at=NOW)).state.link_gaps.cut
    hot = line(duty=0.5, off_seq=-1)
    assert check(hot).state.heat == hot.heat.follow(BASE, 0.5, hot.plate) != hot.heat.follow(BASE, 0.0, hot.plate)
    apart = check(second=SEEN._replace(value_c=69.0))
    assert memory(apart, ProbesDiffer) == ProbesDiffer(since=NOW, half_since=NOW)


@pytest.mark.parametrize("state", RunState)
def test_what_belongs_to_one_run(state: RunState) -> None:
    """A hand reading owed, heat owed and what interlocks count begin anew where no run is on, and stay elsewhere."""
    owed = having(RunTooLong(longer_s=50.0), OPEN._replace(hand_for="G09", heat=HeatAccount(owed_k=2.0)))
    out = check(owed, state=state)
    followed = owed.heat.follow(senses(state=state), 0.0, owed.plate)
    over = state in (S.IDLE, S.STOPPED, S.ABORTED, S.COMPLETE)
    assert followed.next_run() != followed
    assert out.state.heat == (followed.next_run() if over else followed)
    assert (out.state.hand_for, memory(out, RunTooLong).longer_s) == (("", 0.0) if over else ("G09", 50.0))


HISTORY = History(lines=tuple(Line(NOW - 50.0 + 10.0 * n, 63.0, 0.0) for n in range(5)), next_at=NOW + 5.0)
BREAKS: dict[str, tuple[dict[str, Any], dict[str, Any], bool]] = {
    "nothing": ({}, {}, False),
    "link back": ({"link_up": False}, {}, True),
    "another connection": ({"link_since": 5.0}, {}, True),
    "link gone": ({}, {"link": Link(False, NOW)}, True),
    "slept": ({}, {"gap_s": 5.1}, True),
    "hardly slept": ({}, {"gap_s": 5.0}, False),
}


@pytest.mark.parametrize(("state", "sense", "stale"), BREAKS.values(), ids=list(BREAKS))
def test_what_makes_all_readings_stale(state: dict[str, Any], sense: dict[str, Any], stale: bool) -> None:
    """A connection that is gone or new, or more than 5 s of sleep: heat waits for new readings, for no time; what is
    remembered of the mash stays; a longer wait stays."""
    out = check(OPEN._replace(past=HISTORY, **state), state=S.PAUSED, **sense).state
    assert (out.evidence.qualified, out.evidence.in_gap) == (not stale, stale)
    assert (out.evidence.from_at == NOW) is stale
    assert (out.evidence.off_until, out.trips) == (0.0, ())
    assert out.past.lines == HISTORY.lines
    link = sense.get("link", BASE.own.link)
    assert (out.link_up, out.link_since) == (link.up, link.since)
    later = check(evidence(OPEN._replace(**state), off_until=NOW + 50.0), **sense).state
    assert later.evidence.off_until == NOW + 50.0


def test_a_tick_adds_to_the_history_what_was_let_out() -> None:
    """A line where one is due, the energy of the duty that left last, at the plate's power; what it says is a finding
    like any other, in the very tick."""
    assert check(OPEN._replace(past=HISTORY)).state.past.lines == HISTORY.lines
    out = check(line(duty=0.5, off_seq=-1)).state.past
    assert (out.lines, out.energy_j) == ((Line(NOW, 63.0, 2500.0),), 2500.0)
    warmed = tuple(Line(NOW - 10.0 * n, 63.0 - n / 16.0, 0.0) for n in range(31, 0, -1))
    told = check(OPEN._replace(past=History(lines=warmed, off_since=NOW - 1000.0)))
    assert ([(trip.id, trip.value) for trip in told.state.trips], duty(told)) == ([("G10", 1.875)], 0.0)


@pytest.mark.parametrize("state", RunState)
def test_the_heat_by_which_rises_are_judged_ends_with_the_run(state: RunState) -> None:
    """With no run on the history begins anew in one tick; in any other state it stays, and once begun anew it grows."""
    used = HISTORY._replace(heat_since=5.0, off_since=3.0, added_at=4.0, era=1)
    out = check(OPEN._replace(past=used), state=state, raw=(), highest_c=None).state.past
    no_run = state in (S.IDLE, S.STOPPED, S.ABORTED, S.COMPLETE)
    assert (out.heat_since, len(out.lines)) == ((None, 0) if no_run else (5.0, 5))
    assert (out.off_since, out.added_at) == (3.0, 4.0)
    assert check(OPEN._replace(past=HISTORY), state=state).state.past.lines == HISTORY.lines


def test_something_for_the_disk() -> None:
    """No heat until the disk has come as far as was written when it was well; a sick disk keeps it open."""
    state = OPEN._replace(need_durable=True)
    assert duty(check(state)) == 0.0
    settled = gate.settle(state, True, 11)
    assert (settled.need_durable, settled.durable_need) == (False, 11)
    assert [duty(check(settled, durable_seq=seq)) for seq in (10, 11)] == [0.0, 0.5]
    assert gate.settle(state, False, 11) is state
    assert gate.settle(OPEN, True, 11) is OPEN


# ---------------------------------------------------------------- the beginning, and what others may know


def test_a_fresh_guard_is_shut() -> None:
    """After a process start: shut for the lock, with the trips that were latched, nothing qualified; off for as long as
    the process before asked for, with the memory that it kept."""
    state = gate.begin(TUN, NOW, 4, measured=True, standing=(LATCHED,), interlocks=())
    assert (state.evidence.off_until, state.epoch, state.evidence.qualified) == (NOW + 10.0, 4, False)
    assert (state.evidence.from_at, state.evidence.quiet_at, state.evidence.quiet_c) == (NOW, NOW, None)
    assert (state.started_at, state.line, state.trips) == (NOW, HeaterLine(off_since=NOW), (LATCHED,))
    assert (state.plate.measured, state.interlocks, state.known.started_at) == (True, (), NOW)
    plain = gate.begin(TUN, NOW, 1, off_until=NOW + 99.0)
    assert (plain.evidence.off_until, plain.plate.measured, plain.interlocks) == (NOW + 99.0, False, ALL)
    assert gate.begin(TUN, NOW, 1, off_until=NOW + 9.0).evidence.off_until == NOW + 10.0
    assert not memory(gate.Gate(plain, None, ()), AboveProgram).armed


def view(state: GuardState, flow_ok: bool = True) -> View:
    return gate.view(state, TUN, NOW, flow_ok)


def test_view() -> None:
    """Ready only with good evidence, nothing tripped, nothing to wait for; at `off_until` there is nothing more."""
    assert view(OPEN) == View((), False, False, True, True, True, "")
    assert view(OPEN, False).flow_ok is False
    assert view(evidence(off_until=NOW)).ready
    assert not view(evidence(off_until=NOW + 0.5)).ready
    waits = view(evidence(off_until=NOW + 5.0))
    assert (waits.ready, waits.waits_for) == (False, "at least 5 s more without heat")
    for state in (evidence(qualified=False), OPEN._replace(lost=True), OPEN._replace(trips=(LATCHED,))):
        assert not view(state).ready
    assert (view(OPEN._replace(lost=True)).lost, view(OPEN._replace(trips=(LATCHED,))).latched) == (True, True)
    assert not view(OPEN._replace(trips=(LATCHED._replace(latched=False),))).latched


@pytest.mark.parametrize(("changes", "off"), [
    ({"acked_at": NOW - 10.0}, True), ({"acked_at": NOW - 10.1}, False), ({"acked_at": None}, False),
    ({"acked_duty": 0.1}, False), ({"acked_duty": None}, False),
])  # fmt: skip
def test_off_only_where_the_heater_has_said_so(changes: dict[str, Any], off: bool) -> None:
    """Within ten seconds, by its newest answer."""
    assert view(line(**changes)).heater_off is off
    assert OFF.heats is False


def test_a_target_without_a_level_is_no_level() -> None:
    """`hold` alone lets heat out; the word of the target is what counts, whatever the phase."""
    for heat, out in (("hold", 0.5), ("off", 0.0), ("blocked", 0.0)):
        assert duty(check(target=Target(heat, 63.0, 0.017, 1, 297_420.0))) == out  # type: ignore[arg-type]
