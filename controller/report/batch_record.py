"""What is filed of a batch?

One JSON object a run: what was planned, what was done, by whom, what was measured and entered, and what is not known.
The page shows the same. It is made anew from the record each time; signatures and corrections stand in lines of their
own (amendments.py).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.report import batch_entries
from controller.report.rows import gaps
from controller.report.run_record import EventRecord, RunRecord

if TYPE_CHECKING:
    from controller.plan.recipe import Program
    from controller.settings.tun import Tun

FORMAT = 1
CORRECTIONS = ("adjust", "extend", "advance")
UNKNOWN = "the program file has changed since, or is gone"


def document(
    record: RunRecord, tun: Tun | None = None, program: Program | None = None, raw: Sequence[Path] = ()
) -> dict[str, Any]:
    """The batch record as plain JSON values, units in the names. Null where a thing is not known.

    `raw`: the files that the record was made of; they are named with their hashes. Raises OSError.
    """
    grist = batch_entries.malt(record)
    if grist is None and program is not None:  # a run from before the malt was filed with it
        grist = [item.model_dump(mode="json") for item in program.grist]
    heat_c = initial_heat_c(record)
    return {
        "format": FORMAT,
        "run": record.run,
        "title": record.title,
        "program": record.program,
        "tun": record.tun,
        "state": record.state,
        "dry_run": record.dry,
        "began_at": record.began_s,
        "began": _day(record.began_s),
        "lasted_s": round(record.ended_s, 1),
        "people": _people(record),
        "made_with": dict(record.meta),
        "batch": batch_entries.newest(record, "batch"),
        "grist": grist,
        "grist_missing": UNKNOWN if grist is None else None,
        "grist_kg": record.grist_kg,
        "liquor_kg": record.liquor_kg,
        "items": batch_entries.items(record),
        "missing": batch_entries.missing(record, heat_c),
        "advice": batch_entries.advice(record),
        "calibration": batch_entries.calibration(record),
        "probe": None if tun is None else _probe(tun),
        **_mash(record, heat_c),
        "planned": [step._asdict() for step in record.planned],
        "steps": [_compared(record, index) for index in range(len(record.steps))],
        **_by_kind(record),
        "overrules": {e.id: str(e.data.get("reason", "")) for e in batch_entries.of(record, "overrule")},
        "gaps": [gap._asdict() for gap in gaps(record.rows)],
        "energy_kwh": record.energy_kwh,
        "prediction": record.prediction,
        "events": [_line(e) for e in record.events],
        "added": [dict(line) for line in record.added],
        "attachments": [_attached(path) for path in raw],
        "damage": record.damage or None,
        "signed": any(line.get("kind") == "signature" for line in record.added),
    }


def _mash(record: RunRecord, heat_c: float | None) -> dict[str, Any]:
    """From strike to yield: what was measured, added and gained."""
    return {
        "strike": batch_entries.strike(record),
        "dough_in": batch_entries.dough_in(record),
        "initial_heat_c": heat_c,
        "initial_heat_predicted_c": record.landing_c,
        "iodine": [_line(e) for e in batch_entries.of(record, "answer") if e.id == "iodine"],
        "additions": [_line(e) for e in batch_entries.moved(record)],
        "extract_yield": batch_entries.extract_yield(record),
    }


def _by_kind(record: RunRecord) -> dict[str, list[dict[str, Any]]]:
    """What people and guard did, a list a kind."""
    return {
        "entries": [_line(e) for e in batch_entries.of(record, "entry")],
        "answers": [_line(e) for e in batch_entries.of(record, "answer")],
        "corrections": [_line(e) for e in batch_entries.of(record, "order") if e.id in CORRECTIONS],
        "trips": [_line(e) for e in record.events if e.kind in ("trip", "latched", "cleared")],
        "acknowledged": [_line(e) for e in batch_entries.of(record, "acknowledge")],
    }


def _attached(path: Path) -> dict[str, Any]:
    """A file of the raw record, known again by its hash."""
    data = path.read_bytes()
    return {"file": path.name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def _day(at: float | None) -> str | None:
    return None if at is None else datetime.fromtimestamp(at, UTC).astimezone().isoformat(timespec="seconds")


def _people(record: RunRecord) -> list[str]:
    """Everybody who gave an order, an answer or a signature, in the order in which they appeared."""
    named = [str(e.data["by"]) for e in record.events if e.data.get("by")]
    named += [str(line["by"]) for line in record.added if line.get("by")]
    return list(dict.fromkeys(named))


def _probe(tun: Tun) -> dict[str, Any]:
    """The calibration in force in the tun file now."""
    probe = tun.probes.mash
    return {
        "calibrated_on": probe.calibrated_on,
        "raw_ice_c": probe.raw_ice_c,
        "raw_boil_c": probe.raw_boil_c,
        "boil_c": round(probe.boil_c, 3),
    }


def initial_heat_c(record: RunRecord) -> float | None:
    """What did the mash settle at after dough-in? The last reading of the settling."""
    settled = [row.mash_c for row in record.rows if row.phase == "settling" and row.mash_c is not None]
    first = next((i for i, row in enumerate(record.rows) if row.phase == "settling"), None)
    if first is None or not settled:
        return None
    last = None
    for row in record.rows[first:]:
        if row.phase != "settling":
            break
        last = row.mash_c if row.mash_c is not None else last
    return last


def _compared(record: RunRecord, index: int) -> dict[str, Any]:
    """Planned against actual, one step."""
    went = record.steps[index]
    planned = record.planned[index] if index < len(record.planned) else None
    ramp = None
    if went.in_band_s is not None and went.ramp_started_s is not None:
        ramp = round(went.in_band_s - went.ramp_started_s, 1)
    short = None if went.kind == "keep" else round(min(0.0, went.credited_s - went.planned_s), 1)
    return {
        **went._asdict(),
        "planned_target_c": None if planned is None else planned.target_c,
        "planned_ramp_s": None if planned is None else planned.ramp_s,
        "ramp_s": ramp,
        "short_s": short,
    }


def _line(event: EventRecord) -> dict[str, Any]:
    values: Mapping[str, Any] = event._asdict()
    return {key: value for key, value in values.items() if value not in (None, "", {})}
