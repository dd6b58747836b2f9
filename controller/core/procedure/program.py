"""Where are we in the program, and what comes next?

Time moves the run here; orders move it in orders/effects.py. The rest clock starts after 60 s within +-0.5 K of the
target (they are counted) and then runs within the step's tolerance. It stands still while the reading is doubtful,
while heat is held, and while a ramp is under way. Nothing goes on that a person has to allow.
"""

from typing import Final, assert_never

from controller.core.control.climb import BAND_K
from controller.core.nouns import COMES_IN, Event, Instant, Leg, Measurement, Phase, RunState, View
from controller.core.procedure import cooker, iodine_series, poured, states
from controller.core.procedure.questions import STANDS_S, ask, free, question
from controller.core.procedure.run import Progress, Run, Walk, enter, held, leg_of, out_of_band
from controller.core.procedure.time_left import finish_in_s
from controller.quick_records import maker

S = RunState
P = Phase

RUNNING: Final = S.RUNNING  # these three are asked for in every tick
RAMPING: Final = P.RAMPING
RESTING: Final = P.RESTING
_walk = maker(Walk)

BAND_S = 60.0  # for so long, before the rest clock starts
MOST_CREDIT_S = 10.0  # one tick earns no more, however long it took: a reading vouches for so much time
HOT_LIQUOR_MARGIN_S = 300.0  # so much earlier than it must be (own proposal)
IODINE_MORE_S = {"reddish": 600.0, "blue": 900.0}  # rest longer by so much (common practice: 5..10, 10..15 min)
ARMED_LATE_S = 900.0  # a delayed start whose link is down when heating is due is good for so long more (own proposal)
IODINE_TESTS = 4  # after so many without success the brewer decides
ASKING = frozenset({P.WAITING, P.ADDING})
STOOD, WAITED = frozenset({S.PAUSED, S.HELD}), frozenset({P.WAITING, P.ADDING, P.SETTLING, P.ARMED})  # no run time


def walk(run: Run, view: View, seen: Measurement, now: Instant, dt: float) -> Walk:
    """One second further: states that pass by themselves, then the phases of the present step."""
    events: list[Event] = []
    run = states.pass_by(run, view, seen, now, events)
    if run.state is RUNNING:
        run = _hot_liquor(_phases(run, view, seen, now, dt, events), seen, now, events)
        run = cooker.told(run, seen.value_c, now, events)
    elif run.progress.band_since is not None:
        run = out_of_band(run)  # a pause or a hold in the first minute: it begins anew
    if run.state in STOOD or run.phase in WAITED or states.keeping(run):
        run = run._replace(begun=run.begun._replace(excluded_s=run.begun.excluded_s + dt))
    return _walk(run=run, events=tuple(events))


def _phases(run: Run, view: View, seen: Measurement, now: Instant, dt: float, events: list[Event]) -> Run:
    leg = leg_of(run)
    if leg is None:
        return states.to(run._replace(prompt=None), S.COMPLETE, now, events, "all steps are done")
    if run.prompt is None and run.phase in ASKING:
        run = ask(run, leg, question(run, leg), now)  # after an outage the question may be gone
    if run.phase is RESTING or run.phase is RAMPING:  # the usual case, said first
        return _climb_or_rest(run, leg, seen, now, dt, events)
    match run.phase:
        case P.ARMED:
            return _armed(poured.asked(run, leg, now), view, now, events)
        case P.HEATING:
            return _heating(poured.asked(run, leg, now), leg, seen, now, dt, events)
        case P.WAITING:
            return _waiting(run, leg, now, events)
        case P.ADDING:
            return run
        case P.SETTLING:
            return next_leg(run, now, events) if now - run.phase_since >= leg.mixing_s else run
        case _:
            assert_never(run.phase)


def _armed(run: Run, view: View, now: Instant, events: list[Event]) -> Run:
    """Heat begins at its time, or a little later where a link was down then. An empty tun is not waited for."""
    late_s = now - (now if run.begun.armed_until is None else run.begun.armed_until)
    if late_s < 0.0 or not (view.ready or view.dry or late_s >= ARMED_LATE_S):
        return run
    if view.dry or not view.ready:
        lacks = "the level switch says that there is no liquid"
        why = lacks if view.dry else f"heat has not been possible for {ARMED_LATE_S / 60:.0f} min (look at the notes)"
        events.append(Event("note", "delayed start", f"delayed start refused: {why}. Nothing heats", priority=1))
        return states.to(run, S.STOPPING, now, events, f"delayed start refused: {why}")
    events.append(Event("phase", "heating", "delayed start: heating of the strike liquor begins", priority=2))
    return enter(run._replace(progress=run.progress._replace(ramp_at=now), key=run.key + 1), P.HEATING, now)


def _in_band(run: Run, leg: Leg, seen: Measurement, now: Instant, dt: float) -> Run:
    """Since when has the mash been within the narrow band? A doubtful second neither counts nor starts it anew."""
    since, value_c = run.progress.band_since, seen.value_c
    if value_c is None or not (abs(value_c - leg.target_c) <= BAND_K):
        later = None
    elif seen.doubtful:
        later = None if since is None else min(now, since + dt)
    else:
        later = now if since is None else since
    return run if later == since else run._replace(progress=run.progress._replace(band_since=later))


def _heating(run: Run, leg: Leg, seen: Measurement, now: Instant, dt: float, events: list[Event]) -> Run:
    run = _in_band(run, leg, seen, now, dt)
    since = run.progress.band_since
    if since is None or now - since < (BAND_S if leg.ramp_s > 0.0 else STANDS_S):
        return run
    text = f"strike liquor is ready at {leg.target_c:.1f} °C; it is kept until somebody doughs in"
    events.append(Event("note", "ready for grain", text, value=leg.target_c, unit="°C", priority=2))
    run = run._replace(progress=run.progress._replace(in_band_at=since))
    return ask(enter(run, P.WAITING, now), leg, "dough_in", now)


def _waiting(run: Run, leg: Leg, now: Instant, events: list[Event]) -> Run:
    """Somebody is asked. An iodine gate may go on by itself where the program says so."""
    late = leg.iodine.go_on_after_s is not None and now - run.phase_since >= leg.iodine.go_on_after_s
    if leg.ends == "iodine" and late and run.prompt is not None:
        events.append(Event("note", "iodine", f"{leg.name}: nobody answered; the program says to go on", priority=2))
        return next_leg(run, now, events)
    if leg.kind == "dough_in" and not run.told.nobody and now - run.phase_since >= states.NOBODY_S:
        waited = f"ready for grain for {states.NOBODY_S / 60:.0f} min and nobody came"
        text = f"{waited}; heat goes off after {states.SAFE_KEEP_S / 3600:.0f} h"
        events.append(Event("note", "ready for grain", text, value=states.NOBODY_S, unit="s", priority=1))
        run = run._replace(told=run.told._replace(nobody=True))
    if now - run.phase_since > states.SAFE_KEEP_S:
        return states.to(held(run, "person"), S.HOLDING, now, events, "nobody answered for two hours")
    return run


def _climb_or_rest(run: Run, leg: Leg, seen: Measurement, now: Instant, dt: float, events: list[Event]) -> Run:
    run = _in_band(run, leg, seen, now, dt)
    if run.phase is RAMPING and run.progress.band_since is not None:
        run = enter(run, RESTING, now)
    if leg.kind in COMES_IN and free(run):
        run = enter(run, P.WAITING, now)
        return ask(run, leg, question(run, leg), now)
    run = _credit(run, leg, seen, now, dt)
    return _rest_over(run, leg, now, events)


def _credit(run: Run, leg: Leg, seen: Measurement, now: Instant, dt: float) -> Run:
    """Has this second earned rest time?"""
    progress = run.progress
    if not progress.counting:
        since = progress.band_since
        if since is None or now - since < BAND_S:
            return run
        first = since if progress.in_band_at is None else progress.in_band_at
        begun = progress._replace(counting=True, credited_s=progress.credited_s + BAND_S, in_band_at=first)
        return run._replace(progress=begun)
    if seen.doubtful or seen.value_c is None or not (abs(seen.value_c - leg.target_c) <= leg.tolerance_k):
        return run
    return run._replace(progress=progress._replace(credited_s=progress.credited_s + min(dt, MOST_CREDIT_S)))


def _rest_over(run: Run, leg: Leg, now: Instant, events: list[Event]) -> Run:
    """Is the rest done, or is somebody to be asked?"""
    if not run.progress.counting:
        return run
    if leg.kind == "keep":
        return _keep(run, leg, now, events)
    if leg.ends == "iodine" and not run.progress.iodine_ok:
        return _iodine_gate(run, leg, now)
    if run.progress.credited_s < leg.hold_s:
        if leg.iodine.every_s > 0.0:
            return iodine_series.due(run, leg, now)
        return _ph_due(run, leg, now) if leg.remind_s > 0.0 else run
    if leg.iodine.every_s > 0.0 and not run.progress.iodine_ok:
        events.append(iodine_series.not_seen(leg))
    if leg.ends == "person":
        return ask(enter(run, P.WAITING, now), leg, "go_on", now)
    return next_leg(run, now, events)


def _ph_due(run: Run, leg: Leg, now: Instant) -> Run:
    """A souring hold asks for its pH from time to time; nothing waits for it."""
    times = int(run.progress.credited_s // leg.remind_s)
    if times <= run.progress.reminded or run.prompt is not None:
        return run
    return ask(run._replace(progress=run.progress._replace(reminded=times)), leg, "ph", now)


def _hot_liquor(run: Run, seen: Measurement, now: Instant, events: list[Event]) -> Run:
    """Is it time to heat the liquor for the run-off, so that it is ready when the mash is?"""
    course = run.course
    if course is None or course.people.hot_liquor_s is None or run.told.liquor or run.phase is P.ARMED:
        return run
    left = finish_in_s(run, seen.value_c, now)
    if left is None or left > course.people.hot_liquor_s + HOT_LIQUOR_MARGIN_S:
        return run
    takes = f"it takes {course.people.hot_liquor_s / 60:.0f} min, and the mash is ready in {left / 60:.0f} min"
    text = f"heat the run-off liquor to {course.people.hot_liquor_c or 78.0:.0f} °C now: {takes}"
    events.append(Event("note", "hot liquor", text, value=round(left), unit="s", priority=2))
    return run._replace(told=run.told._replace(liquor=True))


def _iodine_gate(run: Run, leg: Leg, now: Instant) -> Run:
    """The test is asked for at its minute; the rest does not end without a result."""
    over = run.progress.credited_s >= leg.hold_s
    ask_at = run.progress.ask_at_s if run.progress.ask_at_s is not None else (leg.iodine.after_s or leg.hold_s)
    if free(run) and (over or run.progress.credited_s >= ask_at):
        run = ask(run, leg, "iodine_decide" if run.progress.iodine_tests >= IODINE_TESTS else "iodine", now)
    return enter(run, P.WAITING, now) if over else run


def _keep(run: Run, leg: Leg, now: Instant, events: list[Event]) -> Run:
    """Kept until taken over, or until the longest wait is over."""
    if free(run):
        return ask(run, leg, "take_over", now)
    if run.progress.credited_s < leg.hold_s:
        return run
    text = f"{leg.name}: nobody took over within {leg.hold_s / 60:.0f} min; heat is off"
    events.append(Event("note", "keep", text, priority=2))
    return next_leg(run, now, events)


def next_leg(run: Run, now: Instant, events: list[Event]) -> Run:
    """The step is done; the next begins with its rise."""
    leg = leg_of(run)
    if leg is not None:
        events.append(step_done(run, leg, now))
    run = run._replace(
        leg=run.leg + 1,
        phase=P.RAMPING,
        phase_since=now,
        progress=Progress(ramp_at=now, reached_at=_reached_at(run)),
        key=run.key + 1,
        prompt=None,
        grain_in=run.grain_in or (leg is not None and leg.kind == "dough_in"),
    )
    following = leg_of(run)
    if following is None:
        return states.to(run, S.COMPLETE, now, events, "all steps are done; heat is off")
    events.append(Event("step", following.name, f"step {run.leg + 1}: {following.name}, {following.target_c:.1f} °C"))
    if following.told:
        events.append(Event("note", "enzyme", f"{following.name}: {following.told}", priority=2))
        run = ask(run, following, "enzyme", now)
    return run


def _reached_at(run: Run) -> Instant | None:
    """Since when has the mash been as warm as the next step wants it? None where that one moves it."""
    here, following = leg_of(run), leg_of(run._replace(leg=run.leg + 1))
    if here is None or following is None or here.kind == "dough_in" or here.target_c != following.target_c:
        return None
    return run.progress.in_band_at if run.progress.reached_at is None else run.progress.reached_at


def step_done(run: Run, leg: Leg, now: Instant) -> Event:
    """The line in the record for a finished step."""
    progress = run.progress
    began, there = progress.ramp_at, progress.in_band_at
    planned = f"{progress.credited_s:.0f} s of {leg.hold_s:.0f} s" if leg.hold_s else "done"
    data = {
        "index": run.leg,
        "kind": leg.kind,
        "target_c": leg.target_c,
        "planned_s": leg.hold_s,
        "credited_s": round(progress.credited_s, 1),
        "ramp_s": None if began is None or there is None else round(there - began, 1),
        "took_s": round(now - (run.phase_since if began is None else began), 1),
    }
    return Event("step done", leg.name, f"{leg.name}: {planned}", data=data)
