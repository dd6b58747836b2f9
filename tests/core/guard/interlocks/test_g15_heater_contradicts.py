"""G15: a heater that says it is on when it was told to be off, or reports a fault that nobody else knows."""

from __future__ import annotations

from math import nan
from typing import Any

import pytest

from controller.core.guard.heater_line import HeaterLine, node_says
from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g15_heater_contradicts import HeaterContradicts
from controller.core.nouns import HeaterReport, RunState
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import HOT, NOW, OFF, OPEN, check, found, having, known, memory, report, trips_in, watch

ROW = HeaterContradicts.ROW
FRESH = HeaterContradicts()
TOLD = OFF._replace(off_seq=45, off_since=NOW - 3.0)
SINCE = HeaterContradicts(off_seq=45, since=NOW - 2.0)
ON = report(duty=0.5)
EARLIER = report(44, 0.5)

CASES: dict[str, tuple[HeaterContradicts, HeaterLine, HeaterReport | None, float | None]] = {
    "on": (SINCE, TOLD, ON, 3.0),
    "power over 5 %": (SINCE, TOLD, report(power_w=251.0), 3.0),
    "power at 5 %": (SINCE, TOLD, report(power_w=250.0), None),
    "off": (SINCE, TOLD, report(), None),
    "known for less than 2 s": (HeaterContradicts(45, NOW - 1.9), TOLD, ON, None),
    "told off for less than 3 s": (SINCE, TOLD._replace(off_since=NOW - 2.9), ON, None),
    "answers an earlier command": (SINCE, TOLD, EARLIER, None),
    "answers just the first OFF": (SINCE, TOLD, report(45, 0.5), 3.0),
    "obeys somebody else": (SINCE, TOLD, report(50, 0.5, epoch=2), None),
    "lease and limit just over": (SINCE, TOLD._replace(off_since=NOW - 13.0), EARLIER, None),
    "longer": (SINCE, TOLD._replace(off_since=NOW - 13.125), EARLIER, 13.125),
    "longer, by somebody else": (SINCE, TOLD._replace(off_since=NOW - 14.0), report(50, 0.5, epoch=2), 14.0),
    "heat is on": (SINCE, HOT, ON, None),
    "the first row of OFFs": (HeaterContradicts(0, NOW - 2.0), TOLD._replace(off_seq=0), ON, 3.0),
    "another row of OFFs": (HeaterContradicts(44, NOW - 9.0), TOLD, ON, None),
    "no report": (SINCE, TOLD, None, None),
}


@pytest.mark.parametrize(("before", "line", "said", "value"), CASES.values(), ids=CASES)
def test_on_when_told_off(
    before: HeaterContradicts, line: HeaterLine, said: HeaterReport | None, value: float | None
) -> None:
    """On for 3 s after OFF, by its duty or by its power; a late report of an earlier command is no lie."""
    expected = None if value is None else Finding(ROW, value, 3.0)
    assert found(before, known(line=line), report=said) == expected


def test_no_number_is_on() -> None:
    """A duty that is no number is none of off."""
    finding = found(SINCE, known(line=TOLD), report=report(duty=nan))
    assert finding == Finding(ROW, 3.0, 3.0)


@pytest.mark.parametrize(
    ("before", "line", "said", "after"),
    [
        (SINCE, TOLD, None, SINCE),
        (SINCE, TOLD, report(), HeaterContradicts(off_seq=45)),
        (SINCE, TOLD, EARLIER, HeaterContradicts(off_seq=45)),
        (SINCE, HOT, ON, HeaterContradicts(off_seq=45)),
        (FRESH, TOLD, report(), FRESH),
        (FRESH, TOLD, ON, HeaterContradicts(45, NOW)),
        (SINCE, TOLD, ON, SINCE),
        (HeaterContradicts(44, NOW - 9.0), TOLD, ON, HeaterContradicts(45, NOW)),
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
    on = having(HeaterContradicts(off_seq=1, since=0.0), OPEN._replace(line=OFF))
    assert trips_in("G15", on, report=ON) == set(RunState)
    trip = check(on, 0.0, report=ON).state.trips[0]
    assert (trip.latched, trip.value, trip.limit, trip.unit) == (True, 1000.0, 3.0, "s")
    assert trip.text == f"The heater says it is on 1000 s after being told off (limit 3 s). {ROW.do}"
    assert memory(check(on, report=None), HeaterContradicts).since == 0.0


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
