"""What the program room does at its rarer turns."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import Event, ForPeople, Leg, Measurement, Phase, RunState, Target, Trip, View
from controller.core.procedure import iodine_series, program, questions, states, wanted
from controller.core.procedure.run import Beginning, Hold, Run, Told, Walk
from controller.core.procedure.time_left import finish_in_s
from tests.core.bench import LIQUOR_J_PER_K, MASH_J_PER_K, RISE, changed, course, leg, tun, with_step

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
    """A run past its last step is complete, whatever question stood."""
    after, events = walk(questions.ask(run(leg=4), REST, "go_on", NOW))
    assert (after.state, after.prompt) == (S.COMPLETE, None)
    assert events[0].text == "running -> complete: all steps are done"


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
    after, events = walk(asked)
    text = "beta: nobody answered; the program says to go on"
    assert (after.leg == 2, events[:1] == [Event("note", "iodine", text, priority=2)]) == (goes, goes)
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
    due = walk(changed(early, credited_s=899.0))[0]
    assert due.prompt is not None
    assert (due.prompt.id, due.phase) == ("iodine", P.RESTING)
    over = walk(changed(early, credited_s=1199.0, iodine_tests=4))[0]
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
    kept = changed(asked, credited_s=3599.0)
    after, events = walk(kept, seen=SEEN._replace(value_c=76.0))
    assert after.state is S.COMPLETE
    text = "keep: nobody took over within 60 min; heat is off"
    assert events[0] == Event("note", "keep", text, priority=2)
    assert walk(asked, seen=SEEN._replace(value_c=76.0))[0].state is S.RUNNING


BACK = leg("back", 72.0, 0.0, kind="decoction")
COOLS = with_step(BACK, cooled_c=58.0)
HOT = PLAN._replace(legs=(PLAN.legs[0]._replace(ramp_s=0.0), *PLAN.legs[1:]))  # liquor from elsewhere
STRIKE = {"leg": 0, "phase": P.HEATING, "grain_in": False}
TARGETS: dict[str, tuple[Run, str, float | None]] = {
    "armed": (run(**STRIKE | {"phase": P.ARMED}), "off", None),
    "strike liquor": (run(**STRIKE), "hold", 54.0),
    "it came in hot, and stands": (run(course=HOT, **STRIKE), "blocked", 54.0),
    "it came in hot, and was asked for": (run(course=HOT, **STRIKE, reminded=questions.POURED), "blocked", 54.0),
    "it came in hot, and has stood": (run(course=HOT, **STRIKE, reminded=questions.MET), "hold", 54.0),
    "it came in nearly hot": (
        run(course=PLAN._replace(legs=(PLAN.legs[0]._replace(ramp_s=0.5), *PLAN.legs[1:])), **STRIKE),
        "hold",
        54.0,
    ),
    "waiting for grain": (run(**STRIKE | {"phase": P.WAITING}), "hold", 54.0),
    "dough-in": (run(**STRIKE | {"phase": P.ADDING}), "blocked", 54.0),
    "settling": (run(phase=P.SETTLING), "blocked", 63.0),
    "a rise": (run(phase=P.RAMPING), "hold", 63.0),
    "a rest": (run(), "hold", 63.0),
    "paused": (run(state=S.PAUSED, pause_c=61.0), "hold", 61.0),
    "an addition": (run(phase=P.ADDING), "blocked", 63.0),
    "a pull is away": (run(course=course(REST, BACK), leg=2, phase=P.WAITING), "hold", 63.0),
    "a pull is away, and the mash cools": (run(course=course(REST, COOLS), leg=2, phase=P.WAITING), "blocked", 63.0),
    "it is back": (run(course=course(REST, COOLS), leg=2, phase=P.RAMPING), "hold", 63.0),
    "a pull first of all": (run(course=course(BACK, grist_kg=0), leg=0, phase=P.WAITING), "hold", 72.0),
}


@pytest.mark.parametrize(("state", "heat", "target_c"), TARGETS.values(), ids=TARGETS)
def test_what_is_wanted_of_the_heater(state: Run, heat: Any, target_c: float | None) -> None:
    """Off without a run or while armed, blocked while something goes in; a decoction waits at the step before."""
    size = MASH_J_PER_K if state.grain_in else LIQUOR_J_PER_K
    assert state.course is not None
    strike, water = state.course.legs[state.leg].kind == "dough_in", state.course.grist_kg == 0.0
    assert wanted.target(state, tun()) == Target(heat, target_c, RISE, 0, size, strike, strike or water)


def test_nothing_is_wanted_without_a_run() -> None:
    """Nor while it is held; without one the vessel alone is what would be warmed."""
    assert wanted.target(run(state=S.HELD), tun()) == Target("off", None, tun().climb_k_per_s, 0, MASH_J_PER_K)
    assert wanted.target(Run(key=3), tun()) == Target("off", None, tun().climb_k_per_s, 3, 12_500.0)


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


# ---------------------------------------------------------------- one second, whole


def second(before: Run, value_c: float | None = 63.0, doubtful: bool = False, dt: float = 1.0) -> Walk:
    """One second in which this was read."""
    return program.walk(before, READY, SEEN._replace(value_c=value_c, doubtful=doubtful), NOW, dt)


@pytest.mark.parametrize(
    ("before", "counts"),
    [(run(), True), (run(phase=P.RAMPING), True), (run(state=S.RESTARTING), True), (run(leg=3), False),
     (run(state=S.PAUSED), False), (run(state=S.HELD), False), (run(phase=P.WAITING), False),
     (run(phase=P.ADDING), False), (run(phase=P.SETTLING, phase_since=NOW), False),
     (run(leg=0, phase=P.ARMED, begun=Beginning(armed_until=NOW + 9.0)), False)],
)  # fmt: skip
def test_which_seconds_are_run_time(before: Run, counts: bool) -> None:
    """Not those in which it stands, waits, takes something in or is kept."""
    assert second(before).run.begun.excluded_s == (0.0 if counts else 1.0)


@pytest.mark.parametrize(
    ("since_s", "value_c", "doubtful", "after_s"),
    [(None, 63.5, False, 0.0), (None, 62.5, False, 0.0), (None, 63.51, False, None), (None, 62.49, False, None),
     (None, 63.0, True, None), (None, None, False, None), (9.0, 63.0, False, 9.0), (9.0, 63.0, True, 8.0),
     (0.5, 63.0, True, 0.0), (9.0, 64.0, False, None), (9.0, None, True, None)],
)  # fmt: skip
def test_since_when_it_is_in_the_narrow_band(
    since_s: float | None, value_c: float | None, doubtful: bool, after_s: float | None
) -> None:
    """Half a kelvin either way; a doubtful second does not count and ends nothing; a rise is over with the first."""
    since, after = (None if s is None else NOW - s for s in (since_s, after_s))
    assert second(run(band_since=since), value_c, doubtful) == Walk(run(band_since=after))
    rise = second(run(band_since=since, phase=P.RAMPING), value_c, doubtful).run
    assert (rise.phase, rise.phase_since) == ((P.RAMPING, 0.0) if after is None else (P.RESTING, NOW))


@pytest.mark.parametrize(("ramp_s", "stands_s"), [(600.0, 60.0), (0.5, 60.0), (0.0, 120.0)])
def test_strike_liquor_is_ready(ramp_s: float, stands_s: float) -> None:
    """After a minute in the narrow band; poured in hot, after two."""
    strike = PLAN.legs[0]._replace(ramp_s=ramp_s)
    plan = PLAN._replace(legs=(strike, *PLAN.legs[1:]))
    heats = run(course=plan, leg=0, phase=P.HEATING, grain_in=False, reminded=questions.MET, key=4)
    assert second(changed(heats, band_since=NOW - stands_s + 0.1), 54.0).run.phase is P.HEATING
    since = NOW - stands_s
    after = second(changed(heats, band_since=since), 54.0)
    text = "strike liquor is ready at 54.0 °C; it is kept until somebody doughs in"
    assert after.events == (Event("note", "ready for grain", text, value=54.0, unit="°C", priority=2),)
    waits = changed(heats, band_since=since, in_band_at=since, phase=P.WAITING, phase_since=NOW)
    excluded = waits._replace(begun=waits.begun._replace(excluded_s=1.0))
    assert after.run == questions.ask(excluded, strike, "dough_in", NOW)


def test_an_armed_start_begins_its_rise() -> None:
    """The rise begins now and anew, and it is told."""
    armed = run(leg=0, phase=P.ARMED, reminded=questions.POURED, key=4, begun=Beginning(armed_until=NOW))
    text = "delayed start: heating of the strike liquor begins"
    assert second(armed, 20.0) == Walk(
        changed(armed, ramp_at=NOW, key=5, phase=P.HEATING, phase_since=NOW),
        (Event("phase", "heating", text, priority=2),),
    )


@pytest.mark.parametrize(("leg_at", "since_s", "told"), [(0, 1799.9, False), (0, 1800.0, True), (1, 1800.0, False)])
def test_nobody_comes_for_the_grain(leg_at: int, since_s: float, told: bool) -> None:
    """Half an hour after it was ready it is told, once; of other questions it is not."""
    waits = questions.ask(run(leg=leg_at, phase=P.WAITING, phase_since=NOW - since_s), REST, "dough_in", NOW)
    after = second(waits)
    text = "ready for grain for 30 min and nobody came; heat goes off after 2 h"
    event = Event("note", "ready for grain", text, value=1800.0, unit="s", priority=1)
    assert (after.run.told.nobody, after.events) == (told, (event,) if told else ())
    assert second(after.run).events == ()


@pytest.mark.parametrize(
    ("value_c", "doubtful", "dt", "earns_s"),
    [(63.0, False, 1.0, 1.0), (64.0, False, 1.0, 1.0), (62.0, False, 1.0, 1.0), (64.01, False, 1.0, 0.0),
     (61.99, False, 1.0, 0.0), (63.0, True, 1.0, 0.0), (None, False, 1.0, 0.0), (63.0, False, 10.0, 10.0),
     (63.0, False, 30.0, 10.0)],
)  # fmt: skip
def test_what_a_second_of_a_rest_earns(value_c: float | None, doubtful: bool, dt: float, earns_s: float) -> None:
    """Within the step's tolerance, by a reading that is not in doubt, ten seconds at most."""
    resting = run(credited_s=100.0, counting=True, band_since=NOW - 300.0)
    assert second(resting, value_c, doubtful, dt).run.progress.credited_s == 100.0 + earns_s


@pytest.mark.parametrize("before_s", [None, 500.0])
def test_the_first_minute_counts(before_s: float | None) -> None:
    """Sixty seconds in the narrow band start the clock and are earned; a rest disturbed since began when it began."""
    there = None if before_s is None else NOW - before_s
    resting = run(credited_s=100.0, band_since=NOW - 60.0, in_band_at=there)
    counting = changed(resting, counting=True, credited_s=160.0, in_band_at=NOW - (before_s or 60.0))
    assert second(resting) == Walk(counting)
    assert not second(changed(resting, band_since=NOW - 59.9)).run.progress.counting


def test_a_pause_in_the_first_minute_begins_it_anew() -> None:
    """Paused or held, the mash is in no band."""
    for state in (S.PAUSED, S.HELD):
        assert second(run(state=state, band_since=NOW - 9.0)).run.progress.band_since is None


DONE = {"counting": True, "credited_s": 1199.04, "band_since": NOW - 900.0}


@pytest.mark.parametrize("came_s", [None, 1500.04])
def test_a_rest_is_over(came_s: float | None) -> None:
    """With its last second the next step begins its rise, and what the rest was is on record."""
    rest = run(ramp_at=came_s, in_band_at=None if came_s is None else 1700.47, phase_since=NOW - 1300.0, key=4, **DONE)
    after = second(questions.ask(rest, REST, "ph", 1.0))
    assert after.run == run(leg=2, phase=P.RAMPING, phase_since=NOW, ramp_at=NOW, key=5)
    assert after.events[0] == Event("step done", "beta", "beta: 1200 s of 1200 s", data={
        "index": 1, "kind": "rest", "target_c": 63.0, "planned_s": 1200.0, "credited_s": 1200.0,
        "ramp_s": None if came_s is None else 200.4, "took_s": 1300.0 if came_s is None else 3500.0,
    })  # fmt: skip
    assert after.events[1:] == (Event("step", "alpha", "step 3: alpha, 72.0 °C"),)
    assert [second(changed(rest, credited_s=had_s)).run.leg for had_s in (1198.9, 1199.0)] == [1, 2]
    assert not second(changed(rest, grain_in=False)).run.grain_in


def test_a_rest_that_ends_by_a_person_waits_for_one() -> None:
    """Its time over, it asks; nothing goes on."""
    rest = with_last(REST._replace(ends="person"), **DONE)
    after = second(rest)
    asked = changed(rest, credited_s=1200.04, phase=P.WAITING, phase_since=NOW)
    waits = asked._replace(begun=asked.begun._replace(excluded_s=1.0))
    assert after == Walk(questions.ask(waits, REST, "go_on", NOW))


def test_grain_is_in_after_dough_in_and_an_enzyme_is_asked_for() -> None:
    """Dough-in done, the next step begins with the grain in, and tells what is to be dosed."""
    dosed = course(REST._replace(told="add 20 mL"), leg("alpha", 72.0, 600.0))
    mixes = run(course=dosed, leg=0, phase=P.SETTLING, phase_since=NOW - 180.0, grain_in=False)
    after = second(mixes)
    assert (after.run.leg, after.run.grain_in, after.events[0].text) == (1, True, "dough-in: done")
    assert after.run.prompt == questions.ask(mixes, dosed.legs[1], "enzyme", NOW).prompt
    assert after.events[2] == Event("note", "enzyme", "beta: add 20 mL", priority=2)


@pytest.mark.parametrize(
    ("target_c", "reached_at", "after"), [(63.0, None, 70.0), (63.0, 40.0, 40.0), (63.1, 40.0, None)]
)
def test_since_when_the_next_step_has_been_reached(target_c: float, reached_at: float | None, after: Any) -> None:
    """A step of the same temperature was reached with the one before; another one is still to be."""
    alike = course(REST, leg("more", target_c, 600.0))
    rest = run(course=alike, in_band_at=70.0, reached_at=reached_at, **DONE)
    assert second(rest).run.progress.reached_at == after


@pytest.mark.parametrize(
    ("credited_s", "reminded", "asks"), [(598.0, 0, False), (599.0, 0, True), (700.0, 1, False), (1199.5, 1, False)]
)
def test_a_souring_hold_asks_for_its_ph(credited_s: float, reminded: int, asks: bool) -> None:
    """Each ten minutes once, while no other question stands, and not when it is over."""
    sours = with_last(REST._replace(remind_s=600.0), counting=True, credited_s=credited_s, reminded=reminded)
    after = second(sours).run
    assert (after.prompt is not None, after.progress.reminded) == (
        asks,
        1 if asks else 0 if after.leg == 2 else reminded,
    )
    assert second(questions.ask(sours, REST, "go_on", 1.0)).run.progress.reminded == after.progress.reminded - asks
    often = with_last(REST._replace(remind_s=1.0), counting=True, credited_s=9.0)
    assert second(often).run.progress.reminded == 10


@pytest.mark.parametrize("every_s", [1.0, 300.0])
def test_a_series_of_iodine_tests(every_s: float) -> None:
    """Asked for while the rest lasts; over without one that showed none, it is told."""
    series = with_step(REST, every_s=every_s)
    due = with_last(series, counting=True, credited_s=900.0, in_band_at=NOW - 400.0)
    asked = second(due).run.prompt
    assert asked is not None and asked.id == "iodine_series"
    over = with_last(series, in_band_at=NOW - 400.0, **DONE)
    assert second(over).events[0] == iodine_series.not_seen(series)
    assert second(changed(over, iodine_ok=True)).events[0].kind == "step done"


LIQUOR = PLAN._replace(people=ForPeople(hot_liquor_s=600.0))


@pytest.mark.parametrize(
    ("credited_s", "changes", "told"),
    [
        (299.0, {}, False),
        (300.0, {}, True),
        (300.0, {"told": Told(liquor=True)}, False),
        (300.0, {"course": PLAN}, False),
    ],
)
def test_liquor_for_the_run_off_is_heated_in_time(credited_s: float, changes: dict[str, Any], told: bool) -> None:
    """Five minutes before it must be, once, where the program has any; to 78 °C unless it says otherwise."""
    late = run(leg=2, course=LIQUOR, credited_s=credited_s)._replace(**changes)
    after = second(late, 72.0)
    text = "heat the run-off liquor to 78 °C now: it takes 10 min, and the mash is ready in 15 min"
    event = Event("note", "hot liquor", text, value=900, unit="s", priority=2)
    assert after.events == ((event,) if told else ())
    assert after.run.told.liquor == (told or late.told.liquor)


def test_liquor_for_the_run_off_while_armed() -> None:
    """Nothing is said before the run heats."""
    long = LIQUOR._replace(people=ForPeople(hot_liquor_s=1e6, hot_liquor_c=80.0))
    armed = run(leg=0, course=long, phase=P.ARMED, reminded=1, begun=Beginning(armed_until=NOW + 9.0))
    assert second(armed).events == ()
    assert "to 80 °C now" in second(armed._replace(phase=P.SETTLING, phase_since=NOW)).events[0].text
