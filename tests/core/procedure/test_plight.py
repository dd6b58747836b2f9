"""What a person is told of a mash that gets no heat: how it falls, until when it can be saved, what going on does."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import Phase, RunState, Trip
from controller.core.procedure import plight, questions
from controller.core.procedure.run import Beginning, Hold, Run
from tests.core.bench import changed, course, leg

NOW = 5000.0
PLAN = course(
    leg("maltose rest", 63.0, 1800.0), leg("low rest", 48.0, 600.0), leg("sour", 44.0, 9e4, kind="souring"),
    leg("keep", 76.0, 3600.0, kind="keep"),
)  # fmt: skip
GOES_ON = "`restart` goes on, `stop` ends the run"
TRIP = Trip("G09", NOW, "No heat seen.", 1.0, 1.0, "K", 1, True, True)


def held(**changes: Any) -> Run:
    base = Run(
        state=RunState.HELD, course=PLAN, begun=Beginning("r"), leg=1, phase=Phase.RESTING, state_since=NOW - 60.0
    )
    return changed(base, **{"grain_in": True, "credited_s": 480.0, **changes})


CASES: dict[str, tuple[dict[str, Any], float | None, str]] = {
    "a rest": (
        {}, 62.8,
        "The mash is at 62.8 °C, falls by 0.035 K/min; at 61 °C in 53 min. It can be saved for 4.0 h more. "
        "Going on; 22 min of maltose rest are left; the enzymes work on meanwhile.",
    ),
    "a colder rest": (
        {"state_since": NOW - 7200.0}, 55.0,
        "The mash is at 55.0 °C, falls by 0.028 K/min; at 53 °C in 73 min. It can be saved for 2.0 h more. "
        "Going on heats 8.0 K first, 8 min or more; 22 min of maltose rest are left.",
    ),
    "below what keeps it": (
        {}, 49.5,
        "The mash is at 49.5 °C, falls by 0.024 K/min; at 48 °C in 65 min. Below 50 °C it sours: go on soon, or give "
        "it up. Going on heats 13.5 K first, 14 min or more; 22 min of maltose rest are left.",
    ),
    "on the way there": (
        {"phase": Phase.RAMPING}, 60.0,
        "The mash is at 60.0 °C, falls by 0.032 K/min; at 58 °C in 64 min. It can be saved for 4.0 h more. "
        "Going on heats 3.0 K first, 3 min or more; maltose rest begins then; the enzymes work on meanwhile.",
    ),
    "a low rest": (
        {"leg": 2}, 47.5,
        "The mash is at 47.5 °C, falls by 0.022 K/min; at 46 °C in 70 min. It can be saved for 4.0 h more. "
        "Going on; 2 min of low rest are left.",
    ),
    "souring": (
        {"leg": 3}, 43.0,
        "The mash is at 43.0 °C, falls by 0.019 K/min; at 41 °C in 1.9 h. It sours on as it was meant to. "
        "Going on; 24.9 h of sour are left.",
    ),
    "kept": (
        {"leg": 4}, 75.0,
        "The mash is at 75.0 °C, falls by 0.044 K/min; at 73 °C in 46 min. It can be saved for 4.0 h more. "
        "Going on, and keep goes on where it was.",
    ),
    "liquor": (
        {"grain_in": False, "leg": 0, "phase": Phase.HEATING}, 40.0,
        "The liquor is at 40.0 °C, falls by 0.018 K/min; at 38 °C in 1.9 h. There is no grain in it: nothing spoils.",
    ),
    "cold already": (
        {"grain_in": False, "leg": 0, "phase": Phase.HEATING}, 19.0,
        "The liquor is at 19.0 °C. There is no grain in it: nothing spoils.",
    ),
    "nobody knows": ({}, None, plight.NO_READING),
    "it is heated": ({"state": RunState.RUNNING}, 63.0, ""),
    "armed": ({"phase": Phase.ARMED}, 12.0, ""),
    "nothing runs": ({"course": None, "state": RunState.IDLE}, 12.0, ""),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "mash_c", "said"), CASES.values(), ids=CASES)
def test_what_the_mash_does_meanwhile(changes: dict[str, Any], mash_c: float | None, said: str) -> None:
    """Figures of the plan's loss in a room of 20 °C; nothing where the mash is heated or there is none."""
    assert plight.meanwhile(held(**changes), (), mash_c, 20.0, NOW) == said


def test_a_trip_tells_it_in_its_own_second() -> None:
    """The run is running still when the alert goes out."""
    running = held(state=RunState.RUNNING)
    assert plight.meanwhile(running, (TRIP,), 62.8, 20.0, NOW).startswith("The mash is at 62.8 °C, falls by")


@pytest.mark.parametrize(
    ("run", "trips", "said"),
    [
        (questions.ask(held(), PLAN.legs[1], "go_on", NOW), (), "maltose rest: the planned time is over. Go on to"),
        (held(hold=Hold("latched")), (TRIP,), f"look at the tun, `clear` G09, then {GOES_ON}"),
        (held(hold=Hold("person")), (), GOES_ON),
        (held(hold=Hold("trip")), (TRIP._replace(latched=False),), None),
        (Run(state=RunState.IDLE), (TRIP,), "G09 to be cleared"),
        (held(state=RunState.RUNNING), (), None),
    ],
)
def test_what_it_waits_for(run: Run, trips: tuple[Trip, ...], said: str | None) -> None:
    """The question, or the orders that a hold needs; nothing where it goes on by itself."""
    waits = plight.waits_for(run, trips)
    assert waits == said if said is None or "Go on to" not in said else str(waits).startswith(said)
