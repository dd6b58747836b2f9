"""What happened in a simulated run, second by second, and what does it come to?

Rows as they are written to a file, and the questions asked of them: how far over the target, how fast, how steady.
Temperatures are the true mean of the mash, not what the probe said.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, NamedTuple

from controller.core.nouns import Course, Event
from controller.core.procedure.run import Run


class TraceSecond(NamedTuple):
    """One second. Names and order are those of the CSV file."""

    t_s: float
    mash_c: float
    probe_c: float | None
    setpoint_c: float | None
    target_c: float | None
    duty: float
    step: int
    phase: str
    state: str


class Passed(NamedTuple):
    """When did a step begin its rise, come into band and end, and what rest time had it earned?"""

    leg: int
    ramp_started_s: float
    in_band_s: float | None
    ended_s: float
    credited_s: float


class Happened(NamedTuple):
    """An event with its time."""

    at_s: float
    kind: str
    id: str
    text: str
    value: float | None
    limit: float | None
    unit: str
    priority: int
    data: Mapping[str, Any] = MappingProxyType({})


class Trace:
    """Takes a row a tick, and what the run did in it."""

    def __init__(self) -> None:
        self.rows: list[TraceSecond] = []
        self.passed: list[Passed] = []
        self.trips: list[dict[str, Any]] = []
        self.happenings: list[Happened] = []
        self.began_s: float | None = None
        self.ended_s: float | None = None

    def events(self, now: float, before: Run, events: Iterable[Event]) -> None:
        """What the run did in this tick; `before` is the run as it was."""
        for event in events:
            what = (
                event.kind,
                event.id,
                event.text,
                event.value,
                event.limit,
                event.unit,
                event.priority or 3,
                event.data or {},
            )
            self.happenings.append(Happened(now, *what))
            if event.kind == "run" and self.began_s is None:
                self.began_s = now
            elif event.kind == "step done" and event.data is not None:
                self.passed.append(_passed(now, before, float(event.data["credited_s"]), event.data["ramp_s"]))
            elif event.kind == "trip":
                said = {"value": event.value, "limit": event.limit, "text": event.text, "latched": event.latched}
                self.trips.append({"id": event.id, "at_s": now, **said})

    def close(self, now: float, run: Run) -> None:
        """The run is over: the step it stood in, where it did not pass it, is told as it is."""
        self.ended_s = now
        if run.course is not None and run.leg < len(run.course.legs):
            self.passed.append(_passed(now, run, run.progress.credited_s))

    def steps(self, course: Course) -> list[dict[str, Any]]:
        """The figures of each step, in the order in which they ended."""
        return [_figures(course, step, self._between(step.ramp_started_s, step.ended_s)) for step in self.passed]

    def _between(self, start_s: float, end_s: float) -> list[TraceSecond]:
        if not self.rows:
            return []
        first = self.rows[0].t_s
        low, high = max(0, math.ceil(start_s - first)), max(0, math.floor(end_s - first) + 1)
        return self.rows[low:high]


def _passed(now: float, run: Run, credited_s: float, ramp_s: float | None = None) -> Passed:
    """`ramp_s`: how long its rise took; a rest of one minute is over in the tick in which it has begun."""
    started = run.progress.ramp_at if run.progress.ramp_at is not None else run.phase_since
    there = run.progress.in_band_at
    if there is None and ramp_s is not None:
        there = started + ramp_s
    return Passed(run.leg, started, there, now, credited_s)


def _figures(course: Course, step: Passed, rows: Sequence[TraceSecond]) -> dict[str, Any]:
    leg = course.legs[step.leg]
    phases = ("waiting",) if leg.kind == "dough_in" else ("resting", "waiting")
    resting = [
        row.mash_c for row in rows if step.in_band_s is not None and row.t_s >= step.in_band_s and row.phase in phases
    ]
    return {
        "name": leg.name,
        "kind": leg.kind,
        "target_c": leg.target_c,
        "planned_s": leg.hold_s,
        "ramp_started_s": step.ramp_started_s,
        "in_band_s": step.in_band_s,
        "ended_s": step.ended_s,
        "credited_s": step.credited_s,
        **_spread(resting, leg.target_c),
        "overshoot_c": _overshoot(rows, leg.target_c),
        "climb_c_per_min": _climb(rows, step),
    }


def _spread(resting: Sequence[float], target_c: float) -> dict[str, float | None]:
    """Lowest, mean and highest of the rest, and the root of the mean square of its error, K."""
    if not resting:
        return {"min_c": None, "mean_c": None, "max_c": None, "rms_error_c": None}
    square = sum((c - target_c) ** 2 for c in resting) / len(resting)
    return {
        "min_c": round(min(resting), 3),
        "mean_c": round(sum(resting) / len(resting), 3),
        "max_c": round(max(resting), 3),
        "rms_error_c": round(math.sqrt(square), 3),
    }


def _overshoot(rows: Sequence[TraceSecond], target_c: float) -> float | None:
    """How far over its target did the rise carry, K? None where the step began above it: that was no rise."""
    if not rows or rows[0].mash_c > target_c:
        return None
    return round(max(0.0, max(row.mash_c for row in rows) - target_c), 3)


def _climb(rows: Sequence[TraceSecond], step: Passed) -> float | None:
    """How fast was the rise, from its start until it came into band, K/min? None where there was hardly any."""
    if step.in_band_s is None or not rows or step.in_band_s - step.ramp_started_s < 60.0:
        return None
    at_end = rows[min(len(rows) - 1, round(step.in_band_s - step.ramp_started_s))].mash_c
    return round((at_end - rows[0].mash_c) * 60.0 / (step.in_band_s - step.ramp_started_s), 3)


def csv(
    rows: Iterable[TraceSecond], extra: Sequence[str] = (), columns: Iterable[Sequence[object]] | None = None
) -> str:
    """The rows as text: a head line, then one line a second. Empty where there is no value."""
    lines = [",".join((*TraceSecond._fields, *extra))]
    more = iter(columns) if columns is not None else None
    for row in rows:
        cells: tuple[object, ...] = (*row, *(next(more) if more is not None else ()))
        lines.append(",".join(_cell(cell) for cell in cells))
    return "\n".join(lines) + "\n"


def _cell(cell: object) -> str:
    if cell is None:
        return ""
    return f"{cell:.4f}".rstrip("0").rstrip(".") if isinstance(cell, float) else str(cell)
