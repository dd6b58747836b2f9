"""G13: a heater without liquid, or without flow where the pump should make one."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.contact import Contact
from controller.core.guard.heater_line import node_says
from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g13_no_liquid import BOUNCED, NoLiquid
from controller.core.nouns import Link, Phase, RunState, Switch, Trip
from tests.core.guard.looks import (
    BASE,
    BLOCKED,
    HEATING,
    HOT,
    NOW,
    OFF,
    OPEN,
    TUN,
    check,
    duty,
    for_long,
    found,
    having,
    ids,
    known,
    later,
    report,
    senses,
    told,
    trips_in,
    watch,
)

FRESH, ROW = NoLiquid(), NoLiquid.ROW
ONCE = Contact(NOW - 2.0, NOW - 2.0)  # one word that it is open
TOLD = NoLiquid(node=ONCE)  # the node's own
DRY = "The level switch says: no liquid at the heater. Heat is off."
STILL = "The flow switch says: no flow past the heater. Heat is off."
WORDLESS = "The {} switch has been silent for {{value:.0f}} s (limit {{limit:g}} s). Heat is off."
LOST, NOT_ASKED = Switch(False, NOW, NOW - 1.0), BASE.run.target._replace(heat="off")
NODE_DRY = report(50, 0.7, fault="F", fault_code="no_liquid")
NODE_STILL = report(50, 0.7, fault="F", fault_code="no_flow")
NODE, COLD = (NODE_DRY, NODE_STILL), known(line=HOT._replace(off_seq=40))
PLAIN = TUN.model_copy(update={"flow": None, "level": None})


def dry(silent_s: float, says: str = DRY) -> Finding:
    """No liquid: it waits for a person."""
    return Finding(ROW, silent_s, 10.0, True, says=says)


def still(silent_s: float, says: str = STILL, latched: bool = False) -> Finding:
    """No flow: tried again once."""
    return Finding(ROW, silent_s, 10.0, latched, says=says)


def bounced(name: str, silent_s: float = 0.0) -> Finding:
    """Nothing but the heat of this tick."""
    return Finding(ROW, silent_s, 10.0, cut_only=True, says=DRY if name == "level" else STILL)


def silent(name: str, for_s: float) -> Finding:
    """A switch that says nothing: a gap of a link."""
    return Finding(ROW, for_s, 10.0, False, says=WORDLESS.format(name), gap_s=10.0)


SWITCHES: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "both are well": ({}, None),
    "no liquid": ({"level": Switch(False, NOW - 1.0, NOW - 2.0)}, dry(1.0)),
    "level never heard": ({"level": None}, silent("level", 86_400.0)),
    "level of 10 s ago": ({"level": Switch(True, NOW - 10.0)}, None),
    "level older": ({"level": Switch(True, NOW - 10.125)}, silent("level", 10.125)),
    "level of long ago": ({"level": Switch(True, NOW - 1e5)}, silent("level", 86_400.0)),
    "one word": ({"level": Switch(False, NOW - 1.0, NOW - 1.0)}, bounced("level", 1.0)),
    "one word, and silence": ({"level": Switch(False, NOW - 10.5)}, silent("level", 10.5)),
    "two words in a second": ({"flow": Switch(False, NOW, NOW - 0.9)}, bounced("flow")),
    "one word, and the other is silent": ({"level": Switch(False, NOW), "flow": None}, silent("flow", 86_400.0)),
    "one word, and the other says no": ({"level": Switch(False, NOW), "flow": LOST}, still(0.0)),
    "no flow": ({"flow": Switch(False, NOW - 1.0, NOW - 2.0)}, still(1.0)),
    "flow never heard": ({"flow": None}, silent("flow", 86_400.0)),
    "flow of 10 s ago": ({"flow": Switch(True, NOW - 10.0)}, None),
    "flow older": ({"flow": Switch(True, NOW - 10.125)}, silent("flow", 10.125)),
    "both": ({"level": Switch(False, NOW - 1.0, NOW - 2.0), "flow": LOST}, dry(1.0)),
    "no flow, and the level is silent": ({"level": None, "flow": LOST}, still(0.0)),
    "both are silent": ({"level": None, "flow": None}, silent("level", 86_400.0)),
    "the pump has just begun": ({"flow": LOST, "pump_on_s": 9.9}, None),
    "the pump should have made it": ({"flow": LOST, "pump_on_s": 10.0}, still(0.0)),
    "heat is not asked for": ({"flow": LOST, "target": NOT_ASKED}, None),
    "no liquid, heat not asked for": ({"level": Switch(False, NOW, NOW - 1.0), "target": NOT_ASKED}, dry(0.0)),
    "no switches": ({"tun": PLAIN, "flow": None, "level": None}, None),
    "restarting, no flow": ({"flow": LOST, "state": RunState.RESTARTING, "target": NOT_ASKED}, still(0.0)),
    "restarting, just begun": (
        {"flow": LOST, "state": RunState.RESTARTING, "target": NOT_ASKED, "pump_on_s": 9.9},
        None,
    ),
    "restarting, no liquid": ({"level": None, "state": RunState.RESTARTING, "target": NOT_ASKED}, None),
}


@pytest.mark.parametrize(("changes", "expected"), SWITCHES.values(), ids=SWITCHES)
def test_by_the_switches(changes: dict[str, Any], expected: Finding | None) -> None:
    """False trips, silence past 10 s cuts, at 10 s not yet; a word goes before silence; flow counts where it is asked
    for and should be there; a restart in which the pump does not bring it back is no silent wait; the level has its
    turn once the run goes on."""
    assert found(FRESH, **changes) == expected


@pytest.mark.parametrize("phase", list(Phase))
def test_in_every_phase(phase: Phase) -> None:
    """In a ramp as in a rest, and while something is added: liquid always, flow wherever heat is asked for."""
    assert found(FRESH, phase=phase, level=LOST) == dry(0.0)
    assert found(FRESH, phase=phase, flow=LOST) == still(0.0)
    assert found(FRESH, phase=phase, flow=LOST, target=BLOCKED) is None


def test_where_liquid_and_flow_are_asked_for() -> None:
    """Liquid where heat may flow, flow in a restart as well; without a run an empty tun is no trip."""
    assert trips_in("G13", level=LOST) == HEATING
    assert trips_in("G13", level=Switch(False, NOW)) == set()
    assert trips_in("G13", for_long("G13"), level=None) == HEATING
    assert trips_in("G13", flow=LOST) == HEATING | {RunState.RESTARTING}
    assert check(level=LOST).state.trips[0].latched is True
    mute = check(for_long("G13"), level=None).state.trips[0]
    assert (mute.latched, mute.link) == (False, True)
    trip = check(flow=LOST).state.trips[0]
    assert (trip.latched, trip.unit) == (False, "s")
    assert trip.text == f"{STILL} {ROW.do}"


@pytest.mark.parametrize(("away_s", "link"), [(0.0, True), (9.9, True), (10.0, False), (None, False)])
def test_flow_lost_while_the_pumps_node_was_away(away_s: float | None, link: bool) -> None:
    """A gap of a link until it has been back for as long as a pump may take; liquid that is lost is none."""
    before = NoLiquid(away_at=None if away_s is None else NOW - away_s)
    expected = silent("flow", 0.0)._replace(says=STILL) if link else still(0.0)
    assert found(before, flow=LOST) == expected
    assert found(before, level=LOST) == dry(0.0)
    for movers in (True, False):
        own = found(before, flow=LOST, movers=movers)
        assert own == (silent("flow", 0.0)._replace(says=STILL, gap_s=20.0) if link or not movers else still(0.0))


def test_when_the_pumps_node_is_away() -> None:
    """The heater's counts as that one: by its own word, or when it has answered nothing for 5 s; a node of its own is
    asked instead, and without our line it hears nothing either."""
    late = OFF._replace(acked_at=NOW - 5.1)
    cases = [(OFF, True), (late, True), (OFF, False), (OFF._replace(acked_at=NOW - 5.0), None)]
    seen = [watch(FRESH, known(line=line), online=online)[0].away_at for line, online in cases]
    assert seen == [None, NOW, NOW, None]
    own = [watch(FRESH, known(line=late), movers=there)[0].away_at for there in (True, False)]
    assert own == [None, NOW]
    lines = [Link(True, 0.0, 5.0), Link(True, 0.0, 5.1), Link(False, NOW)]
    assert [watch(FRESH, known(), movers=True, link=link)[0].away_at for link in lines] == [None, NOW, NOW]


AGAIN = [(60.0, False), (60.1, True), (599.9, True), (600.0, False)]


@pytest.mark.parametrize("changes", [{"flow": LOST}, {"report": NODE_STILL}])
@pytest.mark.parametrize(("ago_s", "latched"), AGAIN)
def test_lost_flow_is_tried_again_once(ago_s: float, latched: bool, changes: dict[str, Any]) -> None:
    """By the switch or by the node's word: over a minute and under ten after the last it waits for a person."""
    finding = found(NoLiquid((NOW - ago_s,), node=ONCE), known(line=HOT), **changes)
    assert finding is not None and finding.latched is latched


def test_how_many_losses_are_remembered() -> None:
    """Those of ten minutes, sixteen at the most, the newest last; liquid that is lost is no flow that is."""
    often = NoLiquid((NOW - 600.0, *([NOW - 2.0] * 19), NOW - 1.0))
    kept = (*([NOW - 2.0] * 14), NOW - 1.0, NOW)
    assert watch(often, flow=LOST)[0].flow_lost_at == kept
    assert watch(NoLiquid((NOW - 600.0, NOW - 599.9)), flow=LOST)[0].flow_lost_at == (NOW - 599.9, NOW)
    for changes in ({"level": LOST}, {"flow": None}, {"flow": Switch(False, NOW)}, {}):
        assert watch(often, **changes)[0].flow_lost_at == often.flow_lost_at


# ---------------------------------------------------------------- by the node's word

FAULTS: dict[str | None, Finding | None] = {
    "no_liquid": Finding(ROW, 0.0, 0.0, True, says=node_says("F (1)")),
    "no_flow": Finding(ROW, 0.0, 0.0, False, says=node_says("F (1)")),
    "own_limit": None,
    "internal": None,
    None: None,
}


@pytest.mark.parametrize(("code", "expected"), FAULTS.items())
def test_a_fault_of_the_node_under_heat(code: str | None, expected: Finding | None) -> None:
    """It latches as the same thing seen by the daemon does; told to be off, or unheard, it is none."""
    said = report(50, 0.7, fault=None if code is None else "F {1}", fault_code=code)
    cut = Finding(ROW, 0.0, 0.0, cut_only=True)
    assert found(TOLD, known(line=HOT), report=said) == (expected or (cut if code else None))
    assert found(FRESH, known(line=HOT), report=said) == (expected and cut)
    assert found(FRESH, known(line=HOT._replace(off_seq=40)), report=said) is None
    assert found(FRESH, known(line=HOT), report=None) is None


def test_lost_flow_by_its_word_is_remembered() -> None:
    """As if the daemon's own switch had told it, once it is beyond doubt; lost liquid is not."""
    by = ((TOLD, COLD), (FRESH, known(line=HOT)))
    assert [watch(*one, report=said)[0].flow_lost_at for one in by for said in NODE] == [(), (NOW,), (), ()]


ENDS = {
    "no_liquid": [(NODE_DRY, True), (report(50), True), (None, True), (None, True), (None, False), (None, False)],
    "no_flow": [(NODE_STILL, True), (report(50), True), (None, True), (None, False), (report(50, 0.5), False)],
}


@pytest.mark.parametrize("reports", ENDS.values(), ids=ENDS)
def test_a_bounce_by_its_word(reports: list[tuple[Any, bool]]) -> None:
    """It cuts until the contact has been closed for 3 s; told to be off the node says nothing of its flow, so three
    seconds after its word heat is tried again, and the first heat reported shows that it flows."""
    interlock = FRESH
    for n, (said, cuts) in enumerate(reports):
        now = None if said is None else said._replace(at=NOW + n)
        line = HOT if n == 0 else HOT._replace(off_seq=40)
        interlock, finding = watch(interlock, known(line=line), now=NOW + n, report=now, level=None, tun=PLAIN)
        assert finding == (Finding(ROW, 0.0, 0.0, cut_only=True) if cuts else None)


def test_one_cause_seen_twice_is_one_trip() -> None:
    """The daemon's own switch and the node's say the same in one tick."""
    hot = having(TOLD)._replace(line=HOT)
    gate = check(hot, level=LOST, report=NODE_DRY)
    assert ids(gate) == ["G13"]
    assert gate.state.trips[0].text.startswith("The level switch says: no liquid")
    mute = check(hot, level=None, report=NODE_DRY)
    assert (mute.state.trips[0].latched, mute.state.trips[0].text[:24]) == (True, "The heater node's own fa")


# ---------------------------------------------------------------- clearing


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"level": Switch(False, NOW, NOW - 1.0)}, dry(0.0)),
        ({"flow": LOST}, still(0.0)),
        ({"flow": LOST, "pump_on_s": 9.9}, None),
        ({"flow": LOST, "target": NOT_ASKED}, None),
        ({"report": NODE_DRY}, None),
        ({}, None),
    ],
)
def test_it_keeps_its_trip(changes: dict[str, Any], expected: Finding | None) -> None:
    """In a hold the switches are looked at as if heat were asked for; the node's fault holds heat back by itself."""
    trip = Trip("G13", NOW - 70.0, "dry", 1.0, 10.0, "s", 1, True, True)
    running = senses(**changes, state=RunState.RUNNING)
    assert FRESH.still_there(trip, running, known(line=HOT)) == expected


def test_a_bounce_costs_three_seconds() -> None:
    """Open for half a second: heat leaves again once the switch has been closed for 3 s, in the fourth tick; one note
    says why, and nothing trips."""
    left: list[float] = []
    said: list[tuple[str, int | None]] = []
    state = OPEN._replace(line=HOT)
    words = [(0, False), (0.5, True), (0.5, True), (2.5, True), (2.5, True)]
    for n, (at, ok) in enumerate(words):
        gate = later(state, n, level=Switch(ok, NOW + at))
        state, left, said = gate.state, [*left, duty(gate)], [*said, *told(gate)]
    assert (left, said, ids(gate)) == ([0.0, 0.0, 0.0, 0.0, 0.5], [("G13", 3)], [])


# ---------------------------------------------------------------- bounces


def bounce(ago_s: float) -> Contact:
    """A contact that was open for half a second, and closed so long ago."""
    return Contact(NOW - ago_s - 0.5, None, NOW - ago_s, ((NOW - ago_s, 0.5),))


def test_what_a_contact_did_while_nothing_was_asked_of_it() -> None:
    """Flow counts for nothing where it is not asked for, what the level did stays; a clear forgets both."""
    had = NoLiquid(level=bounce(20.0), flow=bounce(20.0))
    flows = [watch(had, **changes)[0].flow for changes in ({}, {"target": NOT_ASKED})]
    assert flows == [bounce(20.0), bounce(20.0).not_asked()]
    assert watch(had, target=NOT_ASKED)[0].level == bounce(20.0)
    assert (had.cleared().level.bounces, had.cleared().flow.bounces) == ((), ())


OPENED = bounce(20.0)._replace(open_since=NOW - 2.0, heard_at=NOW - 0.5)


@pytest.mark.parametrize(
    ("level", "flow", "noted"),
    [(bounce(2.9), bounce(2.9), "level"), (Contact(), bounce(2.9), "flow"), (bounce(3.0), bounce(2.9), "flow"),
     (OPENED, Contact(), None), (bounce(3.0), Contact(), None), (ONCE, Contact(), None)],
)  # fmt: skip
def test_a_bounce_is_noted_while_it_takes_heat(level: Contact, flow: Contact, noted: str | None) -> None:
    """One at a time, for three seconds after it closed; not one that is open, nor with nothing to heat."""
    both = NoLiquid(level=level, flow=flow)
    assert [note.text for note in both.notes(senses(), known())] == ([BOUNCED.format(noted)] if noted else [])
    assert both.notes(senses(state=RunState.HELD), known()) == ()


def test_a_bounce_while_the_pumps_node_is_away_is_its_gap() -> None:
    """Nothing is cut for this tick alone: the gap has its time."""
    gap = bounced("flow")._replace(cut_only=False, latched=False, gap_s=10.0)
    assert found(NoLiquid(away_at=NOW - 5.0), flow=Switch(False, NOW, NOW)) == gap


@pytest.mark.parametrize(("ago_s", "kept"), [(59.5, True), (59.625, False)])
def test_how_long_the_nodes_bounces_are_remembered(ago_s: float, kept: bool) -> None:
    """A minute from its newest word to this one."""
    node = bounce(ago_s)._replace(heard_at=NOW - 0.5 - ago_s - 0.5)
    after = watch(NoLiquid(node=node), known(line=HOT), report=NODE_DRY)[0]
    assert bool(after.node.bounces) is kept


@pytest.mark.parametrize(("said_duty", "closed"), [(0.0, False), (0.5, True)])
def test_flow_that_is_back_shows_under_heat_alone(said_duty: float, closed: bool) -> None:
    """Told to be off, the node no longer looks at it."""
    lost = NoLiquid(node=ONCE, node_code="no_flow")
    assert (watch(lost, known(line=HOT), report=report(50, said_duty))[0].node.open_since is None) is closed
