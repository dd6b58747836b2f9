"""Iodine tests at even intervals in a laboratory mash: asked, answered or not, and never waited for."""

from __future__ import annotations

import pytest

from tests.core.bench import Bench, course, leg, settings
from tests.core.runs import begun

SERIES = leg("70 °C", 70.0, 1500.0, every_s=300.0, from_s=600.0)
PLAN = course(SERIES, leg("keep", 70.0, 3600.0, kind="keep"), grist_kg=0)

ANSWERS: tuple[tuple[list[str], str, int], ...] = (  # what is said to each test; the class; how many were asked for
    (["no colour"], "under 10 min", 1),
    (["colour", "no colour"], "10 to 15 min", 2),
    (["not tested", "colour", "no colour"], "15 to 20 min", 3),
    (["", "no colour"], "10 to 15 min", 2),
    (["", "", ""], "over 25 min", 3),
)


@pytest.mark.parametrize(("said", "between", "asked"), ANSWERS)
def test_the_saccharification_time_lies_between_two_tests(said: list[str], between: str, asked: int) -> None:
    """At minute 10, 15 and 20 from 70 °C on, until one shows no colour; unanswered the next is asked for all the same,
    and the rest has its 25 min whatever is said."""
    bench = Bench(settings(), mash_c=70.0)
    begun(bench, PLAN)
    bench.until("resting")
    times: list[float] = []
    seen: float | None = None
    while bench.state.run.leg == 0:
        bench.step()
        prompt = bench.state.run.prompt
        if prompt is not None and prompt.since != seen:
            seen = prompt.since
            times.append(seen - (bench.state.run.progress.in_band_at or 0.0))
            if answer := said[len(times) - 1]:
                bench.order("answer", answer=answer)
    assert times == pytest.approx([600.0, 900.0, 1200.0][:asked], abs=2.0)
    found = [event for event in bench.events if event.id == "saccharification"]
    assert [event.data["class"] for event in found if event.data is not None] == [between]
    ended = next(event for event in bench.events if event.kind == "step done")
    assert ended.data is not None and ended.data["credited_s"] == pytest.approx(1500.0, abs=1.0)
