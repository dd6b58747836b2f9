"""Each start permissive alone: just met it is silent, just missed it is named."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core import permits
from controller.core.model import Disk, Link, Measurement, Order, Switch, Trip, View
from controller.core.settings import SwitchInput
from tests.core.bench import tun

NOW, WALL = 1000.0, 1_700_000_000.0
SEEN = Measurement(12.0, 12.0, NOW, 0.5, 9, True, False, good_run=5, good_since=NOW - 6)
TUN = tun(flow=SwitchInput(topic="p/flow"))
GOOD = permits.Facts(
    TUN, SEEN, View(ready=True, heater_off=True), Link(True, 0.0), Disk(True, 1, 1), Switch(True, NOW - 10.0),
    Switch(False, NOW - 10.0), "b1", NOW, WALL, True, 90.0,
)  # fmt: skip
ARGS: dict[str, Any] = {"here": True, "hand_c": 15.0}
TRIP = Trip("G07", 0.0, "hot", 80.0, 80.0, "°C", 1, True, True)


def gaps(facts: permits.Facts = GOOD, **args: Any) -> tuple[str, ...]:
    return permits.missing(facts, Order("start", NOW, args={**ARGS, **args}))


def test_nothing_missing() -> None:
    """Everything at its limit and no further: an unattended start is allowed."""
    assert gaps() == ()


MISSED: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "broker": ({"link": Link(False, 0.0)}, {}, "the broker is out of reach"),
    "owner": ({"view": View(lost=True, heater_off=True)}, {}, "another controller owns this tun"),
    "trip": ({"view": View((TRIP,), True, heater_off=True)}, {}, "a trip is active: G07 (hot)"),
    "disk": ({"disk": Disk(False, 0, 0, text="full")}, {}, "the run record cannot be written (full)"),
    "disk, no words": ({"disk": Disk(False, 0, 0)}, {}, "(disk error)"),
    "room": ({"disk": Disk(True, 0, 0, 99.9)}, {}, "only 100 MB free for the record, 100 MB needed"),
    "no reading": ({"seen": SEEN._replace(value_c=None, text="gone")}, {}, "(so far 5; gone)"),
    "young readings": ({"seen": SEEN._replace(good_run=4)}, {}, "(so far 4; readings are young)"),
    "heater never heard": ({"heater_boot": ""}, {}, "the heater node has to report"),
    "heater not off": ({"view": View()}, {}, "acknowledge OFF"),
    "no level": ({"level": None}, {}, "the level switch says no liquid"),
    "level false": ({"level": Switch(False, NOW)}, {}, "the level switch says no liquid"),
    "level old": ({"level": Switch(True, NOW - 10.1)}, {}, "the level switch says no liquid"),
    "no flow": ({"flow": None}, {}, "the flow switch is silent"),
    "flow old": ({"flow": Switch(True, NOW - 10.1)}, {}, "the flow switch is silent"),
    "nobody there": ({}, {"here": "yes"}, "here=yes"),
    "no hand reading": ({}, {"hand_c": None}, 'hand="12 °C"'),
    "hand reading in words": ({}, {"hand_c": "12"}, 'hand="12 °C"'),
    "hand reading true": ({}, {"hand_c": True}, 'hand="12 °C"'),
    "hand over": ({}, {"hand_c": 15.1}, "by hand 15.1 °C, probe 12.0 °C, +3.1 K apart, limit 3 K"),
    "hand under": ({}, {"hand_c": 8.9}, "-3.1 K apart"),
    "hand no number": ({}, {"hand_c": float("nan")}, "apart"),
    "no proof test": ({"proof_days": None}, {}, "there is none; run `underback tryout`), or your mark"),
    "old proof test": ({"proof_days": 90.1}, {}, "it is 90 days old"),
    "attended in words": ({"proof_days": None}, {"attended": "yes"}, "there is none"),
    "delayed and attended": ({"proof_days": None}, {"attended": True, "ready_at": WALL}, "run `underback tryout`)"),
    "delayed without level": ({"tun": tun(level=None)}, {"ready_at": WALL}, "needs a level switch"),
    "delayed without clock": ({"wall_confirmed": False}, {"ready_at": WALL}, "a clock that is confirmed"),
}


@pytest.mark.parametrize(("facts", "args", "part"), MISSED.values(), ids=list(MISSED))
def test_each_alone(facts: dict[str, Any], args: dict[str, Any], part: str) -> None:
    """Exactly one sentence, about exactly this."""
    found = gaps(GOOD._replace(**facts), **args)
    assert len(found) == 1
    assert part in found[0]


def test_attended_needs_no_proof_test() -> None:
    """A person who stays may start without it; a tun without switches asks for none."""
    assert gaps(GOOD._replace(proof_days=None), attended=True) == ()
    assert gaps(GOOD._replace(tun=tun(level=None), level=None, flow=None)) == ()
    assert gaps(GOOD._replace(tun=tun(level=None), level=None, wall_confirmed=False)) == ()


def test_hand_is_not_compared_with_nothing() -> None:
    """Without a reading there is nothing to compare with, and only the reading is missing."""
    assert len(gaps(GOOD._replace(seen=SEEN._replace(value_c=None)), hand_c=90.0)) == 1


def test_everything_at_once() -> None:
    """All that is missing comes in one answer."""
    worst = GOOD._replace(
        seen=Measurement(None, None, None, float("inf"), None, False, True), view=View((TRIP,), lost=True),
        link=Link(False, 0.0), disk=Disk(False, 0, 0, 1.0), level=None, flow=None, proof_days=None,
        wall_confirmed=False,
    )  # fmt: skip
    assert len(permits.missing(worst, Order("start", NOW, args={"ready_at": WALL}))) == 13
