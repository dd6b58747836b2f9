"""What remains of a run for people: the report page and the batch record.

`write(path, record)` makes the page; `from_rows` makes the record of a dry run, `from_disk.read` that of a real one.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

from controller.report.rows import from_rows
from controller.report.run_record import EventRecord, PlanEntry, RunRecord, Second, StepRecord
from controller.settings.own_units import Own

__all__ = ["EventRecord", "PlanEntry", "RunRecord", "Second", "StepRecord", "from_rows", "missing", "write"]


def missing(option: str) -> str | None:
    """What must be installed before this option can make a page? None where nothing is missing."""
    if importlib.util.find_spec("jinja2") is not None:
        return None
    return f"{option} needs one more package: .venv/bin/pip install '.[report]'"


def write(path: Path | str, record: RunRecord, own: Own | None = None) -> None:
    """The report of a run as one self-contained HTML file, in the units that people chose. Raises OSError when it
    cannot be written."""
    from controller.report.run_page import html  # jinja2 only where a page is made

    Path(path).write_text(html(record, own or {}), encoding="utf-8")
