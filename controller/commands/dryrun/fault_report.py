"""What does a dry run say of its faults, and of an end that was none?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from controller.core.guard.registry import BY_ID
from controller.core.nouns import Trip
from controller.core.procedure.run import Run
from controller.plan.plan import Plan
from controller.settings.table import show
from controller.settings.tun import Tun
from sim.dryrun import DryRun, Ran
from sim.world.faults import KINDS, Fault


class FaultReport(NamedTuple):
    """What is to be said of a run besides its figures."""

    faults: tuple[str, ...] = ()
    unfinished: str = ""  # why it did not complete
    idle: tuple[str, ...] = ()  # faults without effect


NOTHING = FaultReport()


def told(machine: DryRun, ran: Ran, specs: Sequence[str], faults: Sequence[Fault]) -> FaultReport:
    """What is to be said of this run, with the faults as they were given?"""
    state = machine.state
    return FaultReport(
        tuple(spec.strip() if "@" in spec else str(fault) for spec, fault in zip(specs, faults, strict=True)),
        unfinished(ran.result, ran.duration_s, state.run, state.guard.trips, ran.refusals),
        tuple(idle(faults, machine.plan, ran.ended_s)),
    )


def fault_table() -> str:
    """Every fault there is, with what its value means."""
    width = max(map(len, KINDS))
    lines = [
        "A fault is written KIND@START+DURATION=VALUE, times in s, or with min or h:\n"
        "heater_power@15min+300=0.5 leaves half the power from 15 min after the start on, for 300 s.\n"
        "What is left out is as usual for the kind; START is 600 s.\n"
        "Codes: P probe, H heater and plant, M messages, C computer, U person. In brackets the value: usual, range.\n\n"
    ]
    for name, kind in KINDS.items():
        value = f" (={kind.value:g}, {kind.low:g} to {kind.high:g})" if kind.low != kind.high else ""
        lines.append(f"{name:<{width}}  {kind.hazard:<10}  {kind.what}{value}\n")
    return "".join(lines)


# ---------------------------------------------------------------- faults that could not act


def idle(faults: Iterable[Fault], plan: Plan, ended_s: float) -> list[str]:
    """Which faults had no effect, and why? `ended_s`: when the dry run ended."""
    lines = []
    for fault in faults:
        if lacks := _lacks(fault, plan):
            lines.append(f"fault {fault.kind} had no effect: {lacks}")
        elif fault.at_s >= ended_s:
            begins = show("duration", round(fault.at_s))
            lines.append(f"fault {fault.kind} had no effect: the run ended before {begins}")
    return lines


def _lacks(fault: Fault, plan: Plan) -> str:
    """What is not there that the fault would strike? Empty where it can strike."""
    tun, kind = plan.tun, fault.kind
    if kind == "liquor_share" and fault.at_s > 0.0:
        return "the liquor is in the tun from the start; write liquor_share@0"
    if kind == "grist_share" and not plan.program.grist:
        return f"{plan.program.name} has no grist"
    missing = next((name for kinds, name, there in _parts(tun) if kind in kinds and not there), "")
    return f"{tun.name} has no {missing}" if missing else ""


def _parts(tun: Tun) -> tuple[tuple[tuple[str, ...], str, bool], ...]:
    """Which faults need which part, and does this tun have it?"""
    return (
        (("stirrer_stopped",), "stirrer", tun.stirrer is not None),
        (("pump_stopped", "pump_slow"), "pump", tun.pump is not None),
        (("level_lost", "level_silent"), "level switch", tun.level is not None),
        (("flow_lost", "flow_silent"), "flow switch", tun.flow is not None),
        (("second_offset", "second_frozen"), "second probe", tun.probes.second is not None),
        (("outlet_hot", "probe_swapped"), "outlet probe", tun.probes.outlet is not None),
    )


# ---------------------------------------------------------------- a run that did not complete


def unfinished(result: str, ended_s: float, run: Run, trips: Sequence[Trip], refusals: Sequence[str] = ()) -> str:
    """In one line: how did a run end that did not complete, and what does it wait for? Empty where it completed."""
    if result == "complete":
        return ""
    return f"NOT COMPLETE: {result} after {ended_s / 60:.0f} min, {_waits(run, trips, refusals)}"


def _waits(run: Run, trips: Sequence[Trip], refusals: Sequence[str]) -> str:
    latched = [trip for trip in trips if trip.latched]
    if latched:
        ids = " and ".join(f"{trip.id} {BY_ID[trip.id].name}" for trip in latched)
        return f"waiting for a person: {ids}; find the cause, `clear`, then `restart` (--clears plays that)"
    if trips:
        return f"waiting for the cause of {' and '.join(trip.id for trip in trips)} to go"
    if run.prompt is not None:
        return f"waiting for an answer: {run.prompt.text}"
    if run.state in ("stopped", "aborted"):
        return "by a person's order"
    if run.held_by:
        return "waiting for a person: `restart` goes on"
    return f"never started: {refusals[-1]}" if refusals else "given up: the time for a dry run was over"
