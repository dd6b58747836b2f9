"""States, orders and trips, each with each: no order heats past a trip, no refusal changes anything."""

from __future__ import annotations

import copy
from functools import cache
from typing import Any

import pytest

from controller.core.guard.registry import BY_ID
from controller.core.nouns import RunState, Trip
from controller.core.procedure.orders import envelope
from controller.core.procedure.run import Hold
from tests.core.bench import Bench, course, leg, settings

PLAN = course(leg("beta", 63.0, 3600.0), leg("alpha", 72.0, 1200.0), leg("keep", 76.0, 7200.0, kind="keep"), grist_kg=0)
TABLE = tuple(BY_ID.values())
LATCHED = [row.id for row in TABLE if row.clears == "latched"]
ARGS: dict[str, dict[str, Any]] = {
    "start": {"course": PLAN, "here": True, "attended": True, "hand_c": 61.0},
    "extend": {"by_s": 60.0},
    "adjust": {"target_c": 64.0},
    "answer": {"remark": "all well"},
}


@cache
def _resting() -> Bench:
    bench = Bench(settings(), mash_c=55.0)
    bench.until("idle")
    bench.start(PLAN)
    bench.until("ramping")
    bench.run(40)
    assert bench.duty > 0.0
    return bench


def tripped(state: RunState, trip: str) -> Bench:
    """A run that was heating a moment ago, put into this state with this trip, whose cause is gone for long."""
    bench = copy.copy(_resting())
    bench.orders, bench.log, bench.events, bench.replies = [], [], [], []
    row, now = BY_ID[trip], bench.now
    active = Trip(trip, now - 100.0, row.says, 1.0, 1.0, row.unit, row.priority, row.clears == "latched", True)
    guard = bench.state.guard._replace(trips=(active,), gone=((trip, now - 90.0),), lost=trip == "G19")
    if row.clears != "latched":
        guard = guard._replace(evidence=guard.evidence._replace(off_until=now + 60.0))
    run = bench.state.run._replace(state=state, hold=Hold("latched" if state is RunState.HELD else ""))
    bench.state = bench.state._replace(guard=guard, run=run)
    return bench


@pytest.mark.parametrize("state", list(RunState))
def test_no_order_heats_past_a_trip_and_a_refusal_changes_nothing(state: RunState) -> None:
    """Every order in this state with every trip: OFF goes out, and a refused order leaves the run as without it."""
    for row in TABLE:
        plain = tripped(state, row.id)
        plain.step()
        for name in envelope.ALLOWED:
            bench = tripped(state, row.id)
            bench.order(name, **({"trip": row.id} if name == "clear" else {}), **ARGS.get(name, {}))
            bench.step()
            reply = bench.replies[0]
            assert bench.duty == 0.0, (name, row.id)
            assert reply.order == name
            assert reply.reason
            if state not in envelope.ALLOWED[name] or name == "start":
                assert not reply.accepted, (name, row.id, reply)
            if not reply.accepted:
                assert bench.state.run == plain.state.run, (name, row.id)
            if name != "clear":
                assert [t.id for t in bench.state.guard.trips] == [t.id for t in plain.state.guard.trips]
            bench.run(2)
            assert bench.duty == 0.0, (name, row.id)


@pytest.mark.parametrize("state", [s for s in RunState if s in envelope.ALLOWED["clear"]])
def test_clear_never_leads_to_heat(state: RunState) -> None:
    """A latched trip cleared in any state: no heat in the two minutes after, though all evidence is good."""
    for trip in LATCHED:
        bench = tripped(state, trip)
        bench.order("clear", trip=trip, inspected=True, reason="it was looked at")
        bench.step()
        assert bench.replies[0].accepted is (trip != "G19"), (trip, bench.replies)
        for _ in range(120):
            bench.step()
            assert bench.duty == 0.0, trip


SELF_CLEARING = [row.id for row in TABLE if row.clears == "requalified"]


@pytest.mark.parametrize("trip", SELF_CLEARING)
def test_clear_of_what_ends_by_itself_does_not_lead_to_heat_either(trip: str) -> None:
    """Left alone the run goes on by itself; once a person has cleared it, it waits for that person's restart."""
    alone, told = tripped(RunState.HELD, trip), tripped(RunState.HELD, trip)
    for bench in (alone, told):
        bench.state = bench.state._replace(run=bench.state.run._replace(hold=Hold("trip")))
    told.order("clear", trip=trip)
    told.step()
    assert told.replies[0].accepted
    for _ in range(200):
        alone.step()
        told.step()
        assert told.duty == 0.0
    assert alone.state.run.state is RunState.RUNNING and told.state.run.state is RunState.HELD
    told.order("restart", hand_c=told.mash_c)
    told.until("running", 100)


def test_restart_after_clear_does_lead_to_heat() -> None:
    """The pair of the test above: with a restart after the clear heat does come back, so it was not shut for good."""
    bench = tripped(RunState.HELD, "G09")
    bench.order("clear", trip="G09")
    bench.run(5)
    bench.order("restart", hand_c=bench.mash_c)
    bench.until("running", 200)
    bench.run(20)
    assert bench.duty > 0.0
