"""Liquor ready at six: heat begins in time and not before, and nobody coming is said, then ends the heat."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import Phase, RunState
from tests.core.bench import WALL, Bench, course, leg, settings, tun

STRIKE_S = 1800.0
PLAN = course(leg("rest", 50.0, 600.0), leg("keep", 50.0, 600.0, kind="keep"))
PLAN = PLAN._replace(legs=(PLAN.legs[0]._replace(target_c=30.0, ramp_s=STRIKE_S), *PLAN.legs[1:]))


def armed(
    ahead_s: float = 3600.0,
    proof_days: float | None = 5.0,
    sure: bool = True,
    heating_s: float = STRIKE_S,
    later_s: int = 0,
    **changes: Any,
) -> Bench:
    bench = Bench(settings(**changes), mash_c=12.0)
    bench.until("idle")
    bench.state = bench.state._replace(proof_days=proof_days)
    bench.run(later_s)
    plan = PLAN._replace(legs=(PLAN.legs[0]._replace(ramp_s=heating_s), *PLAN.legs[1:]))
    bench.extra = {"wall_confirmed": sure}
    bench.obey("start", course=plan, here=True, hand_c=12.0, ready_at=WALL + ahead_s)
    return bench


def test_heat_begins_at_the_computed_time() -> None:
    """Half an hour of heating and a quarter of an hour of margin before the wanted time; no heat until then."""
    bench = armed()
    assert bench.replies[-1].accepted
    began = bench.now
    while bench.state.run.phase is Phase.ARMED:
        assert bench.duty == 0.0
        bench.step()
    assert bench.now - began == pytest.approx(3600.0 - STRIKE_S - 900.0, abs=1.0)
    assert str(bench.state.run.phase) == "heating"


def test_a_long_heating_has_a_tenth_as_margin() -> None:
    """Ten per cent of the heating time where that is more than a quarter of an hour."""
    bench = armed(14_000.0, heating_s=12_000.0)
    until = bench.state.run.begun.armed_until
    assert until is not None
    assert until - bench.now == pytest.approx(14_000.0 - 12_000.0 - 1_200.0)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"proof_days": None}, "proof test"),
        ({"proof_days": 91.0}, "proof test"),
        ({"sure": False}, "clock"),
        ({"level": None}, "level switch"),
        ({"ahead_s": 14 * 3600.0 + 10.0}, "14 hours"),
        ({"ahead_s": -10.0}, "14 hours"),
    ],
)
def test_a_delayed_start_without_its_conditions_is_refused(changes: dict[str, Any], word: str) -> None:
    """A proof test in date, a confirmed clock, a level switch on the tun, a time within fourteen hours."""
    bench = armed(**changes)
    assert not bench.replies[-1].accepted
    assert word in bench.replies[-1].reason
    assert bench.state.run.state is RunState.IDLE


def test_a_proof_test_ages_while_the_daemon_runs() -> None:
    """89.995 days at the process start are over 90 ten minutes later, and not yet five minutes later."""
    assert "90 days" in armed(proof_days=89.995, later_s=600).replies[-1].reason
    assert armed(proof_days=89.995, later_s=300).replies[-1].accepted


def test_an_empty_tun_is_not_heated_when_the_time_comes() -> None:
    """The level switch opens while armed: no heat at the computed time, the start is refused instead."""
    bench = armed()
    bench.level = False
    bench.run(1200)
    assert all(outcome.state.guard.line.duty == 0.0 for outcome in bench.log)
    assert bench.state.run.state in (RunState.STOPPED, RunState.HELD)
    assert any("no liquid" in event.text and event.priority == 1 for event in bench.events)


def test_ready_for_grain_then_nobody_for_half_an_hour_then_heat_off_after_two() -> None:
    """The three alerts in their order, each once, and the run held with the program kept."""
    bench = armed(ahead_s=900.0)
    bench.until("dough_in")
    ready = bench.now
    bench.until("held", 3 * 3600)
    assert bench.now - ready == pytest.approx(7200.0, abs=3.0)
    told = [(e.id, e.priority) for e in bench.events if e.id == "ready for grain"]
    assert told == [("ready for grain", 2), ("ready for grain", 1)]
    assert bench.duty == 0.0
    assert bench.state.run.course is not None
    assert tun().level is not None
