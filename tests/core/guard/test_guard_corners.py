"""The guard and its quick interlocks one tick at a time: limits from both sides, memory, notes, clearing."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from controller.core.guard import gate as guard
from controller.core.guard import trips, watch_mash, watch_plant
from controller.core.guard.registry import HEATED, Finding, Memory, Senses
from controller.core.guard.requalify import lacks
from controller.core.nouns import (
    Bad,
    Demand,
    Foreign,
    HeaterReport,
    Link,
    Measurement,
    Order,
    Phase,
    Reading,
    RunState,
    Switch,
    Target,
    Trip,
)
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput
from tests.core.bench import tun

NOW = 1000.0
S = RunState
SEEN = Measurement(63.0, 63.0, NOW - 0.5, 0.5, 9, True, False, good_run=9, good_since=NOW - 20.0)
PROBES = Probes(mash=Probe(topic="a"), second=Probe(topic="b"), outlet=Probe(topic="c"))
TUN = tun(
    probes=PROBES, flow=SwitchInput(topic="f"), pump=Output(topic="u"), mixing="pump", flow_l_per_min=6.0,
    heater=Heater(kind="proportional", power_w=5000.0, place="line"), stirrer=None,
)  # fmt: skip
BASE = Senses(
    tun=TUN, now=NOW, dt=1.0, state=S.RUNNING, phase=Phase.RESTING,
    target=Target("hold", 63.0, 0.017, 1, 297_420.0), setpoint_c=63.0, highest_c=72.0, seen=SEEN,
    raw=(Reading(63.0, NOW - 0.5, 9),), raw_second=(Reading(63.0, NOW - 0.5, 9),),
    raw_outlet=(Reading(63.0, NOW - 0.5, 9),), second=SEEN, outlet=SEEN, gone=(),
    heater=HeaterReport(NOW - 0.5, "b", 1, 50, 0.0, 9.0), heater_online=True, level=Switch(True, NOW - 0.5),
    flow=Switch(True, NOW - 0.5), pump_on_s=100.0, link=Link(True, 0.0), late_s=0.0, gap_s=0.0, wall_set_s=0.0,
    epoch=1, epoch_seen=1,
    power_w=5000.0, capacity_j_per_k=297_420.0, run_s=600.0, planned_s=3600.0, disk_ok=True, stirred=True,
)  # fmt: skip
SENT = tuple((seq, NOW - 51.0 + seq) for seq in range(20, 51))  # a command a second
OPEN = guard.GuardState(
    started_at=0.0, qualified=True, qualify_from=0.0, seq=60, link_up=True, duty=0.0,
    memory=Memory(off_seq=1, off_since=0.0, sent=SENT, acked_seq=49, acked_at=NOW - 1.0, acked_duty=0.0),
)  # fmt: skip


def senses(**changes: Any) -> Senses:
    return BASE._replace(**changes)


def hot(*values: float) -> tuple[Reading, ...]:
    return tuple(Reading(value, NOW - 0.5 + n / 10, 20 + n) for n, value in enumerate(values))


def check(state: guard.GuardState = OPEN, duty: float = 0.5, durable: int = 10, /, **changes: Any) -> guard.Gate:
    return guard.check(state, senses(**changes), Demand(duty, "test"), False, durable)


def duty(gate: guard.Gate) -> float:
    assert gate.command is not None
    return gate.command.duty


def ids(gate: guard.Gate) -> list[str]:
    return [trip.id for trip in gate.state.trips]


def test_open_lets_the_demand_out() -> None:
    """With everything in order the demand leaves, capped by the heater's own cap, with its reason and reading."""
    gate = check()
    assert gate.command is not None
    assert (gate.command.duty, gate.command.reason, gate.command.seq, gate.command.reading_seq) == (0.5, "test", 61, 9)
    assert (gate.command.reading_age_s, gate.command.valid_s, gate.command.epoch) == (0.5, 10.0, 1)
    capped = TUN.model_copy(update={"heater": TUN.heater.model_copy(update={"duty_cap": 0.3})})
    assert duty(check(tun=capped)) == 0.3
    assert gate.events == ()
    assert gate.replies == ()


SHUT: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "lost": ({"lost": True}, {}, "another controller owns this tun"),
    "idle": ({}, {"state": S.IDLE}, "idle"),
    "held": ({}, {"state": S.HELD}, "held"),
    "too soon": ({"off_until": NOW + 0.1}, {}, "heat stays off for another 0 s"),
    "not qualified": ({"qualified": False, "qualify_from": NOW}, {}, "waiting for good readings"),
    "no value": ({}, {"seen": SEEN._replace(value_c=None)}, "no fresh reading"),
    "not durable": ({"durable_need": 11}, {}, "not on disk yet"),
    "no level word": ({}, {"state": S.PAUSED, "level": Switch(False, NOW)}, "G13"),
    "blocked": ({}, {"target": BASE.target._replace(heat="blocked")}, "heat is blocked in resting"),
    "heat off": ({}, {"target": BASE.target._replace(heat="off")}, "heat is off in resting"),
    "not stirred": ({}, {"stirred": False}, "stirrer or pump is not running"),
    "flow not proven": ({}, {"pump_on_s": 1.0, "flow": Switch(False, NOW)}, "flow is not proven"),
    "flow never heard": ({}, {"pump_on_s": 1.0, "flow": None}, "flow is not proven"),
    "flow old": ({}, {"pump_on_s": 1.0, "flow": Switch(True, NOW - 10.1)}, "flow is not proven"),
    "level lost": ({}, {"level": None}, "G13"),
}


@pytest.mark.parametrize(("state", "sense", "part"), SHUT.values(), ids=list(SHUT))
def test_shut(state: dict[str, Any], sense: dict[str, Any], part: str) -> None:
    """Each single thing that is not in order means OFF, with the reason in the command."""
    gate = check(OPEN._replace(**state), **sense)
    assert gate.command is not None
    assert gate.command.duty == 0.0
    assert part in gate.command.reason


def test_off_is_due_at_the_exact_second() -> None:
    """At `off_until` heat may come back, a tenth before it may not; the record needs just the number it needs."""
    assert duty(check(OPEN._replace(off_until=NOW))) == 0.5
    assert duty(check(OPEN._replace(durable_need=10))) == 0.5
    assert duty(check(OPEN, 0.5, 0)) == 0.5


def test_level_and_flow_that_no_rule_watches_still_shut() -> None:
    """The gate itself wants liquid and flow, whatever the rules before it say."""
    for changes, why in (
        ({"level": None}, "no liquid at the heater"),
        ({"level": Switch(False, NOW)}, "no liquid at the heater"),
        ({"link": Link(False, 0.0)}, "broker out of reach"),
        ({"seen": SEEN._replace(age_s=10.1)}, "no fresh reading"),
        ({"seen": SEEN._replace(age_s=nan)}, "no fresh reading"),
        ({}, ""),
    ):
        assert guard.shut(OPEN, senses(**changes), 10) == why
    plain = TUN.model_copy(update={"level": None, "flow": None})
    assert guard.shut(OPEN, senses(tun=plain, level=None, flow=None), 10) == ""


def test_old_reading_may_not_raise_the_duty() -> None:
    """Past 5 s the duty may fall but not rise; at 5 s it may still rise."""
    state = OPEN._replace(duty=0.4)
    assert duty(check(state, seen=SEEN._replace(age_s=5.0))) == 0.5
    assert duty(check(state, seen=SEEN._replace(age_s=5.1))) == 0.4
    assert duty(check(state, 0.2, seen=SEEN._replace(age_s=5.1))) == 0.2


@pytest.mark.parametrize("age", [0.0, 2.0, 2.5, 9.0, 10.0])
def test_lease_by_the_age_of_the_reading(age: float) -> None:
    """12 s less the age, at most the lease; an OFF keeps its whole lease."""
    state = OPEN._replace(duty=1.0)
    gate = check(state, seen=SEEN._replace(age_s=age))
    assert gate.command is not None
    assert gate.command.valid_s == min(10.0, 12.0 - age)
    off = check(OPEN, 0.0, seen=SEEN._replace(age_s=inf, value_c=None))
    assert off.command is not None
    assert (off.command.valid_s, off.command.reading_age_s) == (10.0, None)


@pytest.mark.parametrize(("value", "out"), [(nan, 0.0), (inf, 0.0), (-0.01, 0.0), (1.01, 0.0), (0.0, 0.0), (1.0, 1.0)])
def test_demand_must_be_a_share(value: float, out: float) -> None:
    """A demand that is no share of the heater's power becomes OFF and G26; both ends are shares."""
    gate = check(OPEN, value)
    assert duty(gate) == out
    assert ("G26" in ids(gate)) is not (0.0 <= value <= 1.0)
    if ids(gate):
        assert gate.state.trips[0].value == (value if abs(value) < 2 else -1.0)
        assert gate.state.trips[0].limit == 1.0


def test_one_hot_reading_cuts_the_tick_and_no_more() -> None:
    """A single raw reading at the limit is OFF with its reason, without a trip."""
    gate = check(raw=hot(80.0))
    assert gate.command is not None
    assert (gate.command.duty, gate.command.reason, ids(gate)) == (0.0, "G07 hard limit", [])


def test_last_line_before_the_heater() -> None:
    """Even were no rule to see it, a demand that is no share does not leave."""
    for value in (nan, inf, -0.1):
        assert guard._allowed(OPEN, BASE, [], Demand(value, "t"), 10) == (0.0, "demand was no number")


# ---------------------------------------------------------------- the quick rules, each alone


def found(rule: Any, memory: Memory = Memory(), /, **changes: Any) -> Finding | None:  # noqa: B008 - an immutable value
    finding: Finding | None = rule(senses(**changes), memory)[1]
    return finding


def test_hard_limit_by_either_probe() -> None:
    """One reading cuts, two latch; by the second probe as well; under the limit nothing."""
    assert found(watch_mash.hot, raw=hot(79.99, 79.99)) is None
    for name in ("raw", "raw_second"):
        one = found(watch_mash.hot, **{name: hot(80.0)})
        assert one == Finding("G07", 80.0, 80.0, cut_only=True)
        assert found(watch_mash.hot, **{name: hot(80.0, 80.5)}) == Finding("G07", 80.5, 80.0)
        assert found(watch_mash.hot, **{name: hot(80.0, 63.0, 80.0)}) == Finding("G07", 80.0, 80.0, cut_only=True)
        assert found(watch_mash.hot, **{name: hot(81.0, 82.0, 63.0)}) == Finding("G07", 82.0, 80.0)


def test_hard_limit_remembers_the_one_before() -> None:
    """Hot in two ticks running latches; a cool one between starts anew; nothing new keeps what was."""
    memory, first = watch_mash.hot(senses(raw=hot(80.0)), Memory())
    assert memory.hot_run == 1
    assert found(watch_mash.hot, memory, raw=hot(81.0)) == Finding("G07", 81.0, 80.0)
    cool, _ = watch_mash.hot(senses(raw=hot(63.0)), memory)
    assert (cool.hot_run, first) == (0, Finding("G07", 80.0, 80.0, cut_only=True))
    memory, _ = watch_mash.hot(senses(raw=hot(81.0)), memory)
    assert found(watch_mash.hot, memory, raw=()) == Finding("G07", 81.0, 80.0)
    memory, _ = watch_mash.hot(senses(raw_second=hot(81.0, 82.0), raw=()), Memory())
    assert found(watch_mash.hot, memory, raw=(), raw_second=()) == Finding("G07", 82.0, 80.0)


def test_hard_limit_cuts_on_what_cannot_be_true() -> None:
    """200 °C, no number and the power-on value cut the tick and never latch."""
    assert found(watch_mash.hot, raw=hot(105.0, 105.0)) == Finding("G07", 105.0, 80.0)
    for value in (200.0, nan, inf, 85.0):
        for name in ("raw", "raw_second"):
            finding = found(watch_mash.hot, **{name: hot(value, value, value)})
            assert finding is not None
            assert finding.cut_only
    assert found(watch_mash.hot, raw=(Bad("text", NOW),)) is None


def test_power_on_value_near_the_believed_one_is_true() -> None:
    """85 °C with a believed 83 °C beside it latches; with 82.9 °C, or none, it only cuts."""
    near = found(watch_mash.hot, raw=hot(85.0, 85.0), seen=SEEN._replace(value_c=83.0))
    assert near == Finding("G07", 85.0, 80.0)
    for value in (82.9, None):
        finding = found(watch_mash.hot, raw=hot(85.0, 85.0), seen=SEEN._replace(value_c=value))
        assert finding is not None
        assert finding.cut_only


def test_announced_addition_cuts_without_latching() -> None:
    """Boiling liquor returns: heat is blocked anyway, and the trip must not stay."""
    finding = found(watch_mash.hot, raw=hot(90.0, 90.0), target=BASE.target._replace(heat="blocked"))
    assert finding == Finding("G07", 90.0, 80.0, cut_only=True)


def test_above_program_counts_three_and_needs_to_have_been_below() -> None:
    """Over highest target and margin three in a row; a fourth below starts anew; blocked and idle are quiet."""
    assert found(watch_mash.above, raw=hot(75.1, 75.1)) is None
    assert found(watch_mash.above, raw=hot(75.1, 75.2, 75.3)) == Finding("G06", 75.3, 75.0)
    assert found(watch_mash.above, raw=hot(75.0, 75.0, 75.0)) is None
    assert found(watch_mash.above, raw=hot(75.1, 75.1, 75.0, 75.1)) is None
    assert found(watch_mash.above, raw=hot(75.1, 75.2, 75.3), target=BASE.target._replace(heat="blocked")) is None
    assert found(watch_mash.above, raw=hot(75.1, 75.2, 75.3), state=S.IDLE) is None
    assert found(watch_mash.above, raw=hot(75.1, 75.2, 75.3), highest_c=None) is None


def test_above_program_forgets_when_nothing_is_heated() -> None:
    """Held, the count is forgotten and the highest target is not; where nothing was counted nothing changes."""
    memory = Memory(highest_c=72.0, above_run=2, above_since=NOW - 1.0)
    after, finding = watch_mash.above(senses(state=S.HELD), memory)
    assert (after.highest_c, after.above_run, after.above_since, finding) == (72.0, 0, None, None)
    assert watch_mash.above(senses(state=S.HELD), Memory())[0] == Memory()


def test_above_program_with_nothing_new() -> None:
    """A message that is no reading changes nothing."""
    memory = Memory(highest_c=72.0)
    assert watch_mash.above(senses(raw=(Bad("text", NOW),)), memory) == (memory, None)


def test_above_program_after_a_falling_step() -> None:
    """A fall of the target, however small, disarms until the mash is half the margin under the limit."""
    memory, _ = watch_mash.above(senses(raw=hot(72.0), highest_c=72.0), Memory())
    fallen, finding = watch_mash.above(senses(raw=hot(72.0, 72.0, 72.0), highest_c=63.0), memory)
    assert (finding, fallen.above_armed) == (None, False)
    noisy, _ = watch_mash.above(senses(raw=hot(64.6), highest_c=63.0), fallen)
    assert found(watch_mash.above, noisy, raw=hot(66.1, 66.1, 66.1), highest_c=63.0) is None
    below, _ = watch_mash.above(senses(raw=hot(64.5), highest_c=63.0), fallen)
    assert below.above_armed
    assert found(watch_mash.above, below, raw=hot(67.0, 67.0, 67.0), highest_c=63.0) == Finding("G06", 67.0, 66.0)
    little, finding = watch_mash.above(senses(raw=hot(72.1, 72.1, 72.1), highest_c=69.0), memory)
    assert (finding, little.above_armed) == (None, False)
    cooler, _ = watch_mash.above(senses(raw=hot(70.5), highest_c=69.0), little)
    assert found(watch_mash.above, cooler, raw=hot(72.1, 72.1, 72.1), highest_c=69.0) == Finding("G06", 72.1, 72.0)


def test_above_program_goes_on_from_tick_to_tick() -> None:
    """Three ticks with one reading each are three in a row."""
    memory = Memory()
    for value, expected in ((75.1, None), (75.2, None), (75.3, Finding("G06", 75.3, 75.0))):
        memory, finding = watch_mash.above(senses(raw=hot(value)), memory)
        assert finding == expected


def test_above_program_with_two_readings_in_two_seconds() -> None:
    """Two in a row that span 2 s do as well as three; one does not, nor do two within 1.9 s, nor after one below."""
    first, _ = watch_mash.above(senses(raw=hot(75.1)), Memory())
    assert (first.above_run, first.above_since) == (1, NOW)
    assert found(watch_mash.above, first, raw=(), now=NOW + 2.0) is None
    assert found(watch_mash.above, first, raw=hot(75.2), now=NOW + 1.9) is None
    assert found(watch_mash.above, first, raw=hot(75.2), now=NOW + 2.0) == Finding("G06", 75.2, 75.0)
    second, _ = watch_mash.above(senses(raw=hot(75.2), now=NOW + 1.0), first)
    assert second.above_since == NOW
    assert found(watch_mash.above, second, raw=(), now=NOW + 2.0) == Finding("G06", 75.2, 75.0)
    anew, _ = watch_mash.above(senses(raw=hot(75.0, 75.1), now=NOW + 1.0), first)
    assert (anew.above_run, anew.above_since) == (1, NOW + 1.0)
    assert found(watch_mash.above, anew, raw=hot(75.2), now=NOW + 2.0) is None
    below, _ = watch_mash.above(senses(raw=hot(75.0), now=NOW + 1.0), second)
    assert (below.above_run, below.above_since) == (0, None)


def test_reading_gone_nonsense_jumped() -> None:
    """Each just at its limit is quiet and just past it is not."""
    rule = watch_mash.reading
    assert found(rule, seen=SEEN._replace(age_s=10.0)) is None
    assert found(rule, raw=(), seen=SEEN._replace(age_s=10.1)) == Finding("G02", 10.1, 10.0)
    assert found(rule, raw=(), seen=SEEN._replace(age_s=inf)) == Finding("G02", 86400.0, 10.0)
    assert found(rule, seen=SEEN._replace(age_s=nan)) is not None
    assert found(rule, seen=SEEN._replace(refused_run=2, refused_since=NOW - 3.9)) is None
    assert found(rule, seen=SEEN._replace(refused_run=3, refused_since=NOW)) == Finding("G03", 3, 3)
    assert found(rule, seen=SEEN._replace(refused_run=1, refused_since=NOW - 4.0)) == Finding("G03", 1, 3)
    told = found(rule, seen=SEEN._replace(refused_run=3, refused_since=NOW, text="{x} is no number"))
    assert told is not None and told.says.startswith(
        "The mash readings make no sense: (x) is no number ({value:.0f} in"
    )
    assert found(rule, seen=SEEN._replace(refused_run=0, refused_since=NOW - 9.0)) is None


@pytest.mark.parametrize(
    ("level_c", "after_s", "latched"),
    [(68.0, 4.5, False), (68.125, 4.0, True), (70.0, 4.0, True), (64.0, 4.5, False), (58.0, 4.5, False),
     (57.875, 4.0, False), (33.0, 4.0, False)],
)  # fmt: skip
def test_another_level(level_c: float, after_s: float, latched: bool) -> None:
    """More than 5 K away trips after 4 s, and upward it latches; what five readings would make believed has half a
    second more. While something is added nothing is said."""
    rule = watch_mash.reading
    blocked = BASE.target._replace(heat="blocked")
    assert found(rule, seen=SEEN._replace(jump_since=NOW - 60.0, jump_c=level_c), target=blocked) is None
    early, late = (SEEN._replace(jump_since=NOW - after_s + spare, jump_c=level_c) for spare in (0.1, 0.0))
    assert found(rule, seen=early) is None
    says = f"The reading jumped by {{value:.1f}} K, from 63.0 to {level_c:.1f} °C (limit {{limit:g}} K). Heat is off."
    assert found(rule, seen=late) == Finding("G04", level_c - 63.0, 2.0, latched, says=says)


def test_another_level_with_nothing_to_compare() -> None:
    """No level yet is none; with nothing believed before, the step is nothing."""
    rule = watch_mash.reading
    assert found(rule, seen=SEEN._replace(jump_since=NOW - 9.0, jump_c=None)) is None
    assert found(rule, seen=SEEN._replace(jump_since=None, jump_c=70.0)) is None
    lone = found(rule, seen=SEEN._replace(jump_since=NOW - 4.5, jump_c=50.0, value_c=None))
    assert lone == Finding("G04", 0.0, 2.0, False)


@pytest.mark.parametrize("state", [s for s in RunState if s not in HEATED])
def test_rules_of_a_run_are_quiet_without_one(state: RunState) -> None:
    """Nothing that is about a run under way trips when none is."""
    bad: dict[str, Any] = {
        "seen": SEEN._replace(age_s=99.0), "second": SEEN._replace(value_c=20.0), "level": None, "flow": None,
        "heater": None, "heater_online": False, "link": Link(False, 0.0), "late_s": 9.0, "run_s": 1e6, "state": state,
        "pump_on_s": 0.0,
    }  # fmt: skip
    for rule in (
        watch_mash.reading, watch_mash.probes, watch_plant.switches, watch_plant.heater_answers, watch_plant.broker,
        watch_plant.beat, watch_plant.duration,
    ):  # fmt: skip
        assert found(rule, Memory(differ_since=0.0), **bad) is None, rule


def test_probes_that_differ() -> None:
    """Over 4 K up to the last tick within 60 s; at 4 K, or with one probe silent, the time starts anew."""
    rule, apart = watch_mash.probes, SEEN._replace(value_c=67.1)
    memory, finding = rule(senses(second=apart), Memory())
    assert (memory.differ_since, memory.differ_noted_since, finding) == (NOW, NOW, None)
    assert found(rule, memory, second=apart, now=NOW + 58.9) is None
    trip = found(rule, memory, second=apart, now=NOW + 59.0)  # the last tick within 60 s
    assert trip is not None
    assert (trip.id, round(trip.value, 6), trip.limit) == ("G05", 4.1, 4.0)
    close, _ = rule(senses(second=SEEN._replace(value_c=67.0)), memory)
    assert (close.differ_since, close.differ_noted_since) == (None, NOW)
    closer, _ = rule(senses(second=SEEN._replace(value_c=65.0)), close)
    assert closer.differ_noted_since is None
    for gone in ({"second": None}, {"second": SEEN._replace(value_c=None)}, {"seen": SEEN._replace(value_c=None)},
                 {"target": BASE.target._replace(heat="blocked")}):  # fmt: skip
        assert rule(senses(**gone), memory)[0].differ_since is None
    assert rule(senses(second=None), Memory())[0] == Memory()
    noted = Memory(differ_noted_since=1.0)
    assert rule(senses(second=None), noted)[0].differ_noted_since is None


def test_probes_may_lie_twice_as_far_apart_while_an_addition_mixes() -> None:
    """For 600 s after something was added 8 K are the limit, at 600.1 s it is 4 K again."""
    rule, added = watch_mash.probes, BASE.target._replace(heat="blocked")
    memory, _ = rule(senses(second=SEEN._replace(value_c=70.9), target=added), Memory())
    assert (memory.added_at, memory.differ_since) == (NOW, None)

    def since(apart_k: float, after_s: float) -> float | None:
        seen = {"second": SEEN._replace(value_c=63.0 + apart_k), "now": NOW + after_s}
        return rule(senses(**seen), memory)[0].differ_since

    assert [since(8.0, 600.0), since(8.1, 600.0)] == [None, NOW + 600.0]
    assert [since(4.0, 600.1), since(4.1, 600.1)] == [None, NOW + 600.1]


def test_probes_that_differ_by_a_level_not_yet_believed() -> None:
    """The minute counts from the first reading on another level."""
    memory, _ = watch_mash.probes(senses(second=SEEN._replace(jump_since=NOW, jump_c=70.0)), Memory())
    assert memory.differ_since == NOW


def test_outlet_by_probe_and_by_node() -> None:
    """At 85 °C a limiter, at 92 °C latched, the second within ten minutes latched; what is not heard says nothing."""
    rule = watch_mash.outlet
    assert found(rule, raw_outlet=hot(84.9)) is None
    assert found(rule, raw_outlet=hot(85.0)) == Finding("G08", 85.0, 85.0, False)
    assert found(rule, raw_outlet=hot(92.0)) == Finding("G08", 92.0, 85.0, True)
    assert found(rule, raw_outlet=hot(91.9)) == Finding("G08", 91.9, 85.0, False)
    assert found(rule, raw_outlet=(), outlet=SEEN._replace(raw_c=99.0, fresh=False)) is None
    assert found(rule, raw_outlet=(), outlet=None, heater=None) is None
    node = HeaterReport(NOW, "b", 1, 1, 0.0, 9.0, outlet_c=86.0)
    assert found(rule, raw_outlet=(), outlet=None, heater=node) == Finding("G08", 86.0, 85.0, False)
    hot_before = Memory(outlet_hot_at=(NOW - 61.0,))
    assert found(rule, hot_before, raw_outlet=hot(85.0)) == Finding("G08", 85.0, 85.0, True)
    for recent in ((NOW - 60.0,), (NOW - 600.0,)):
        assert found(rule, Memory(outlet_hot_at=recent), raw_outlet=hot(85.0)) == Finding("G08", 85.0, 85.0, False)
    memory, _ = rule(senses(raw_outlet=hot(85.0)), Memory(outlet_hot_at=tuple([NOW - 1.0] * 20)))
    assert len(memory.outlet_hot_at) == 16
    assert memory.outlet_hot_at[-1] == NOW


NO_LIQUID = "The level switch says: no liquid at the heater. Heat is off."
NO_FLOW = "The flow switch says: no flow past the heater. Heat is off."
SILENT = "The {} switch has been silent for {{value:.0f}} s (limit {{limit:g}} s). Heat is off."


def test_level_and_flow_switches() -> None:
    """False cuts, silence past 10 s cuts, at 10 s not yet; flow counts only once the pump should have made one."""
    rule = watch_plant.switches
    assert found(rule) is None
    assert found(rule, level=Switch(False, NOW - 1.0)) == Finding("G13", 1.0, 10.0, True, says=NO_LIQUID)
    assert found(rule, level=None) == Finding("G13", 86400.0, 10.0, True, says=SILENT.format("level"))
    assert found(rule, level=Switch(True, NOW - 10.0)) is None
    assert found(rule, level=Switch(True, NOW - 10.125)) == Finding(
        "G13", 10.125, 10.0, True, says=SILENT.format("level")
    )
    assert found(rule, flow=Switch(False, NOW - 1.0)) == Finding("G13", 1.0, 10.0, False, says=NO_FLOW)
    assert found(rule, flow=None) == Finding("G13", 86400.0, 10.0, False, says=SILENT.format("flow"))
    assert found(rule, flow=Switch(False, NOW), pump_on_s=9.9) is None
    assert found(rule, flow=Switch(False, NOW), pump_on_s=10.0) is not None
    assert found(rule, flow=Switch(False, NOW), target=BASE.target._replace(heat="off")) is None
    assert found(rule, tun=TUN.model_copy(update={"flow": None, "level": None}), flow=None, level=None) is None
    again = Memory(flow_lost_at=(NOW - 61.0,))
    assert found(rule, again, flow=Switch(False, NOW)) == Finding("G13", 0.0, 10.0, True, says=NO_FLOW)
    for recent in ((NOW - 60.0,), (NOW - 600.0,)):
        seldom = found(rule, Memory(flow_lost_at=recent), flow=Switch(False, NOW))
        assert seldom == Finding("G13", 0.0, 10.0, False, says=NO_FLOW)
    memory, _ = rule(senses(flow=None), Memory(flow_lost_at=tuple([NOW - 1.0] * 20)))
    assert len(memory.flow_lost_at) == 16


def test_flow_that_does_not_come_back_is_not_waited_for_in_silence() -> None:
    """Restarting, the pump has run for its time and there is no flow: a trip; before that time, or with flow, none. The
    level has its turn once the run goes on."""
    rule, restarting = watch_plant.switches, {"state": RunState.RESTARTING, "target": BASE.target._replace(heat="off")}
    lost = Finding("G13", 0.0, 10.0, False, says=NO_FLOW)
    assert found(rule, flow=Switch(False, NOW), pump_on_s=10.0, **restarting) == lost
    assert found(rule, flow=Switch(False, NOW), pump_on_s=9.9, **restarting) is None
    assert found(rule, flow=Switch(True, NOW), level=None, pump_on_s=10.0, **restarting) is None
    held = {**restarting, "state": RunState.HELD}
    assert found(rule, flow=Switch(False, NOW), pump_on_s=10.0, **held) is None


def report(seq: int = 50, duty: float = 0.0, **changes: Any) -> HeaterReport:
    return HeaterReport(NOW - 0.5, "b", 1, seq, duty, 9.0)._replace(**changes)


def test_heater_that_answers() -> None:
    """The newest command it has answered may have been sent 10 s ago and no longer; a last will trips at once."""
    rule = watch_plant.heater_answers
    memory, finding = rule(BASE, Memory(sent=SENT, acked_seq=49))
    assert (memory.acked_seq, memory.acked_at, memory.acked_duty, finding) == (50, NOW - 1.0, 0.0, None)
    assert memory.acked_boot == "b"
    old = Memory(sent=SENT, acked_seq=50, acked_at=NOW - 10.0, acked_duty=0.0)
    assert found(rule, old, heater=report(50)) is None
    assert found(rule, old, heater=report(50), now=NOW + 0.1) is not None
    assert found(rule, old, heater=report(60, epoch=2), now=NOW + 0.1) is not None
    assert found(rule, old, heater=None, now=NOW + 1.0) == Finding("G14", 11.0, 10.0)
    assert found(rule, Memory(), heater=None) == Finding("G14", 86400.0, 10.0)
    assert found(rule, Memory(acked_at=NOW - 1.0), heater=None, heater_online=False) == Finding(
        "G14", 1.0, 0.0, says=watch_plant.NOT_THERE
    )
    changed, _ = rule(senses(heater=report(50, 0.7)), old)
    assert (changed.acked_duty, changed.acked_at) == (0.7, NOW - 10.0)
    assert rule(senses(heater=report(50)), old)[0] == old
    assert rule(senses(heater=report(49, 0.7)), old)[0] == old
    assert rule(senses(heater=report(50, 0.7, epoch=2)), old)[0] == old


BEHIND = "The heater node answers commands of {value:.0f} s ago (limit {limit:g} s). Heat is off."


def test_a_heater_that_is_behind_does_not_answer() -> None:
    """Each report answers a newer command than the last, but one of 10 s ago: not yet; of 11 s ago: a trip that says
    so. What was never sent, or has been forgotten, is no answer."""
    rule, before = watch_plant.heater_answers, Memory(sent=SENT, acked_seq=30, acked_at=NOW - 21.0, acked_duty=0.0)
    memory, finding = rule(senses(heater=report(41)), before)
    assert (memory.acked_seq, memory.acked_at, finding) == (41, NOW - 10.0, None)
    assert found(rule, before, heater=report(40)) == Finding("G14", 11.0, 10.0, says=BEHIND)
    silent = Finding("G14", 21.0, 10.0)
    for seq in (51, 10**9):
        assert rule(senses(heater=report(seq)), before) == (before, silent), seq
    assert rule(senses(heater=report(19)), before._replace(acked_seq=10))[0].acked_at == NOW - 21.0
    assert duty(check(OPEN, 0.5, heater=report(10**9))) == 0.5
    assert check(heater=report(10**9)).state.memory.acked_seq == 49


def test_heater_that_does_not_obey() -> None:
    """On for 3 s after OFF, by its duty or by its power; a late report of an earlier command is no lie."""
    rule = watch_plant.heater_obeys
    off = Memory(off_seq=45, off_since=NOW - 3.0, contradict_since=NOW - 2.0)
    assert found(rule, off, heater=report(duty=0.5)) == Finding("G15", 3.0, 3.0)
    assert found(rule, off, heater=report(duty=nan)) is not None
    assert found(rule, off, heater=report(power_w=251.0)) == Finding("G15", 3.0, 3.0)
    assert found(rule, off, heater=report(power_w=250.0)) is None
    assert found(rule, off._replace(contradict_since=NOW - 1.9), heater=report(duty=0.5)) is None
    assert found(rule, off._replace(off_since=NOW - 2.9), heater=report(duty=0.5)) is None
    assert found(rule, off, heater=report(44, 0.5)) is None
    assert found(rule, off, heater=report(45, 0.5)) is not None
    assert found(rule, off, heater=report(50, 0.5, epoch=2)) is None
    late = off._replace(off_since=NOW - 13.0)
    assert found(rule, late, heater=report(44, 0.5)) is None
    assert found(rule, late._replace(off_since=NOW - 13.1), heater=report(44, 0.5)) is not None
    assert found(rule, off._replace(off_seq=-1), heater=report(duty=0.5)) is None
    assert found(rule, off._replace(off_seq=0), heater=report(duty=0.5)) is not None
    assert found(rule, off, heater=None) is None
    assert rule(senses(heater=None), off)[0] == off
    assert rule(senses(heater=report()), off)[0].contradict_since is None
    assert rule(senses(heater=report()), off._replace(contradict_since=None))[0] == off._replace(contradict_since=None)
    assert rule(senses(heater=report(duty=0.5)), off._replace(contradict_since=None))[0].contradict_since == NOW


def test_broker_loop_owner_and_length() -> None:
    """Each just at its limit is quiet and just past it is not."""
    assert found(watch_plant.broker, link=Link(True, 0.0, 10.0)) is None
    assert found(watch_plant.broker, link=Link(True, 0.0, 10.1)) == Finding("G16", 10.1, 10.0)
    assert found(watch_plant.broker, link=Link(True, 0.0, nan)) is not None
    assert found(watch_plant.broker, link=Link(False, NOW - 4.0)) == Finding("G16", 4.0, 0.0, says=watch_plant.NO_LINK)
    assert found(watch_plant.broker, link=Link(False, NOW + 1.0)) == Finding("G16", 0.0, 0.0, says=watch_plant.NO_LINK)
    assert found(watch_plant.beat, late_s=2.0) is None
    assert found(watch_plant.beat, late_s=2.1) == Finding("G17", 2.1, 2.0)
    assert found(watch_plant.owner, epoch_seen=1) is None
    assert found(watch_plant.owner, epoch_seen=2) == Finding("G19", 2.0, 1.0, says=watch_plant.OUTBID)
    assert found(watch_plant.owner, epoch_seen=2, state=S.CHECKING) is None
    assert found(watch_plant.owner, link=Link(True, 0.0, foreign=Foreign(0.1, None, NOW))) == Finding("G19", 0.1, 0.0)
    assert found(watch_plant.owner, link=Link(True, 0.0, foreign=Foreign(nan, None, NOW))) is not None
    assert found(watch_plant.owner, link=Link(True, 0.0, foreign=Foreign(0.0, None, NOW))) is None
    assert found(watch_plant.duration, run_s=9000.0) is None
    assert found(watch_plant.duration, run_s=9000.1) == Finding("G23", 9000.1, 9000.0)
    assert found(watch_plant.duration, run_s=nan) is not None
    assert found(watch_plant.duration, Memory(heat_on_s=57600.0)) is None
    assert found(watch_plant.duration, Memory(heat_on_s=57601.0)) == Finding(
        "G23", 57601.0, 57600.0, says=watch_plant.HEATED_LONG
    )


# ---------------------------------------------------------------- keeping trips


def test_a_trip_in_full() -> None:
    """What a trip leaves behind: the trip, one event, a minute of OFF, new evidence, something for the disk."""
    gate = check(level=Switch(False, NOW - 1.0))
    trip = gate.state.trips[0]
    assert (trip.id, trip.latched, trip.first_out, trip.priority, trip.unit) == ("G13", True, True, 1, "s")
    assert [(e.kind, e.id, e.first_out, e.latched) for e in gate.events] == [("trip", "G13", True, True)]
    state = gate.state
    assert (state.off_until, state.qualified, state.qualify_from, state.need_durable) == (NOW + 60.0, False, NOW, True)
    assert (state.quiet_c, state.quiet_at, state.past.lines) == (63.0, NOW, ())
    assert state.incidents == ()
    again = check(state, now=NOW + 1.0, level=Switch(False, NOW))
    assert again.events == ()
    assert again.state.trips == state.trips


def test_what_latches() -> None:
    """By the table where the rule does not say; by the rule where it does."""
    assert check(raw=hot(81.0, 82.0)).state.trips[0].latched is True
    assert check(late_s=3.0).state.trips[0].latched is False
    assert check(flow=Switch(False, NOW)).state.trips[0].latched is False
    assert check(level=Switch(False, NOW)).state.trips[0].latched is True
    assert check(raw_outlet=hot(93.0)).state.trips[0].latched is True


def test_a_longer_run_after_a_cleared_g23() -> None:
    """An hour more that clearing has given counts, a second beyond it does not."""
    state = OPEN._replace(longer_s=3600.0)
    assert ids(check(state, run_s=12_600.0)) == []
    assert ids(check(state, run_s=12_600.1)) == ["G23"]
    assert trips.LONGER_S == 3600.0


def test_the_most_urgent_of_one_tick_is_first() -> None:
    """Two in one tick: the one with the higher priority is marked first-out, the other is not."""
    gate = check(late_s=5.0, level=Switch(False, NOW))
    assert [(t.id, t.first_out) for t in gate.state.trips] == [("G13", True), ("G17", False)]
    assert gate.state.incidents == ()


def test_quiet_temperature_without_a_reading() -> None:
    """Heat is cut because the reading is gone: the newest well-formed one tells where the mash was."""
    gone = check(seen=SEEN._replace(value_c=None, raw_c=61.0, age_s=11.0))
    assert gone.state.quiet_c == 61.0
    assert check(seen=SEEN._replace(age_s=11.0)).state.quiet_c == 63.0


def test_incidents_of_half_an_hour() -> None:
    """The third first-out, self-clearing trip of a run within 1,800 s becomes G24; an older one does not count."""
    state = OPEN._replace(incidents=(NOW - 1799.0, NOW - 100.0))
    gate = check(state, late_s=3.0)
    assert ids(gate) == ["G17", "G24"]
    assert (gate.state.trips[1].value, gate.state.trips[1].first_out, gate.state.incidents) == (3.0, False, ())
    gate = check(OPEN._replace(incidents=(NOW - 1800.0, NOW - 100.0)), late_s=3.0)
    assert ids(gate) == ["G17"]
    assert gate.state.incidents == (NOW - 100.0, NOW)


def test_latched_and_idle_ones_are_no_incidents() -> None:
    """A latched trip waits for a person anyway; what happens without a run is no interruption of one."""
    state = OPEN._replace(incidents=(NOW - 300.0, NOW - 100.0))
    assert ids(check(state, level=None)) == ["G13"]
    idle = check(state, state=S.IDLE, raw_outlet=hot(86.0))
    assert ids(idle) == ["G08"]
    assert idle.state.incidents == (NOW - 300.0, NOW - 100.0)


def test_a_second_trip_of_one_outage_is_no_new_incident() -> None:
    """One outage is one incident, however many interlocks it trips."""
    one = check(link=Link(False, NOW))
    two = check(one.state, now=NOW + 1.0, link=Link(False, NOW), seen=SEEN._replace(age_s=11.0))
    assert ids(two) == ["G16", "G02"]
    assert two.state.incidents == (NOW,)


def kept(trip: str, at: float, latched: bool) -> Trip:
    return Trip(trip, at, "words", 1.0, 1.0, "s", 1, latched, True)


def test_a_long_trip_waits_for_a_person() -> None:
    """A self-clearing trip over 900 s old latches, with an event; at 900 s it does not; latched ones stay silent."""
    state = OPEN._replace(trips=(kept("G02", NOW - 900.0, False),), off_until=NOW + 9)
    assert not check(state, seen=SEEN._replace(age_s=11.0)).state.trips[0].latched
    state = OPEN._replace(trips=(kept("G02", NOW - 900.1, False), kept("G09", NOW - 2000.0, True)), off_until=NOW + 9)
    gate = check(state, seen=SEEN._replace(age_s=11.0))
    assert [t.latched for t in gate.state.trips] == [True, True]
    assert [(e.kind, e.id, e.priority) for e in gate.events] == [("latched", "G02", 2)]
    assert gate.state.need_durable


def test_trips_that_end_by_themselves() -> None:
    """Cause gone, a minute over, evidence good: over, with an event. Each of the three alone does not do."""
    state = OPEN._replace(trips=(kept("G02", NOW - 70.0, False),), gone=(("G02", NOW - 60.0),))
    gate = check(state)
    assert (ids(gate), [e.kind for e in gate.events]) == ([], ["cleared"])
    assert duty(gate) == 0.5
    assert ids(check(state._replace(off_until=NOW + 0.1))) == ["G02"]
    assert ids(check(state._replace(qualified=False, qualify_from=NOW - 1.0))) == ["G02"]
    assert (
        ids(check(state._replace(qualified=False, qualify_from=NOW - 1.0), target=BASE.target._replace(heat="blocked")))
        == []
    )
    assert ids(check(state, seen=SEEN._replace(age_s=11.0))) == ["G02"]
    assert ids(check(state._replace(trips=(kept("G02", NOW - 70.0, True),)))) == ["G02"]


def test_gone_counts_from_the_first_tick_without_the_cause() -> None:
    """Cause back: forgotten; gone on: the time stays."""
    state = OPEN._replace(trips=(kept("G13", NOW - 5.0, True),))
    gate = check(state)
    assert gate.state.gone == (("G13", NOW),)
    later = check(
        gate.state,
        now=NOW + 5.0,
        seen=SEEN._replace(at=NOW + 4.5),
        level=Switch(True, NOW + 4),
        flow=Switch(True, NOW + 4),
    )
    assert later.state.gone == (("G13", NOW),)
    assert check(later.state, level=None).state.gone == ()


# ---------------------------------------------------------------- evidence


def unqualified(**changes: Any) -> guard.GuardState:
    return OPEN._replace(qualified=False, qualify_from=NOW - 20.0)._replace(**changes)


QUALIFIES: dict[str, tuple[dict[str, Any], dict[str, Any], bool]] = {
    "all good": ({}, {}, True),
    "four readings": ({}, {"seen": SEEN._replace(good_run=4)}, False),
    "five readings": ({}, {"seen": SEEN._replace(good_run=5)}, True),
    "no since": ({}, {"seen": SEEN._replace(good_since=None)}, False),
    "no time": ({}, {"seen": SEEN._replace(at=None)}, False),
    "no value": ({}, {"seen": SEEN._replace(value_c=None)}, False),
    "under four seconds": ({}, {"seen": SEEN._replace(good_since=NOW - 4.4)}, False),
    "four seconds": ({}, {"seen": SEEN._replace(good_since=NOW - 4.5)}, True),
    "since the cut": ({"qualify_from": NOW - 4.9}, {}, False),
    "five since the cut": ({"qualify_from": NOW - 5.0}, {}, True),
    "doubtful": ({}, {"seen": SEEN._replace(doubtful=True)}, False),
    "no link": ({}, {"link": Link(False, 0.0)}, False),
    "heater silent": ({"memory": OPEN.memory._replace(acked_at=NOW - 5.1)}, {"heater": None}, False),
    "heater just heard": ({"memory": OPEN.memory._replace(acked_at=NOW - 5.0)}, {"heater": None}, True),
    "heater never heard": ({"memory": OPEN.memory._replace(acked_at=None)}, {"heater": None}, False),
    "heater on": ({}, {"heater": report(duty=0.1)}, False),
    "heater duty unknown": ({"memory": OPEN.memory._replace(acked_duty=None)}, {"heater": None}, False),
    "heater gone": ({}, {"heater_online": False}, False),
    "heater's will unknown": ({}, {"heater_online": None}, True),
    "cooler than it can be": ({"quiet_c": 66.02, "quiet_at": NOW}, {}, False),
    "as cool as it can be": ({"quiet_c": 66.0, "quiet_at": NOW}, {}, True),
    "cooler, but long ago": ({"quiet_c": 66.02, "quiet_at": NOW - 60.0}, {}, True),
    "warmer than it can be": ({"quiet_c": 59.99, "quiet_at": NOW}, {}, False),
    "as warm as it can be": ({"quiet_c": 60.0, "quiet_at": NOW}, {}, True),
    "warmer, latched": ({"quiet_c": 50.0, "quiet_at": NOW, "trips": (kept("G07", 0.0, True),)}, {}, True),
    "warmer, not latched": ({"quiet_c": 50.0, "quiet_at": NOW, "trips": (kept("G02", 900.0, False),)}, {}, False),
    "warmer, adding": ({"quiet_c": 50.0, "quiet_at": NOW}, {"phase": Phase.ADDING}, True),
    "warmer, settling": ({"quiet_c": 50.0, "quiet_at": NOW}, {"phase": Phase.SETTLING}, True),
    "warmer, idle": ({"quiet_c": 50.0, "quiet_at": NOW}, {"state": S.IDLE}, True),
}  # fmt: skip


@pytest.mark.parametrize(("state", "sense", "good"), QUALIFIES.values(), ids=list(QUALIFIES))
def test_evidence(state: dict[str, Any], sense: dict[str, Any], good: bool) -> None:
    """What makes the evidence good, one thing at a time from both sides."""
    assert check(unqualified(**state), **sense).state.qualified is good


LACKS: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "nothing": ({}, {}, ""),
    "broker first": ({}, {"link": Link(False, 0.0), "heater_online": False}, "the broker"),
    "node gone": ({}, {"heater_online": False, "seen": SEEN._replace(doubtful=True)}, "the heater node: its presence"),
    "node silent": ({"memory": OPEN.memory._replace(acked_at=None)}, {"heater": None}, "the heater node's word"),
    "no value": ({}, {"seen": SEEN._replace(value_c=None)}, "5 sound readings"),
    "doubtful": ({}, {"seen": SEEN._replace(doubtful=True)}, "5 sound readings"),
    "four readings": ({}, {"seen": SEEN._replace(good_run=4)}, "5 sound readings"),
    "five readings": ({}, {"seen": SEEN._replace(good_run=5)}, ""),
    "too warm": ({"quiet_c": 50.0, "quiet_at": NOW}, {}, "a reading that fits: it says 63.0 °C, and was 50.0 °C"),
}  # fmt: skip


@pytest.mark.parametrize(("state", "sense", "says"), LACKS.values(), ids=list(LACKS))
def test_what_heat_waits_for_is_named(state: dict[str, Any], sense: dict[str, Any], says: str) -> None:
    """The first thing that is missing, in words; where it is just a matter of time, nothing."""
    said = lacks(unqualified(**state), senses(**sense))
    assert said.startswith(says)
    assert bool(said) is bool(says)


def test_evidence_is_lost_with_the_reading() -> None:
    """Good evidence ends once the reading is over 10 s old."""
    assert check(seen=SEEN._replace(age_s=10.0)).state.qualified
    assert not check(seen=SEEN._replace(age_s=10.1)).state.qualified


def test_a_new_connection_makes_all_readings_stale() -> None:
    """After the link's return heat waits ten seconds and the evidence starts anew; a longer wait stays."""
    gate = check(OPEN._replace(link_up=False))
    assert (gate.state.off_until, gate.state.link_up, gate.state.qualify_from) == (NOW + 10.0, True, NOW)
    assert duty(gate) == 0.0
    assert check(OPEN._replace(link_up=False, off_until=NOW + 50.0)).state.off_until == NOW + 50.0
    assert check(link=Link(False, NOW)).state.link_up is False


def test_a_machine_that_slept() -> None:
    """More than 5 s of sleep: the same; at 5 s not. Said once."""
    gate = check(gap_s=5.1)
    assert (gate.state.off_until, gate.state.qualified) == (NOW + 10.0, False)
    assert ("note", "G18") in [(e.kind, e.id) for e in gate.events]
    assert duty(check(gap_s=5.0)) == 0.5


def test_epoch_is_taken_while_checking_only() -> None:
    """Above every owner heard of; afterwards a higher one means that we have lost, and silence."""
    assert check(state=S.CHECKING, epoch_seen=0).state.epoch == 1
    assert check(state=S.CHECKING, epoch_seen=1).state.epoch == 2
    assert check(state=S.CHECKING, epoch_seen=6).state.epoch == 7
    gate = check(epoch_seen=2)
    assert (gate.command, gate.state.lost, gate.state.duty) == (None, True, 0.0)
    foreign = check(link=Link(True, 0.0, foreign=Foreign(1.0, 1, NOW)))
    assert (duty(foreign), foreign.state.lost) == (0.0, True)


def test_something_for_the_disk() -> None:
    """No heat until the disk has come as far as was written when it was well; a sick disk keeps it open."""
    state = OPEN._replace(need_durable=True)
    assert duty(guard.check(state, senses(), Demand(0.5, "t"), False, 10)) == 0.0
    settled = guard.settle(state, True, 11)
    assert (settled.need_durable, settled.durable_need) == (False, 11)
    assert duty(guard.check(settled, senses(), Demand(0.5, "t"), False, 10)) == 0.0
    assert duty(guard.check(settled, senses(), Demand(0.5, "t"), False, 11)) > 0.0
    assert guard.settle(state, False, 11) is state
    assert guard.settle(OPEN, True, 11) is OPEN


def test_rows_of_off_and_on() -> None:
    """The first OFF of a row is remembered; heat forgets it; a later OFF of the same row changes nothing."""
    on = check(OPEN)
    assert (on.state.memory.off_seq, on.state.duty, on.state.seq) == (-1, 0.5, 61)
    off = check(on.state, 0.0, now=NOW + 1.0)
    assert (off.state.memory.off_seq, off.state.memory.off_since) == (62, NOW + 1.0)
    more = check(off.state, 0.0, now=NOW + 2.0)
    assert (more.state.memory.off_seq, more.state.memory.off_since) == (62, NOW + 1.0)
    assert check(OPEN._replace(duty=0.2)).state.memory.heat_on_s == 1.0
    assert check(OPEN).state.memory.heat_on_s == 0.0


# ---------------------------------------------------------------- notes


WAITS: dict[str, Any] = {"qualified": False, "qualify_from": NOW - 60.1, "off_until": NOW - 60.1}
NOTES: dict[str, tuple[dict[str, Any], dict[str, Any], str | None]] = {
    "reading late": ({}, {"seen": SEEN._replace(age_s=5.1)}, "G01"),
    "reading not late": ({}, {"seen": SEEN._replace(age_s=5.0)}, None),
    "reading at its last second": ({}, {"seen": SEEN._replace(age_s=10.0)}, "G01"),
    "reading gone is no note": ({}, {"seen": SEEN._replace(age_s=10.1)}, None),
    "reading late when idle": ({}, {"seen": SEEN._replace(age_s=6.0), "state": S.IDLE}, None),
    "probes apart": ({"memory": OPEN.memory._replace(differ_noted_since=NOW - 120.0)},
                     {"second": SEEN._replace(value_c=66.0)}, "G05"),
    "probes not yet": ({"memory": OPEN.memory._replace(differ_noted_since=NOW - 119.0)},
                       {"second": SEEN._replace(value_c=66.0)}, None),
    "slept": ({}, {"gap_s": 5.1}, "G18"),
    "clock set on": ({}, {"wall_set_s": 5.1}, "G18"),
    "clock set back": ({}, {"wall_set_s": -5.1}, "G18"),
    "clock set to nothing": ({}, {"wall_set_s": nan}, "G18"),
    "clock hardly set": ({}, {"wall_set_s": 5.0}, None),
    "clock hardly set back": ({}, {"wall_set_s": -5.0}, None),
    "disk": ({}, {"disk_ok": False}, "G20"),
    "flood": ({}, {"link": Link(True, 0.0, flooding="a/b")}, "G22"),
    "over": ({}, {"target": BASE.target._replace(target_c=60.9)}, "over"),
    "not over": ({}, {"target": BASE.target._replace(target_c=61.0)}, None),
    "over when held": ({}, {"target": BASE.target._replace(target_c=50.0), "state": S.HELD}, None),
    "over while adding": ({}, {"target": BASE.target._replace(target_c=50.0, heat="blocked")}, None),
    "no target": ({}, {"target": BASE.target._replace(target_c=None)}, None),
    "no value": ({}, {"target": BASE.target._replace(target_c=50.0), "seen": SEEN._replace(value_c=None)}, None),
    "warms when idle": ({"past": OPEN.past._replace(idle_alarm=True)}, {}, "G10"),
    "heat waits": (WAITS, {"state": S.RESTARTING, "heater_online": False}, "waits"),
    "waits a minute": (WAITS | {"qualify_from": NOW - 60.0}, {"state": S.RESTARTING, "heater_online": False}, None),
    "off for a minute": (WAITS | {"off_until": NOW - 60.0}, {"state": S.RESTARTING, "heater_online": False}, None),
    "heat waits held": (WAITS, {"state": S.HELD, "heater_online": False}, None),
    "heat waits for nothing": (WAITS | {"qualified": True}, {"state": S.RESTARTING, "heater_online": False}, None),
    "foreign off": ({}, {"link": Link(True, 0.0, foreign=Foreign(0.0, None, NOW))}, "G19"),
}  # fmt: skip


@pytest.mark.parametrize(("state", "sense", "which"), NOTES.values(), ids=list(NOTES))
def test_notes(state: dict[str, Any], sense: dict[str, Any], which: str | None) -> None:
    """Said when it begins, and only that; a note takes no heat but where a rule of its own does."""
    gate = check(OPEN._replace(**state), **sense)
    said = [event for event in gate.events if event.kind == "note"]
    assert [event.id for event in said] == ([] if which is None else [which])
    assert [key for key, _ in gate.state.notes] == [event.id for event in said]
    assert all(event.priority == 3 and event.text for event in said)


def test_a_note_is_said_once_a_minute_at_most() -> None:
    """On, off and on again within a minute is one saying; after a minute it is said again."""
    first = check(disk_ok=False)
    off = check(first.state, now=NOW + 1.0)
    assert off.state.notes == ()
    again = check(off.state, now=NOW + 59.0, disk_ok=False, seen=SEEN)
    assert [e for e in again.events if e.kind == "note"] == []
    off = check(again.state, now=NOW + 59.5)
    later = check(off.state, now=NOW + 60.0, disk_ok=False)
    assert [e.id for e in later.events if e.kind == "note"] == ["G20"]
    assert [e for e in check(first.state, now=NOW + 99.0, disk_ok=False).events if e.kind == "note"] == []


# ---------------------------------------------------------------- clear


def clear(state: guard.GuardState, trip: str = "G09", /, **args: Any) -> tuple[guard.GuardState, bool, str]:
    order = Order("clear", NOW, "o", args, "brewer", trip=trip or None)
    after, reply, event = guard.clear(state, order, S.HELD, NOW, 60.0)
    assert (event is not None) is reply.accepted
    assert (reply.order, reply.state, reply.id) == ("clear", S.HELD, "o")
    return after, reply.accepted, reply.reason


HELD = OPEN._replace(
    trips=(kept("G09", NOW - 60.0, True), kept("G24", NOW - 60.0, True)), gone=(("G09", 0.0), ("G24", 0.0))
)


def test_clear_takes_one_trip() -> None:
    """The named one goes, the other stays, evidence starts anew, the disk must know."""
    after, done, said = clear(HELD)
    assert done
    assert said == "G09 cleared by brewer; heat stays off until `restart`"
    assert [t.id for t in after.trips] == ["G24"]
    assert (after.qualified, after.qualify_from, after.need_durable) == (False, NOW, True)
    assert clear(HELD, "", trip="G09")[1]


def test_clear_refused() -> None:
    """Not named, another one, lost, cause present, too soon, not inspected: each with its own sentence."""
    assert "G13 is not active; active: G09, G24" in clear(HELD, "G13")[2]
    assert clear(HELD, "")[2] == "no trip is named; active: G09, G24"
    assert clear(OPEN)[2] == clear(OPEN, "")[2] == "no trip is active"
    assert "another controller owns" in clear(HELD._replace(lost=True))[2]
    assert "its cause is still there. words" in clear(HELD._replace(gone=()))[2]
    soon = HELD._replace(trips=(kept("G09", NOW - 59.0, True),))
    assert "59 s ago; look first, clear after 60 s" in clear(soon)[2]
    assert "inspected=true" in clear(HELD, "G24")[2]
    assert "inspected=true" in clear(HELD, "G24", inspected="yes")[2]
    assert clear(HELD, "G24", inspected=True)[1]
    assert clear(soon)[0] == soon


# ---------------------------------------------------------------- what others may know


def test_view() -> None:
    """Ready only with good evidence, nothing tripped, nothing to wait for; off only where the heater has said so."""
    view = guard.view(OPEN, NOW, 10.0, True)
    assert (view.ready, view.heater_off, view.latched, view.lost, view.waits_for, view.flow_ok) == (
        True, True, False, False, "", True,
    )  # fmt: skip
    assert not guard.view(OPEN._replace(qualified=False), NOW, 10.0, True).ready
    assert not guard.view(OPEN._replace(lost=True), NOW, 10.0, True).ready
    waits = guard.view(OPEN._replace(off_until=NOW + 5.0), NOW, 10.0, False)
    assert (waits.ready, waits.waits_for, waits.flow_ok) == (False, "at least 5 s more without heat", False)
    tripped = guard.view(HELD, NOW, 10.0, True)
    assert (tripped.ready, tripped.latched, len(tripped.trips)) == (False, True, 2)
    assert not guard.view(OPEN._replace(trips=(kept("G02", 0.0, False),)), NOW, 10.0, True).latched
    for memory, off in (
        (OPEN.memory._replace(acked_at=NOW - 10.0), True),
        (OPEN.memory._replace(acked_at=NOW - 10.1), False),
        (OPEN.memory._replace(acked_at=None), False),
        (OPEN.memory._replace(acked_duty=0.1), False),
        (OPEN.memory._replace(acked_duty=None), False),
    ):
        assert guard.view(OPEN._replace(memory=memory), NOW, 10.0, True).heater_off is off


def test_a_fresh_guard_is_shut() -> None:
    """After a process start: shut for the lock, with the trips that were latched, and nothing qualified."""
    state = guard.begin(NOW, 4, 10.0, (kept("G07", 0.0, True),))
    assert (state.off_until, state.epoch, state.qualified, state.qualify_from) == (NOW + 10.0, 4, False, NOW)
    assert (state.started_at, state.quiet_at, state.memory.off_since, len(state.trips)) == (NOW, NOW, NOW, 1)
