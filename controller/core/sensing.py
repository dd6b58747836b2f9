"""What do the rooms see of a tick's inputs, and what does the guard?

The rooms get what the probe room believes. The guard gets raw samples and plate figures, and no other room's opinion
but the program's target.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core import probe
from controller.core.guard import gate, liquid
from controller.core.guard.senses import HEATED, NO_RUN, AtHeater, Own, Probed, Senses
from controller.core.guard.senses import Run as RunSense
from controller.core.guard.state import GuardState
from controller.core.inputs import Inputs
from controller.core.nouns import (
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
from controller.core.procedure.orders import envelope
from controller.core.procedure.run import Run, capacity_j_per_k, highest_remaining_c
from controller.core.state import State
from controller.quick_records import maker
from controller.settings.service import Settings
from controller.settings.tun import Probe, Tun

OUTLET_JUMP_K = 100.0  # an outlet may do what it likes: it follows the heater


class Read(NamedTuple):
    """What is believed of each probe."""

    mash: Measurement
    second: Measurement | None  # None: not fitted
    outlet: Measurement | None


_read, _senses, _run_sense = maker(Read), maker(Senses), maker(RunSense)
_heater, _own, _probe_sense = maker(AtHeater), maker(Own), maker(Probed)


def look(settings: Settings, state: State, now: Instant, inputs: Inputs, settled: GuardState) -> tuple[State, Read]:
    """Every probe's newest samples, judged; with the guard as it was `settled` before."""
    tun, run, delay_s = settings.tun, state.run, max(0.0, inputs.link.delay_s)
    heated, begun = run.state in HEATED, run.state not in NO_RUN and run.state is not RunState.CHECKING
    trust = not heated or run.phase is Phase.ADDING or run.phase is Phase.SETTLING
    born = begun and probe.reborn(inputs.there.mash, state.mash)
    mash, seen = probe.look(
        tun.probes.mash, tun.guard.jump_k, state.mash, inputs.mash, now, delay_s, trust, strict=begun, born=born
    )
    waits = begun and not heated  # what holds heat back now must not be cleared by old readings of another probe
    second, seen2 = _other(tun.probes.second, tun.guard.jump_k, state.second, inputs.second, now, delay_s, waits)
    outlet, seen3 = _other(tun.probes.outlet, OUTLET_JUMP_K, state.outlet, inputs.outlet, now, delay_s, waits)
    state = state._replace(
        guard=settled,
        mash=mash,
        second=second,
        outlet=outlet,
        orders=envelope.renew(state.orders, state.boot, now, inputs.clocks.wall_set_s),
        heater=inputs.heater if inputs.heater is not None else state.heater,
        level=inputs.level if inputs.level is not None else state.level,
        flow=inputs.flow if inputs.flow is not None else state.flow,
    )
    return state, _read(mash=seen, second=seen2, outlet=seen3)


def _other(
    which: Probe | None,
    jump_k: float,
    state: probe.ProbeState,
    samples: tuple[Sample, ...],
    now: Instant,
    delay_s: float,
    strict: bool,
) -> tuple[probe.ProbeState, Measurement | None]:
    if which is None:
        return state, None
    return probe.look(which, jump_k, state, samples, now, delay_s, trust=True, strict=strict)


def view(settings: Settings, state: State, now: Instant) -> View:
    """What the other rooms may know of the guard."""
    dry = settings.tun.level is not None and state.level is not None and not state.level.ok
    seen = gate.view(state.guard, settings.tun, now, liquid.flows(settings.tun, state.flow, now))
    return seen._replace(dry=True) if dry else seen


def senses(
    tun: Tun,
    state: State,
    run: Run,
    now: Instant,
    dt: float,
    inputs: Inputs,
    read: Read,
    target: Target,
    setpoint: Setpoint | None,
) -> Senses:
    """What the guard looks at."""
    return _senses(
        tun=tun,
        now=now,
        dt=dt,
        run=_of_run(tun, run, now, target, setpoint),
        mash=_probe_sense(seen=read.mash, raw=inputs.mash, gone=_gone(inputs.there.mash, state.mash, now)),
        second=_probed(read.second, inputs.second, _gone(inputs.there.second, state.second, now)),
        outlet=_probed(read.outlet, inputs.outlet, _gone(inputs.there.outlet, state.outlet, now)),
        heater=_at_heater(tun, state, inputs, since=now - dt),
        own=_own(
            link=inputs.link,
            late_s=inputs.clocks.late_s,
            gap_s=inputs.clocks.gap_s,
            wall_set_s=inputs.clocks.wall_set_s,
            epoch=state.guard.epoch,
            epoch_seen=inputs.epoch_seen,
            disk_ok=inputs.disk.ok,
            durable_seq=inputs.disk.durable_seq,
        ),
    )


def _of_run(tun: Tun, run: Run, now: Instant, target: Target, setpoint: Setpoint | None) -> RunSense:
    return _run_sense(
        state=run.state,
        phase=run.phase,
        target=target,
        setpoint_c=setpoint.value_c if setpoint is not None else None,
        highest_c=highest_remaining_c(run) if run.state in HEATED else None,
        capacity_j_per_k=(capacity_j_per_k(run) or tun.metal_j_per_k) + tun.heater.bath_j_per_k,
        run_s=now - run.begun.at - run.begun.excluded_s,
        planned_s=run.course.planned_s if run.course is not None else 0.0,
    )


def _at_heater(tun: Tun, state: State, inputs: Inputs, since: Instant) -> AtHeater:
    report, stirrer, pump, movers = inputs.heater, tun.stirrer, tun.pump, inputs.there.movers
    stirred = (stirrer is None or not stirrer.required_for_heat or state.stir_on_s > 0.0) and (
        pump is None or not pump.required_for_heat or state.pump_on_s > 0.0
    )
    return _heater(
        report=report if report is not None and report.at > since else None,
        online=_there(inputs.there.heater, state.guard.line.acked_at),
        movers=None if movers is None else movers.there,
        level=state.level,
        flow=state.flow,
        pump_on_s=state.pump_on_s,
        stirred=stirred,
    )


def _there(presence: Presence | None, answered: Instant | None) -> bool | None:
    """Is the heater node there? A report that answers a command sent after the word that it is gone settles it."""
    if presence is None:
        return None
    return presence.there or (answered is not None and answered > presence.at)


def _gone(presence: Presence | None, known: probe.ProbeState, now: Instant) -> bool:
    return presence is not None and probe.gone(presence, known, now)


def _probed(seen: Measurement | None, raw: tuple[Sample, ...], gone: bool) -> Probed | None:
    return None if seen is None else _probe_sense(seen=seen, raw=raw, gone=gone)
