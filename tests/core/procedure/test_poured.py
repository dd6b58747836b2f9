"""More or less liquor in the tun than planned: the strike follows, and the course with it."""

from __future__ import annotations

import pytest

from controller.brewing import heat
from controller.core.nouns import Course
from tests.core.bench import Bench, course, leg, settings

RESTS = course(leg("low rest", 52.0, 300.0), leg("hot rest", 54.0, 120.0))._replace(landing_c=50.0)


def struck(steps: Course) -> Bench:
    """A program begun, its strike liquor not hot yet."""
    bench = Bench(settings(), mash_c=30.0)
    bench.until("idle")
    bench.start(steps)
    bench.until("heating")
    return bench


def poured(bench: Bench, litres: float) -> Course:
    """The course once so much liquor, cold, is on record."""
    bench.order("answer", liquor_volume_l=litres, liquor_at_c=12.0)
    bench.step()
    course = bench.state.run.course
    assert course is not None
    return course


@pytest.mark.parametrize("share", [0.9, 1.1])
def test_the_strike_makes_up_for_the_grain_by_the_liquor_that_is_there(share: float) -> None:
    """A tenth less liquor must be hotter over the mash by its and the vessel's heat capacity, a tenth more less so; the
    mash lands where it was to land, and every step holds what is in the tun."""
    bench = struck(RESTS)
    before = bench.state.run.course
    assert before is not None and before.landing_c is not None
    after = poured(bench, share * before.liquor_kg)
    more_j = (after.liquor_kg - before.liquor_kg) * heat.WATER
    over = [course.legs[0].target_c - before.landing_c for course in (before, after)]
    own = [course.liquor_capacity_j_per_k for course in (before, after)]
    assert own[1] == pytest.approx(own[0] + more_j)
    assert over[1] * own[1] == pytest.approx(over[0] * own[0])
    assert after.legs[1].capacity_j_per_k == pytest.approx(before.legs[1].capacity_j_per_k + more_j)
    assert any(event.id == "liquor" and "planned" in event.text for event in bench.events)


def test_what_is_as_planned_or_too_late_changes_nothing() -> None:
    """Within half a per cent the course stays that very one; with the grain in a volume is only an entry."""
    bench = struck(RESTS)
    before = bench.state.run.course
    assert before is not None
    assert poured(bench, before.liquor_kg * 1.001) == before
    bench.until("dough_in")
    bench.order("answer", answer="begin")
    bench.step()
    bench.order("answer", answer="yes")
    bench.until("resting")
    assert poured(bench, before.liquor_kg * 0.8) == before


@pytest.mark.parametrize("share", [0.1, 0.69, 1.31, 10.0])
def test_a_slip_of_the_pen_changes_nothing_and_is_told(share: float) -> None:
    """Over 30 % off the plan the course, by which the guard reckons what heat may do, stays that very one."""
    bench = struck(RESTS)
    before = bench.state.run.course
    assert before is not None
    assert poured(bench, before.liquor_kg * share) == before
    assert [event.priority for event in bench.events if event.id == "liquor" and "Measure again" in event.text] == [1]


def test_liquor_that_was_added_without_a_word_leads_on_by_its_figures() -> None:
    """A tenth of cold liquor in a hold: a bare restart is refused and asks; amount and temperature that make what the
    probe reads lead on, and every step holds what is in the tun; figures that do not change nothing."""
    bench = struck(course(leg("rest", 60.0, 3600.0)))
    bench.until("dough_in")
    bench.order("answer", answer="begin")
    bench.step()
    bench.order("answer", answer="yes")
    bench.until("resting")
    for _ in range(70):
        bench.step()
    own = bench.state.run.course.legs[1].capacity_j_per_k  # type: ignore[union-attr]
    more = 0.1 * own
    litres = more / heat.WATER
    bench.order("hold")
    bench.until("held")
    bench.mash_c = (own * bench.mash_c + more * 12.0) / (own + more)
    for _ in range(30):
        bench.step()
    refused = bench.obey("restart")
    elsewhere = bench.obey("restart", added_l=litres, added_c=70.0)
    assert not refused.accepted and "Liquor was added?" in refused.reason
    assert not elsewhere.accepted and "make a mash of" in elsewhere.reason
    assert bench.obey("restart", added_l=litres, added_c=12.0).accepted
    bench.until("running")
    after = bench.state.run.course
    assert after is not None and after.legs[1].capacity_j_per_k == pytest.approx(own + more)
