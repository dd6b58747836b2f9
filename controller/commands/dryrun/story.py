"""What is the story of a fault: when, who noticed, what was asked, what did it cost, what did the mash really do?

Told beside the same day without the fault, by the same seed: what happens only with it is its doing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from controller.core.guard.registry import BY_ID
from controller.plan.plan import Plan
from controller.settings.table import show
from sim import dryrun
from sim.trace import Happened
from sim.world.faults import FOREVER_S, KINDS, Fault

OFF_K = 1.0  # truly further off than this a rest was not what was written (the rest clock's own band)
TELLING = ("trip", "latched", "note", "resume", "answer")  # kinds of event that somebody may notice a fault by
RESTS = ("rest", "mash_out", "souring")  # steps that are to stand at their target


class Off(NamedTuple):
    """A rest that was truly off its target while its clock could run."""

    step: str
    target_c: float
    furthest_k: float  # with its sign
    for_s: float


def truly_off(plan: Plan, ran: dryrun.Ran) -> list[Off]:
    """Which rests were truly further off than a rest may be, for how long, and how far?"""
    found: list[Off] = []
    for passed in ran.trace.passed:
        leg = plan.course.legs[passed.leg]
        begun_s = passed.in_band_s
        if leg.kind not in RESTS or begun_s is None:
            continue
        apart = [
            row.mash_c - row.target_c
            for row in ran.trace.rows
            if begun_s <= row.t_s <= passed.ended_s
            and (row.step, row.phase, row.state) == (passed.leg, "resting", "running")
            and row.target_c is not None
        ]
        off = [k for k in apart if abs(k) > OFF_K]
        if off:
            found.append(Off(leg.name, leg.target_c, max(off, key=abs), float(len(off))))
    return found


def warnings(off: Iterable[Off], trips: Sequence[dict[str, Any]]) -> list[str]:
    """A line a rest, which says where nobody would have known."""
    silent = "" if trips else ", and nothing tripped"
    return [
        f"warn: {one.step} was truly up to {abs(one.furthest_k):.1f} K {'over' if one.furthest_k > 0 else 'under'} its "
        f"{one.target_c:.1f} °C, more than {OFF_K:g} K off for {_span(one.for_s)}{silent}"
        for one in off
    ]


def told(plan: Plan, ran: dryrun.Ran, plain: dryrun.Ran, faults: Sequence[tuple[str, Fault]]) -> list[str]:
    """The story. `plain`: the same day without a fault. `faults`: each as it was written, and as it was read."""
    usual = {(one.kind, one.id) for one in plain.trace.happenings}
    new = [one for one in ran.trace.happenings if one.kind in TELLING and (one.kind, one.id) not in usual]
    lines = ["What the faults did, beside the same day without them"]
    for spec, fault in faults:
        next_s = min((later.at_s for _, later in faults if later.at_s > fault.at_s), default=FOREVER_S)
        lines += _one(spec, fault, [one for one in new if fault.at_s <= one.at_s < next_s], ran.ended_s)
    return [*lines, *_cost(ran, plain), *_rests(plan, ran, plain)]


def _one(spec: str, fault: Fault, new: Sequence[Happened], ended_s: float) -> list[str]:
    kind = KINDS[fault.kind]
    value = f" ({fault.value:g})" if kind.low != kind.high else ""
    ends = "went on to the end" if fault.until_s > ended_s else f"ended at {_at(fault.until_s)}"
    lines = [f"  {fault.kind}: {kind.what}{value}", f"    began at {_at(fault.at_s)}, {ends}{_assumed(spec, fault)}"]
    noticed = [one for one in new if one.kind != "answer"]
    if not noticed:
        lines.append("    noticed by nobody")
    for one in noticed[:1]:
        who = f"the guard, {one.id} {BY_ID[one.id].name}" if one.id in BY_ID else f"the daemon, in a {one.kind}"
        lines.append(f"    noticed after {_span(one.at_s - fault.at_s)} by {who}: {one.text}")
    asked = [one.text for one in new if one.kind == "answer"]
    asked += [f"to find the cause of {one.id}, clear it and restart" for one in new if _waits(one)]
    return [*lines, *(f"    asked of the person: {text}" for text in dict.fromkeys(asked))]


def _waits(one: Happened) -> bool:
    return one.id in BY_ID and (one.kind == "latched" or (one.kind == "trip" and BY_ID[one.id].clears == "latched"))


def _assumed(spec: str, fault: Fault) -> str:
    """What was not written, and is as usual for the kind."""
    kind = KINDS[fault.kind]
    lasts = "lasts to the end" if fault.for_s >= FOREVER_S else f"lasts {_span(fault.for_s)}"
    left = [] if "@" in spec else [f"begins at {_at(fault.at_s)}"]
    left += [] if "+" in spec else [lasts]
    left += [] if "=" in spec or kind.low == kind.high else [f"={fault.value:g}"]
    return f" (not written, so assumed: {', '.join(left)})" if left else ""


def _cost(ran: dryrun.Ran, plain: dryrun.Ran) -> list[str]:
    if ran.result != "complete":
        return [f"  the run ended {ran.result} after {_span(ran.duration_s)}; without: {plain.result}"]
    more_s = ran.duration_s - plain.duration_s
    longer = (
        f"{_span(abs(more_s))} {'longer' if more_s >= 0 else 'shorter'} than" if abs(more_s) >= 30 else "as long as"
    )
    return [f"  the run took {_span(ran.duration_s)}, {longer} without"]


def _rests(plan: Plan, ran: dryrun.Ran, plain: dryrun.Ran) -> list[str]:
    """Each rest that the mash really felt differently."""
    lines = []
    usual = {step["name"]: step for step in plain.trace.steps(plan.course)}
    for step in ran.trace.steps(plan.course):
        before = usual.get(step["name"])
        if step["kind"] not in RESTS or before is None or step["mean_c"] is None or before["mean_c"] is None:
            continue
        if abs(step["mean_c"] - before["mean_c"]) >= 0.1:
            lines.append(
                f"  {step['name']}: the mash was really at {step['mean_c']:.1f} °C in the mean ({step['min_c']:.1f} to "
                f"{step['max_c']:.1f}), without {before['mean_c']:.1f}, wanted {step['target_c']:.1f}"
            )
    return lines or ["  no rest that was reached differed by 0.1 K or more in the mean"]


def _at(seconds: float) -> str:
    return show("duration", round(seconds))


def _span(seconds: float) -> str:
    return show("duration", float(round(seconds)) if seconds < 120 else 60.0 * round(seconds / 60.0))
