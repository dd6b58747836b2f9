"""What do the rows of a run tell: how each step went, where samples are missing, a whole dry run?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from statistics import median
from typing import Any

from controller.report.run_record import ENZYMES, EventRecord, Gap, PlanEntry, RunRecord, Second, StepRecord

GAP_S = 10.0  # the same age at which a reading counts as gone


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
        steps=measured(kept, planned) if steps is None else tuple(map(_went, steps)),
        events=tuple(events),
        enzymes={key: curve for key, curve in curves.items() if any(v is not None for v in curve)},
        prediction=prediction,
        meta=dict(meta or {}),
        energy_kwh=energy_kwh,
        dry=dry,
    )


def _row(row: Mapping[str, Any], index: int) -> Second:
    mash_c, setpoint_c, target_c, duty = (_number(row.get(key)) for key in ("mash_c", "setpoint_c", "target_c", "duty"))
    phase, state = str(row.get("phase") or ""), str(row.get("state") or "")
    return Second(float(row["t_s"]), mash_c, setpoint_c, target_c, duty or 0.0, index, phase, state)


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
