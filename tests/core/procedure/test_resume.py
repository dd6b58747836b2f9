"""The resume table: every line of it, both sides of every limit."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import Event, Phase, RunState, StepKind
from controller.core.procedure import estimate, resume
from controller.core.procedure.estimate import Estimate
from controller.core.procedure.run import Beginning, Gap, HeldBy, Hold, Progress, Prompt, Run
from tests.core.bench import course, leg
from tests.core.runs import REST, in_a_rest, restarted


def open_run(**changes: object) -> Run:
    plan = course(REST, leg("alpha", 72.0, 1200.0), grist_kg=0)
    base = Run(state=RunState.RUNNING, course=plan, begun=Beginning("r1"), phase=Phase.RESTING, grain_in=True)
    return base._replace(progress=Progress(1000.0))._replace(**changes)  # type: ignore[arg-type]


def decide(now_c: float | None = 62.5, latched: bool = False, **changes: Any) -> resume.Decision:
    pending = resume.Pending(open_run(), 63.0, 60.0, True, 1, 1800.0)._replace(**changes)
    return resume.decide(pending, now_c, 78.0, latched)


@pytest.mark.parametrize(("outage", "kind"), [(1.0, "resume"), (1800.0, "resume"), (1801.0, "ask"), (14_400.0, "ask")])
def test_length_of_the_outage(outage: float, kind: str) -> None:
    """Up to 30 min by itself, to 4 h a person is asked."""
    assert decide(outage_s=outage).kind == kind


def test_after_four_hours_a_run_is_over() -> None:
    """Whatever it was worth: nothing of it counts."""
    text = "the outage lasted 4.1 h, over 4 h: the run is broken off"
    assert decide(outage_s=14_700.0) == resume.Decision("ended", text, 0.0, "", False)


@pytest.mark.parametrize(
    ("now_c", "last_c", "kind", "facts"),
    [
        (58.0, 63.0, "resume", "mash 63.0 °C then, 58.0 °C now"),
        (57.9, 63.0, "ask", "mash 63.0 °C then, 57.9 °C now"),
        (68.0, 63.0, "resume", "mash 63.0 °C then, 68.0 °C now"),
        (68.1, 63.0, "ask", "mash 63.0 °C then, 68.1 °C now"),
        (None, 63.0, "ask", "mash 63.0 °C then, unknown now"),
        (62.5, None, "ask", "mash unknown then, 62.5 °C now"),
    ],
)
def test_fall_of_the_mash(now_c: float | None, last_c: float | None, kind: str, facts: str) -> None:
    """Within 5 K of the last temperature; unknown asks, and both are told."""
    decision = decide(now_c, last_c=last_c)
    assert (decision.kind, facts in decision.text) == (kind, True)


@pytest.mark.parametrize(
    ("changes", "kind"),
    [
        ({"outage_s": None}, "ask"),
        ({"same": False}, "ask"),
        ({"restarts": 3}, "ask"),
        ({"restarts": 2}, "resume"),
        ({"run": open_run(state=RunState.PAUSED)}, "ask"),
        ({"run": open_run(state=RunState.HELD, hold=Hold("person"))}, "ask"),
        ({"run": open_run(state=RunState.HELD, hold=Hold("trip"))}, "resume"),
        ({"run": open_run(state=RunState.HELD, hold=Hold("trip", paused=True))}, "ask"),
        ({"run": open_run(phase=Phase.ARMED)}, "ask"),
        ({"now_c": 78.0, "last_c": 77.0}, "ask"),
        ({"latched": True}, "ask"),
    ],
)
def test_whatever_is_doubtful_asks(changes: dict[str, Any], kind: str) -> None:
    """Unknown outage, changed configuration, third restart, a person's hold or pause, a delayed start, ceiling, latched
    trip."""
    assert decide(**changes).kind == kind


NOTHING = (0.0, "", False)
LOW, FULL, HALF = (
    "a low rest counts in full",
    "a starch rest, still at 60 °C or more, counts in full",
    "a starch rest back at 57 to 60 °C counts half",
)


@pytest.mark.parametrize(
    ("target_c", "now_c", "outage_s", "counts"),
    [
        (63.0, 60.0, 600.0, (600.0, FULL, False)),
        (60.0, 60.0, 600.0, (600.0, FULL, False)),
        (72.0, 67.5, 600.0, (600.0, FULL, False)),
        (63.0, 62.5, 1500.0, (1400.0, FULL, False)),  # no more than the rest lacks
        (63.0, 59.9, 600.0, (300.0, HALF, True)),
        (63.0, 57.0, 600.0, (300.0, HALF, True)),
        (63.0, 58.0, 3000.0, (1400.0, HALF, True)),
        (63.0, 56.9, 600.0, NOTHING),
        (59.9, 59.0, 600.0, NOTHING),
        (72.1, 70.0, 600.0, NOTHING),
        (40.0, 38.0, 600.0, (600.0, LOW, False)),
        (55.0, 54.0, 1500.0, (1400.0, LOW, False)),
        (39.9, 38.0, 600.0, NOTHING),
        (55.1, 54.0, 600.0, NOTHING),
        (63.0, None, 600.0, NOTHING),
        (63.0, 62.5, None, NOTHING),
    ],
)
def test_what_of_an_outage_counts(
    target_c: float, now_c: float | None, outage_s: float | None, counts: tuple[float, str, bool]
) -> None:
    """A rest of 2,400 s that has had 1,000, by where it was and what the mash is now; both edges of each range."""
    run = open_run(course=course(REST._replace(target_c=target_c), grist_kg=0))
    decision = decide(now_c, run=run, last_c=now_c, outage_s=outage_s)
    assert (decision.credit_s, decision.rule, decision.iodine) == counts


@pytest.mark.parametrize(
    ("kind", "phase", "counts"),
    [("rest", Phase.RESTING, True), ("mash_out", Phase.RESTING, True), ("keep", Phase.RESTING, False),
     ("rest", Phase.RAMPING, False)],
)  # fmt: skip
def test_only_a_rest_under_way_counts(kind: StepKind, phase: Phase, counts: bool) -> None:
    """A keep has no time to earn, a rise none yet; one that has had all its time gets no more."""
    run = open_run(course=course(REST._replace(kind=kind), grist_kg=0), phase=phase)
    assert decide(run=run)[2:] == ((60.0, FULL, False) if counts else NOTHING)
    assert decide(run=run._replace(progress=Progress(2401.0))).credit_s == 0.0
    assert decide(run=run._replace(course=None))[2:] == NOTHING


@pytest.mark.parametrize(
    ("gap_s", "limit_s", "odd_s", "is_one"),
    [(300.0, 1800.0, 5.0, False), (301.0, 1800.0, 5.0, True), (120.0, 120.0, 5.0, False), (121.0, 120.0, 5.0, True),
     (60.0, 30.0, 60.0, False), (61.0, 30.0, 60.0, True)],
)  # fmt: skip
def test_which_gap_between_two_ticks_is_an_outage(gap_s: float, limit_s: float, odd_s: float, is_one: bool) -> None:
    """Over five minutes, or over what is resumed by itself where that is shorter; never what a clock may be off by."""
    assert resume.slept(gap_s, limit_s, odd_s) is is_one


PENDING = resume.Pending(open_run(), 63.0, 60.0, True, 1, 1800.0)


@pytest.mark.parametrize(("outage_s", "after_s"), [(60.0, 460.0), (None, None)])
def test_a_gap_while_checking_makes_the_outage_longer(outage_s: float | None, after_s: float | None) -> None:
    """By as much, where its length is known; checking begins anew, and nothing is said twice."""
    found = PENDING._replace(outage_s=outage_s)
    checking = Run(state=RunState.CHECKING, state_since=10.0)
    assert resume.over_gap(checking, found, None, 400.0, 500.0, 1800.0) == (
        checking._replace(state_since=500.0), found._replace(outage_s=after_s), (),
    )  # fmt: skip


def test_a_gap_in_a_run_is_decided_on_like_an_outage() -> None:
    """What was found is this very run, its times moved on by the gap; where no run is open, nothing happens."""
    run = open_run(phase_since=100.0, begun=Beginning("r1", 20.0))
    checking, found, (event,) = resume.over_gap(run, None, 62.0, 400.0, 500.0, 1800.0)
    assert checking == Run(state=RunState.CHECKING, state_since=500.0)
    moved = run._replace(phase_since=500.0, begun=Beginning("r1", 420.0))
    assert found == resume.Pending(moved, 62.0, 400.0, True, 1, 1800.0)
    assert event.text.endswith("nobody was in charge for 6.7 min; the run is decided on anew")
    idle = run._replace(state=RunState.IDLE)
    assert resume.over_gap(idle, None, 62.0, 400.0, 500.0, 1800.0) == (idle, None, ())


COUNTING = Progress(1000.0, band_since=5.0, counting=True, pause_c=61.0)


def test_a_run_ended_before_it_was_decided_on() -> None:
    """It is the open run that ends, with its question gone and its clock stopped."""
    prompt = Prompt("go_on", "?", ("yes",), 1.0)
    found = PENDING._replace(run=open_run(prompt=prompt, progress=COUNTING))
    ended = resume.broken_off(found, Run(state=RunState.STOPPED, state_since=9.0))
    clock = COUNTING._replace(band_since=None, counting=False)
    assert ended == open_run(state=RunState.STOPPED, state_since=9.0, progress=clock)


@pytest.mark.parametrize("why", ["", "the broker was away"])
def test_a_link_gone_for_long_asks_how_to_go_on(why: str) -> None:
    """Held as after an outage, with what its length would count, and the reason told."""
    run = open_run(state_since=100.0)
    asked = resume.after_gap(run, 62.5, 700.0, why)
    text = f"{why or 'no heat for 10 min, since a link was gone'}; the mash is at 62.5 °C. How shall it go on?"
    assert asked.prompt == Prompt("resume", text, resume.CHOICES, 700.0)
    assert asked.hold == Hold("resume", gap=Gap(600.0, FULL))
    unknown = resume.after_gap(run, None, 700.0).prompt
    assert unknown is not None and "the mash is at unknown. How" in unknown.text


@pytest.mark.parametrize(
    ("kind", "state", "by", "state_after", "by_after"),
    [
        ("resume", RunState.RUNNING, "", RunState.RESTARTING, ""),
        ("resume", RunState.HELD, "trip", RunState.RESTARTING, ""),
        ("ask", RunState.RUNNING, "", RunState.HELD, "resume"),
        ("ask", RunState.RUNNING, "person", RunState.HELD, "resume"),
        ("ask", RunState.HELD, "person", RunState.HELD, "person"),
        ("ask", RunState.HOLDING, "latched", RunState.HELD, "latched"),
        ("ask", RunState.HELD, "trip", RunState.HELD, "resume"),
        ("ended", RunState.RUNNING, "", RunState.STOPPED, ""),
    ],
)
def test_what_becomes_of_the_run(
    kind: Any, state: RunState, by: HeldBy, state_after: RunState, by_after: HeldBy
) -> None:
    """It goes on, waits for a person or ends: its clock stopped, its ramp begun anew, the decision on record; a hold of
    a person or a latched trip stays one."""
    prompt = Prompt("go_on", "?", ("yes",), 1.0)
    run = open_run(state=state, hold=Hold(by), prompt=prompt, key=7, progress=COUNTING, mash=Estimate(last_c=61.0))
    decision = resume.Decision(kind, "so it is", 600.0, FULL, True)
    after, events = resume.apply(PENDING._replace(run=run), decision, 900.0, 62.5)
    assert (after.state, after.hold.by, after.key, after.state_since) == (state_after, by_after, 8, 900.0)
    assert after.progress == Progress(1600.0 if kind == "resume" else 1000.0)
    assert after.mash == Estimate()  # nobody can know what the enzymes have done
    assert events[0] == Event("resume", kind, "so it is", value=60.0, unit="s", priority=2)
    assert [event.id for event in events[1:]] == ["iodine", *(["gap rule"] if kind == "resume" else []), state_after]
    if kind == "ask":
        text = f"so it is. {resume.RCD}. How shall it go on?"
        assert after.prompt == Prompt("resume", text, resume.CHOICES, 900.0)
        assert after.hold.gap == Gap(600.0, FULL)
    else:
        assert after.prompt == (prompt if kind == "resume" else None)


def test_what_the_estimate_says_of_an_outage_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it knows what the outage has cost, the record says so."""
    did = Event("note", "estimate", "the outage cost 3 %")
    monkeypatch.setattr(estimate, "over_outage", lambda mash, *given: (mash, did))
    assert did in resume.apply(PENDING, resume.Decision("resume", "why"), 900.0, 62.5)[1]


def test_an_outage_worth_nothing_is_no_event() -> None:
    """Half a second is credited and told; nothing is neither."""
    for credit_s, told in ((0.5, ["resume", "gap rule", "restarting"]), (0.0, ["resume", "restarting"])):
        after, events = resume.apply(PENDING, resume.Decision("resume", "", credit_s), 900.0, 62.5)
        assert (after.progress.credited_s, [event.id for event in events]) == (1000.0 + credit_s, told)


def test_short_outage_resumes_the_same_rest_and_completes() -> None:
    """After ten minutes without power the rest goes on, the gap counted once, nothing skipped."""
    bench = in_a_rest()
    before = bench.state.run.progress.credited_s
    after = restarted(bench, 600.0, 62.3)
    after.until("running", 100)
    assert [e.id for e in after.events if e.kind == "resume"] == ["resume", "gap rule"]
    assert after.state.run.progress.credited_s == pytest.approx(before + 600.0, abs=1.5)
    after.until("take_over")
    assert next(e for e in after.events if e.kind == "step done").data["credited_s"] >= 2400.0


def test_no_heat_before_the_decision_is_on_disk() -> None:
    """The resume decision is durable before the first heat."""
    after = restarted(in_a_rest(), 60.0, 62.3)
    after.durable = False
    after.run(200)
    assert all(o.state.guard.line.duty == 0.0 for o in after.log)
    after.durable = True
    after.run(60)
    assert any(o.state.guard.line.duty > 0.0 for o in after.log)


def test_long_outage_asks_and_one_answer_goes_on() -> None:
    """One clear question; nothing else gives heat, and its answer alone does, once it is on disk."""
    after = restarted(in_a_rest(), 2280.0, 61.6)
    after.until("resume", 60)
    prompt = after.state.run.prompt
    assert prompt is not None
    assert "38.0 min" in prompt.text
    assert prompt.answers == ("go on here", "repeat this rest", "next rest", "end")
    assert not after.obey("restart").accepted
    assert "residual-current device" in prompt.text
    after.durable = False
    after.answer(answer="go on here")
    after.run(120)
    assert after.duty == 0.0
    after.durable = True
    after.run(60)
    assert after.duty > 0.0
    assert any(e.kind == "resume" and e.id == "gap rule" for e in after.events)


@pytest.mark.parametrize(("answer", "leg_now"), [("repeat this rest", 0), ("next rest", 1), ("end", 0)])
def test_other_choices(answer: str, leg_now: int) -> None:
    """Repeat makes the rest longer by what it had; next goes one step on; end ends cold; credited time never falls."""
    bench = in_a_rest()
    had = bench.state.run.progress.credited_s
    after = restarted(bench, 2280.0, 61.6)
    after.until("resume", 60)
    after.answer(answer=answer)
    run = after.state.run
    assert run.leg == leg_now
    if answer == "end":
        after.until("stopped", 20)
        assert after.duty == 0.0
    elif leg_now == 0:
        assert run.course is not None
        assert run.course.legs[0].hold_s == pytest.approx(2400.0 + had)
        assert run.progress.credited_s == had


def test_latched_trip_survives_the_restart() -> None:
    """A hard limit trip is still there after a restart and keeps the heat off until clear and restart."""
    bench = in_a_rest()
    bench.reading_c = 80.5
    bench.run(5)
    bench.reading_c = None
    after = restarted(bench, 60.0, 62.3)
    after.run(300)
    assert [t.id for t in after.state.guard.trips] == ["G07"]
    assert all(o.state.guard.line.duty == 0.0 for o in after.log)
