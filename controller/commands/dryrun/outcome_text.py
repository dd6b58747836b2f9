"""How does the outcome of a dry run look on a terminal?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from controller.commands.dryrun.fault_report import NOTHING, FaultReport
from controller.plan.forecast import Forecast
from controller.report import plan_page, wort_page

if TYPE_CHECKING:
    from controller.plan.plan import Plan

COLUMNS = (
    "  rise: until the mash is in band. over: the most over the target on the way up, K. mean: of the rest, °C.",
    "  rms: how far the rest was from its target, K (root of the mean square). All by the mash's true temperature.",
)


def page(plan: Plan, answer: dict[str, Any], expected: Forecast | None = None, more: FaultReport = NOTHING) -> str:
    """The outcome for a person: a line a step, then what went wrong."""
    lines = [
        f"{plan.program.title} on {plan.tun.title or plan.tun.name}, simulated, seed {answer['seed']}"
        + (f", with {' and '.join(more.faults)}" if more.faults else ""),
        *[f"  {line}" for line in (more.unfinished, *more.idle) if line],
        f"  {answer['result']} after {answer['duration_s'] / 60:.0f} min "
        f"({plan.duration_s / 60:.0f} planned, for a brewer who answers at once), {answer['energy_kwh']:.2f} kWh",
        "",
        f"  {'step':<22} {'target':>7} {'rise':>11} {'K/min':>6} {'over':>6} {'mean':>6} {'rms':>5}   rest",
        *[step_line(step, answer["result"] == "complete", step is not answer["steps"][-1]) for step in answer["steps"]],
        "",
        *COLUMNS,
        f"  {answer['commands']} heater commands, {answer['heat_without_evidence']} with heat and no fresh reading",
    ]
    for trip in answer["trips"]:
        lines += ["", f"  {trip['at_s'] / 60:.0f} min: {trip['id']} {trip['text']}"]
    if answer["prediction"] is not None:
        lines += ["", *wort_page.lines(answer["prediction"], expected)]
    if warnings := warned(plan, answer):
        lines += ["", *warnings]
    return "\n".join(lines) + "\n"


def warned(plan: Plan, answer: dict[str, Any]) -> list[str]:
    """What `check` warns of, in a line each."""
    lines = [f"  {note}" for note in plan_page.notes(plan) if note.level == "warn"]
    for said in answer["advice"]:
        if said["level"] == "warn" and said["overruled"] is None:
            lines.append(f"  warn {said['rule']}: {said['text']}")
    return [*lines, "  (`underback check` says why, and what mends it)"] if lines else []


def step_line(step: dict[str, Any], taken: bool, passed: bool) -> str:
    """A step's row. `passed`: another step came after it. `taken`: the mash was taken over, so that a keep shorter than
    it might be is as it should be."""
    rise = None if step["in_band_s"] is None else (step["in_band_s"] - step["ramp_started_s"]) / 60.0
    rest = "" if not step["planned_s"] else f"{step['credited_s'] / 60:.1f} of {step['planned_s'] / 60:g} min"
    if step["kind"] == "keep" and taken:
        rest = f"taken over after {step['credited_s'] / 60:.1f} min"
    cells = [
        f"{step['name'][:22]:<22}",
        f"{step['target_c']:>5.1f}°C",
        f"{_not_reached(step, passed) if rise is None else f'{rise:.1f}min':>11}",
        f"{_figure(step['climb_c_per_min'], 2):>6}",
        f"{_figure(step['overshoot_c'], 2):>6}",
        f"{_figure(step['mean_c'], 2):>6}",
        f"{_figure(step['rms_error_c'], 2):>5}",
        f"  {rest}",
    ]
    return "  " + " ".join(cells).rstrip()


def _not_reached(step: dict[str, Any], passed: bool) -> str:
    """A decoction goes on once it is back, an infusion once it is in, also where the mash lands lower than meant."""
    return {"decoction": "returned", "infusion": "added"}.get(step["kind"] if passed else "", "not reached")


def _figure(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:.{digits}f}"
