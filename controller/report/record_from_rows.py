"""How do the rows of a dry run become a run record?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from controller.report.measured_steps import measured
from controller.report.run_record import ENZYMES, EventRecord, PlanEntry, RunRecord, Second, StepRecord


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
