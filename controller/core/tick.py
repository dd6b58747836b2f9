"""What happens in one tick? The corridor: calls the rooms in order and does nothing else.

    readings -> probe -> orders, program -> trajectory -> loop -> on_off -> GUARD -> heater command

Data goes one way. What must flow back (power let out, trips) does so through `State`, one tick later.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from controller.core import carry_out, probe, supply
from controller.core.control import loop, on_off, trajectory
from controller.core.control.belief import Belief
from controller.core.control.heat_path import heat_path
from controller.core.control.observer import in_mash
from controller.core.control.plant_model import PlantModel, believed
from controller.core.guard import gate as guard
from controller.core.guard import liquid
from controller.core.guard.senses import HEATED, NO_RUN, AtHeater, Own, Probed, Senses
from controller.core.guard.senses import Run as RunSense
from controller.core.nouns import (
    Demand,
    Event,
    Inputs,
    Instant,
    Measurement,
    Phase,
    Presence,
    RunState,
    Sample,
    Setpoint,
    Target,
    View,
)
from controller.core.procedure import estimate, program, resume, settling, wanted, who_moves
from controller.core.procedure.orders import envelope
from controller.core.procedure.run import Run, capacity_j_per_k, go, highest_remaining_c
from controller.core.state import Outcome, State
from controller.settings.service import Settings
from controller.settings.tun import Probe, Tun

CHECK_S = 60.0  # checking ends after so long even without good readings


def tick(settings: Settings, state: State, now: Instant, inputs: Inputs) -> Outcome:
    """One step of everything. `now` in s on the scaled monotonic clock; raises ValueError if time goes back (a bug)."""
    dt = now - state.now
    if dt < 0.0:
        raise ValueError(f"time went back by {-dt:g} s")
    tun, limit_s = settings.tun, 60.0 * settings.service.resume_minutes
    was, last_c = state.run.state, state.mash.value_c
    if slept := resume.slept(dt, limit_s, tun.guard.clock_odd_s):
        inputs = inputs._replace(gap_s=max(inputs.gap_s, dt))
    settled_guard = guard.settle(state.guard, inputs.disk.ok, inputs.disk.written_seq)
    state = state if settled_guard is state.guard else state._replace(guard=settled_guard)
    state, seen, second, outlet = _look(settings, state, now, inputs)
    mashed = in_mash(heat_path(tun), not state.run.grain_in, state.loop.belief, seen)
    seen_view = _view(settings, state, now)
    state, events, replies = carry_out.all_orders(settings, state, now, inputs, mashed, seen_view)
    run = state.run if slept else _walked(settings, state, seen_view, mashed, now, dt, events)
    decided = was is RunState.CHECKING and run.state is not RunState.CHECKING
    target = wanted.target(run, tun)
    stirrer, pump = who_moves.motors(run, now)
    model = believed(tun, target, settings.learned, state.loop.belief)
    climbed, setpoint = trajectory.shape(model, target, state.trajectory, seen, state.loop.saturated, dt)
    outlet_c = outlet.value_c if outlet is not None else None
    applied = state.guard.line.duty * min(1.0, tun.heater.lease_s / dt) if dt > 0.0 else 0.0  # a lease ends by itself
    looped, demand = loop.regulate(
        model, setpoint, target, seen, applied, state.loop, dt, outlet_c, tun.guard.outlet_limit_c
    )
    switched, demand = _switched(model, demand, state, dt)
    demand = supply.capped(demand, tun, inputs.supply_w)
    stir_on_s = state.stir_on_s + dt if stirrer.on else 0.0
    pump_on_s = state.pump_on_s + dt if pump.on else 0.0
    senses = _senses(tun, state, run, now, dt, inputs, seen, second, outlet, target, setpoint, stir_on_s, pump_on_s)
    known = state.guard._replace(need_durable=True) if decided else state.guard
    gate = guard.check(known, senses, demand)
    events.extend(gate.events)
    pending = None if decided else state.pending
    if slept:
        run, pending, said = resume.over_gap(run, pending, last_c, dt, now, limit_s)
        events.extend(said)
    state = state._replace(
        now=now,
        run=run,
        pending=pending,
        guard=gate.state,
        trajectory=climbed,
        loop=looped,
        on_off=switched,
        pump_on_s=pump_on_s,
        stir_on_s=stir_on_s,
    )
    return Outcome(
        state=state,
        command=gate.command,
        stirrer=stirrer,
        pump=pump,
        events=tuple(events),
        replies=(*replies, *gate.replies),
        seen=mashed,
        second=second,
        outlet=outlet,
        target=target,
        setpoint=setpoint,
        demand=demand,
        view=seen_view,
    )


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


# ---------------------------------------------------------------- reading


def _look(
    settings: Settings, state: State, now: Instant, inputs: Inputs
) -> tuple[State, Measurement, Measurement | None, Measurement | None]:
    """Every probe's newest samples, judged."""
    tun, run, delay = settings.tun, state.run, max(0.0, inputs.link.delay_s)
    probes, jump_k = tun.probes, tun.guard.jump_k
    heated, begun = run.state in HEATED, run.state not in NO_RUN and run.state is not RunState.CHECKING
    trust = not heated or run.phase is Phase.ADDING or run.phase is Phase.SETTLING
    born = begun and probe.reborn(inputs.probe_online, state.mash)
    mash, seen = probe.look(probes.mash, jump_k, state.mash, inputs.mash, now, delay, trust, strict=begun, born=born)
    waits = begun and not heated  # what holds heat back now must not be cleared by old readings of another probe
    second, seen2 = _other(probes.second, jump_k, state.second, inputs.second, now, delay, waits)
    outlet, seen3 = _other(probes.outlet, 100.0, state.outlet, inputs.outlet, now, delay, waits)
    state = state._replace(
        mash=mash,
        second=second,
        outlet=outlet,
        orders=envelope.renew(state.orders, state.boot, now),
        heater=inputs.heater if inputs.heater is not None else state.heater,
        level=inputs.level if inputs.level is not None else state.level,
        flow=inputs.flow if inputs.flow is not None else state.flow,
    )
    return state, seen, seen2, seen3


def _other(
    which: Probe | None,
    jump_k: float,
    state: probe.ProbeState,
    samples: tuple[Sample, ...],
    now: Instant,
    delay: float,
    strict: bool,
) -> tuple[probe.ProbeState, Measurement | None]:
    if which is None:
        return state, None
    return probe.look(which, jump_k, state, samples, now, delay, trust=True, strict=strict)


def _view(settings: Settings, state: State, now: Instant) -> View:
    tun = settings.tun
    return guard.view(state.guard, tun, now, liquid.flows(tun, state.flow, now))


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


# ---------------------------------------------------------------- towards the guard


def _switched(model: PlantModel, demand: Demand, state: State, dt: float) -> tuple[on_off.OnOffState, Demand]:
    switched, duty = on_off.modulate(model.path.switching, demand, state.on_off, dt)
    return switched, demand if duty == demand.duty else Demand(duty, demand.reason)


def _senses(
    tun: Tun,
    state: State,
    run: Run,
    now: Instant,
    dt: float,
    inputs: Inputs,
    seen: Measurement,
    second: Measurement | None,
    outlet: Measurement | None,
    target: Target,
    setpoint: Setpoint | None,
    stir_on_s: float,
    pump_on_s: float,
) -> Senses:
    """What the guard looks at: raw samples and plate figures, no other room's opinion but the program's target."""
    course, report, stirrer, pump = run.course, inputs.heater, tun.stirrer, tun.pump
    stirred = (stirrer is None or not stirrer.required_for_heat or stir_on_s > 0.0) and (
        pump is None or not pump.required_for_heat or pump_on_s > 0.0
    )
    return Senses(
        tun=tun,
        now=now,
        dt=dt,
        run=RunSense(
            state=run.state,
            phase=run.phase,
            target=target,
            setpoint_c=setpoint.value_c if setpoint is not None else None,
            highest_c=highest_remaining_c(run) if run.state in HEATED else None,
            capacity_j_per_k=(capacity_j_per_k(run) or tun.metal_j_per_k) + tun.heater.bath_j_per_k,
            run_s=now - run.started_at - run.excluded_s,
            planned_s=course.planned_s if course is not None else 0.0,
        ),
        mash=Probed(seen=seen, raw=inputs.mash, gone=_gone(inputs.probe_online, state.mash, now)),
        second=_probed(second, inputs.second, _gone(inputs.second_online, state.second, now)),
        outlet=_probed(outlet, inputs.outlet, _gone(inputs.outlet_online, state.outlet, now)),
        heater=AtHeater(
            report=report if report is not None and report.at > now - dt else None,
            online=inputs.heater_online,
            level=state.level,
            flow=state.flow,
            pump_on_s=pump_on_s,
            stirred=stirred,
        ),
        own=Own(
            link=inputs.link,
            late_s=inputs.late_s,
            gap_s=inputs.gap_s,
            wall_set_s=inputs.wall_set_s,
            epoch=state.guard.epoch,
            epoch_seen=inputs.epoch_seen,
            disk_ok=inputs.disk.ok,
            durable_seq=inputs.disk.durable_seq,
        ),
    )


def _gone(presence: Presence | None, known: probe.ProbeState, now: Instant) -> bool:
    return presence is not None and probe.gone(presence, known, now)


def _probed(seen: Measurement | None, raw: tuple[Sample, ...], gone: bool) -> Probed | None:
    return None if seen is None else Probed(seen=seen, raw=raw, gone=gone)
