"""Heat that nothing but a link has forbidden: told, asked about, begun anew."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.evidence import Evidence
from controller.core.guard.link_gaps import NONE, LinkGaps
from controller.core.nouns import Demand, RunState, Trip
from tests.core.guard.looks import BASE, BLOCKED, NOW, SEEN, senses

GAP = Evidence(in_gap=True, quiet_c=63.0)
GOOD = Evidence(qualified=True, quiet_c=63.0)
LINK = Trip("G14", NOW, "gone", 1.0, 1.0, "s", 1, False, True, True)
HALF = "For {} % of the last half hour nothing but a link has kept heat away. "
LOOK = "Look at the network and at the nodes' supply."


def ticks(
    gaps: LinkGaps, *seconds: tuple[int, Evidence], trips: tuple[Trip, ...] = (), duty: float = 0.5, **changes: Any
) -> tuple[LinkGaps, float]:
    """After so many seconds with each of these evidences, and when that is."""
    now = NOW
    for count, evidence in seconds:
        for _ in range(count):
            now += 1.0
            gaps = gaps.follow(senses(now=now, **changes), Demand(duty, "t"), evidence, trips)
    return gaps, now


def cut_s(gaps: LinkGaps) -> float:
    """For how long was heat cut?"""
    return sum(lasted_s for _, lasted_s in gaps.minutes)


WANTED: dict[str, tuple[float, dict[str, Any]]] = {
    "a gap": (5.0, {}),
    "no heat asked for": (0.0, {"duty": 0.0}),
    "while something is added": (0.0, {"target": BLOCKED}),
    "held by a person": (0.0, {"state": RunState.HELD}),
    "held by a link": (5.0, {"state": RunState.HELD, "trips": (LINK,)}),
    "held by more than a link": (0.0, {"state": RunState.HELD, "trips": (LINK, LINK._replace(id="G07", link=False))}),
    "no run": (0.0, {"state": RunState.IDLE, "trips": (LINK,)}),
}


@pytest.mark.parametrize(("expected", "changes"), WANTED.values(), ids=WANTED)
def test_which_seconds_count(expected: float, changes: dict[str, Any]) -> None:
    """Those in which the program asks for heat and only a link forbids it, be it by a trip."""
    assert cut_s(ticks(NONE, (5, GAP), **changes)[0]) == expected


def test_a_third_of_half_an_hour_is_told() -> None:
    """With the share; not at a third, and no more once a minute of it lies half an hour back."""
    third, now = ticks(NONE, (600, GAP))
    assert list(third.notes(now)) == []
    more, now = ticks(NONE, (612, GAP))
    assert [(note.key, note.text, note.priority) for note in more.notes(now)] == [("gaps", HALF.format(34) + LOOK, 2)]
    assert len(list(more.notes(NOW + 1.0 + 1799.9))) == 1
    assert list(more.notes(NOW + 1.0 + 1800.0)) == []


def test_it_is_kept_by_the_minute() -> None:
    """Each by when it began; an hour of them at the most."""
    assert ticks(NONE, (61, GAP))[0].minutes == ((NOW + 1.0, 60.0), (NOW + 61.0, 1.0))
    assert [began for began, _ in ticks(NONE, (3601, GAP))[0].minutes] == [NOW + 1.0 + 60.0 * n for n in range(1, 61)]


def test_two_thirds_of_an_hour_are_asked_about() -> None:
    """Over 40 min within an hour, in pieces as well; at 40 min not yet; what lies an hour back counts no more."""
    pieces = ((60, GAP), (20, GOOD)) * 40
    gaps, _ = ticks(NONE, *pieces)
    assert (cut_s(gaps), gaps.ask) == (2400.0, "")
    asked, _ = ticks(NONE, *pieces, (2, GAP))
    assert asked.ask == "for two thirds of the last hour nothing but a link has kept heat away"
    assert ticks(NONE, *((60, GAP), (60, GOOD)) * 60)[0].ask == ""


@pytest.mark.parametrize(("value_c", "asks"), [(58.0, False), (57.9, True), (None, False)])
def test_a_mash_that_has_fallen_by_5_k(value_c: float | None, asks: bool) -> None:
    """Below where it stood when heat was cut, the heater's own at the probe left out; while nothing is read nobody
    knows."""
    for evidence, read_c in ((GAP, value_c), (GAP._replace(quiet_own_k=2.0), value_c and value_c - 2.0)):
        gaps, _ = ticks(NONE, (1, evidence), seen=SEEN._replace(value_c=read_c))
        assert gaps.ask == ("the mash has fallen by 5.1 K while a link was gone" if asks else "")


def test_many_returns_are_told() -> None:
    """More than 30 within an hour; a gap that is not over is none, nor one that ends without evidence or heat asked
    for."""
    often = ((1, GAP), (1, GOOD))
    thirty, now = ticks(NONE, *often * 30, (1, GAP))
    assert (len(thirty.returns), list(thirty.notes(now))) == (30, [])
    more, now = ticks(NONE, *often * 31)
    assert [(note.key, note.text, note.priority) for note in more.notes(now)] == [
        ("returns", "Heat came back 31 times within an hour, after gaps of a link. It wears.", 2)
    ]
    assert len(list(more.notes(more.returns[0] + 3599.9))) == 1
    assert list(more.notes(more.returns[0] + 3600.0)) == []
    gap, _ = ticks(NONE, (1, GAP))
    assert ticks(gap, (1, GAP), duty=0.0)[0].returns == ticks(gap, (1, GOOD), trips=(LINK,))[0].returns == ()


def test_it_begins_anew() -> None:
    """With the next run, and once a person has answered; a restart that answers nothing keeps it; where nothing is cut
    nothing changes."""
    gaps, _ = ticks(NONE, (5, GAP), (1, GOOD))
    asked = gaps._replace(ask="why")
    for before, state, after in (
        (gaps, RunState.IDLE, NONE),
        (asked, RunState.RESTARTING, NONE),
        (gaps, RunState.RESTARTING, gaps),
        (asked, RunState.HELD, asked),
    ):
        assert ticks(before, (1, GOOD), state=state)[0] == after
    assert gaps.follow(BASE, Demand(0.5, "t"), GOOD, ()) is gaps
    assert NONE.follow(BASE, Demand(0.5, "t"), GOOD, ()) is NONE
