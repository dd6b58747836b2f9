"""What is known of one run, whether it was dry or real?

`RunRecord` is plain data: rows of samples, the plan, the steps as they went, what happened, what was signed. It is made
from a dry run's rows (`from_rows`) or from disk (from_disk.py); pages and the batch record are made from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from typing import Any, NamedTuple

GAP_S = 10.0  # the same age at which a reading counts as gone
ENZYMES = {
    "beta_left_pct": "beta-amylase",
    "alpha_left_pct": "alpha-amylase",
    "glucanase_left_pct": "beta-glucanase",
    "protease_left_pct": "protease",
    "starch_left_pct": "starch left",
}


class Second(NamedTuple):
    """One second. `step` counts from 0 as in status; -1 where nothing ran."""

    t_s: float
    mash_c: float | None
    setpoint_c: float | None
    target_c: float | None
    duty: float
    step: int
    phase: str
    state: str


class PlanEntry(NamedTuple):
    """One step as it was planned."""

    name: str
    kind: str
    target_c: float
    ramp_s: float
    hold_s: float
    why: str = ""
    addition_kg: float = 0.0  # liquor to add, or mash to pull
    addition_c: float | None = None
    mixing_s: float = 0.0  # of what goes in at this step


class StepRecord(NamedTuple):
    """One step as it went. Times are s since the start of the run; None: it never came to that."""

    name: str
    kind: str
    target_c: float
    planned_s: float
    ramp_started_s: float | None = None
    in_band_s: float | None = None
    ended_s: float | None = None
    credited_s: float = 0.0
    min_c: float | None = None
    mean_c: float | None = None
    max_c: float | None = None
    overshoot_c: float | None = None
    rms_error_c: float | None = None
    climb_c_per_min: float | None = None


class EventRecord(NamedTuple):
    """One line of the record."""

    t_s: float
    kind: str
    id: str
    text: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    priority: int = 3
    data: Mapping[str, Any] = {}


class Gap(NamedTuple):
    """Between two moments nothing is known of the mash."""

    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class RunRecord:
    """Everything that a page or a batch record tells of a run."""

    title: str
    tun: str
    program: str
    run: str
    state: str  # the state it ended in
    rows: Sequence[Second]
    planned: tuple[PlanEntry, ...] = ()
    steps: tuple[StepRecord, ...] = ()
    events: tuple[EventRecord, ...] = ()
    enzymes: Mapping[str, Sequence[float | None]] = field(default_factory=dict)  # per row, percent left
    prediction: Mapping[str, Any] | None = None
    meta: Mapping[str, str] = field(default_factory=dict)  # further lines for the head: seed, version, calibration ...
    began_s: float | None = None  # unix s; None in a dry run
    energy_kwh: float | None = None
    planned_s: float | None = None  # from first heat to end; None: what the steps come to
    faults: tuple[str, ...] = ()  # put into a dry run
    remarks: tuple[str, ...] = ()  # of a dry run: why it did not complete, which faults could not act
    dry: bool = False
    speed: float = 1.0
    added: tuple[Mapping[str, Any], ...] = ()  # signatures and corrections, in the order they were added
    windows: str = ""  # the enzymes' windows against the program, drawn as lines of text
    grist_kg: float = 0.0
    liquor_kg: float | None = None
    landing_c: float | None = None  # where the mash should land after dough-in
    damage: str = ""  # why the record cannot be trusted whole

    @property
    def curve(self) -> str:
        """What is the temperature that is drawn? A dry run knows the mash itself, not only its probe."""
        return "simulated" if self.dry else "measured"

    @property
    def ended_s(self) -> float:
        """Length of the run as far as it is recorded, s."""
        last = self.rows[-1].t_s if self.rows else 0.0
        return max(last, max((e.t_s for e in self.events), default=0.0))


def from_rows(
    rows: Iterable[Mapping[str, Any]],
    planned: Sequence[PlanEntry],
    *,
    title: str,
    tun: str,
    program: str,
    state: str,
    run: str = "dry run",
    steps: Iterable[Mapping[str, Any]] | None = None,
    events: Iterable[EventRecord] = (),
    prediction: Mapping[str, Any] | None = None,
    meta: Mapping[str, str] | None = None,
    energy_kwh: float | None = None,
    dry: bool = True,
) -> RunRecord:
    """A record from rows such as `dryrun --csv` writes; `steps` as in `dryrun --json`, else measured from the rows."""
    kept, table = [], list(rows)
    names = {step.name: index for index, step in reversed(list(enumerate(planned)))}
    index = -1
    for row in table:
        index = _index(row.get("step"), index, planned, names)
        kept.append(_row(row, index))
    curves = {key: [_number(row.get(key)) for row in table] for key in ENZYMES if table and key in table[0]}
    return RunRecord(
        title=title,
        tun=tun,
        program=program,
        run=run,
        state=state,
        rows=kept,
        planned=tuple(planned),
        steps=tuple(_went(step) for step in steps) if steps is not None else measured(kept, planned),
        events=tuple(events),
        enzymes={key: curve for key, curve in curves.items() if any(v is not None for v in curve)},
        prediction=prediction,
        meta=dict(meta or {}),
        energy_kwh=energy_kwh,
        dry=dry,
    )


def _row(row: Mapping[str, Any], index: int) -> Second:
    return Second(
        float(row["t_s"]),
        _number(row.get("mash_c")),
        _number(row.get("setpoint_c")),
        _number(row.get("target_c")),
        _number(row.get("duty")) or 0.0,
        index,
        str(row.get("phase") or ""),
        str(row.get("state") or ""),
    )


def _number(value: Any) -> float | None:
    return None if value in (None, "") else float(value)


def _index(step: Any, before: int, planned: Sequence[PlanEntry], names: Mapping[str, int]) -> int:
    """Which step is meant, by number or by name? Of two steps with one name the next one on."""
    if step in (None, ""):
        return -1
    if isinstance(step, int):
        return step
    if 0 <= before < len(planned) and planned[before].name == step:
        return before
    later = [i for i in range(max(before, 0), len(planned)) if planned[i].name == step]
    return later[0] if later else names.get(str(step), -1)


def _went(step: Mapping[str, Any]) -> StepRecord:
    return StepRecord(**{key: step[key] for key in StepRecord._fields if key in step})


# ---------------------------------------------------------------- measured


def measured(rows: Sequence[Second], planned: Sequence[PlanEntry]) -> tuple[StepRecord, ...]:
    """How did each step go, by the samples alone? In band from the first resting sample on."""
    by_step: dict[int, list[Second]] = {}
    for row in rows:
        by_step.setdefault(row.step, []).append(row)
    return tuple(_measured(step, by_step.get(index, [])) for index, step in enumerate(planned))


def _measured(step: PlanEntry, rows: Sequence[Second]) -> StepRecord:
    went = StepRecord(step.name, step.kind, step.target_c, step.hold_s)
    if not rows:
        return went
    resting = next((i for i, row in enumerate(rows) if row.phase in ("resting", "waiting")), None)
    went = went._replace(ramp_started_s=rows[0].t_s, ended_s=rows[-1].t_s)
    if resting is None:
        return went
    phases = ("waiting",) if step.kind == "dough_in" else ("resting", "waiting")
    rest = [row for row in rows[resting:] if row.mash_c is not None and row.phase in phases]
    if not rest:
        return went._replace(in_band_s=rows[resting].t_s)
    temperatures = [row.mash_c for row in rest if row.mash_c is not None]
    errors = [value - step.target_c for value in temperatures]
    return went._replace(
        in_band_s=rows[resting].t_s,
        credited_s=sum(1.0 for row in rest if row.phase == "resting" and row.state == "running") * _pace_s(rows),
        min_c=min(temperatures),
        mean_c=sum(temperatures) / len(temperatures),
        max_c=max(temperatures),
        overshoot_c=_overshoot(rows, step.target_c),
        rms_error_c=(sum(e * e for e in errors) / len(errors)) ** 0.5,
        climb_c_per_min=_climb(rows[: resting + 1]),
    )


def _overshoot(rows: Sequence[Second], target_c: float) -> float | None:
    """How far over its target did the rise carry, K? None where the step began above it: that was no rise."""
    known = [row.mash_c for row in rows if row.mash_c is not None]
    return None if not known or known[0] > target_c else max(0.0, max(known) - target_c)


def _pace_s(rows: Sequence[Second]) -> float:
    """Seconds between samples: the median, so that gaps do not count as rest."""
    steps = [b.t_s - a.t_s for a, b in pairwise(rows)]
    return median(steps) if steps else 0.0


def _climb(rows: Sequence[Second]) -> float | None:
    """Mean rise from the first to the last sample, K/min; None where there was hardly any."""
    known = [row for row in rows if row.mash_c is not None]
    if len(known) < 2 or known[-1].t_s - known[0].t_s < 60.0 * 0.95:
        return None
    first, last = known[0], known[-1]
    assert first.mash_c is not None
    assert last.mash_c is not None
    return (last.mash_c - first.mash_c) / (last.t_s - first.t_s) * 60.0


def gaps(rows: Sequence[Second]) -> tuple[Gap, ...]:
    """Where is nothing known of the mash for longer than ten seconds (or three usual paces)?"""
    longest = longest_s(rows)
    known = [row.t_s for row in rows if row.mash_c is not None]
    if not known:
        return (Gap(rows[0].t_s, rows[-1].t_s),) if rows else ()
    edges = [rows[0].t_s, *known, rows[-1].t_s]
    return tuple(Gap(a, b) for a, b in pairwise(edges) if b - a > longest)


def longest_s(rows: Sequence[Second]) -> float:
    """How far apart may two samples lie without a gap between them?"""
    return max(GAP_S, 3.0 * _pace_s(rows))


def plan_curve(record: RunRecord) -> list[tuple[float, float]]:
    """The planned course as corner points (s, °C), beginning where the mash was; people answering at once."""
    first = next((row.mash_c for row in record.rows if row.mash_c is not None), None)
    if first is None or not record.planned:
        return []
    at, points = 0.0, [(0.0, first)]
    for index, step in enumerate(record.planned):
        if step.kind == "dough_in":  # heated to strike; then grain goes in, and the mash settles
            at += step.ramp_s
            points.append((at, step.target_c))
            at += step.mixing_s
            points.append((at, _lands_c(record, index)))
            continue
        at += step.ramp_s + step.mixing_s
        points.append((at, step.target_c))
        at += 0.0 if step.kind == "keep" else step.hold_s
        points.append((at, step.target_c))
    return points


def _lands_c(record: RunRecord, index: int) -> float:
    """Where should the mash be once the grain is in and mixed?"""
    if record.landing_c is not None:
        return record.landing_c
    after = record.planned[index + 1 : index + 2]
    return after[0].target_c if after else record.planned[index].target_c
