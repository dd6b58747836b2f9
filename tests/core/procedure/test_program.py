"""The program room and the deeds: rest credit, questions, gates, and what orders do to a run."""

from __future__ import annotations

import math

import pytest

from controller.core.nouns import Course, Phase, RunState
from tests.core.bench import Bench, course, leg, settings

REST = leg("beta", 63.0, 1200.0)
KEEP = leg("keep", 72.0, 3600.0, kind="keep")
PLAN = course(REST, KEEP, grist_kg=0)


def at(phase: str, plan: Course = PLAN, start_c: float = 62.8, longer_s: int = 0) -> Bench:
    bench = Bench(settings(), mash_c=start_c)
    bench.until("idle")
    bench.start(plan)
    bench.until(phase)
    bench.run(longer_s)
    return bench


def done(bench: Bench, name: str) -> dict[str, float]:
    return next(e.data for e in bench.events if e.kind == "step done" and e.id == name)


def credit_s(bench: Bench) -> float:
    return bench.state.run.progress.credited_s


def test_each_rest_is_credited_to_within_a_tick() -> None:
    """A rest ends when its planned time in band is earned, no sooner and at most one tick later."""
    bench = at("take_over")
    assert 1200.0 <= done(bench, "beta")["credited_s"] <= 1201.0


def test_a_finished_step_tells_what_the_loop_found_on_its_ramp() -> None:
    """With 0.8 of the plate's power the rate goes on record as less than believed; with all of it as about right."""
    found = {}
    for works in (1.0, 0.8):
        bench = at("idle", start_c=50.0)
        bench.works = works
        bench.until("take_over")
        found[works] = done(bench, "beta")["rate_found"]
        assert 0.4 <= done(bench, "beta")["lag_found"] <= 2.5
    assert 0.9 <= found[1.0] <= 1.1
    assert 0.7 <= found[0.8] <= 0.9


def test_the_clock_starts_after_a_minute_in_the_narrow_band_and_counts_it() -> None:
    """Sixty seconds within half a kelvin, which then count."""
    bench = at("resting")
    entered = bench.now
    while credit_s(bench) == 0.0:
        bench.step()
    assert bench.now - entered == 60.0
    assert credit_s(bench) == 60.0


@pytest.mark.parametrize(("offset_k", "each_s"), [(-0.9, {1.0}), (-1.0, {0.0, 1.0}), (-1.2, {0.0})])
def test_no_credit_outside_the_tolerance(offset_k: float, each_s: set[float]) -> None:
    """A second counts exactly where the loop's smooth figure was within 1.0 K of the target at its tick."""
    bench = at("resting", longer_s=100)
    bench.reading_c = 63.0 + offset_k
    bench.run(15)
    earned = set()
    for _ in range(200):
        before = credit_s(bench)
        seen_c = bench.step().seen.value_c
        assert seen_c is not None
        earned.add(credit_s(bench) - before)
        assert (credit_s(bench) > before) is (abs(seen_c - 63.0) <= 1.0)
    assert earned == each_s


def test_no_credit_while_doubtful_held_or_paused() -> None:
    """Refused readings, a hold and a pause each stop the rest clock."""
    bench = at("resting", longer_s=100)
    bench.reading_c = math.nan
    before = credit_s(bench)
    bench.run(2)
    assert credit_s(bench) == before
    bench.reading_c = None
    bench.run(3)
    for order in ("pause", "hold"):
        bench = at("resting", longer_s=100)
        bench.order(order)
        bench.run(2)
        before = credit_s(bench)
        bench.run(60)
        assert credit_s(bench) == before


def test_pause_keeps_the_temperature_and_resume_goes_on() -> None:
    """Paused in a ramp, the mash is kept where it was."""
    bench = at("ramping", start_c=50.0, longer_s=300)
    bench.order("pause")
    bench.run(2)
    kept = bench.state.run.progress.pause_c
    assert kept is not None
    bench.run(900)
    assert abs(bench.mash_c - kept) < 0.7
    assert bench.state.run.state is RunState.PAUSED
    bench.order("resume")
    bench.until("resting")


def test_held_by_a_person_goes_on_only_by_restart() -> None:
    """hold is for ever until restart; restart waits for its checks."""
    bench = at("resting", longer_s=100)
    bench.order("hold")
    bench.run(600)
    assert bench.state.run.state is RunState.HELD
    assert bench.duty == 0.0
    bench.order("restart")
    bench.until("running", 30)
    assert credit_s(bench) >= 60.0


def test_dough_in_blocks_heat_until_it_has_settled() -> None:
    """From the first answer to the end of settling no heat leaves, however cold the mash becomes."""
    bench = at("dough_in", course(leg("low", 50.0, 300.0), KEEP), 53.0)
    bench.answer()
    bench.mash_c = 44.0
    bench.run(600)
    bench.answer()
    bench.run(100)
    since = next(i for i, o in enumerate(bench.log) if o.state.run.phase is Phase.ADDING)
    assert all(o.state.guard.line.duty == 0.0 for o in bench.log[since:])
    bench.until("ramping")
    bench.run(3)
    assert bench.duty > 0.0


def test_iodine_gate_lengthens_the_rest_and_then_lets_go() -> None:
    """Asked at its minute; reddish adds ten minutes and asks again; no starch lets the rest end by time."""
    gated = leg("alpha", 63.0, 1200.0, ends="iodine", after_s=900.0)
    bench = at("iodine", course(gated, KEEP, grist_kg=0))
    assert 900.0 <= credit_s(bench) <= 901.0
    bench.answer(answer="reddish")
    assert bench.run_leg.hold_s == 1800.0
    bench.until("iodine")
    assert 1500.0 <= credit_s(bench) <= 1503.0
    bench.answer(answer="no starch")
    bench.until("take_over")
    assert 1800.0 <= done(bench, "alpha")["credited_s"] <= 1801.0


def test_an_unanswered_gate_waits_and_never_goes_on() -> None:
    """Nobody answers: the rest is held, the next step does not begin."""
    gated = leg("alpha", 63.0, 300.0, ends="person")
    bench = at("go_on", course(gated, KEEP, grist_kg=0))
    bench.run(1800)
    assert bench.state.run.leg == 0
    assert abs(bench.mash_c - 63.0) < 0.5


def test_a_question_takes_only_its_own_answers() -> None:
    """Another question's id or an answer that does not fit is refused and names what fits."""
    bench = at("take_over")
    assert "choose one of" in bench.answer(answer="perhaps").reason
    assert "no longer open" in bench.answer(prompt="grain_in").reason
    assert bench.asked


def test_entries_are_recorded_without_touching_the_question() -> None:
    """pH and gravity may come at any time."""
    bench = at("resting")
    assert bench.answer(ph=5.46, ph_at_c=20.0).accepted
    assert any(e.kind == "entry" and e.data["ph"] == 5.46 for e in bench.events)


@pytest.mark.parametrize(
    ("args", "accepted"),
    [
        ({"step": 1, "target_c": 78.0}, True),
        ({"step": 1, "target_c": 78.1}, False),
        ({"step": 1, "target_c": math.nan}, False),
        ({"step": 1, "hold_s": 14401.0}, False),
        ({"step": 1, "climb_k_per_s": 0.5}, False),
        ({"step": 7}, False),
        ({"step": True, "target_c": 70.0}, False),
    ],
)
def test_adjust_is_validated(args: dict[str, float], accepted: bool) -> None:
    """A later step may be changed within the tun's limits and never made to climb faster."""
    bench = at("resting")
    assert bench.obey("adjust", **args).accepted is accepted


def test_extend_and_advance() -> None:
    """A rest can be made longer, and left early; both are on record."""
    bench = at("resting")
    bench.obey("extend", by_s=600.0)
    assert bench.run_leg.hold_s == 1800.0
    bench.obey("advance")
    assert bench.state.run.leg == 1
    assert {e.id for e in bench.events if e.kind == "order"} == {"extend", "advance"}


def test_start_names_everything_that_is_missing_at_once() -> None:
    """Mark, hand thermometer, attendance and program in one answer."""
    bench = Bench(settings())
    bench.until("idle")
    bench.obey("start")
    reason = bench.replies[-1].reason
    for word in ("no program", "here=yes", "hand thermometer", "proof test"):
        assert word in reason


@pytest.mark.parametrize(("hand", "accepted"), [(22.9, True), (23.1, False), (17.1, True), (16.9, False)])
def test_hand_thermometer_within_three_kelvin(hand: float, accepted: bool) -> None:
    """The probe's first reading is compared with what a person reads in the tun."""
    bench = Bench(settings(), mash_c=20.0)
    bench.until("idle")
    assert bench.obey("start", course=PLAN, here=True, attended=True, hand_c=hand).accepted is accepted


def test_start_in_the_middle() -> None:
    """from_step and credited_s take over a mash that is already under way."""
    bench = Bench(settings(), mash_c=63.0)
    bench.until("idle")
    plan = course(REST, KEEP)
    bench.order("start", course=plan, here=True, attended=True, hand_c=63.0, from_step=1, credited_s=600.0)
    bench.until("resting")
    assert bench.state.run.grain_in
    bench.until("take_over")
    assert 1200.0 <= done(bench, "beta")["credited_s"] <= 1201.0


def test_keep_ends_by_itself_with_heat_off() -> None:
    """Nobody takes over: after the longest wait the run is complete and cold."""
    bench = at("take_over", course(REST, leg("keep", 63.5, 600.0, kind="keep"), grist_kg=0))
    bench.until("complete")
    bench.step()
    assert bench.duty == 0.0


@pytest.mark.parametrize(("order", "ends"), [("stop", "stopped"), ("abort", "aborted")])
def test_stop_and_abort_end_cold_and_reset_makes_ready(order: str, ends: str) -> None:
    """Both end with the heat off; only reset leads back to idle."""
    bench = at("resting")
    bench.order(order)
    bench.until(ends, 20)
    assert bench.duty == 0.0
    bench.obey("reset")
    assert bench.state.run.state is RunState.IDLE


def test_a_pause_in_the_first_minute_of_a_rest_earns_nothing() -> None:
    """Half a minute in band, ten minutes paused: the minute begins anew and only itself is counted."""
    bench = at("resting", longer_s=30)
    bench.order("pause")
    bench.run(600)
    assert credit_s(bench) == 0.0
    bench.order("resume")
    bench.run(3)
    assert credit_s(bench) == 0.0
    bench.run(90)
    assert 60.0 <= credit_s(bench) <= 95.0
