"""What is said of the cooker, so that it joins the mash in time?"""

from __future__ import annotations

import pytest

from controller.core.nouns import Event, ForPeople, Phase, RunState
from controller.core.procedure import cooker
from controller.core.procedure.run import Run, Told
from tests.core.bench import changed, course, leg

DEEDS = ((900.0, "heat the cooker"), (60.0, "boil it"))
PLAN = course(leg("beta", 63.0, 1200.0), leg("join", 70.0, 0.0, kind="cereal", ramp_s=0.0), leg("alpha", 72.0, 600.0))
RUN = Run(
    state=RunState.RUNNING, course=PLAN._replace(people=ForPeople(cooker=DEEDS)), leg=1, phase=Phase.RESTING,
    grain_in=True,
)  # fmt: skip


def said(text: str, left_s: int) -> Event:
    return Event("note", "cooker", text, value=left_s, unit="s", priority=2)


@pytest.mark.parametrize(
    ("run", "told"),
    [
        (changed(RUN, credited_s=299.0), None),
        (changed(RUN, credited_s=300.0), said("heat the cooker; it joins in 15 min", 900)),
        (changed(RUN, credited_s=1139.0, told=Told(cooker=1)), None),
        (changed(RUN, credited_s=1140.0, told=Told(cooker=1)), said("boil it; it joins in 1 min", 60)),
        (changed(RUN, credited_s=1200.0, told=Told(cooker=2)), None),
        (RUN._replace(leg=2, told=Told(cooker=1)), said("boil it; it joins in 0 min", 0)),
        (RUN._replace(leg=0, phase=Phase.ARMED), None),
        (changed(RUN, credited_s=300.0, course=PLAN), None),
        (RUN._replace(course=None), None),
    ],
)
def test_each_deed_is_said_once_and_in_time(run: Run, told: Event | None) -> None:
    """By the planned course of the mash, the next one after it; late, all the same; nothing before the run heats."""
    events: list[Event] = []
    after = cooker.told(run, 63.0, 1000.0, events)
    assert events == ([] if told is None else [told])
    assert after == run._replace(told=run.told._replace(cooker=run.told.cooker + len(events)))
