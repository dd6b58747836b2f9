"""What happens in one tick? The corridor: calls the rooms in order and does nothing else.

    readings -> probe -> orders, program -> trajectory -> loop -> on_off -> GUARD -> heater command

Data goes one way. What must flow back (power let out, trips) does so through `State`, one tick later.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from controller.core import carry_out, sensing, supply
from controller.core.control import loop, on_off, slow_flow, trajectory
from controller.core.control.belief import Belief
from controller.core.control.heat_path import heat_path
from controller.core.control.observer import in_mash
from controller.core.control.plant_model import believed
from controller.core.guard import gate as guard
from controller.core.inputs import Inputs
from controller.core.nouns import Demand, Event, Instant, Measurement, RunState, Setpoint, Target, View
from controller.core.procedure import estimate, plight, program, resume, settling, wanted, who_moves
from controller.core.procedure.run import Run, go
from controller.core.state import Outcome, State
from controller.quick_records import maker
from controller.settings.service import Settings

_outcome = maker(Outcome)
CHECK_S = 60.0  # checking ends after so long even without good readings


def tick(settings: Settings, state: State, now: Instant, inputs: Inputs) -> Outcome:
    """One step of everything. `now` in s on the scaled monotonic clock; raises ValueError if time goes back (a bug)."""
    dt = now - state.now
    if dt < 0.0:
        raise ValueError(f"time went back by {-dt:g} s")
    tun, limit_s = settings.tun, 60.0 * settings.service.resume_minutes
    was, last_c = state.run.state, state.mash.value_c
    if slept := resume.slept(dt, limit_s, tun.guard.clock_odd_s):
        clocks = inputs.clocks
        inputs = inputs._replace(clocks=clocks._replace(gap_s=max(clocks.gap_s, dt)))
    settled = guard.settle(state.guard, inputs.disk.ok, inputs.disk.written_seq)
    state, read = sensing.look(settings, state, now, inputs, settled)
    mashed = in_mash(heat_path(tun), not state.run.grain_in, state.loop.belief, read.mash)
    view = sensing.view(settings, state, now)
    state, events, replies = carry_out.all_orders(settings, state, now, inputs, mashed, view)
    run = state.run if slept else _walked(settings, state, view, mashed, now, dt, events)
    decided = was is RunState.CHECKING and run.state is not RunState.CHECKING
    target = wanted.target(run, tun)
    stirrer, pump = who_moves.motors(run, now)
    state, setpoint, demand = _regulated(settings, state, target, read, dt, stirrer.on, pump.on)
    demand = supply.capped(demand, tun, inputs.supply_w)
    senses = sensing.senses(tun, state, run, now, dt, inputs, read, target, setpoint)
    shut = state.guard._replace(need_durable=True) if decided else state.guard
    gate = guard.check(shut, senses, demand)
    pending = None if decided else state.pending
    if slept:
        run, pending, said = resume.over_gap(run, pending, last_c, dt, now, limit_s)
        events.extend(said)
    return _outcome(
        state=state._replace(now=now, run=run, pending=pending, guard=gate.state),
        command=gate.command,
        stirrer=stirrer,
        pump=pump,
        events=(*events, *gate.events),
        replies=(*replies, *gate.replies),
        seen=mashed,
        second=read.second,
        outlet=read.outlet,
        target=target,
        setpoint=setpoint,
        demand=demand,
        view=view,
        meanwhile=plight.meanwhile(run, gate.state.trips, mashed.value_c, tun.room_c, now),
    )


def _regulated(
    settings: Settings, state: State, target: Target, read: sensing.Read, dt: float, stirs: bool, pumps: bool
) -> tuple[State, Setpoint | None, Demand]:
    """How much heat is asked for? Setpoint, loop and switch, each a second further, and the motors' own time."""
    tun = settings.tun
    model = believed(tun, target, settings.learned, state.loop.belief)
    climbed, setpoint = trajectory.shape(model, target, state.trajectory, read.mash, state.loop.saturated, dt)
    outlet_c = read.outlet.value_c if read.outlet is not None else None
    applied = state.guard.line.duty * min(1.0, tun.heater.lease_s / dt) if dt > 0.0 else 0.0  # a lease ends by itself
    looped, demand = loop.regulate(
        model, setpoint, target, read.mash, applied, state.loop, dt, outlet_c, tun.guard.outlet_limit_c
    )
    switched, duty = on_off.modulate(model.path.switching, demand, state.on_off, dt)
    state = state._replace(
        trajectory=climbed,
        loop=looped,
        on_off=switched,
        stir_on_s=state.stir_on_s + dt if stirs else 0.0,
        pump_on_s=state.pump_on_s + dt if pumps else 0.0,
    )
    return state, setpoint, demand if duty == demand.duty else Demand(duty, demand.reason)


def _walked(
    settings: Settings, state: State, view: View, mashed: Measurement, now: Instant, dt: float, events: list[Event]
) -> Run:
    """The run a second further, checks and estimate included."""
    walked = program.walk(state.run, view, mashed, now, dt)
    run = _checked(settings, walked.run, state, mashed, now, events)
    run, settled = settling.follow(state.run, run, settings.tun, mashed, now)
    mash, told = estimate.follow(run.mash, run.course, run.leg, run.phase, mashed, now)
    run = run if mash is run.mash else run._replace(mash=mash)
    if walked.events:
        events.extend(_with_found(walked.events, state.loop.belief))
    if run.grain_in and not run.told.flow and (slow := slow_flow.note(heat_path(settings.tun), state.loop.belief)):
        run = run._replace(told=run.told._replace(flow=True))
        events.append(slow)
    if settled is not None:
        events.append(settled)
    if told is not None:
        events.append(told)
    return run


def _with_found(events: Iterable[Event], belief: Belief) -> Iterator[Event]:
    """A finished step goes on record with what the loop found out by itself: heating rate and lag, over those believed
    at the start."""
    found = {"rate_found": round(belief.gain, 3), "lag_found": round(belief.lag, 3)}
    for event in events:
        yield event._replace(data={**(event.data or {}), **found}) if event.kind == "step done" else event


def _checked(settings: Settings, run: Run, state: State, seen: Measurement, now: Instant, events: list[Event]) -> Run:
    """Checking ends once the start-up lock is open and the readings are good, or after a minute without them.

    An open run is decided on then; without readings it is a person's to decide.
    """
    if run.state is not RunState.CHECKING or now < state.guard.evidence.off_until:
        return run
    if not state.guard.evidence.qualified and now - run.state_since < CHECK_S:
        return run
    if state.pending is not None:
        latched = any(t.latched for t in state.guard.trips)
        decision = resume.decide(state.pending, seen.value_c, settings.tun.guard.hard_limit_c - 2.0, latched)
        run, decided = resume.apply(state.pending, decision, now, seen.value_c)
        events.extend(decided)
        return run
    run, event = go(run, RunState.IDLE, now, "checks are done; heat stays off until a start")
    events.append(event)
    return run
