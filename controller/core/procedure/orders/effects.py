"""What does an accepted order do to the run?

One function an order. Each returns the run after it, or a sentence that says why not; a refused order changes nothing.
Orders reach here only after envelope.py has let them pass.
"""

from collections.abc import Callable
from functools import partial
from math import isfinite
from typing import Any

from controller.core.nouns import Event, Leg, Order, Phase, RunState
from controller.core.procedure import answers, poured, program, questions, states
from controller.core.procedure.run import (
    ADDED,
    ADJUST_LOW_C,
    Beginning,
    Done,
    Progress,
    Refused,
    Run,
    Situation,
    clock_stopped,
    enter,
    go,
    held,
    leg_of,
    with_leg,
)

S = RunState
P = Phase

LONGEST_ARMED_S = 14 * 3600.0  # a delayed start may lie so far ahead
ARM_MARGIN_S, ARM_MARGIN_SHARE = 900.0, 0.10  # begin so much earlier than the computed heat-up (own proposal)
ADJUST_LONGEST_S = 4 * 3600.0


def carry_out(run: Run, order: Order, at: Situation) -> Done | Refused:
    """Carry out one accepted order."""
    return EFFECTS[order.name](run, order, at)


def _to(run: Run, state: RunState, order: Order, at: Situation) -> tuple[Run, tuple[Event, ...]]:
    run, event = go(run, state, at.now, f"ordered by {order.by}")
    return run, (event,)


def _start(run: Run, order: Order, at: Situation) -> Done | Refused:
    missing = [*order.problems, *at.missing]
    if order.course is None and not order.problems:
        missing.insert(0, "no program was named; say `start program=NAME`")
    course = order.course
    if missing or course is None:
        return Refused("not started. Missing: " + "; ".join(missing))
    first = _number(order.args, "from_step", 0)
    credited = _number(order.args, "credited_s", 0)
    if first is None or not (0 <= first < len(course.legs)) or first != int(first):
        last = len(course.legs) - 1
        ends = f"from 0 ({course.legs[0].name}) to {last} ({course.legs[last].name})"
        return Refused(f"from_step must be a whole number {ends}")
    leg = course.legs[int(first)]
    if credited is None or not (0 <= credited <= leg.hold_s):
        return Refused(f"credited must lie between 0 and the {leg.hold_s / 60:g} min of {leg.name}")
    new = Run(
        state=S.IDLE,
        course=course._replace(people=course.people._replace(filed=())),
        begun=Beginning(f"{course.tun}-{int(at.wall_s)}-{order.id}"[:60], at.now, order.by, at.wall_s),
        leg=int(first),
        phase=P.HEATING if leg.kind == "dough_in" else P.RAMPING,
        phase_since=at.now,
        progress=Progress(credited_s=credited, ramp_at=at.now),
        key=run.key + 1,
        grain_in=leg.kind != "dough_in" and course.grist_kg > 0,
    )
    armed = _armed(new, leg, order, at)
    if isinstance(armed, Refused):
        return armed
    new, said = armed
    new, events = _to(new, S.RUNNING, order, at)
    started = Event("run", new.begun.id, f"{course.title} started by {order.by}", data={"program": course.program})
    step = Event("step", leg.name, f"step {new.leg + 1}: {leg.name}, {leg.target_c:.1f} °C")
    overruled = (  # advice that the brewer knows and does not follow, each with the reason, on record from the start
        Event("overrule", rule, f"{rule} overruled: {reason}", data={"reason": reason, "by": order.by})
        for rule, reason in (course.people.overruled or {}).items()
    )
    return new, said, (started, *course.people.filed, *overruled, *events, step)


def _armed(run: Run, leg: Leg, order: Order, at: Situation) -> tuple[Run, str] | Refused:
    """A delayed start works backwards from the wanted dough-in time."""
    ready = order.args.get("ready_at")
    if ready is None:
        return run, f"{run.course.title if run.course else ''} started as run {run.begun.id}"
    if not isinstance(ready, int | float) or isinstance(ready, bool) or not isfinite(ready):
        return Refused("ready_at must be a time in unix seconds")
    ahead = ready - at.wall_s
    if leg.kind != "dough_in" or not at.wall_confirmed or not (0 < ahead <= LONGEST_ARMED_S):
        return Refused("a delayed start needs a strike to heat, a confirmed clock, and a time within the next 14 hours")
    wait = max(0.0, ahead - leg.ramp_s - max(ARM_MARGIN_S, ARM_MARGIN_SHARE * leg.ramp_s))
    run = enter(run._replace(begun=run.begun._replace(armed_until=at.now + wait)), P.ARMED, at.now)
    return run, f"armed: heating begins in {wait / 60:.0f} min, so that liquor is ready at the wanted time"


def _pause(run: Run, order: Order, at: Situation) -> Done | Refused:
    run, events = _to(run, S.PAUSING, order, at)
    run = run._replace(told=run.told._replace(nobody=False))
    if run.phase in (P.HEATING, P.RAMPING) and at.seen.value_c is not None:
        leg = leg_of(run)
        kept = min(at.seen.value_c, leg.target_c) if leg else at.seen.value_c
        run = run._replace(progress=run.progress._replace(pause_c=kept), key=run.key + 1)
    return run, "paused: temperature is kept, the rest clock stands still", events


def _resume(run: Run, order: Order, at: Situation) -> Done | Refused:
    run, events = _to(states.waiting_anew(run, at.now), S.RUNNING, order, at)
    if run.progress.pause_c is not None:
        run = run._replace(progress=run.progress._replace(pause_c=None), key=run.key + 1)
    return run, "going on", events


def _hold(run: Run, order: Order, at: Situation) -> Done | Refused:
    run = held(run, "person" if run.hold.by in ("", "trip") else run.hold.by, paused=False)
    if run.state in (S.HOLDING, S.HELD):
        return run, "held: heat is off and stays off until `restart`", ()
    run, events = _to(run, S.HOLDING, order, at)
    return run, "holding: heat off, rest clock stands still, program kept", events


def _restart(run: Run, order: Order, at: Situation) -> Done | Refused:
    if at.view.trips:
        named = ", ".join(f"{t.id} {t.text}" for t in at.view.trips)
        return Refused(f"not restarted: still tripped ({named}); latched trips need `clear` first")
    if run.prompt is not None and run.prompt.id == "resume":
        return Refused(f"not restarted: first answer: {run.prompt.text}")
    if (litres := _number(order.args, "added_l", 0.0)) is not None and litres > 0.0:
        run = poured.meanwhile(run, litres)
    run, events = _to(held(run, run.hold.by, paused=False), S.RESTARTING, order, at)
    waits = f": {at.view.waits_for}" if at.view.waits_for else ""
    return run, f"restarting; heat returns after the checks{waits}", events


def _end(state: RunState, said: str, run: Run, order: Order, at: Situation) -> Done | Refused:
    run, events = _to(run._replace(prompt=None), state, order, at)
    return run, said, events


def _reset(run: Run, order: Order, at: Situation) -> Done | Refused:
    run, events = _to(Run(state=run.state, key=run.key + 1), S.IDLE, order, at)
    return run, "ready for a new run", events


def _advance(run: Run, order: Order, at: Situation) -> Done | Refused:
    leg = leg_of(run)
    if leg is None:
        return Refused("there is no step to leave")
    if run.phase in ADDED:
        why = "something is being added, and heat is blocked until it is in, stirred and settled; wait for that"
        return Refused(why)
    if leg.kind == "dough_in" and not run.grain_in:
        return Refused("the strike step ends with dough-in, not with `advance`; answer the question or `stop`")
    events: list[Event] = [Event("order", "advance", f"{leg.name} left early by {order.by}", data={"by": order.by})]
    run = program.next_leg(run, at.now, events)
    return run, f"left {leg.name} at {leg.target_c:.0f} °C", tuple(events)


def _extend(run: Run, order: Order, at: Situation) -> Done | Refused:
    leg, more = leg_of(run), _number(order.args, "by_s", None)
    if leg is None or leg.kind == "dough_in":
        return Refused("only a rest can be extended")
    if more is None or not (0 < more <= ADJUST_LONGEST_S):
        return Refused("say by how much time: above 0 and at most 4 h")
    run = with_leg(run, run.leg, leg._replace(hold_s=leg.hold_s + more))
    if run.phase is P.WAITING and run.prompt is not None and run.prompt.id in ("go_on", "iodine", "iodine_decide"):
        run = enter(run._replace(prompt=None), P.RESTING, at.now)
    text = f"{leg.name} is {more / 60:g} min longer: {(leg.hold_s + more) / 60:g} min"
    return run, text, (Event("order", "extend", text, value=more, unit="s", data={"by": order.by}),)


def _adjust(run: Run, order: Order, at: Situation) -> Done | Refused:
    index = _number(order.args, "step", run.leg)
    if run.course is None or index is None or not (run.leg <= index < len(run.course.legs)) or index != int(index):
        return Refused(f"only this or a later step can be adjusted{_steps_left(run)}")
    if not any(key in order.args for key in ("target_c", "hold_s", "climb_k_per_s")):
        return Refused('nothing to change: say its temperature, its time or its ramp, such as temperature="64 °C"')
    leg = run.course.legs[int(index)]
    problems, new = _adjusted(leg, order.args, at.ceiling_c)
    if problems:
        return Refused("not adjusted: " + "; ".join(problems))
    run = with_leg(run, int(index), new)
    if int(index) == run.leg and new.target_c != leg.target_c:
        run = clock_stopped(run._replace(key=run.key + 1))
        if run.phase is P.RESTING:
            run = enter(run, P.RAMPING, at.now)
    data = {"step": int(index), "by": order.by, "target_c": new.target_c, "hold_s": new.hold_s}
    text = f"{leg.name} is now {new.target_c:.1f} °C for {new.hold_s / 60:g} min"
    return run, text, (Event("order", "adjust", text, data=data),)


def _steps_left(run: Run) -> str:
    """Which steps are these, by the number on the wire and by name?"""
    legs = run.course.legs if run.course is not None else ()
    left = [f"{number} ({leg.name})" for number, leg in enumerate(legs) if number >= run.leg]
    return f"; `step` is one of {', '.join(left)}" if left else ""


def _adjusted(leg: Leg, args: Any, ceiling_c: float) -> tuple[list[str], Leg]:
    problems: list[str] = []
    target = _number(args, "target_c", leg.target_c)
    hold = _number(args, "hold_s", leg.hold_s)
    climb = _number(args, "climb_k_per_s", leg.climb_k_per_s)
    if target is None or not (ADJUST_LOW_C <= target <= ceiling_c):
        problems.append(f"the temperature must lie between {ADJUST_LOW_C:g} and {ceiling_c:g} °C")
    if hold is None or not (0 <= hold <= ADJUST_LONGEST_S):
        problems.append(f"the time must lie between 0 and {ADJUST_LONGEST_S / 3600:g} h")
    if climb is None or not (0 < climb <= leg.climb_k_per_s):
        problems.append(
            f"the ramp must be above 0 and at most {60 * leg.climb_k_per_s:.2g} K/min; it can only be slowed"
        )
    if target is None or hold is None or climb is None:
        return problems, leg
    return problems, leg._replace(target_c=target, hold_s=hold, climb_k_per_s=climb)


def _announce(run: Run, order: Order, at: Situation) -> Done | Refused:
    leg = leg_of(run)
    if leg is None or run.phase not in (P.RAMPING, P.RESTING):
        return Refused("an addition can be announced during a rise or a rest; other additions have their own question")
    run = questions.ask(enter(run, P.ADDING, at.now), leg, "addition_in", at.now)
    text = f"addition announced by {order.by}; heat is blocked until it is stirred in"
    return run, text, (Event("phase", "adding", text, data={"by": order.by}),)


def _acknowledge(run: Run, order: Order, at: Situation) -> Done | Refused:
    text = f"heard by {order.by}"
    if not at.view.trips and run.prompt is None:
        text = f"nothing to acknowledge; {text}"
    return run, text, (Event("acknowledge", order.trip or "all", text, data={"by": order.by}),)


def _clear(run: Run, order: Order, at: Situation) -> Done | Refused:
    return Refused("a clear is the guard's to judge")  # tick hands it to the guard; never reached


EFFECTS: dict[str, Callable[[Run, Order, Situation], Done | Refused]] = {
    "start": _start,
    "pause": _pause,
    "resume": _resume,
    "hold": _hold,
    "restart": _restart,
    "stop": partial(_end, S.STOPPING, "stopping: heat is off, the run ends"),
    "abort": partial(_end, S.ABORTING, "aborting: heat is off, the program is dropped"),
    "reset": _reset,
    "clear": _clear,
    "advance": _advance,
    "extend": _extend,
    "adjust": _adjust,
    "answer": answers.answer,
    "announce": _announce,
    "acknowledge": _acknowledge,
}


def _number(args: Any, key: str, default: float | None) -> float | None:
    """A finite number from an order's arguments, the default when absent, None when it is no number."""
    value = args.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return None
    return float(value)
