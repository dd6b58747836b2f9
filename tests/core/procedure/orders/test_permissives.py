"""Each start permissive alone: just met it is silent, just missed it is named."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate
from math import inf
from random import Random
from typing import Any

import pytest

from controller.core.nouns import Disk, Link, Measurement, Order, Reading, RunState, Switch, Trip, View
from controller.core.procedure.orders import permissives
from controller.settings.tun import Probe, Probes, SwitchInput
from tests.core.bench import Bench, course, leg, settings, tun

NOW, WALL = 1000.0, 1_700_000_000.0
SEEN = Measurement(12.0, 12.0, NOW, 0.5, 9, True, False, good_run=5, good_since=NOW - 6)
TUN = tun(flow=SwitchInput(topic="p/flow"))
GOOD = permissives.Facts(
    TUN, SEEN, View(ready=True, heater_off=True), Link(True, 0.0), Disk(True, 1, 1), Switch(True, NOW - 10.0),
    Switch(False, NOW - 10.0), "b1", NOW, True, 90.0, tuple(NOW - 12.0 + 3.0 * n for n in range(5)),
)  # fmt: skip
MORE = tun(
    flow=SwitchInput(topic="p/flow"),
    probes=Probes(mash=Probe(topic="p/mash"), second=Probe(topic="p/second"), outlet=Probe(topic="p/outlet")),
)
HEARD: dict[str, Any] = {"tun": MORE, "second_at": NOW - 10.0, "outlet_at": NOW - 10.0}
ARGS: dict[str, Any] = {"here": True, "hand_c": 15.0}
TRIP = Trip("G07", 0.0, "hot", 80.0, 80.0, "°C", 1, True, True)


def gaps(facts: permissives.Facts = GOOD, **args: Any) -> tuple[str, ...]:
    return permissives.missing(facts, Order("start", NOW, args={**ARGS, **args}))


def test_nothing_missing() -> None:
    """Everything at its limit and no further: an unattended start is allowed."""
    assert gaps() == ()
    assert gaps(GOOD._replace(**HEARD)) == ()
    assert gaps(GOOD._replace(disk=Disk(True, 1, 1, 100.0))) == ()


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
    "second never": (
        HEARD | {"second_at": -inf},
        {},
        "a fresh reading of the second mash probe for G05, probes differ (none so far; check the probe, its plug and",
    ),
    "second old": (HEARD | {"second_at": NOW - 10.1}, {}, "second mash probe for G05, probes differ (the last is 10 s"),
    "second late": (HEARD | {"link": Link(True, 0.0, 1.0), "second_at": NOW - 9.1, "outlet_at": NOW - 9.0}, {}, "G05"),
    "outlet never": (HEARD | {"outlet_at": -inf}, {}, "the outlet probe for G08, outlet hot (none so far; check"),
    "outlet old": (HEARD | {"outlet_at": NOW - 10.1}, {}, "outlet hot (the last is 10 s old, limit 10 s; check the"),
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
    "unattended without a switch": (
        {"tun": tun(level=None)},
        {},
        "a level or a flow switch on the tun (nothing else sees",
    ),
    "delayed without level": ({"tun": tun(level=None)}, {"ready_at": WALL}, "needs a level switch"),
    "delayed without clock": ({"wall_confirmed": False}, {"ready_at": WALL}, "a clock that is confirmed"),
}


@pytest.mark.parametrize(("facts", "args", "part"), MISSED.values(), ids=list(MISSED))
def test_each_alone(facts: dict[str, Any], args: dict[str, Any], part: str) -> None:
    """Exactly one sentence, about exactly this."""
    found = gaps(GOOD._replace(**facts), **args)
    assert len(found) == 1
    assert part in found[0]


@pytest.mark.parametrize("limit_s", [5.0, 20.0])
def test_old_is_what_the_guard_calls_old(limit_s: float) -> None:
    """Switches and further probes serve a start exactly as long as the tun file lets them serve the guard."""
    guard = MORE.guard.model_copy(update={"reading_gone_s": limit_s, "reading_late_s": 2.0, "switch_gone_s": limit_s})
    old = Switch(True, NOW - limit_s)
    facts = GOOD._replace(tun=MORE.model_copy(update={"guard": guard}), level=old, flow=old)
    facts = facts._replace(second_at=NOW - limit_s, outlet_at=NOW - limit_s)
    assert gaps(facts) == ()
    older = Switch(True, NOW - limit_s - 0.1)
    assert len(gaps(facts._replace(level=older))) == 1
    assert len(gaps(facts._replace(flow=older))) == 1
    assert len(gaps(facts._replace(second_at=NOW - limit_s - 0.1, outlet_at=NOW - limit_s - 0.1))) == 2


def test_attended_needs_no_proof_test() -> None:
    """A person who stays may start without it; a tun without switches asks for none."""
    assert gaps(GOOD._replace(proof_days=None), attended=True) == ()
    assert gaps(GOOD._replace(tun=tun(level=None), level=None, flow=None), attended=True) == ()
    assert gaps(GOOD._replace(tun=tun(level=None), level=None, wall_confirmed=False), attended=True) == ()


def test_hand_is_not_compared_with_nothing() -> None:
    """Without a reading there is nothing to compare with, and only the reading is missing."""
    assert len(gaps(GOOD._replace(seen=SEEN._replace(value_c=None)), hand_c=90.0)) == 1


def came(*apart_s: float) -> tuple[float, ...]:
    """Arrivals so far apart, the newest now."""
    return tuple(NOW - sum(apart_s) + after for after in accumulate((0.0, *apart_s)))


def spacing(arrivals: Iterable[float]) -> tuple[str, ...]:
    return gaps(GOOD._replace(believed_at=tuple(arrivals)))


@pytest.mark.parametrize("apart_s", [0.2, 1.0, 2.0, 3.0, 3.25])
def test_readings_often_enough(apart_s: float) -> None:
    """Every 3 s and what the network adds is enough, from the fifth reading on."""
    assert spacing(came(*[apart_s] * 4)) == ()
    assert spacing(came(*[apart_s] * 8)) == ()


@pytest.mark.parametrize("apart_s", [3.26, 4.0, 5.0, 9.0])
def test_readings_too_seldom(apart_s: float) -> None:
    """A slower node is refused, with what it does, the limit, and what to do; a second in between helps nothing."""
    for apart in ([apart_s] * 4, [apart_s] * 8, [1.0, *[apart_s] * 7]):
        (found,) = spacing(came(*apart))
        assert found == (
            f"mash readings at least every 3 s (they come every {apart_s:.1f} s, and slower firmware does not serve; "
            "set the probe node to send more often)"
        )


def test_lost_readings_are_no_slow_node() -> None:
    """One reading lost, or the probe away for a week, says nothing; nor do five of a hundred lost, at any start."""
    assert spacing(came(3.0, 3.0, 6.0, 3.0)) == ()
    assert spacing(came(1.0, 604_800.0, 1.0, 1.0, 1.0)) == ()
    rng = Random(5)
    for every_s in (1.0, 2.0):
        heard = [every_s * n for n in range(4000) if rng.random() >= 0.05]
        starts = [heard[at : at + 9] for at in range(len(heard) - 9)]
        assert [arrivals for arrivals in starts if spacing(arrivals)] == []


def test_too_few_readings_to_tell() -> None:
    """Four gaps tell, three do not; with no five good readings only those are asked for."""
    (found,) = spacing(came(1.0, 1.0, 1.0))
    assert found == "mash readings at least every 3 s (too few so far to tell; try again in a minute)"
    assert len(gaps(GOOD._replace(believed_at=(), seen=SEEN._replace(good_run=4)))) == 1


def test_a_probe_that_is_not_there_is_not_asked_for() -> None:
    """Without a second and an outlet probe in the tun file nothing is said of them; with both silent, of both."""
    assert gaps(GOOD._replace(second_at=-inf, outlet_at=-inf)) == ()
    assert len(gaps(GOOD._replace(tun=MORE))) == 2


def node(every_s: int) -> tuple[Bench, str]:
    """A run started on a probe node that speaks every so many seconds, and the answer to it."""
    bench = Bench(settings())
    for second in range(120):
        bench.probe = second % every_s == 0
        bench.step()
    bench.start(course(leg("rest", 63.0, 600.0)))
    bench.probe = False
    bench.step()
    return bench, bench.replies[-1].reason


@pytest.mark.parametrize("every_s", [1, 2, 3, 4, 5, 9])
def test_which_nodes_serve(every_s: int) -> None:
    """With a reading every 1, 2 or 3 s the mash starts; slower, nothing starts, and the answer says why."""
    bench, said = node(every_s)
    if every_s <= 3:
        assert bench.replies[-1].accepted
        assert bench.state.run.state is RunState.RUNNING
    else:
        assert said.startswith("not started. Missing: mash readings at least every 3 s (they come every ")
        assert f"every {every_s}.0 s, and slower firmware does not serve" in said
        assert bench.state.run.state is RunState.IDLE


def test_the_start_hears_the_other_probes() -> None:
    """A second probe that is silent keeps a mash from starting; once it speaks it does not."""
    probes = Probes(mash=Probe(topic="p/mash"), second=Probe(topic="p/second"))
    bench = Bench(settings(probes=probes))
    bench.run(30)
    bench.start(course(leg("rest", 63.0, 600.0)))
    bench.step()
    assert "a fresh reading of the second mash probe for G05, probes differ (none so far;" in bench.replies[-1].reason
    bench.extra = {"second": (Reading(20.0, bench.now, 1),)}
    bench.step()
    bench.start(course(leg("rest", 63.0, 600.0)))
    bench.step()
    assert bench.replies[-1].accepted


@pytest.mark.parametrize(
    ("now_c", "first", "refused"), [(48.0, 0, False), (48.1, 0, True), (77.9, 0, True), (65.0, 1, False)]
)
def test_a_tun_hotter_than_its_first_step_does_not_start(now_c: float, first: int, refused: bool) -> None:
    """More than the guard's margin over the step to begin with: both temperatures are told, and what to do."""
    plan = course(leg("warm", 45.0, 600.0), leg("mash warm", 66.0, 600.0), grist_kg=0)
    facts = GOOD._replace(seen=SEEN._replace(value_c=now_c))
    order = Order("start", NOW, args={**ARGS, "hand_c": now_c, "from_step": first}, course=plan)
    said = permissives.missing(facts, order)
    over = f"it is at {now_c:.1f} °C, {now_c - 45.0:.1f} K over the 45.0 °C of warm, limit 3 K; let it cool"
    assert [over in gap for gap in said] == [True] * refused


def test_everything_at_once() -> None:
    """All that is missing comes in one answer."""
    worst = GOOD._replace(
        seen=Measurement(None, None, None, float("inf"), None, False, True), view=View((TRIP,), lost=True),
        link=Link(False, 0.0), disk=Disk(False, 0, 0, 1.0), level=None, flow=None, proof_days=None,
        wall_confirmed=False,
    )  # fmt: skip
    assert len(permissives.missing(worst, Order("start", NOW, args={"ready_at": WALL}))) == 13
