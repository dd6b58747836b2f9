"""What the program room, the kept record and two readers do at their rarer turns."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.core import checkpoint
from controller.core.nouns import Bad, Event, Leg, Measurement, Phase, RunState, Trip, View
from controller.core.procedure import estimate, program, questions, resume, states, wanted
from controller.core.procedure.run import Beginning, Hold, Run
from controller.core.procedure.time_left import finish_in_s
from controller.messages import incoming as wire
from controller.messages.strict_json import Refused
from tests.core.bench import changed, course, leg, tun, with_step
from tests.core.runs import heating

NOW = 5000.0
S, P = RunState, Phase
REST = leg("beta", 63.0, 1200.0)
PLAN = course(REST, leg("alpha", 72.0, 600.0), leg("keep", 76.0, 3600.0, kind="keep"))
SEEN = Measurement(63.0, 63.0, NOW, 0.5, 1, True, False, good_run=9, good_since=0.0)
READY = View(ready=True, heater_off=True)
TRIP = Trip("G02", 0.0, "gone", 11.0, 10.0, "s", 1, False, False)


def run(**changes: Any) -> Run:
    base = Run(state=S.RUNNING, course=PLAN, begun=Beginning("r"), leg=1, phase=P.RESTING, grain_in=True)
    return changed(base, **changes)


def with_last(part: Leg, **changes: Any) -> Run:
    """A run whose second step is this one."""
    return run(course=course(part, leg("alpha", 72.0, 600.0)), **changes)


def walk(state: Run, view: View = READY, seen: Measurement = SEEN, now: float = NOW) -> tuple[Run, list[Event]]:
    walked = program.walk(state, view, seen, now, 1.0)
    return walked.run, list(walked.events)


@pytest.mark.parametrize(
    ("state", "after"),
    [
        (S.PAUSING, S.PAUSED),
        (S.HOLDING, S.HELD),
        (S.STOPPING, S.STOPPED),
        (S.ABORTING, S.ABORTED),
        (S.IDLE, S.IDLE),
        (S.COMPLETE, S.COMPLETE),
    ],
)
def test_acting_states_end_by_themselves(state: RunState, after: RunState) -> None:
    """Each acting state leads to its waiting one; the others stay."""
    assert walk(run(state=state))[0].state is after


@pytest.mark.parametrize("state", [S.STOPPING, S.ABORTING])
def test_an_end_waits_for_the_heater_or_twelve_seconds(state: RunState) -> None:
    """Without the heater's OFF it ends after more than 12 s."""
    view = View(heater_off=False)
    assert walk(run(state=state, state_since=NOW - 12.0), view)[0].state is state
    assert walk(run(state=state, state_since=NOW - 12.1), view)[0].state is not state


@pytest.mark.parametrize("state", [S.RUNNING, S.PAUSED, S.PAUSING, S.HELD, S.HOLDING, S.RESTARTING])
def test_another_owner_ends_the_run(state: RunState) -> None:
    """Lost to another controller: aborting, without a question left."""
    after, events = walk(questions.ask(run(state=state), REST, "go_on", NOW), View(lost=True))
    assert (after.state, after.prompt) == (S.ABORTING, None)
    assert "another controller" in events[0].text


def test_a_trip_leads_to_hold_and_names_the_first() -> None:
    """The first-out one is named, or the first where none is marked; a stronger reason stays."""
    first = TRIP._replace(id="G14", text="broker", first_out=True)
    after, events = walk(run(), View((TRIP, first)))
    assert (after.state, after.hold.by) == (S.HELD, "trip")
    assert "G14 broker" in events[0].text
    assert "G02 gone" in walk(run(), View((TRIP,)))[1][0].text
    assert walk(run(hold=Hold("person")), View((TRIP,)))[0].hold.by == "person"
    latched, _ = walk(run(state=S.HELD, hold=Hold("trip")), View((TRIP,), latched=True))
    assert (latched.state, latched.hold.by) == (S.HELD, "latched")
    assert walk(run(state=S.IDLE), View((TRIP,)))[0].state is S.IDLE


@pytest.mark.parametrize(
    ("held_by", "view", "doubtful", "goes"),
    [
        ("trip", READY, False, True),
        ("trip", READY, True, False),
        ("trip", View(), False, False),
        ("trip", View((TRIP,), ready=True), False, False),
        ("latched", READY, False, False),
        ("person", READY, False, False),
        ("resume", READY, False, False),
    ],
)
def test_what_goes_on_by_itself(held_by: Any, view: View, doubtful: bool, goes: bool) -> None:
    """Only a run held by a self-clearing trip that is over, with good readings."""
    held = run(state=S.HELD, hold=Hold(held_by), state_since=NOW - 60.0)
    after, _ = walk(held, view, SEEN._replace(doubtful=doubtful))
    assert (after.state is S.RESTARTING) is goes


def test_restarting_waits_for_flow_and_readiness() -> None:
    """Then the rest begins with a rise; a keep goes on as it was."""
    waiting = run(state=S.RESTARTING)
    assert walk(waiting, View(ready=False))[0].state is S.RESTARTING
    assert walk(waiting, View(ready=True, flow_ok=False))[0].state is S.RESTARTING
    assert (walk(waiting)[0].state, walk(waiting)[0].hold.by) == (S.RUNNING, "")
    assert states._restarting(waiting, READY, NOW, []).phase is P.RAMPING
    assert states._restarting(run(state=S.RESTARTING, leg=3), READY, NOW, []).phase is P.RESTING


def test_all_steps_done_completes() -> None:
    """A run past its last step is complete."""
    after, events = walk(run(leg=4))
    assert (after.state, events[0].text) == (S.COMPLETE, "running -> complete: all steps are done")


QUESTIONS = [
    ("dough_in", "time", "dough_in", "grain_in"),
    ("infusion", "time", "add", "added"),
    ("decoction", "time", "pull", "returned"),
    ("keep", "time", "take_over", "addition_in"),
    ("rest", "person", "go_on", "addition_in"),
    ("rest", "iodine", "iodine", "addition_in"),
    ("souring", "time", "go_on", "addition_in"),
]


@pytest.mark.parametrize(("kind", "ends", "waiting", "adding"), QUESTIONS)
def test_a_lost_question_is_asked_again(kind: Any, ends: Any, waiting: str, adding: str) -> None:
    """After an outage the question of the phase and the kind of step stands again."""
    part = leg("part", 63.0, 1200.0, kind=kind, ends=ends)
    for phase, which in ((P.WAITING, waiting), (P.ADDING, adding)):
        prompt = walk(with_last(part, phase=phase, phase_since=NOW))[0].prompt
        assert prompt is not None
        assert prompt.id == which


def test_delayed_start_begins_in_time() -> None:
    """Armed until its moment, then it heats; without a moment at once; up to 15 min later where heat was not possible,
    then it is refused, as an empty tun is at once."""
    armed = run(leg=0, phase=P.ARMED, begun=Beginning(armed_until=NOW + 0.1))
    assert walk(armed)[0].phase is P.ARMED
    assert walk(armed, now=NOW + 0.1)[0].phase is P.HEATING
    assert walk(armed._replace(begun=Beginning()))[0].phase is P.HEATING
    due = armed._replace(begun=Beginning(armed_until=NOW))
    assert walk(due, View(), now=NOW + 899.9)[0].phase is P.ARMED
    assert walk(due, now=NOW + 899.9)[0].phase is P.HEATING
    for view, later_s, word in ((View(), 900.0, "15 min"), (View(ready=True, dry=True), 0.0, "no liquid")):
        ended, events = walk(due, view, now=NOW + later_s)
        assert ended.state is S.STOPPING and any(word in e.text and e.priority == 1 for e in events)


def test_unanswered_for_two_hours() -> None:
    """At two hours the heat still holds, beyond it goes off until a person comes."""
    asked = questions.ask(run(phase=P.WAITING, phase_since=NOW - 7200.0), REST, "go_on", NOW)
    assert walk(asked)[0].state is S.RUNNING
    after, _ = walk(asked._replace(phase_since=NOW - 7200.1))
    assert (after.state, after.hold.by) == (S.HOLDING, "person")


@pytest.mark.parametrize(("waited", "goes"), [(599.9, False), (600.0, True)])
def test_iodine_gate_that_goes_on(waited: float, goes: bool) -> None:
    """Where the program says so, an unanswered test goes on after its time."""
    gate = leg("beta", 63.0, 1200.0, ends="iodine", go_on_after_s=600.0)
    asked = questions.ask(with_last(gate, phase=P.WAITING, phase_since=NOW - waited), gate, "iodine", NOW)
    assert (walk(asked)[0].leg == 2) is goes
    timed = gate._replace(ends="time")
    assert walk(questions.ask(with_last(timed, phase=P.WAITING, phase_since=0.0), timed, "go_on", NOW))[0].leg == 1


@pytest.mark.parametrize(("kind", "which"), [("decoction", "pull"), ("infusion", "add")])
def test_an_addition_is_asked_for_at_once(kind: Any, which: str) -> None:
    """A step that adds begins by asking for it, the mash kept where it was."""
    after = walk(with_last(leg("part", 72.0, 0.0, kind=kind), phase=P.RAMPING))[0]
    assert after.prompt is not None
    assert (after.phase, after.prompt.id) == (P.WAITING, which)


def test_settling_takes_three_minutes() -> None:
    """At 180 s the next step begins."""
    assert walk(run(phase=P.SETTLING, phase_since=NOW - 179.9))[0].leg == 1
    assert walk(run(phase=P.SETTLING, phase_since=NOW - 180.0))[0].leg == 2


def test_iodine_is_asked_in_its_minute() -> None:
    """At the planned minute the question stands and the rest goes on; at its end it waits; after four one decides."""
    gate = leg("beta", 63.0, 1200.0, ends="iodine", after_s=900.0)
    early = with_last(gate, counting=True, credited_s=850.0)
    assert walk(early)[0].prompt is None
    due = walk(changed(early, credited_s=899.5))[0]
    assert due.prompt is not None
    assert (due.prompt.id, due.phase) == ("iodine", P.RESTING)
    over = walk(changed(early, credited_s=1199.5, iodine_tests=4))[0]
    assert over.prompt is not None
    assert (over.prompt.id, over.phase) == ("iodine_decide", P.WAITING)
    later = walk(changed(early, credited_s=899.5, ask_at_s=1000.0))[0]
    assert later.prompt is None
    plain = walk(with_last(with_step(gate, after_s=0.0), counting=True, credited_s=1000.0))[0]
    assert plain.prompt is None


def test_keep_ends_unanswered() -> None:
    """Kept until its longest wait is over, then the run is complete and says so."""
    keeping = run(leg=3, counting=True, credited_s=3500.0)
    asked = walk(keeping)[0]
    assert asked.prompt is not None
    assert asked.prompt.id == "take_over"
    kept = changed(asked, credited_s=3599.5)
    after, events = walk(kept, seen=SEEN._replace(value_c=76.0))
    assert after.state is S.COMPLETE
    assert "nobody took over within 60 min" in events[0].text
    assert walk(asked, seen=SEEN._replace(value_c=76.0))[0].state is S.RUNNING


def test_target_off_blocked_and_kept() -> None:
    """Off without a run or while armed, blocked while adding; a decoction waits at the step before."""
    assert wanted.target(run(state=S.HELD), tun()).heat == "off"
    assert wanted.target(Run(), tun()).heat == "off"
    assert wanted.target(run(leg=0, phase=P.ARMED), tun()).heat == "off"
    assert wanted.target(run(phase=P.ADDING), tun()).heat == "blocked"
    assert wanted.target(run(pause_c=61.0), tun()).target_c == 61.0
    assert wanted.target(run(), tun()).target_c == 63.0
    back = leg("back", 72.0, 0.0, kind="decoction")
    waits = run(course=course(REST, back), leg=2, phase=P.WAITING)
    assert wanted.target(waits, tun()).target_c == 63.0
    first = run(course=course(back, grist_kg=0), leg=0, phase=P.WAITING)
    assert wanted.target(first, tun()).target_c == 72.0


def test_how_long_it_still_takes() -> None:
    """What is left of this step and the later ones; nothing where nothing runs."""
    assert finish_in_s(Run(), 63.0, NOW) is None
    assert finish_in_s(run(state=S.STOPPED), 63.0, NOW) is None
    assert finish_in_s(run(credited_s=200.0), 63.0, NOW) == RESTING_S
    assert finish_in_s(run(leg=3, credited_s=100.0), 76.0, NOW) == 0.0


RESTING_S = 1000.0 + 600.0 + 600.0 + 600.0  # of PLAN, 200 s into its first rest


def test_a_rise_counts_down_with_the_temperature() -> None:
    """All of the planned rise at its foot, half of it half-way up, none at its top; from landing or liquor on where the
    plan says so; colder than planned it takes what the fastest rise allowed takes, at least."""
    warm = PLAN._replace(landing_c=50.0, liquor_c=14.0)
    low = run(course=warm, credited_s=200.0, phase=P.RAMPING)
    assert finish_in_s(low, 50.0, NOW) == pytest.approx(RESTING_S + 13.0 / REST.climb_k_per_s)
    assert finish_in_s(low, 62.9, NOW) == pytest.approx(RESTING_S + 0.1 / REST.climb_k_per_s)
    slow = warm._replace(legs=(warm.legs[0], REST._replace(ramp_s=1800.0), *warm.legs[2:]))
    found = [finish_in_s(low._replace(course=slow), c, NOW) for c in (50.0, 56.5, 63.0, None)]
    assert found == pytest.approx([RESTING_S + 1800.0, RESTING_S + 900.0, RESTING_S, RESTING_S + 1800.0])
    strike = run(course=warm, leg=0, phase=P.HEATING, grain_in=False)
    left = [finish_in_s(strike, c, NOW) or 0.0 for c in (14.0, 34.0, 54.0)]
    assert left[0] > left[1] > left[2]
    disturbed = finish_in_s(run(credited_s=200.0), 60.0, NOW)
    assert disturbed == pytest.approx(RESTING_S + 3.0 / REST.climb_k_per_s)


def test_mixing_still_to_come_counts() -> None:
    """Dough-in mixes for its three minutes, less what has passed of them; an infusion later as well; a rest never."""
    heating = run(leg=0, phase=P.WAITING, grain_in=False)
    whole = finish_in_s(heating, 54.0, NOW)
    assert whole is not None
    assert whole == 180.0 + sum(leg.ramp_s + leg.hold_s for leg in PLAN.legs[1:3]) + 600.0
    settling = heating._replace(phase=P.SETTLING, phase_since=NOW - 60.0)
    assert finish_in_s(settling, 50.0, NOW) == whole - 60.0
    infused = with_last(REST, credited_s=200.0)
    more = leg("more", 68.0, 0.0, kind="infusion", ramp_s=0.0)
    longer = infused._replace(course=course(REST, more, leg("alpha", 72.0, 600.0)))
    assert (finish_in_s(longer, 63.0, NOW) or 0.0) - (finish_in_s(infused, 63.0, NOW) or 0.0) == 180.0


def test_a_delayed_start_counts_its_wait() -> None:
    """Until heating begins the end lies so much later."""
    strike = run(course=PLAN._replace(liquor_c=14.0), leg=0, phase=P.HEATING, grain_in=False)
    armed = strike._replace(phase=P.ARMED, begun=Beginning(armed_until=NOW + 3600.0))
    assert (finish_in_s(armed, 14.0, NOW) or 0.0) - (finish_in_s(strike, 14.0, NOW) or 0.0) == 3600.0


def test_nothing_is_said_of_a_step_that_is_none() -> None:
    """The next step after the last but one past is still no step; the run completes."""
    events: list[Event] = []
    assert program.next_leg(run(leg=9), NOW, events).state is S.COMPLETE
    assert [event.kind for event in events] == ["state"]


# ---------------------------------------------------------------- the kept record


def kept(**changes: Any) -> dict[str, Any]:
    record: dict[str, Any] = json.loads(json.dumps(checkpoint.keep(heating().state)))
    record["run"].update(changes)
    return record


def test_a_record_that_does_not_fit_is_none() -> None:
    """A step out of range, endless numbers, nesting without end, and words for numbers."""
    assert checkpoint.recall(kept(leg=4), NOW) is None
    assert checkpoint.recall(kept(leg=-1), NOW) is None
    progress = kept()["run"]["progress"]
    assert checkpoint.recall(kept(progress={**progress, "credited_s": 5.0}), NOW) is not None
    assert checkpoint.recall(kept(progress={**progress, "credited_s": float("nan")}), NOW) is None
    assert checkpoint.recall(kept(progress={**progress, "credited_s": "long"}), NOW) is None
    assert checkpoint.recall({**kept(), "last_c": float("inf")}, NOW) is None
    assert checkpoint.recall({**kept(), "last_c": 10**400}, NOW) is None
    deep: Any = []
    for _ in range(5000):
        deep = [deep]
    assert checkpoint.recall({**kept(), "more": deep}, NOW) is None


def test_a_record_without_a_course() -> None:
    """Idle when it was kept: no course, no temperature."""
    found = checkpoint.recall({**kept(course=None, leg=0, state="idle"), "last_c": None}, NOW)
    assert found is not None
    assert (found.run.course, found.last_c) == (None, None)


# ---------------------------------------------------------------- the decision after an outage


def pending(**changes: Any) -> resume.Pending:
    return resume.Pending(run(credited_s=100.0), 63.0, 60.0, True, 1, 1800.0)._replace(**changes)


def applied(decision: resume.Decision, state: Run | None = None) -> tuple[Run, list[Event]]:
    return resume.apply(pending(run=state or run(credited_s=100.0)), decision, NOW, 62.0)


def test_an_outage_too_long_ends_the_run() -> None:
    """Broken off: stopped, without a question."""
    after, events = applied(resume.Decision("ended", "over 4 h"))
    assert (after.state, after.prompt) == (S.STOPPED, None)
    assert events[0].priority == 2


@pytest.mark.parametrize(
    ("state", "by", "held_by"),
    [
        (S.RUNNING, "", "resume"),
        (S.HELD, "person", "person"),
        (S.HOLDING, "latched", "latched"),
        (S.HELD, "trip", "resume"),
    ],
)
def test_a_person_is_asked(state: RunState, by: Any, held_by: str) -> None:
    """Held with the question; a person's or a latched trip's hold stays what it was."""
    after, _ = applied(resume.Decision("ask", "why", 30.0, "rule"), run(state=state, hold=Hold(by)))
    assert after.prompt is not None
    assert (after.state, after.hold.by, after.prompt.answers, after.hold.gap.credit_s) == (
        S.HELD, held_by, resume.CHOICES, 30.0,
    )  # fmt: skip


def test_an_outage_that_the_estimate_can_follow(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the estimate of the wort knows what the outage has cost, the record says so."""
    did = Event("note", "estimate", "the outage cost 3 %")
    monkeypatch.setattr(estimate, "over_outage", lambda mash, *given: (mash, did))
    _, events = applied(resume.Decision("resume", "why"))
    assert did in events


def test_going_on_by_itself_counts_the_gap_once() -> None:
    """The gap is credited in one event, an iodine test is named where half was counted, and mixing comes first."""
    after, events = applied(resume.Decision("resume", "why", 30.0, "rule", iodine=True))
    assert (after.state, after.progress.credited_s) == (S.RESTARTING, 130.0)
    assert (after.hold.gap.credit_s, after.hold.by) == (0.0, "")
    assert [event.kind for event in events if event.id in ("iodine", "gap rule")] == ["note", "resume"]
    plain, events = applied(resume.Decision("resume", "why"))
    assert (plain.progress.credited_s, [e.id for e in events if e.id == "gap rule"]) == (100.0, [])


@pytest.mark.parametrize(
    ("target_c", "now_c", "credit", "iodine"),
    [
        (63.0, 60.0, 60.0, False),
        (63.0, 59.9, 30.0, True),
        (63.0, 57.0, 30.0, True),
        (63.0, 56.9, 0.0, False),
        (40.0, 30.0, 60.0, False),
        (55.0, 30.0, 60.0, False),
        (56.0, 62.0, 0.0, False),
        (72.1, 62.0, 0.0, False),
    ],
)
def test_gap_rule(target_c: float, now_c: float, credit: float, iodine: bool) -> None:
    """Low rests in full, starch rests by the temperature on return, others not at all."""
    state = with_last(leg("part", target_c, 1200.0), credited_s=100.0)
    decision = resume.decide(pending(run=state, last_c=now_c), now_c, 78.0, False)
    assert (decision.credit_s, decision.iodine) == (credit, iodine)


def test_gap_rule_never_beyond_the_plan_and_for_rests_only() -> None:
    """What is left of the rest at most; nothing in a rise, in a keep, or where the length is unknown."""
    short = with_last(leg("part", 63.0, 120.0), credited_s=100.0)
    assert resume.decide(pending(run=short), 62.0, 78.0, False).credit_s == 20.0
    over = with_last(leg("part", 63.0, 90.0), credited_s=100.0)
    assert resume.decide(pending(run=over), 62.0, 78.0, False).credit_s == 0.0
    for state in (run(phase=P.RAMPING), run(leg=3), run(leg=9)):
        assert resume.decide(pending(run=state), 62.0, 78.0, False).credit_s == 0.0
    assert resume.decide(pending(outage_s=None), 62.0, 78.0, False).credit_s == 0.0
    assert resume.decide(pending(last_c=None), None, 78.0, False).kind == "ask"


# ---------------------------------------------------------------- two readers


def test_unit_that_is_no_unit() -> None:
    """Where a unit was pointed at it must be one; beside the value it is left out."""
    pointed = wire.form("/t", "C", "/u")
    assert isinstance(wire.reading(pointed, b'{"t": 63, "u": "K"}', NOW, 0.0), Bad)
    assert isinstance(wire.reading(pointed, b'{"t": 63, "u": 5}', NOW, 0.0), Bad)
    beside = wire.reading(wire.form("/t"), b'{"t": 63, "unit": "K"}', NOW, 0.0)
    assert not isinstance(beside, Bad)
    assert beside.value_c == 63.0


def test_report_that_is_none() -> None:
    """A heater report must be an object."""
    assert wire.report(b"[1]", NOW) == Refused("no object")
    assert isinstance(wire.report(b"{", NOW), Refused)


def test_dough_in_is_asked_for_without_a_word_of_pumps() -> None:
    """A stirred tun has no pump, and a pumped one has it on a topic (the tun file wants it), off at dough-in."""
    asked = questions.ask(run(), REST, "dough_in", NOW).prompt
    assert asked is not None
    assert asked.text == "Strike liquor is ready at 63.0 °C: 20 kg of grain. Begin dough-in?"
