"""What do the pictures of a report show?

The course of the mash against its plan, the heat below it on the same time axis, and the enzymes; and in few bytes the
figures that the page carries for its zoom.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from itertools import groupby, pairwise
from math import ceil, floor
from typing import Any

from controller.report import svg
from controller.report.rows import GAP_S, longest_s
from controller.report.run_record import ENZYMES, Gap, RunRecord, plan_curve
from controller.report.svg import Axes, Curve, lasting
from controller.settings.own_units import Own


def _columns(record: RunRecord, key: str) -> Curve:
    names = {"mash_c": record.curve, "setpoint_c": "setpoint", "duty": "heat"}
    times = [row.t_s for row in record.rows]
    css = "measured" if key == "mash_c" else names[key]
    return Curve(css, names[key], times, [getattr(row, key) for row in record.rows])


def _span(record: RunRecord) -> tuple[float, float]:
    """Lowest and highest temperature of the picture, on whole fives."""
    known = [row.mash_c for row in record.rows if row.mash_c is not None]
    known += [row.setpoint_c for row in record.rows if row.setpoint_c is not None]
    known += [step.target_c for step in record.planned]
    low, high = (min(known), max(known)) if known else (0.0, 100.0)
    return floor((low - 1) / 5) * 5.0, ceil((high + 1) / 5) * 5.0


def course(record: RunRecord, empty: Sequence[Gap], numbered: Sequence[tuple[float, int, str]]) -> str:
    """The temperature against its plan, for a broad page and for a telephone."""
    plan = plan_curve(record)
    axes = Axes(max(record.ended_s, plan[-1][0] if plan else 1.0), *_span(record), 330.0)
    held = _held(record)
    return "".join(_course(record, plan, empty, held, numbered, each) for each in (axes, svg.narrow(axes)))


def _course(
    record: RunRecord,
    plan: Sequence[tuple[float, float]],
    empty: Sequence[Gap],
    held: Sequence[tuple[float, float]],
    numbered: Sequence[tuple[float, int, str]],
    axes: Axes,
) -> str:
    mash, setpoint = _columns(record, "mash_c"), _columns(record, "setpoint_c")
    longest = GAP_S if axes.width == svg.WIDTH else GAP_S + record.ended_s / svg.SMALL_POINTS
    ends = [("planned", "planned", plan[-1][1])] if plan else []
    ends += [(c.css, c.name, v) for c in (mash, setpoint) if (v := _last(c.values)) is not None]
    return svg.picture(
        axes,
        "course",
        f"Mash temperature, planned and {record.curve}",
        _described(record),
        svg.shade(axes, "gap", ((g.from_s, g.to_s) for g in empty), "no reading"),
        svg.shade(axes, "held", held, "heat held off"),
        svg.grid(axes, "°C"),
        svg.line(axes, "planned", plan),
        svg.drawn(axes, svg.fewer(axes, setpoint), longest * 3),
        svg.drawn(axes, svg.fewer(axes, mash), longest),
        svg.names(axes, _named(record), lambda begin, end: _highest(record, begin, end)),
        svg.marks(axes, numbered),
        svg.labels(axes, ends),
    )


def _named(record: RunRecord) -> list[tuple[float, float, int, str]]:
    """From the start of its rise to its end: where does each step stand in the picture?"""
    went = [(number, step) for number, step in enumerate(record.steps, 1) if step.ramp_started_s is not None]
    return [(s.ramp_started_s or 0.0, s.ended_s or record.ended_s, number, s.name) for number, s in went]


def _highest(record: RunRecord, begin_s: float, end_s: float) -> float:
    inside = [row.mash_c for row in record.rows if begin_s <= row.t_s <= end_s and row.mash_c is not None]
    asked = [row.setpoint_c for row in record.rows if begin_s <= row.t_s <= end_s and row.setpoint_c is not None]
    return max([*inside, *asked], default=0.0)


def _held(record: RunRecord) -> list[tuple[float, float]]:
    parts = groupby(record.rows, lambda row: row.state in ("held", "holding", "restarting"))
    times = [[row.t_s for row in rows] for held, rows in parts if held]
    return [(span[0], span[-1]) for span in times]


def _last(values: Iterable[float | None]) -> float | None:
    return next((v for v in reversed(list(values)) if v is not None), None)


def _described(record: RunRecord) -> str:
    """The picture in words, for those who do not see it."""
    known = [row.mash_c for row in record.rows if row.mash_c is not None]
    if not known:
        return "No temperature was recorded."
    rests = "; ".join(f"{s.name} {s.target_c:.0f} °C, {lasting(s.credited_s)} credited" for s in record.steps)
    return f"From {known[0]:.1f} to {known[-1]:.1f} °C in {svg.clock(record.ended_s)}. {rests}."


def heat(record: RunRecord, empty: Sequence[Gap]) -> str:
    plan = plan_curve(record)
    axes = Axes(max(record.ended_s, plan[-1][0] if plan else 1.0), 0.0, 100.0, 110.0)
    duty = _columns(record, "duty")
    share = Curve("heat", "heat", duty.times_s, [None if v is None else 100.0 * v for v in duty.values])
    mean = sum(row.duty for row in record.rows) / max(len(record.rows), 1)
    return "".join(
        svg.picture(
            each,
            "heat",
            "Heater power, percent of full",
            f"Mean {100 * mean:.0f} percent over the run.",
            svg.shade(each, "gap", ((g.from_s, g.to_s) for g in empty), "no reading"),
            svg.grid(each, "%"),
            svg.filled(each, svg.fewer(each, share, mean=True)),
        )
        for each in (axes, svg.narrow(axes))
    )


def enzymes(record: RunRecord) -> str:
    if not record.enzymes:
        return ""
    axes = Axes(max(record.ended_s, 1.0), 0.0, 100.0, 200.0)
    times = [row.t_s for row in record.rows]
    hidden = {one["what"] for one in (record.prediction or {}).get("withheld", ())}
    named = [(key.split("_")[0], ENZYMES[key], values) for key, values in record.enzymes.items()]
    curves = [Curve(css, name, times, values) for css, name, values in named if css not in hidden]
    ends = [(c.css, c.name, v) for c in curves if (v := _last(c.values)) is not None]
    said = "; ".join(f"{name} {value:.0f} percent" for _, name, value in ends)
    return "".join(
        svg.picture(
            each,
            "enzymes",
            "Enzyme activity and starch left, percent, estimated",
            f"At the end: {said}.",
            svg.grid(each, "%"),
            *(svg.drawn(each, svg.fewer(each, c)) for c in curves),
            svg.labels(each, ends),
        )
        for each in (axes, svg.narrow(axes))
    )


def packed(record: RunRecord, own: Own) -> str:
    """The samples as short whole numbers, in a JSON block that cannot end its own element; hundredths of the degrees
    that people chose."""
    warm, rows = own.get("°C"), record.rows
    zero, degree = (0.0, 1.0) if warm is None else (warm.of(0.0), warm.of(1.0) - warm.of(0.0))
    values = {
        "t": _runs([b - a for a, b in pairwise([0, *(round(row.t_s) for row in record.rows)])]),
        "mash": [None if row.mash_c is None else round(100 * (zero + degree * row.mash_c)) for row in rows],
        "setpoint": _runs(
            [None if row.setpoint_c is None else round(100 * (zero + degree * row.setpoint_c)) for row in rows]
        ),
        "unit": "°C" if warm is None else warm.name,
        "heat": _runs([round(100 * row.duty) for row in record.rows]),
        "curve": record.curve,
        "gap_s": longest_s(record.rows),
    }
    return json.dumps(values, separators=(",", ":")).replace("<", "\\u003c")


def _runs(values: Sequence[Any]) -> list[Any]:
    """Run lengths: [value, how often], a lone value bare."""
    found = [(value, sum(1 for _ in alike)) for value, alike in groupby(values)]
    return [[value, n] if n > 1 else value for value, n in found]
