"""G14: a heater node that does not answer, or a line that brings nothing."""

from __future__ import annotations

from math import nan
from typing import Any

import pytest

from controller.core.guard.gate import Gate
from controller.core.guard.heater_line import HeaterLine
from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g14_heater_silent import (
    BEHIND,
    MOVER_GONE,
    NO_ECHO,
    NO_LINK,
    NOT_THERE,
    HeaterSilent,
)
from controller.core.nouns import Link, RunState, Trip
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import (
    HEATING,
    NOW,
    OFF,
    OPEN,
    TUN,
    check,
    duty,
    for_long,
    found,
    ids,
    known,
    report,
    senses,
    told,
    trips_in,
)

SILENT = HeaterSilent()


def line(acked_s: float | None = None, seq: int = 50) -> HeaterLine:
    """The newest command that was answered was sent so long ago."""
    return OFF._replace(acked_seq=seq, acked_at=None if acked_s is None else NOW - acked_s)


def silent(for_s: float, limit_s: float = 10.0, says: str = "", gap_s: float = 10.0) -> Finding:
    """So long no answer; so much later it is a trip."""
    return Finding(SILENT.ROW, for_s, limit_s, says=says, gap_s=gap_s)


ANSWERS: dict[str, tuple[HeaterLine, dict[str, Any], Finding | None]] = {
    "at 10 s": (line(10.0), {}, None),
    "over": (line(10.125), {"report": None}, silent(10.125)),
    "never": (line(), {"report": None}, silent(86_400.0)),
    "answers old commands": (line(10.125), {}, silent(10.125, says=BEHIND)),
    "answers another owner": (line(10.125), {"report": report(epoch=2)}, silent(10.125)),
    "what it answers was never sent": (line(10.125), {"report": report(60)}, silent(10.125)),
    "gone by its own word": (line(1.0), {"online": False}, silent(1.0, 0.0, NOT_THERE, 20.0)),
    "the node of what must move gone": (line(1.0), {"movers": False}, silent(1.0, 0.0, MOVER_GONE, 20.0)),
    "that node there": (line(1.0), {"movers": True}, None),
    "its word unknown": (line(1.0), {"online": None}, None),
    "the machine slept": (line(11.0), {"gap_s": 11.0, "report": None}, silent(11.0)),
}


@pytest.mark.parametrize(("which", "changes", "expected"), ANSWERS.values(), ids=ANSWERS)
def test_answers(which: HeaterLine, changes: dict[str, Any], expected: Finding | None) -> None:
    """The newest command it has answered may have been sent 10 s ago and no longer; its last will cuts at once; in a
    hold the same keeps the trip."""
    assert found(SILENT, known(line=which), **changes) == expected
    trip = Trip("G14", NOW - 70.0, "silent", 11.0, 10.0, "s", 1, True, True)
    assert SILENT.still_there(trip, senses(**changes), known(line=which)) == expected


def test_where_heat_may_flow_alone() -> None:
    """Without heat a silent node, or broker, is no trip; each ends by itself."""
    assert trips_in("G14", for_long("G14"), online=False) == HEATING
    assert trips_in("G14", for_long("G14"), link=Link(False, NOW - 4.0)) == HEATING
    trip = check(for_long("G14"), online=False).state.trips[0]
    assert (trip.latched, trip.link, trip.text) == (False, True, f"{NOT_THERE} {SILENT.ROW.do}")


def test_a_node_that_answers_late_is_noted() -> None:
    """From over 5 s to 10 s a note, then heat is off; half of whatever the file allows; never heard is none."""

    def quiet(for_s: float | None, **changes: Any) -> Gate:
        return check(OPEN._replace(line=line(for_s)), report=None, **changes)

    assert told(quiet(5.0)) == []
    gate = quiet(5.1)
    assert (told(gate), ids(gate)) == ([("G14", 3)], [])
    assert gate.state.noted.now[0].text == (
        "The heater node has not answered for 5 s; over 10 s heat goes off. Check its supply and network."
    )
    assert (told(quiet(10.0)), ids(quiet(10.0))) == ([("G14", 3)], [])
    assert (told(quiet(10.1)), duty(quiet(10.1)), ids(quiet(10.1))) == ([("G14", 3)], 0.0, [])
    assert {run for run in RunState if told(quiet(6.0, state=run))} == HEATING
    slow = TUN.model_copy(update={"guard": TUN.guard.model_copy(update={"heater_silent_s": 20.0})})
    assert (told(quiet(10.0, tun=slow)), told(quiet(10.1, tun=slow))) == ([], [("G14", 3)])
    assert told(quiet(None, state=RunState.HELD)) == []
    patient = TUN.model_copy(update={"guard": TUN.guard.model_copy(update={"heater_silent_s": 1e6})})
    assert told(quiet(None, tun=patient)) == []


LINKS: dict[str, tuple[Link, Finding | None]] = {
    "own commands back in 10 s": (Link(True, 0.0, 10.0), None),
    "later": (Link(True, 0.0, 10.125), silent(10.125, says=NO_ECHO)),
    "lost": (Link(False, NOW - 4.0), silent(4.0, 0.0, NO_LINK, 20.0)),
    "lost within the tick": (Link(False, NOW + 1.0), silent(0.0, 0.0, NO_LINK, 20.0)),
}


@pytest.mark.parametrize(("link", "expected"), LINKS.values(), ids=LINKS)
def test_the_broker(link: Link, expected: Finding | None) -> None:
    """Just at its limit it is quiet, just past it is not; the same keeps the trip in a hold."""
    assert found(SILENT, link=link) == expected
    trip = Trip("G14", NOW - 70.0, "gone", 11.0, 10.0, "s", 1, False, True)
    assert SILENT.still_there(trip, senses(link=link), known()) == expected


def test_a_delay_that_is_no_number_is_too_long() -> None:
    """The broker may do anything then."""
    assert found(SILENT, link=Link(True, 0.0, nan)) is not None


def test_a_reconnect_between_two_ticks_is_seen() -> None:
    """Up before and up now, but another connection: heat waits for three new readings, and nothing trips."""
    bench = Bench(settings(), mash_c=58.0)
    bench.until("idle")
    bench.start(course(leg("beta", 66.0, 7200.0), grist_kg=0))
    bench.run(100)
    assert bench.duty > 0.0
    bench.extra = {"link": Link(True, bench.now + 0.5)}
    before = len(bench.log)
    bench.run(30)
    duties = [out.command.duty for out in bench.log[before:] if out.command is not None]
    assert [duty > 0.0 for duty in duties].index(True) == 3
    assert bench.state.guard.trips == ()
