"""More or less liquor in the tun than planned, or hotter: it is asked for, and strike and course follow."""

from __future__ import annotations

import pytest

from controller.brewing import heat, volumes
from controller.brewing.kinetics import malts
from controller.core.nouns import Course, Event, Phase, RunState
from controller.core.procedure import poured as poured_in_run
from controller.core.procedure.run import Progress, Prompt, Run
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


# ---------------------------------------------------------------- what an entry changes, whole

PLAIN_WATER_L = 60.0 / volumes.liquor_kg(1.0, 20.0)  # what is planned, as a level tube shows it at 20 °C
STRIKE = Run(state=RunState.RUNNING, course=RESTS, phase=Phase.HEATING, key=4)


def entered(run: Run, share: float = 1.1, ceiling_c: float = 78.0) -> tuple[Run, Event | None]:
    """So many times the liquor planned is measured."""
    return poured_in_run.corrected(run, {"liquor_volume_l": share * PLAIN_WATER_L}, ceiling_c)


@pytest.mark.parametrize(
    "run",
    [STRIKE._replace(grain_in=True), STRIKE._replace(leg=1, phase=Phase.RAMPING), STRIKE._replace(phase=Phase.SETTLING),
     STRIKE._replace(course=None)],
)  # fmt: skip
def test_too_late_for_other_liquor(run: Run) -> None:
    """With grain in, or past the strike, the entry changes nothing; nor does an entry of something else."""
    assert entered(run) == (run, None)
    assert poured_in_run.corrected(STRIKE, {"ph": 5.4}, 78.0) == (STRIKE, None)


@pytest.mark.parametrize(("share", "same"), [(1.00375, True), (0.99625, True), (1.00625, False), (0.99375, False)])
def test_liquor_as_planned(share: float, same: bool) -> None:
    """Within half a per cent it is; the question about it is answered, another one stands."""
    asked, other = (STRIKE._replace(prompt=Prompt(name, "?", (), 1.0)) for name in ("liquor", "ph"))
    assert (entered(STRIKE, share) == (STRIKE, None)) is same
    assert entered(asked, share)[0].prompt is None
    assert entered(other, share)[0].prompt == other.prompt


@pytest.mark.parametrize("phase", [Phase.ARMED, Phase.HEATING, Phase.WAITING])
def test_other_liquor_has_another_strike(phase: Phase) -> None:
    """Told with both figures, the climb begun anew; where grain was waited for, it comes to its new strike first."""
    run = STRIKE._replace(phase=phase, prompt=Prompt("dough_in", "?", (), 1.0), progress=Progress(band_since=5.0))
    after, event = entered(run)
    assert after.course is not None and after.course.liquor_kg == pytest.approx(66.0)
    text = "66.0 kg of liquor in the tun, 60.0 planned: strike 54.0 -> 53.7 °C"
    assert event == Event("note", "liquor", text, value=66.0, limit=60.0, unit="kg", priority=2)
    waits = phase is Phase.WAITING
    assert (after.phase, after.prompt) == ((Phase.HEATING, None) if waits else (phase, run.prompt))
    assert (after.key, after.progress.band_since) == (5, None)


@pytest.mark.parametrize(
    ("share", "says"), [(0.69, "not gone by"), (1.31, "not gone by"), (0.8, "more than this tun allows")]
)
def test_what_is_not_gone_by(share: float, says: str) -> None:
    """A slip, or a strike that the tun does not bear: told at once, and the course stays."""
    after, event = entered(STRIKE, share, 54.5)
    assert after == STRIKE and event is not None and says in event.text
    kg = round(60.0 * share, 2)
    assert (event.value, event.limit, event.unit, event.priority) == (kg, 60.0, "", 1)
    assert entered(STRIKE, 0.8, 55.0)[0] != STRIKE


def test_liquor_that_nobody_spoke_of() -> None:
    """Each step holds so much more, the strike stays; without a run nothing changes."""
    after = poured_in_run.meanwhile(STRIKE, 6.0)
    assert after.course is not None and after.key == 5
    assert [step.target_c for step in after.course.legs] == [step.target_c for step in RESTS.legs]
    more_j = [
        now.capacity_j_per_k - was.capacity_j_per_k for now, was in zip(after.course.legs, RESTS.legs, strict=True)
    ]
    assert more_j == pytest.approx([6.0 * heat.WATER] * len(RESTS.legs))
    assert poured_in_run.meanwhile(Run(), 6.0) == Run()


def test_when_liquor_is_asked_for() -> None:
    """Once, where there is grain."""
    asked = poured_in_run.asked(STRIKE, RESTS.legs[0], 7.0)
    assert asked.prompt is not None and (asked.prompt.id, asked.progress.reminded) == ("liquor", 1)
    for run in (asked, STRIKE._replace(course=RESTS._replace(grist_kg=0.0)), Run()):
        assert poured_in_run.asked(run, RESTS.legs[0], 7.0) == run
    little = STRIKE._replace(course=RESTS._replace(grist_kg=0.5))
    assert poured_in_run.asked(little, RESTS.legs[0], 7.0) != little
