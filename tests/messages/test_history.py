"""The run so far in one message: whole, small, cheap, whatever the run was like."""

from __future__ import annotations

import json
import math
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.nouns import Event
from controller.messages import outgoing
from controller.messages.history import MOST_BYTES, MOST_EVENTS, MOST_POINTS, Curve, History, Past, Sample
from tests.messages.stored import complaints

HOUR_S = 3600


def sample(t_s: int) -> Sample:
    return Sample(60.0 + math.sin(t_s / 40.0), 60.0, 60.0, 0.25 + 0.25 * (t_s // 10 % 2))


def ran(seconds: int, run: str = "gannet-1") -> History:
    """The history of a run of so many seconds, from tick 100 on."""
    found = History()
    for t_s in range(seconds):
        found.ran(run, 100.0 + t_s, sample(t_s))
    return found


def told(history: History, now: float) -> dict[str, Any]:
    payload = history.document(now, 1.7e9, 1.0)
    assert complaints("history", payload) == []
    assert len(payload) <= MOST_BYTES
    return dict(json.loads(payload))


def event(seq: int, text: str) -> bytes:
    return outgoing.event(seq, 1.7e9 + seq, Event("note", "n", text))


def test_a_minute_is_a_point_with_all_that_it_was() -> None:
    """Each minute has its lowest, mean and highest reading, its last setpoint and its mean heat; the minute that is
    under way stands there too."""
    found = told(ran(160), 260.0)
    assert (found["run"], found["t_s"], found["point_s"], found["at"]) == ("gannet-1", 160.0, 60.0, 1.7e9)
    assert [point["t_s"] for point in found["points"]] == [0, 60, 120]
    for index, point in enumerate(found["points"]):
        values = [sample(t_s).mash_c or 0.0 for t_s in range(60 * index, min(160, 60 * index + 60))]
        assert point["min_c"] == round(min(values), 2)
        assert point["mean_c"] == round(sum(values) / len(values), 2)
        assert point["max_c"] == round(max(values), 2)
        assert (point["setpoint_c"], point["target_c"], point["duty"]) == (60.0, 60.0, 0.375)


def test_three_days_are_whole_and_small() -> None:
    """A souring of 72 h with the longest events: the curve from its first second to its last, no spike lost, fewer than
    361 points of twice the length again and again, within 60 KiB; a run of six hours has its minutes still."""
    history = History()
    for t_s in range(0, 6 * HOUR_S, 10):
        history.ran("gannet-1", 100.0 + t_s, sample(t_s))
    assert [point["t_s"] for point in told(history, 0.0)["points"]] == list(range(0, 6 * HOUR_S, 60))
    for t_s in range(6 * HOUR_S, 72 * HOUR_S, 10):
        history.ran("gannet-1", 100.0 + t_s, sample(t_s) if t_s != 100_000 else Sample(84.0, 60.0, None, 0.0))
    for seq in range(200):
        history.happened(seq, event(seq, "é" * 3900 if seq % 7 == 0 else "a usual line of the record, " * 4))
    found = told(history, 100.0 + 72 * HOUR_S)
    assert found["point_s"] == 60.0 * 16
    assert [point["t_s"] for point in found["points"]] == list(range(0, 72 * HOUR_S, 960))
    assert MOST_POINTS / 2 < len(found["points"]) <= MOST_POINTS
    assert [point["t_s"] for point in found["points"] if point["max_c"] == 84.0] == [100_000 - 100_000 % 960]
    assert {point["duty"] for point in found["points"] if point["max_c"] < 84.0} == {0.375}
    assert 5 < len(found["events"]) < MOST_EVENTS
    assert found["events"][-1] == json.loads(event(199, "a usual line of the record, " * 4))


def test_what_is_not_known_is_null() -> None:
    """A minute without a reading has none, a stretch in which nobody looked has no points, and a number that is none
    counts for nothing."""
    history = History()
    for t_s in (*range(60, 120), *range(600, 630)):
        history.ran("r", float(t_s), Sample(math.nan if t_s == 610 else None if t_s < 120 else 50.0, None, None, 0.0))
    found = told(history, 630.0)
    assert [(point["t_s"], point["mean_c"]) for point in found["points"]] == [(0, None), (540, 50.0)]
    assert told(History(), 5.0)["points"] == []


def test_it_is_told_when_there_is_something_new_and_not_too_often() -> None:
    """No more often than every 30 s of the tun's clock and 2 s of real time; an event after a quiet time at once; the
    same thing is not told twice."""
    history = History()
    times = [now for now in range(600) if _second(history, now, 1.0)]
    assert times == [0, *range(60, 600, 60)]
    assert history.due(640.0, 0.0, 1.0) is None
    history.happened(1, event(1, "at once"))
    assert history.due(641.0, 0.0, 1.0) is not None
    history.happened(2, event(2, "a moment later"))
    assert history.due(670.0, 0.0, 1.0) is None
    assert history.due(671.0, 0.0, 1.0) is not None
    assert history.due(900.0, 0.0, 1.0) is None
    fast = History()
    assert [now for now in range(600) if _second(fast, now, 60.0)] == [0, 120, 240, 360, 480]


def _second(history: History, now: int, speed: float) -> bool:
    history.ran("r", float(now), sample(now))
    return history.due(float(now), 0.0, speed) is not None


def test_another_run_is_another_curve_and_events_stay() -> None:
    """The next run begins with an empty curve; what happened before it is still told."""
    history = ran(130)
    history.happened(7, event(7, "before"))
    history.ran("gannet-2", 900.0, sample(0))
    found = told(history, 901.0)
    assert (found["run"], [point["t_s"] for point in found["points"]]) == ("gannet-2", [0])
    assert [one["seq"] for one in found["events"]] == [7]


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 400), st.integers(0, 300), st.integers(0, 130))
def test_recalled_in_the_middle_it_is_as_if_nothing_had_been(before: int, away: int, meanwhile: int) -> None:
    """The record comes late, by some ticks of the new process: the points are those of a process that never ended but
    for the time away, and no event is there twice."""
    whole, past, history = Curve("r"), Curve("r"), History()
    for t_s in range(before):
        whole.add(float(t_s), sample(t_s))
        past.add(float(t_s), sample(t_s))
    began = -1.0 * (before + away)  # the new process counts from its own start
    for now in range(meanwhile):
        whole.add(float(before + away + now), sample(now))
        history.ran("r", float(now), sample(now))
        history.happened(100 + now, event(100 + now, "live"))
    history.recalled(Past(past, began, tuple((seq, event(seq, "kept")) for seq in (98, 99, 100))))
    found = told(history, float(meanwhile))
    assert found["t_s"] == before + away + meanwhile
    assert sum(point.readings for point in history.curve.points) == before + meanwhile
    times = [point["t_s"] for point in found["points"]]
    assert times == sorted(set(times))
    assert {*times, (times or [0])[-1] + 60} >= {round(point.t_s) for point in whole.points}  # a minute may begin late
    seqs = [one["seq"] for one in found["events"]]
    assert seqs == sorted({98, 99, 100, *range(100, 100 + meanwhile)})[-MOST_EVENTS:]


def test_the_record_of_another_run_is_not_mixed_in() -> None:
    """Where a new run has begun before the record was read its curve stays its own."""
    history, past = ran(10, "new"), Curve("old")
    past.add(0.0, sample(0))
    history.recalled(Past(past, -500.0, ()))
    assert told(history, 110.0)["run"] == "new"
