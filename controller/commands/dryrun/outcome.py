"""What is told of a dry run, on a terminal and as a page: its steps, its faults, an end that was none?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Any, NamedTuple

from controller import __version__, report
from controller.commands.dryrun import story
from controller.core.guard.registry import BY_ID
from controller.core.nouns import Trip
from controller.core.procedure import time_left
from controller.core.procedure.run import Run
from controller.plan.plan import Plan
from controller.report import plan_page, wort_page
from controller.settings.table import show
from sim import dryrun, true_wort
from sim.world.faults import KINDS, Fault

COLUMNS = (
    "  rise: until the mash is in band. over: the most over the target on the way up. mean: of the rest.",
    "  rms: how far the rest was from its target (root of the mean square). All by the mash's true temperature.",
)
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


class FaultReport(NamedTuple):
    """What is to be said of a run besides its figures."""

    faults: tuple[str, ...] = ()
    unfinished: str = ""  # why it did not complete
    idle: tuple[str, ...] = ()  # faults without effect
    story: tuple[str, ...] = ()  # what the faults did
    off: tuple[str, ...] = ()  # rests that were truly off, a warning each


NOTHING = FaultReport()


def page(plan: Plan, answer: dict[str, Any], more: FaultReport = NOTHING) -> list[str]:
    """The outcome for a person: a line a step, then what went wrong."""
    lines = [
        f"{plan.program.title} on {plan.tun.title or plan.tun.name}, simulated, seed {answer['seed']}"
        + (f", with {' and '.join(more.faults)}" if more.faults else ""),
        *[f"  {line}" for line in (more.unfinished, *more.idle) if line],
        f"  {answer['result']} after {answer['duration_s'] / 60:.0f} min "
        f"({plan.duration_s / 60:.0f} planned, for a brewer who answers at once), {answer['energy_kwh']:.2f} kWh",
        "",
        f"  {'step':<22} {'target':>7} {'rise':>11} {'climb':>10} {'over':>7} {'mean':>8} {'rms':>6}   rest",
        *[step_line(step, answer["result"] == "complete", step is not answer["steps"][-1]) for step in answer["steps"]],
        "",
        *COLUMNS,
        f"  {answer['commands']} heater commands, {answer['heat_without_evidence']} with heat and no fresh reading",
    ]
    for trip in answer["trips"]:
        lines += ["", f"  {trip['at_s'] / 60:.0f} min: {trip['id']} {trip['text']}"]
    for part in (more.story, more.off):
        lines += ["", *part] if part else []
    if answer["prediction"] is not None:
        lines += ["", *wort_page.short(answer["prediction"])]
    if warnings := warned(plan, answer):
        lines += ["", *warnings]
    return lines


def warned(plan: Plan, answer: dict[str, Any]) -> list[str]:
    """What `check` warns of, in a line each."""
    lines = [f"  {note}" for note in plan_page.notes(plan) if note.level == "warn"]
    own = (said for said in answer["advice"] if said["level"] == "warn" and said["overruled"] is None)
    lines += [f"  warn {said['rule']}: {said['text']}" for said in own]
    return [*lines, "  (`underback check` says why, and what mends it)"] if lines else []


def step_line(step: dict[str, Any], taken: bool, passed: bool) -> str:
    """A step's row. `passed`: another step came after it. `taken`: the mash was taken over, so that a keep shorter than
    it might be is as it should be."""
    if step["in_band_s"] is None:
        rise = _not_reached(step, passed)
    else:
        rise = f"{(step['in_band_s'] - step['ramp_started_s']) / 60.0:.1f}min"
    rest = "" if not step["planned_s"] else f"{step['credited_s'] / 60:.1f} of {step['planned_s'] / 60:g} min"
    if step["kind"] == "keep" and taken:
        rest = f"taken over after {step['credited_s'] / 60:.1f} min"
    keys = {"climb_c_per_min": " K/min", "overshoot_c": " K", "mean_c": "°C", "rms_error_c": " K"}
    climb, over, mean, rms = ("-" if step[key] is None else f"{step[key]:.2f}{unit}" for key, unit in keys.items())
    cells = f"{step['name'][:22]:<22} {step['target_c']:>5.1f}°C {rise:>11} {climb:>10} {over:>7} {mean:>8} {rms:>6}"
    return f"  {cells}   {rest}".rstrip()


def _not_reached(step: dict[str, Any], passed: bool) -> str:
    """A decoction goes on once it is back, an infusion once it is in, also where the mash lands lower than meant."""
    done = {"decoction": "returned", "infusion": "added", "water_in": "added", "cereal": "joined"}
    return done.get(step["kind"] if passed else "", "not reached")


# ---------------------------------------------------------------- its faults, and an end that was none


def told(
    machine: dryrun.DryRun, ran: dryrun.Ran, specs: Sequence[str], faults: Sequence[Fault], plain: dryrun.Ran | None
) -> FaultReport:
    """What is to be said of this run, with the faults as they were given? `plain`: the same day without them."""
    state, plan = machine.state, machine.plan
    written = tuple(zip(specs, faults, strict=True))
    return FaultReport(
        tuple(spec.strip() if "@" in spec else str(fault) for spec, fault in written),
        unfinished(ran.result, ran.duration_s, state.run, state.guard.trips, ran.refusals),
        tuple(idle(faults, plan, ran.ended_s)),
        () if plain is None else tuple(story.told(plan, ran, plain, written)),
        tuple(story.warnings(story.truly_off(plan, ran), ran.trace.trips)),
    )


def fault_table() -> str:
    """Every fault there is, with what its value means."""
    width, lines = max(map(len, KINDS)), []
    for name, kind in KINDS.items():
        value = f" (={kind.value:g}, {kind.low:g} to {kind.high:g})" if kind.low != kind.high else ""
        lines.append(f"{name:<{width}}  {kind.hazard:<10}  {kind.what}{value}\n")
    return HOW + "".join(lines)


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
    if run.hold.by:
        return "waiting for a person: `restart` goes on"
    return f"never started: {refusals[-1]}" if refusals else "given up: the time for a dry run was over"


# ---------------------------------------------------------------- as a page


def recorded(
    plan: Plan, ran: dryrun.Ran, brewed: true_wort.Wort, answer: dict[str, Any], more: FaultReport
) -> report.RunRecord:
    """The run as a run record, of which pages and lessons are made."""
    rows = [
        {**row._asdict(), **dict(zip(true_wort.COLUMNS, cells, strict=True))}
        for row, cells in zip(ran.trace.rows, brewed.columns, strict=True)
    ]
    planned = [
        report.PlanEntry(n.name, n.kind, n.target_c, n.ramp_s, n.hold_s, n.why, mixing_s=time_left.mixing_s(n))
        for n in plan.course.legs
    ]
    record = report.from_rows(
        rows,
        planned,
        title=plan.program.title,
        tun=plan.tun.title or plan.tun.name,
        program=plan.program.name,
        state=ran.result,
        steps=answer["steps"],
        events=[
            report.EventRecord(e.at_s, e.kind, e.id, e.text, e.value, e.limit, e.unit, e.priority, e.data)
            for e in ran.trace.happenings
        ],
        prediction=brewed.prediction,
        meta={**_put_in(plan), "seed": str(ran.seed), "digest": ran.digest[:16], "version": __version__},
        energy_kwh=answer["energy_kwh"],
    )
    profile, marks = true_wort.profile(plan.course, ran.trace)
    return replace(
        record,
        profile=profile,
        marks=marks,
        malt=plan.course.malt,
        planned_s=plan.duration_s,
        landing_c=plan.course.landing_c,
        faults=more.faults,
        remarks=tuple(filter(None, (more.unfinished, *more.idle, *(line.strip() for line in more.story), *more.off))),
    )


def _put_in(plan: Plan) -> dict[str, str]:
    """What goes into the tun, for the head of the page."""
    malts = ", ".join(f"{line.mass_kg:g} kg {line.name}" for line in plan.program.grist)
    return {**({"Malt": malts} if malts else {}), "Liquor": f"{plan.liquor_kg:.1f} kg"}
