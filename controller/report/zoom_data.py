"""Which figures does the page carry for its zoom, in few bytes?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from controller.report.measured_steps import longest_s
from controller.report.run_record import RunRecord


def packed(record: RunRecord) -> str:
    """The samples as short whole numbers, in a JSON block that cannot end its own element."""
    values = {
        "t": _steps([round(row.t_s) for row in record.rows]),
        "mash": [None if row.mash_c is None else round(100 * row.mash_c) for row in record.rows],
        "setpoint": _runs([None if row.setpoint_c is None else round(100 * row.setpoint_c) for row in record.rows]),
        "heat": _runs([round(100 * row.duty) for row in record.rows]),
        "curve": record.curve,
        "gap_s": longest_s(record.rows),
    }
    return json.dumps(values, separators=(",", ":")).replace("<", "\\u003c")


def _steps(times: Sequence[int]) -> list[list[int]]:
    """Times as runs of [step, how often], the first step from 0."""
    return _runs([b - a for a, b in zip([0, *times], times, strict=False)])


def _runs(values: Sequence[Any]) -> list[Any]:
    """Run lengths: [value, how often], a lone value bare."""
    found: list[list[Any]] = []
    for value in values:
        if found and found[-1][0] == value:
            found[-1][1] += 1
        else:
            found.append([value, 1])
    return [[v, n] if n > 1 else v for v, n in found]
