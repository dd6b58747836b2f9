"""What does a dry run say of its faults, and of an end that was none?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from operator import attrgetter
from typing import NamedTuple

from controller.core.guard.registry import BY_ID
from controller.core.nouns import Trip
from controller.core.procedure.run import Run
from controller.plan.plan import Plan
from controller.settings.table import show
from sim.dryrun import DryRun, Ran
from sim.world.faults import KINDS, Fault


class FaultReport(NamedTuple):
    """What is to be said of a run besides its figures."""

    faults: tuple[str, ...] = ()
    unfinished: str = ""  # why it did not complete
    idle: tuple[str, ...] = ()  # faults without effect


NOTHING = FaultReport()
HOW = """A fault is written KIND@START+DURATION=VALUE, times in s, or with min or h:
heater_power@15min+300=0.5 leaves half the power from 15 min after the start on, for 300 s.
What is left out is as usual for the kind; START is 600 s.
Codes: P probe, H heater and plant, M messages, C computer, U person. In brackets the value: usual, range.

"""
PARTS = (  # which faults need which part of the tun?
    (("stirrer_stopped",), "stirrer", attrgetter("stirrer")),
    (("pump_stopped", "pump_slow"), "pump", attrgetter("pump")),
    (("level_lost", "level_silent"), "level switch", attrgetter("level")),
    (("flow_lost", "flow_silent"), "flow switch", attrgetter("flow")),
    (("second_offset", "second_frozen"), "second probe", attrgetter("probes.second")),
    (("outlet_hot", "probe_swapped"), "outlet probe", attrgetter("probes.outlet")),
)


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
    width, lines = max(map(len, KINDS)), []
    for name, kind in KINDS.items():
        value = f" (={kind.value:g}, {kind.low:g} to {kind.high:g})" if kind.low != kind.high else ""
        lines.append(f"{name:<{width}}  {kind.hazard:<10}  {kind.what}{value}\n")
    return HOW + "".join(lines)


# ---------------------------------------------------------------- faults that could not act


def idle(faults: Iterable[Fault], plan: Plan, ended_s: float) -> list[str]:
    """Which faults had no effect, and why? `ended_s`: when the dry run ended."""
    whys = ((fault, _lacks(fault, plan) or _too_late(fault, ended_s)) for fault in faults)
    return [f"fault {fault.kind} had no effect: {why}" for fault, why in whys if why]


def _too_late(fault: Fault, ended_s: float) -> str:
    return f"the run ended before {show('duration', round(fault.at_s))}" if fault.at_s >= ended_s else ""


def _lacks(fault: Fault, plan: Plan) -> str:
    """What is not there that the fault would strike? Empty where it can strike."""
    tun, kind = plan.tun, fault.kind
    if kind == "liquor_share" and fault.at_s > 0.0:
        return "the liquor is in the tun from the start; write liquor_share@0"
    if kind == "grist_share" and not plan.program.grist:
        return f"{plan.program.name} has no grist"
    missing = next((name for kinds, name, part in PARTS if kind in kinds and part(tun) is None), "")
    return f"{tun.name} has no {missing}" if missing else ""


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
