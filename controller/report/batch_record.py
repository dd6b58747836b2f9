"""What is filed of a batch?

One JSON object a run: what was planned, what was done, by whom, what was measured and entered, and what is not known.
The page shows the same. It is made anew from the record each time; signatures and corrections stand in lines of their
own (amendments.py).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from itertools import dropwhile, takewhile
from pathlib import Path
from typing import Any

from controller.edge.record.run_header import constants
from controller.plan.recipe import Program
from controller.report import batch_entries, laboratory, planned_got
from controller.report.rows import gaps
from controller.report.run_record import EventRecord, RunRecord
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
    heat_c = initial_heat_c(record)
    return {
        "format": FORMAT,
        **{key: getattr(record, key) for key in ("run", "title", "program", "tun", "state")},
        "dry_run": record.dry,
        "began_at": record.began_s,
        "began": None if record.began_s is None else local(record.began_s).isoformat(timespec="seconds"),
        "lasted_s": round(record.ended_s, 1),
        "people": _people(record),
        "made_with": dict(record.meta),
        "batch": batch_entries.newest(record, "batch"),
        **_grist(record, program),
        "grist_kg": record.grist_kg,
        "liquor_kg": record.liquor_kg,
        "items": batch_entries.items(record),
        "missing": batch_entries.missing(record, heat_c),
        "advice": batch_entries.advice(record),
        "calibration": batch_entries.calibration(record),
        "probe": None if tun is None else constants(tun.probes.mash),  # in the tun file now
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


def _grist(record: RunRecord, program: Program | None) -> dict[str, Any]:
    """The malt as it was filed; as the program has it where the run is from before that."""
    grist = batch_entries.malt(record)
    if grist is None and program is not None:
        grist = [item.model_dump(mode="json") for item in program.grist]
    return {"grist": grist, "grist_missing": UNKNOWN if grist is None else None}


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
        "laboratory": laboratory.document(record),
        "planned_got": planned_got.document(record),
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


def local(at_s: float) -> datetime:
    """A moment, unix s, by the clock of this place."""
    return datetime.fromtimestamp(at_s, UTC).astimezone()


def _people(record: RunRecord) -> list[str]:
    """Everybody who gave an order, an answer or a signature, in the order in which they appeared."""
    named = [str(e.data["by"]) for e in record.events if e.data.get("by")]
    named += [str(line["by"]) for line in record.added if line.get("by")]
    return list(dict.fromkeys(named))


def initial_heat_c(record: RunRecord) -> float | None:
    """What did the mash settle at after dough-in? The last reading of the settling."""
    later = dropwhile(lambda row: row.phase != "settling", record.rows)
    settling = takewhile(lambda row: row.phase == "settling", later)
    settled = [row.mash_c for row in settling if row.mash_c is not None]
    return settled[-1] if settled else None


def _compared(record: RunRecord, index: int) -> dict[str, Any]:
    went = record.steps[index]
    planned = record.planned[index] if index < len(record.planned) else None
    short = None if went.kind == "keep" else round(min(0.0, went.credited_s - went.planned_s), 1)
    return {
        **went._asdict(),
        "planned_target_c": None if planned is None else planned.target_c,
        "planned_ramp_s": None if planned is None else planned.ramp_s,
        "ramp_s": None if went.ramp_s is None else round(went.ramp_s, 1),
        "short_s": short,
    }


def _line(event: EventRecord) -> dict[str, Any]:
    values: Mapping[str, Any] = event._asdict()
    return {key: value for key, value in values.items() if value not in (None, "", {})}
