"""What the heater node says of itself, what its outlet shows, and how its own protection latches."""

from __future__ import annotations

import json
from math import nan

import pytest

from controller.brewing import water
from controller.core import nouns
from controller.core.guard import requalify as evidence
from controller.core.guard import watch_mash, watch_plant
from controller.core.guard.registry import Finding, Memory
from controller.core.nouns import HeaterReport, RunState
from controller.field import commands, lease
from controller.settings.tun import Output, Probe, Probes
from tests.core.bench import Bench, course, leg, settings, tun
from tests.core.guard.test_guard_corners import (
    BASE,
    NOW,
    OPEN,
    PROBES,
    SEEN,
    SENT,
    check,
    found,
    hot,
    ids,
    report,
    senses,
)

HOT = Memory(off_seq=-1, sent=SENT)  # the last command lets heat out


def says(text: str) -> str:
    return f"The heater node's own fault: {text}. Heat is off."


# ---------------------------------------------------------------- its fault

FAULTS = [
    (nouns.NO_LIQUID, None, Finding("G13", 0.0, 0.0, True, says=says(nouns.NO_LIQUID))),
    (nouns.NO_FLOW, None, Finding("G13", 0.0, 0.0, False, says=says(nouns.NO_FLOW))),
    ("outlet hot: 91.9 °C", 91.9, Finding("G08", 91.9, 85.0, False, says=says("outlet hot: 91.9 °C"))),
    ("outlet hot: 92.0 °C", 92.0, Finding("G08", 92.0, 85.0, True, says=says("outlet hot: 92.0 °C"))),
    ("the outlet thermometer is silent", None, Finding("G08", 0.0, 85.0, False,
                                                       says=says("the outlet thermometer is silent"))),
    ("E{12}", None, Finding("G15", 0.7, 0.0, True, says=says("E(12)"), unit="duty")),
]  # fmt: skip


@pytest.mark.parametrize(("text", "outlet_c", "finding"), FAULTS, ids=[text for text, *_ in FAULTS])
def test_a_fault_of_the_node_under_heat_is_a_trip(text: str, outlet_c: float | None, finding: Finding) -> None:
    """By its own words, latching as the same thing seen by the daemon does; what is unknown waits for a person."""
    rule = watch_plant.heater_fault
    said = report(50, 0.7, fault=text, outlet_c=outlet_c)
    memory, tripped = rule(senses(heater=said), HOT)
    assert (tripped, memory.fault) == (finding, text)
    told_off = rule(senses(heater=said), HOT._replace(off_seq=40))
    assert (told_off[1], told_off[0].fault) == (None, text)
    assert rule(senses(heater=None), memory) == (memory, None)
    assert rule(senses(heater=report(50, 0.7, fault="")), memory)[0].fault == ""


def test_lost_flow_by_the_nodes_word_is_tried_again_once() -> None:
    """The second within ten minutes waits for a person, as with the daemon's own flow switch."""
    rule, said = watch_plant.heater_fault, report(50, 0.7, fault=nouns.NO_FLOW)
    memory, first = rule(senses(heater=said), HOT)
    assert first is not None
    assert first.latched is False
    for after_s, latched in ((60.0, False), (60.1, True), (599.9, True), (600.0, False)):
        again = rule(senses(heater=said, now=NOW + after_s), memory)[1]
        assert again is not None
        assert again.latched is latched


def test_one_cause_seen_twice_is_one_trip() -> None:
    """The daemon's own switch and the node's say the same in one tick."""
    gate = check(OPEN._replace(duty=0.5, memory=OPEN.memory._replace(off_seq=-1)), 0.5,
                 level=None, heater=report(50, 0.5, fault=nouns.NO_LIQUID))  # fmt: skip
    assert ids(gate) == ["G13"]


def test_no_heat_while_the_fault_stands() -> None:
    """The node's word that it is off is not enough: the fault must be gone, and that is said."""
    state = OPEN._replace(qualified=False, qualify_from=NOW - 20.0)
    assert evidence.qualify(state, BASE).qualified
    faulty = state._replace(memory=state.memory._replace(fault="no liquid"))
    assert not evidence.qualify(faulty, BASE).qualified
    assert evidence.lacks(faulty, BASE).startswith("the heater node to be free of its own fault (no liquid).")


def test_a_start_is_refused_while_the_heater_node_has_a_fault() -> None:
    """Named among what is missing, with the node's own text; without it the run begins."""
    bench = Bench(settings(), mash_c=58.0)
    bench.until("idle")
    fault = "power with the output off: the switch is stuck"
    for text, accepted in ((fault, False), (None, True)):
        epoch, seq = bench.state.guard.epoch, bench.state.guard.seq
        bench.extra = {"heater": HeaterReport(bench.now + 0.9, "b1", epoch, seq, 0.0, 9.0, text)}
        bench.step()
        bench.extra = {}
        bench.start(course(leg("beta", 63.0, 600.0), grist_kg=0))
        bench.step()
        assert bench.replies[-1].accepted is accepted
        assert (fault in bench.replies[-1].reason) is not accepted


# ---------------------------------------------------------------- its power

NO_POWER = "With its output on, the heater draws {value:.0f} W (at least {limit:.0f} W is due). Heat is off."


def draws(*reports: tuple[float, float | None], memory: Memory = HOT) -> tuple[Memory, list[Finding | None]]:
    """A report a second: the output and the power measured."""
    all_found = []
    for duty, power_w in reports:
        memory, finding = watch_plant.heater_draws(senses(heater=report(50, duty, power_w=power_w)), memory)
        all_found.append(finding)
    return memory, all_found


def test_no_power_with_the_output_on() -> None:
    """Under 5 % of what should flow for 5 s in all is G09 at once; at 5 % it is power."""
    memory, seen = draws(*[(1.0, 249.9)] * 5)
    assert seen == [None] * 4 + [Finding("G09", 249.9, 250.0, says=NO_POWER, unit="W")]
    assert memory.no_power_s == 0.0
    assert draws(*[(1.0, 250.0)] * 20)[1] == [None] * 20
    assert draws(*[(0.5, 125.0)] * 20)[1] == [None] * 20
    assert draws(*[(0.5, 124.9)] * 5)[1][-1] is not None
    assert draws(*[(0.2, 0.0)] * 20)[1] == [None] * 20
    assert draws(*[(0.21, 0.0)] * 5)[1][-1] is not None
    assert draws(*[(1.0, None)] * 20)[1] == [None] * 20
    assert draws(*[(1.0, 0.0)] * 20, memory=HOT._replace(off_seq=40))[1] == [None] * 20
    assert watch_plant.heater_draws(senses(heater=None), HOT) == (HOT, None)


def test_power_within_an_on_off_window() -> None:
    """The off part of a window counts neither way: only time with the output on does. A meter that is late shows power
    in the off part; that is power too."""
    on, off = (1.0, 0.0), (0.0, 0.0)
    _, dead = draws(*[on, off, off] * 5)
    assert [n for n, finding in enumerate(dead) if finding is not None] == [12]
    assert draws(*[(1.0, 5000.0), off, off] * 50)[1] == [None] * 150
    assert draws(*[on, (0.0, 5000.0)] * 50)[1] == [None] * 100
    assert draws(*[on, on, on, on, (1.0, 5000.0)] * 20)[1] == [None] * 100


def test_a_dead_element_is_seen_in_seconds() -> None:
    """The whole core: the cut-out opens in a ramp; five seconds later heat is off, with the power in the sentence."""
    bench = Bench(settings(), mash_c=58.0)
    bench.until("idle")
    bench.start(course(leg("beta", 66.0, 3600.0), grist_kg=0))
    for n in range(100):
        power_w = bench.duty * 5000.0 if bench.last is not None and n < 60 else 0.0
        seq, duty = bench.state.guard.seq, bench.duty
        bench.extra = {"heater": HeaterReport(bench.now + 0.9, "b1", 1, seq, duty, 9.0, power_w=power_w)}
        bench.step()
        if bench.state.guard.trips:
            break
    assert n == 64
    trip = bench.state.guard.trips[0]
    assert (trip.id, trip.latched, trip.unit) == ("G09", True, "W")
    assert trip.text.startswith("With its output on, the heater draws 0 W (at least")


# ---------------------------------------------------------------- outlet

WILD = "The outlet thermometer says {value:.1f} °C (limit {limit:g} °C): steam, or it is broken. Heat is off."


def test_any_raw_outlet_reading_cuts() -> None:
    """What the filter refuses as well: exactly 85.0, what is out of range, what is no number; corrected or not."""
    rule, refused = watch_mash.outlet, SEEN._replace(fresh=False)
    assert found(rule, raw_outlet=hot(85.0), outlet=refused) == Finding("G08", 85.0, 85.0, False)
    assert found(rule, raw_outlet=hot(105.0), outlet=refused) == Finding("G08", 105.0, 85.0, True)
    assert found(rule, raw_outlet=hot(105.1), outlet=refused) == Finding("G08", 105.1, 85.0, True, says=WILD)
    assert found(rule, raw_outlet=hot(63.0, 91.0, 63.0)) == Finding("G08", 91.0, 85.0, False)
    assert found(rule, raw_outlet=hot(nan), outlet=refused) is not None
    low = BASE.tun.model_copy(
        update={"probes": PROBES.model_copy(update={"outlet": Probe(topic="c", raw_boil_c=98.0)})}
    )
    assert found(rule, tun=low, raw_outlet=hot(83.3)) == Finding("G08", 83.3 / 0.98, 85.0, False)
    assert found(rule, tun=low, raw_outlet=hot(83.2)) is None


@pytest.mark.parametrize(
    ("node_c", "over"),
    [(-127.0, False), (-5.1, False), (-4.9, True), (0.0, False), (32.0, False), (-0.0625, False), (63.0, True),
     (79.9, True), (80.0, False)],
)  # fmt: skip
def test_what_shows_that_an_outlet_is_cool(node_c: float, over: bool) -> None:
    """The node's own word, in range and no failed sensor's value; nonsense leaves the trip standing."""
    stood, silent = Memory(outlet_hot_c=91.0, outlet_at=NOW - 1.0), SEEN._replace(fresh=False)
    said = report(outlet_c=node_c)
    assert (found(watch_mash.outlet, stood, raw_outlet=(), outlet=silent, heater=said) is None) is over


@pytest.mark.parametrize("bad_c", [-127.0, 0.0])
def test_a_refused_outlet_reading_cools_nothing(bad_c: float) -> None:
    """Of the probe only what was believed counts."""
    stood = Memory(outlet_hot_c=91.0, outlet_at=NOW - 1.0)
    assert found(watch_mash.outlet, stood, raw_outlet=hot(bad_c), outlet=SEEN._replace(fresh=False), heater=None)
    assert found(watch_mash.outlet, stood, raw_outlet=hot(63.0), heater=None) is None


OVER = "Wort leaves the heater {value:.1f} K hotter than the mash (limit {limit:.0f} K). Heat is off."
PUMPED = BASE.tun.model_copy(update={"flow_l_per_min": 12.0})  # 6 K at full power


def over(memory: Memory, now: float, outlet_c: float | None, **changes: object) -> tuple[Memory, Finding | None]:
    heard = None if outlet_c is None else SEEN._replace(value_c=outlet_c)
    values = {"tun": PUMPED, "now": now, "outlet": heard, **changes}
    return watch_mash.outlet_over_mash(senses(**values), memory)


def test_an_outlet_far_over_the_mash() -> None:
    """12 K are borne, more for 5 s is G08: the tick at 4 s is the last before. It begins anew with each fall."""
    memory, finding = over(HOT, NOW, 75.0)
    assert (memory, finding) == (HOT, None)
    memory, finding = over(memory, NOW, 75.1)
    assert finding is None
    assert over(memory, NOW + 3.9, 75.1)[1] is None
    after, finding = over(memory, NOW + 4.0, 75.5)
    assert finding == Finding("G08", 12.5, 12.0, latched=False, says=OVER, unit="K")
    assert (after.over_mash_since, after.outlet_hot_at) == (None, (NOW + 4.0,))
    fell, _ = over(memory, NOW + 3.0, 74.0)
    assert over(fell, NOW + 4.0, 75.5)[1] is None
    for off in ({"tun": BASE.tun.model_copy(update={"pump": None})}, {"outlet": None},
                {"outlet": SEEN._replace(value_c=None)}, {"seen": SEEN._replace(value_c=None)}):  # fmt: skip
        assert over(memory, NOW + 4.0, 75.5, **off) == (memory._replace(over_mash_since=None), None)
        assert over(HOT, NOW + 4.0, 75.5, **off) == (HOT, None)
    assert over(memory._replace(off_seq=40), NOW + 4.0, 75.5)[1] is None
    behind = PROBES.model_copy(update={"mash": Probe(topic="a", behind_heater=True)})
    assert over(memory, NOW + 4.0, 75.5, tun=PUMPED.model_copy(update={"probes": behind}))[1] is None


@pytest.mark.parametrize(("ago_s", "latched"), [(60.0, False), (60.1, True), (599.9, True), (600.0, False)])
def test_the_second_in_ten_minutes_waits_for_a_person(ago_s: float, latched: bool) -> None:
    """As with a hot outlet."""
    begun = HOT._replace(over_mash_since=NOW - 4.0, outlet_hot_at=(NOW - ago_s,))
    finding = over(begun, NOW, 76.0)[1]
    assert finding is not None
    assert finding.latched is latched


@pytest.mark.parametrize(
    ("flow", "limit_k"), [(None, 12.0), (12.0, 12.0), (11.9332, 12.0), (6.0, 2 * 5000.0 / (0.1 * water.J_PER_L_K))]
)
def test_a_small_flow_may_be_hotter(flow: float | None, limit_k: float) -> None:
    """Twice what the plate's flow is warmed by at full power, where that is more than the limit."""
    plate = BASE.tun.model_copy(update={"flow_l_per_min": flow})
    begun = HOT._replace(over_mash_since=NOW - 4.0)
    assert over(begun, NOW, 63.0 + limit_k - 0.1, tun=plate)[1] is None
    assert over(begun, NOW, 63.0 + limit_k + 0.1, tun=plate)[1] is not None


# ---------------------------------------------------------------- the node's own protection

WINDOWED = lease.NodeSettings(5000.0, "b1", min_off_s=0.0, window_s=2.0, level=True, flow=True)


def windowed(lost: str, at: float, until: float, duty: float = 0.5) -> list[lease.NodeState]:
    """Half seconds of a node that makes on and off of a share, one input lost for a while."""
    state, states = lease.boot(0.0), []
    for half in range(80):
        now = half * 0.5
        if half % 2 == 0:
            said = json.dumps({"epoch": 1, "seq": half + 1, "duty": duty, "valid_s": 10.0}).encode()
            state, why = commands.obey(WINDOWED, state, said, now)
            assert why is None
        inputs = {"level_ok": True, "flow_ok": True} | ({lost: False} if at <= now < until else {})
        state, _ = lease.beat(WINDOWED, state, now, **inputs)
        states.append(state)
    return states


@pytest.mark.parametrize("at", [20.0, 20.5, 21.0, 21.5])
def test_liquid_lost_in_any_part_of_a_window_latches(at: float) -> None:
    """The output is on for the first second of each two; the loss counts in the second as well."""
    end = windowed("level_ok", at, at + 0.5)[-1]
    assert (end.fault, end.latched, end.output) == (nouns.NO_LIQUID, True, 0.0)


@pytest.mark.parametrize("at", [20.0, 20.5, 21.0, 21.5])
def test_flow_lost_in_any_part_of_a_window_counts(at: float) -> None:
    """Once is tried again; the time of the loss is remembered for the second."""
    states = windowed("flow_ok", at, at + 1.0)
    assert not states[-1].latched
    assert states[-1].flow_lost_at == at


def test_an_outlet_value_in_a_run_needs_no_second_probe() -> None:
    """A pumped tun's outlet 13 K over the mash in a ramp: heat off, the sentence with both figures."""
    probes = Probes(mash=Probe(topic="a"), outlet=Probe(topic="c"))
    bench = Bench(settings(probes=probes, pump=Output(topic="u"), stirrer=None, mixing="pump", flow_l_per_min=12.0,
                           heater=tun().heater.model_copy(update={"place": "line"})), mash_c=58.0)  # fmt: skip

    def step(over_k: float) -> None:
        bench.extra = {"outlet": (hot(bench.mash_c + over_k)[0]._replace(at=bench.now + 0.8, seq=bench.seq),)}
        bench.step()

    for _ in range(20):
        step(1.0)
    bench.start(course(leg("beta", 66.0, 3600.0), grist_kg=0))
    for _ in range(60):
        step(6.0)
    assert bench.state.run.state is RunState.RUNNING
    for _ in range(6):
        step(13.0)
    trip = bench.state.guard.trips[0]
    assert (trip.id, trip.unit) == ("G08", "K")
    assert "hotter than the mash (limit 12 K)" in trip.text
