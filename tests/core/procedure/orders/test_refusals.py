"""What each order refuses, and what its rarer ways do: the whole of effects.py, one deed at a time."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import Leg, Measurement, Order, Phase, RunState, Trip, View
from controller.core.procedure import questions
from controller.core.procedure.orders import effects
from controller.core.procedure.run import Beginning, Done, Gap, Hold, Offer, Prompt, Refused, Run, Situation, leg_of
from tests.core.bench import changed, course, leg

NOW, WALL = 5000.0, 1_700_000_000.0
REST = leg("beta", 63.0, 1200.0)
PLAN = course(REST, leg("alpha", 72.0, 600.0), leg("keep", 76.0, 3600.0, kind="keep"))
SEEN = Measurement(62.5, 62.5, NOW, 0.5, 1, True, False, good_run=9, good_since=0.0)
DESK = Situation(View(ready=True, heater_off=True), SEEN, NOW, WALL, 78.0, (), True)


def run(**changes: Any) -> Run:
    base = Run(state=RunState.RUNNING, course=PLAN, begun=Beginning("r"), leg=1, phase=Phase.RESTING, grain_in=True)
    return changed(base, **changes)


def do(name: str, state: Run, desk: Situation = DESK, **args: Any) -> Done | Refused:
    plan, meant = args.pop("course", None), args.pop("run", None)
    return effects.carry_out(state, Order(name, NOW, "o-1", args, "brewer", course=plan, run=meant), desk)


def why(done: Done | Refused) -> str:
    assert isinstance(done, Refused), done
    return done.why


def taken(done: Done | Refused) -> Done:
    assert not isinstance(done, Refused), done
    return done


def then(done: Done | Refused) -> Run:
    return taken(done)[0]


def step_of(state: Run) -> Leg:
    found = leg_of(state)
    assert found is not None
    return found


IDLE = Run(state=RunState.IDLE)
ORDER_REFUSALS: dict[str, tuple[str, Run, dict[str, Any], str]] = {
    "start without a program": ("start", IDLE, {}, "no program was named"),
    "start at a step that is none": ("start", IDLE, {"course": PLAN, "from_step": 4}, "from 0 (dough-in) to 3 ("),
    "start at half a step": ("start", IDLE, {"course": PLAN, "from_step": 0.5}, "whole number"),
    "start at text": ("start", IDLE, {"course": PLAN, "from_step": "one"}, "whole number"),
    "start with too much credit": ("start", IDLE, {"course": PLAN, "from_step": 1, "credited_s": 1201}, "20 min"),
    "start with credit that is no number": ("start", IDLE, {"course": PLAN, "credited_s": True}, "credited must"),
    "start at no time": ("start", IDLE, {"course": PLAN, "ready_at": "six"}, "unix seconds"),
    "start at an endless time": ("start", IDLE, {"course": PLAN, "ready_at": float("inf")}, "unix seconds"),
    "start at true": ("start", IDLE, {"course": PLAN, "ready_at": True}, "unix seconds"),
    "start in the past": ("start", IDLE, {"course": PLAN, "ready_at": WALL - 1.0}, "next 14 hours"),
    "start in 15 hours": ("start", IDLE, {"course": PLAN, "ready_at": WALL + 54_001.0}, "next 14 hours"),
    "delayed start of a rest": (
        "start", IDLE, {"course": PLAN, "from_step": 1, "ready_at": WALL + 9000.0}, "a strike to heat"
    ),
    "advance where nothing runs": ("advance", Run(state=RunState.RUNNING), {}, "no step"),
    "advance past the strike": ("advance", run(leg=0, grain_in=False), {}, "dough-in"),
    "extend the strike": ("extend", run(leg=0), {"by_s": 60}, "only a rest"),
    "extend where nothing runs": ("extend", Run(state=RunState.RUNNING), {"by_s": 60}, "only a rest"),
    "extend by nothing": ("extend", run(), {}, "by how much"),
    "extend by too much": ("extend", run(), {"by_s": 14_401}, "by how much"),
    "extend by text": ("extend", run(), {"by_s": "long"}, "by how much"),
    "adjust a step that is over": ("adjust", run(), {"step": 0, "target_c": 60}, "this or a later step"),
    "adjust a step too far": ("adjust", run(), {"step": 4, "target_c": 60}, "this or a later step"),
    "adjust half a step": ("adjust", run(), {"step": 1.5, "target_c": 60}, "this or a later step"),
    "adjust where nothing runs": ("adjust", Run(state=RunState.RUNNING), {"target_c": 60}, "this or a later step"),
    "adjust too hot": ("adjust", run(), {"target_c": 78.1}, "between 20 and 78"),
    "adjust too cold": ("adjust", run(), {"target_c": 19.9}, "between 20 and 78"),
    "adjust to text": ("adjust", run(), {"target_c": "hot"}, "between 20 and 78"),
    "adjust too long": ("adjust", run(), {"hold_s": 14_401}, "the time must"),
    "adjust faster": ("adjust", run(), {"climb_k_per_s": 1.0}, "only be slowed"),
    "announce where nothing runs": ("announce", Run(state=RunState.RUNNING), {}, "during a rise or a rest"),
    "announce while settling": ("announce", run(phase=Phase.SETTLING), {}, "during a rise or a rest"),
    "clear is the guard's": ("clear", run(), {}, "the guard's"),
    "answer to nothing": ("answer", run(), {}, "nothing is being asked"),
    "answer to another question": (
        "answer", questions.ask(run(), REST, "go_on", NOW), {"prompt": "iodine"}, "no longer open"
    ),
    "answer that does not fit": (
        "answer", questions.ask(run(), REST, "go_on", NOW), {"answer": "maybe"}, "choose one of: go on"
    ),
    "answer while held": (
        "answer", questions.ask(run(state=RunState.HELD), REST, "go_on", NOW), {"answer": "go on"}, "the run is held"
    ),
}  # fmt: skip


@pytest.mark.parametrize(("name", "state", "args", "part"), ORDER_REFUSALS.values(), ids=list(ORDER_REFUSALS))
def test_refused_with_a_sentence(name: str, state: Run, args: dict[str, Any], part: str) -> None:
    """The order is refused, and the sentence says what would do."""
    assert part in why(do(name, state, **args))


def test_start_names_everything_that_is_missing() -> None:
    """Unmet permissives and the order's own problems come in one answer."""
    desk = DESK._replace(missing=("the level switch says no liquid, or nothing",))
    said = why(effects.carry_out(IDLE, Order("start", NOW, "o", {}, problems=("no program 'x'",)), desk))
    assert said == "not started. Missing: no program 'x'; the level switch says no liquid, or nothing"


def test_start_at_a_later_step_with_credit() -> None:
    """A run may begin in its second step, with rest time that was earned elsewhere."""
    begun = then(do("start", IDLE, course=PLAN, from_step=1, credited_s=300))
    assert (begun.leg, begun.phase, begun.progress.credited_s, begun.grain_in) == (1, Phase.RAMPING, 300, True)


def test_delayed_start_works_backwards() -> None:
    """Ready in two hours, 10 min of heating and 15 min of margin: heating begins in 5,700 s; a near time begins now."""
    begun = then(do("start", IDLE, course=PLAN, ready_at=WALL + 7200.0))
    assert begun.phase is Phase.ARMED
    assert begun.begun.armed_until == NOW + 7200.0 - 600.0 - 900.0
    assert then(do("start", IDLE, course=PLAN, ready_at=WALL + 60.0)).begun.armed_until == NOW


def test_delayed_start_needs_a_confirmed_clock() -> None:
    """Without it the wanted time means nothing."""
    unsure = DESK._replace(wall_confirmed=False)
    assert "confirmed clock" in why(do("start", IDLE, unsure, course=PLAN, ready_at=WALL + 7200.0))


def test_pause_keeps_the_lower_of_reading_and_target() -> None:
    """Paused in a rise over the target keeps the target; without a reading nothing is kept but the plateau."""
    ramping = run(phase=Phase.RAMPING)
    assert then(do("pause", ramping, DESK._replace(seen=SEEN._replace(value_c=64.0)))).progress.pause_c == 63.0
    assert then(do("pause", ramping)).progress.pause_c == 62.5
    assert then(do("pause", ramping, DESK._replace(seen=SEEN._replace(value_c=None)))).progress.pause_c is None
    assert then(do("pause", ramping._replace(course=None))).progress.pause_c == 62.5
    assert then(do("pause", run())).progress.pause_c is None


def test_resume_gives_the_plateau_back() -> None:
    """What pause kept is forgotten, and the ramp starts anew; where nothing was kept it does not."""
    assert then(do("resume", run(state=RunState.PAUSED, pause_c=60.0, key=3)))[:1] == (RunState.RUNNING,)
    assert then(do("resume", run(state=RunState.PAUSED, pause_c=60.0, key=3))).key == 4
    assert then(do("resume", run(state=RunState.PAUSED, key=3))).key == 3


@pytest.mark.parametrize(
    ("by", "after"), [("", "person"), ("trip", "person"), ("latched", "latched"), ("resume", "resume")]
)
def test_hold_is_never_the_weaker_reason(by: Any, after: str) -> None:
    """A person's hold outlasts a self-clearing trip, and takes nothing from a stronger reason."""
    for state in (RunState.RUNNING, RunState.HOLDING, RunState.HELD):
        held = then(do("hold", run(state=state, hold=Hold(by))))
        assert held.hold.by == after
        assert held.state is (RunState.HELD if state is RunState.HELD else RunState.HOLDING)


def test_restart_waits_for_trips_and_answers() -> None:
    """An active trip and the open resume question are named; with neither it restarts and says what it waits for."""
    trip = Trip("G09", 0.0, "no heat seen", 1.0, 1.0, "K", 1, True, True)
    held = run(state=RunState.HELD)
    assert "G09 no heat seen" in why(do("restart", held, DESK._replace(view=View((trip,), True))))
    question = held._replace(prompt=questions.ask(held, REST, "go_on", NOW).prompt)
    assert question.prompt is not None
    asked = question._replace(prompt=question.prompt._replace(id="resume", text="How shall it go on?"))
    assert "How shall it go on?" in why(do("restart", asked))
    done = taken(do("restart", question, DESK._replace(view=View(waits_for="5 s more"))))
    assert done[1].endswith("checks: 5 s more")


@pytest.mark.parametrize(("name", "after"), [("stop", RunState.STOPPING), ("abort", RunState.ABORTING)])
def test_ends_take_the_question_with_them(name: str, after: RunState) -> None:
    """stop and abort leave no question standing."""
    ended = then(do(name, questions.ask(run(), REST, "go_on", NOW)))
    assert (ended.state, ended.prompt) == (after, None)


def test_reset_forgets_the_run() -> None:
    """Ready for a new run: nothing of the old one is left but that the next ramp starts anew."""
    assert then(do("reset", run(state=RunState.COMPLETE, key=7))) == Run(RunState.IDLE, state_since=NOW, key=8)


def test_advance_leaves_a_step() -> None:
    """The next step begins, and the record says who did it."""
    done = taken(do("advance", run()))
    assert (done[0].leg, done[1]) == (2, "left beta at 63 °C")
    assert done[2][0].data == {"by": "brewer"}


@pytest.mark.parametrize("phase", [Phase.ADDING, Phase.SETTLING])
def test_advance_does_not_end_an_addition(phase: Phase) -> None:
    """While something goes in, or settles, the block on heat stands: the step cannot be left."""
    assert "heat is blocked" in why(do("advance", run(phase=phase)))


def test_adjust_wants_something_to_change() -> None:
    """Only a step, or nothing at all, is no change."""
    for done in (do("adjust", run()), do("adjust", run(), step=2)):
        assert "nothing to change" in why(done)


def test_announce_blocks_heat() -> None:
    """An addition announced in a rest asks when it is in."""
    adding = then(do("announce", run()))
    assert adding.prompt is not None
    assert (adding.phase, adding.prompt.id) == (Phase.ADDING, "addition_in")


def test_extend_reopens_a_question_at_the_end_of_a_rest() -> None:
    """The rest goes on and the question is gone; another question stays."""
    waiting = run(phase=Phase.WAITING)
    for which, phase in (("go_on", Phase.RESTING), ("iodine", Phase.RESTING), ("take_over", Phase.WAITING)):
        longer = then(do("extend", questions.ask(waiting, REST, which, NOW), by_s=60))
        assert (step_of(longer).hold_s, longer.phase, longer.prompt is None) == (1260.0, phase, phase is Phase.RESTING)


def test_adjust_of_this_step_ramps_anew_and_of_a_later_one_does_not() -> None:
    """A new target for the present rest begins a rise; a new time or a later step leaves the rest as it is."""
    now = then(do("adjust", run(counting=True, key=2), target_c=64.0))
    assert (now.phase, now.progress.counting, now.key) == (Phase.RAMPING, False, 3)
    ramping = then(do("adjust", run(phase=Phase.RAMPING), target_c=64.0))
    assert ramping.phase is Phase.RAMPING
    longer = then(do("adjust", run(counting=True), hold_s=60.0))
    later = then(do("adjust", run(counting=True), step=2, target_c=70.0, climb_k_per_s=0.001))
    assert (longer.phase, longer.progress.counting) == (later.phase, later.progress.counting) == (Phase.RESTING, True)
    assert later.course is not None
    assert later.course.legs[2].target_c == 70.0


def test_acknowledge_names_its_trip_or_all() -> None:
    """The event says what was heard; where nothing stands to be heard, that is said."""
    tripped = DESK._replace(view=View((Trip("G07", 0.0, "hot", 80.0, 80.0, "°C", 1, True, True),), latched=True))
    done = taken(effects.carry_out(run(), Order("acknowledge", NOW, trip="G07", by="brewer"), tripped))
    assert (done[2][0].id, done[1]) == ("G07", "heard by brewer")
    done = taken(effects.carry_out(run(), Order("acknowledge", NOW, by="brewer"), DESK))
    assert (done[2][0].id, done[1]) == ("all", "nothing to acknowledge; heard by brewer")
    asked = run(prompt=Prompt("iodine", "test?", ("blue",), NOW))
    assert taken(effects.carry_out(asked, Order("acknowledge", NOW, by="brewer"), DESK))[1] == "heard by brewer"


def test_a_step_that_cannot_be_adjusted_is_answered_with_those_that_can() -> None:
    """Each by the number that goes over the wire and by its name."""
    said = why(do("adjust", run(leg=2), step=1, target_c=64.0))
    left = ", ".join(f"{at} ({PLAN.legs[at].name})" for at in range(2, len(PLAN.legs)))
    assert said == f"only this or a later step can be adjusted; `step` is one of {left}"


# ---------------------------------------------------------------- the correction after dough-in

OFFER = Offer(1, "2 K too cold.", ("heat", "hot liquor", "accept"), 61.04, NOW)


def settled(answer: str | None, **changes: Any) -> Done | Refused:
    args: dict[str, Any] = {"prompt": "settled"} | ({} if answer is None else {"answer": answer})
    return do("answer", run(offer=OFFER, phase=Phase.RAMPING)._replace(**changes), **args)


def test_correction_taken_in_each_way() -> None:
    """The ordinary way, liquor (blocked heat), and the rest taken as it is; with no other question open the offer is
    meant without its name."""
    assert then(settled("heat")).offer is None
    assert then(do("answer", run(offer=OFFER), answer="heat")).offer is None
    assert then(settled("heat")).phase is Phase.RAMPING
    assert then(settled("hot liquor")).phase is Phase.ADDING
    again = then(settled("hot liquor", phase=Phase.SETTLING, phase_since=1.0))
    assert (again.phase, again.phase_since) == (Phase.SETTLING, NOW)
    assert step_of(then(settled("accept"))).target_c == 61.0


def test_correction_refused() -> None:
    """A word that does not fit, no word, a run that stands, and a mash that no rest may be at."""
    assert "choose one of" in why(settled("stir"))
    assert why(settled(None)).endswith("2 K too cold. Answer with one of: heat, hot liquor, accept")
    assert why(do("answer", run(offer=OFFER))) == why(settled(None))
    assert "go on first" in why(settled("heat", state=RunState.HELD))
    assert "not accepted: 79.0" in why(settled("accept", offer=OFFER._replace(measured_c=79.0)))


# ---------------------------------------------------------------- answers


def answered(which: str, answer: str, state: Run | None = None, part: Leg = REST) -> Run:
    base = state if state is not None else run()
    return then(do("answer", questions.ask(base, part, which, NOW), answer=answer))


def test_entries_may_come_at_any_time() -> None:
    """pH, gravity and a remark are recorded whatever is asked."""
    done = taken(do("answer", run(), ph=5.4, remark="fine"))
    assert done[1] == "recorded: pH of the mash: 5.4; remark: fine"
    assert then(do("answer", questions.ask(run(), REST, "ph", NOW), ph=5.4)).prompt is None
    assert then(do("answer", questions.ask(run(), REST, "ph", NOW), remark="fine")).prompt is not None
    assert then(do("answer", questions.ask(run(), REST, "go_on", NOW), ph=5.4)).prompt is not None


def test_iodine_answers() -> None:
    """No starch frees the rest; blue adds 15 min; not tested asks again after 5 min; after four tests one decides."""
    assert answered("iodine", "no starch", run(credited_s=1200.0)).progress.iodine_ok
    blue = answered("iodine", "blue", run(credited_s=1200.0))
    assert (blue.progress.ask_at_s, leg_of(blue)) == (2100.0, REST._replace(hold_s=2100.0))
    later = answered("iodine", "not tested", run(credited_s=1200.0))
    assert later.progress.ask_at_s == 1500.0
    assert answered("iodine_decide", "go on").progress.iodine_ok
    assert not answered("iodine_decide", "rest longer", run(credited_s=1200.0)).progress.iodine_ok


@pytest.mark.parametrize(
    ("answer", "leg_after", "credited"),
    [("go on here", 1, 450.0), ("repeat this rest", 1, 400.0), ("next rest", 2, 0.0), ("end", 1, 400.0)],
)
def test_choice_after_an_outage(answer: str, leg_after: int, credited: float) -> None:
    """Each of the four answers, for a run that is named; one is enough, and credited time never falls within a step."""
    held = run(state=RunState.HELD, hold=Hold("resume", gap=Gap(50.0, "a rule")), credited_s=400.0)
    prompt = questions.ask(held, REST, "go_on", NOW).prompt
    assert prompt is not None
    asked = held._replace(
        prompt=prompt._replace(id="resume", answers=("go on here", "repeat this rest", "next rest", "end"))
    )
    if answer != "end":
        assert "run=r" in why(do("answer", asked, answer=answer))
    after, said, _ = taken(do("answer", asked, run="r", answer=answer))
    assert after.hold.by == ("resume" if answer == "end" else "trip") and "understood" in said
    latched = do("answer", asked._replace(hold=asked.hold._replace(by="latched")), run="r", answer=answer)
    assert then(latched).hold.by == "latched" and ("then `restart`" in taken(latched)[1]) is (answer != "end")
    assert (after.leg, after.progress.credited_s) == (leg_after, credited)
    assert after.state is (RunState.STOPPING if answer == "end" else RunState.HELD)
    if answer == "repeat this rest":
        assert step_of(after).hold_s == 1600.0
    if answer == "go on here":
        none = do("answer", asked._replace(hold=Hold("resume")), run="r", answer=answer)
        assert then(none).progress.credited_s == 400.0


def test_a_number_that_is_none() -> None:
    """Endless numbers and truth values in an order's arguments are refused like text."""
    for value in (float("nan"), float("inf"), True, [1]):
        assert "by how much" in why(do("extend", run(), by_s=value))


@pytest.mark.parametrize("which", questions.ASKS)
def test_a_bare_answer_never_tells_what_somebody_saw(which: str) -> None:
    """Without a word only a question with one answer is answered; the others stay open and list their words."""
    answers = questions.ASKS[which][1]
    done = do("answer", questions.ask(run(), REST, which, NOW))
    if len(answers) == 1:
        taken(done)
    else:
        assert which in ("iodine", "iodine_series", "iodine_decide", "ph", "liquor", "enzyme")
        assert why(done).endswith(f"Answer with one of: {', '.join(answers)}")


def test_next_questions_of_an_addition() -> None:
    """Beginning, returned and added lead to blocked heat; done leads to settling; a small one back to its rise."""
    for which in ("dough_in", "pull", "add"):
        first = questions.ASKS[which][1][0]
        assert answered(which, first).phase is Phase.ADDING
    for which in ("grain_in", "returned", "added"):
        assert answered(which, "yes").phase is Phase.SETTLING
    assert answered("addition_in", "yes").phase is Phase.RAMPING
    assert answered("go_on", "go on").leg == 2
    assert answered("take_over", "taken over").leg == 2
    assert answered("ph", "later").leg == 1
