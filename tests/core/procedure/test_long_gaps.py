"""A link that is gone for a quarter of an hour: nothing latches, a person is asked, and one answer leads on."""

from __future__ import annotations

import pytest

from controller.core.guard.link_gaps import NONE, LinkGaps
from controller.core.nouns import Phase
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import S

PLAN = course(leg("maltose rest", 63.0, 3600.0), leg("keep", 66.0, 600.0, kind="keep"), grist_kg=0)


def resting() -> Bench:
    bench = Bench(settings(), mash_c=62.5)
    bench.until("idle")
    bench.start(PLAN)
    bench.until("resting")
    bench.run(120)
    return bench


@pytest.mark.parametrize("gone_s", [600, 1200])
def test_a_link_that_is_gone(gone_s: int) -> None:
    """For ten minutes the run goes on by itself; for twenty it asks, and goes on when it is answered, though nobody
    clears or restarts anything; where nobody knew how warm the mash was no time is credited for it."""
    bench = resting()
    bench.link = False
    bench.run(gone_s)
    long = gone_s > 900
    run = bench.state.run
    assert (run.state, run.hold.by, run.prompt is not None) == (S.HELD, "resume" if long else "trip", long)
    assert all(trip.link and not trip.latched for trip in bench.state.guard.trips)
    bench.link = True
    had_s = run.progress.credited_s
    if long:
        bench.run(120)
        assert (bench.state.run.state, bench.duty, bench.state.guard.trips) == (S.HELD, 0.0, ())
        assert "since a link was gone" in bench.asked.text
        assert bench.answer(answer="go on here").accepted
    bench.until("running", 60)
    bench.until("resting", 600)
    assert bench.state.run.phase is Phase.RESTING
    assert bench.state.run.progress.credited_s - had_s == pytest.approx(30.0, abs=30.0)


def test_unanswered_it_asks_again_after_the_next_quarter_of_an_hour() -> None:
    """Answered while the link is still gone: it waits for it, and asks anew when that takes as long again."""
    bench = resting()
    bench.link = False
    bench.run(1000)
    assert bench.answer(answer="go on here").accepted
    bench.run(600)
    assert (bench.state.run.state, bench.state.run.prompt) == (S.HELD, None)
    bench.run(400)
    assert bench.state.run.prompt is not None


def test_a_link_that_comes_and_goes() -> None:
    """Where it has kept heat away for most of an hour the run is held without a trip, asks, and one answer leads on."""
    bench = resting()
    known = bench.state.guard._replace(link_gaps=LinkGaps(ask="it comes and goes"))
    bench.state = bench.state._replace(guard=known)
    bench.run(5)
    assert (bench.state.run.state, bench.state.run.hold.by, bench.state.guard.trips) == (S.HELD, "resume", ())
    assert bench.asked.text.startswith("it comes and goes; the mash is at 6")
    assert bench.answer(answer="go on here").accepted
    bench.until("running", 60)
    assert bench.state.guard.link_gaps == NONE
