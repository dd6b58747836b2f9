"""G15: a heater that says it is on when it was told to be off, or reports a fault that nobody else knows."""

from __future__ import annotations

from math import nan
from typing import Any

import pytest

from controller.core.guard.heater_line import HeaterLine, node_says
from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g15_heater_contradicts import HeaterContradicts
from controller.core.nouns import HeaterReport, RunState, Trip
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import (
    HOT,
    NOW,
    OFF,
    OPEN,
    check,
    found,
    having,
    known,
    memory,
    report,
    senses,
    trips_in,
    watch,
)

ROW = HeaterContradicts.ROW
FRESH = HeaterContradicts()
TOLD = OFF._replace(off_seq=45, off_since=NOW - 3.0)
SINCE = HeaterContradicts(45, NOW - 2.0, "b", 8)
ON = report(duty=0.5, n=9)
EARLIER = report(44, 0.5, n=9)
BARE = report(duty=0.5)
LONG = TOLD._replace(off_since=NOW - 40.0)

CASES: dict[str, tuple[HeaterContradicts, HeaterLine, HeaterReport | None, float | None]] = {
    "on": (SINCE, TOLD, ON, 3.0),
    "power over 5 %": (SINCE, TOLD, report(power_w=251.0, n=9), 3.0),
    "power at 5 %": (SINCE, TOLD, report(power_w=250.0, n=9), None),
    "off": (SINCE, TOLD, report(n=9), None),
    "the first": (FRESH, TOLD, ON, None),
    "a copy": (SINCE, TOLD, ON._replace(n=8), None),
    "overtaken": (SINCE, TOLD, ON._replace(n=7), None),
    "the first after a power-up": (SINCE, TOLD, ON._replace(boot="c"), None),
    "known for less than 2 s": (HeaterContradicts(45, NOW - 1.9, "b", 8), TOLD, ON, None),
    "told off for less than 3 s": (SINCE, TOLD._replace(off_since=NOW - 2.9), ON, None),
    "answers an earlier command": (SINCE, TOLD, EARLIER, None),
    "answers just the first OFF": (SINCE, TOLD, report(45, 0.5, n=9), 3.0),
    "its lease is over": (SINCE, TOLD, EARLIER._replace(lease_left_s=0.0), 3.0),
    "its lease is hardly over": (SINCE, TOLD, EARLIER._replace(lease_left_s=0.1), None),
    "obeys somebody else": (SINCE, TOLD, report(50, 0.5, epoch=2, n=9), None),
    "lease and 8.5 s of the messages": (SINCE, TOLD._replace(off_since=NOW - 18.5), report(42, 0.5, n=9), None),
    "longer": (SINCE, TOLD._replace(off_since=NOW - 18.625), EARLIER, 18.625),
    "lease and 10 s of the messages": (SINCE, TOLD._replace(off_since=NOW - 22.0), report(30, 0.5, n=9), None),
    "longer than that": (SINCE, TOLD._replace(off_since=NOW - 22.125), report(30, 0.5, n=9), 22.125),
    "an answer to what was sent long ago": (SINCE, TOLD._replace(off_since=NOW - 22.0), report(3, 0.5, n=9), None),
    "by somebody else": (SINCE, TOLD._replace(off_since=NOW - 22.0), report(50, 0.5, epoch=2, n=9), None),
    "by somebody else, for long": (SINCE, LONG, report(50, 0.5, epoch=2, n=9), 40.0),
    "without a count": (HeaterContradicts(45, NOW - 28.9, "b"), LONG, BARE, None),
    "without a count for 30 s": (HeaterContradicts(45, NOW - 29.0, "b"), LONG, BARE, 40.0),
    "heat is on": (SINCE, HOT, ON, None),
    "the first row of OFFs": (HeaterContradicts(0, NOW - 2.0, "b", 8), TOLD._replace(off_seq=0), ON, 3.0),
    "another row of OFFs": (HeaterContradicts(44, NOW - 9.0, "b", 8), TOLD, ON, None),
    "no report": (SINCE, TOLD, None, None),
}


@pytest.mark.parametrize(("before", "line", "said", "value"), CASES.values(), ids=CASES)
def test_on_when_told_off(
    before: HeaterContradicts, line: HeaterLine, said: HeaterReport | None, value: float | None
) -> None:
    """On for 3 s after OFF, by its duty or by its power, in two reports of rising count; a late report of an earlier
    command is no lie until lease and messages are over, and without a count it takes half a minute."""
    expected = None if value is None else Finding(ROW, value, 3.0)
    assert found(before, known(line=line), report=said) == expected


def test_no_number_is_on() -> None:
    """A duty that is no number is none of off."""
    finding = found(SINCE, known(line=TOLD), report=report(duty=nan, n=9))
    assert finding == Finding(ROW, 3.0, 3.0)


@pytest.mark.parametrize(
    ("before", "line", "said", "after"),
    [
        (SINCE, TOLD, None, SINCE),
        (SINCE, TOLD, report(), HeaterContradicts(45, None, "b", 8)),
        (SINCE, TOLD, EARLIER, HeaterContradicts(45, None, "b", 8)),
        (SINCE, HOT, ON, HeaterContradicts(45, None, "b", 8)),
        (FRESH, TOLD, report(), FRESH),
        (FRESH, TOLD, ON, HeaterContradicts(45, NOW, "b", 9)),
        (SINCE, TOLD, ON, HeaterContradicts(45, NOW - 2.0, "b", 9)),
        (SINCE, TOLD, ON._replace(n=7), SINCE),
        (HeaterContradicts(44, NOW - 9.0, "b", 8), TOLD, ON, HeaterContradicts(45, NOW, "b", 9)),
    ],
)
def test_since_when(
    before: HeaterContradicts, line: HeaterLine, said: HeaterReport | None, after: HeaterContradicts
) -> None:
    """A report that it is off, or of earlier, begins it anew; silence does not, and a new row of OFFs is judged anew,
    heard in between or not."""
    assert watch(before, known(line=line), report=said)[0] == after


def test_in_every_state() -> None:
    """It is watched whatever the run does, and waits for a person, with what to do first."""
    on = having(HeaterContradicts(1, 0.0, "b", 8), OPEN._replace(line=OFF))
    assert trips_in("G15", on, report=ON) == set(RunState)
    trip = check(on, 0.0, report=ON).state.trips[0]
    assert (trip.latched, trip.value, trip.limit, trip.unit) == (True, 1000.0, 3.0, "s")
    assert trip.text == f"The heater says it is on 1000 s after being told off (limit 3 s). {ROW.do}"
    assert memory(check(on, report=None), HeaterContradicts).since == 0.0


@pytest.mark.parametrize(
    ("before", "line", "there"),
    [(FRESH, OFF, False), (FRESH, OFF._replace(acked_at=NOW - 5.1), True), (SINCE, OFF, True)],
)
def test_until_it_says_that_it_is_off(before: HeaterContradicts, line: HeaterLine, there: bool) -> None:
    """A trip is over by the node's word of the last 5 s that it is off, with no report since that says otherwise."""
    trip = Trip("G15", NOW - 70.0, "on", 3.0, 3.0, "s", 1, True, True)
    found_ = before.still_there(trip, senses(), known(line=line._replace(off_since=NOW - 70.0)))
    assert found_ == (Finding(ROW, 70.0, 3.0) if there else None)


# ---------------------------------------------------------------- by its own word


CODES = {
    "internal": True,
    "switch_stuck": True,
    "no_power": True,
    None: True,
    "no_liquid": False,
    "no_flow": False,
    "own_limit": False,
    "own_probe_silent": False,
}


@pytest.mark.parametrize(("code", "tells"), CODES.items())
def test_a_fault_that_nobody_else_knows(code: str | None, tells: bool) -> None:
    """Under heat it waits for a person, in the node's words; told to be off, or unheard, it is none."""
    said: dict[str, Any] = {"report": report(50, 0.7, fault="F {1}", fault_code=code)}
    expected = Finding(ROW, 0.7, 0.0, True, says=node_says("F (1)"), unit="duty")
    assert found(FRESH, known(line=HOT), **said) == (expected if tells else None)
    assert found(FRESH, known(line=TOLD._replace(off_since=NOW)), **said) is None
    assert found(FRESH, known(line=HOT), report=report(50, 0.7, fault="")) is None


def test_a_start_is_refused_while_the_heater_node_has_a_fault() -> None:
    """Named among what is missing, with the node's own text; without it the run begins."""
    bench = Bench(settings(), mash_c=58.0)
    bench.until("idle")
    fault = "power with the output off: the switch is stuck"
    for text, accepted in ((fault, False), (None, True)):
        guard = bench.state.guard
        said = HeaterReport(bench.now + 0.9, "b1", guard.epoch, guard.line.seq, 0.0, 9.0, text)
        bench.extra = {"heater": said}
        bench.step()
        bench.extra = {}
        bench.start(course(leg("beta", 63.0, 600.0), grist_kg=0))
        bench.step()
        assert bench.replies[-1].accepted is accepted
        assert (fault in bench.replies[-1].reason) is not accepted
