"""More or less liquor in the tun than planned, or hotter: it is asked for, and strike and course follow."""

from __future__ import annotations

import pytest

from controller.brewing import heat
from controller.brewing.kinetics import malts
from controller.core.nouns import Course, Phase
from tests.core.bench import LIQUOR_J_PER_K, Bench, course, leg, settings

MALT = {**malts.recalled(None).plain(), "liquor_kg_per_kg": 3.0}
RESTS = course(leg("low rest", 52.0, 300.0), leg("hot rest", 54.0, 120.0))._replace(landing_c=50.0, malt=MALT)
HOT = RESTS._replace(
    legs=(RESTS.legs[0]._replace(ramp_s=0.0), RESTS.legs[1], leg("mash-out", 72.0, 60.0))
)  # from elsewhere


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
    assert malts.recalled(after.malt).malt.liquor_kg_per_kg == pytest.approx(after.liquor_kg / 20.0)
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
    assert bench.asked.id == "liquor"  # it stands on


def test_what_was_poured_is_asked_for_and_nothing_waits_for_it() -> None:
    """Whoever starts the run is asked at once; unanswered, strike and command are those of a run that was answered, and
    the question about grain says what is not known; as planned is on record as measured."""
    asked, told, unknown = struck(RESTS), struck(RESTS), struck(RESTS)
    assert unknown.answer(answer="not measured").accepted
    assert unknown.state.run.prompt is None and not any(event.kind == "entry" for event in unknown.events)
    assert asked.asked.id == "liquor" and asked.asked.text.startswith("How much liquor is in the tun? Planned are 60.0")
    assert told.answer(answer="as planned").accepted
    filed = next(event for event in told.events if event.kind == "entry")
    assert filed.data == {"liquor_volume_l": 60.11, "liquor_at_c": 20.0, "by": "brewer"}
    asked.step()
    for bench in (asked, told):
        bench.until("waiting")
    assert asked.now == told.now and asked.mash_c == told.mash_c
    assert "Where it is not 60.0 kg" in asked.asked.text and asked.asked.id == "dough_in"
    assert "Where it is not" not in told.asked.text


@pytest.mark.parametrize(("litres", "at_c"), [(60.0, 12.0), (66.0, 12.0)])
def test_a_measured_volume_answers_the_question(litres: float, at_c: float) -> None:
    """Entered, as planned or a tenth more, it is asked for no more."""
    bench = struck(RESTS)
    bench.order("answer", liquor_volume_l=litres, liquor_at_c=at_c)
    bench.step()
    assert bench.state.run.prompt is None


def poured_in(mash_c: float) -> Bench:
    """Liquor from another vessel, that stands so hot in the tun."""
    bench = Bench(settings(), mash_c=mash_c)
    bench.until("idle")
    bench.start(HOT)
    bench.until("heating")
    return bench


@pytest.mark.parametrize(("mash_c", "ways"), [(53.8, None), (60.0, "let it cool"), (50.0, "heat")])
def test_liquor_from_elsewhere_stands_for_two_minutes(mash_c: float, ways: str | None) -> None:
    """Nothing heats it before; then it is as it must be and grain is asked for, or what mends it is offered."""
    bench = poured_in(mash_c)
    for _ in range(119):
        assert bench.duty == 0.0 and bench.state.run.offer is None and bench.asked.id == "liquor"
        bench.step()
    bench.run(3)
    offer = bench.state.run.offer
    assert (None if offer is None else offer.answers[0]) == ways
    assert (bench.asked.id == "dough_in") == (ways is None) and (bench.duty > 0.0) == (ways != "let it cool")


def test_too_hot_a_strike_is_mended_with_cold_liquor() -> None:
    """8.2 K over: as much liquor as the room is warm as brings it down (W33's balance), told with where the mash would
    land; heat is blocked while it goes in, then the amount is asked for and the strike judged anew."""
    bench = poured_in(62.2)
    bench.run(125)
    offer = bench.state.run.offer
    assert offer is not None
    kg = LIQUOR_J_PER_K * (offer.measured_c - 54.0) / (heat.WATER * (54.0 - bench.settings.tun.room_c))
    assert f"add {kg:.1f} kg of liquor at {bench.settings.tun.room_c:.0f} °C" in offer.text
    assert (
        f"lands at {50.0 + (offer.measured_c - 54.0) * LIQUOR_J_PER_K / RESTS.legs[1].capacity_j_per_k:.1f} °C"
        in offer.text
    )
    assert bench.answer(prompt="settled", answer="cold liquor").accepted
    assert bench.asked.id == "addition_in" and bench.state.run.phase is Phase.ADDING
    bench.mash_c = 54.1
    bench.run(60)  # stirred in
    bench.answer(answer="yes")
    bench.step()
    assert str(bench.state.run.phase) == "heating" and bench.asked.id == "liquor" and not bench.state.run.grain_in
    bench.until("dough_in")


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
