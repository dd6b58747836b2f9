"""How does a run look as one HTML file?

Everything is inside: SVG that prints and needs no script, uPlot for zooming where script is on. No address is asked.
User text goes through autoescape or stands in a JSON block, never in a script. jinja2 is imported here alone.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from math import ceil, floor
from pathlib import Path
from typing import Any, NamedTuple

import jinja2
from markupsafe import Markup

from controller import __version__
from controller.report import chart
from controller.report.chart import Axes, Curve
from controller.report.record import ENZYMES, GAP_S, Gap, Happening, RunRecord, Went, gaps, plan_curve

PRINTED, WORT_LINES = 44, 22  # lines of events that fit on the second printed page; what the wort takes of it
PAGE_STEPS = 11  # with more steps the wort moves to the second page
TRIPS = ("trip", "latched", "cleared")
PEOPLE = ("order", "answer", "entry", "acknowledge", "run")
KINDS = {
    "trip": "trip",
    "latched": "trip",
    "cleared": "trip over",
    "order": "correction",
    "answer": "answer",
    "entry": "entry",
    "acknowledge": "heard",
    "run": "run",
    "state": "state",
    "step": "step",
    "step done": "step",
    "phase": "phase",
    "resume": "resumed",
    "note": "note",
}


class Line(NamedTuple):
    """One line of the table of events."""

    number: int | None
    when: str
    kind: str
    text: str
    css: str
    printed: bool


def write(path: Path, record: RunRecord) -> None:
    """The report of a run as one HTML file. Raises OSError when it cannot be written."""
    path.write_text(html(record), encoding="utf-8")


def html(record: RunRecord) -> str:
    """The report as text."""
    empty = gaps(record.rows)
    lines = _lines(record)
    return _template().render(
        record=record,
        result=_result(record),
        head=_head(record),
        course=Markup(_course(record, empty, lines)),
        heat=Markup(_heat(record, empty)),
        enzymes=Markup(_enzymes(record)),
        steps=[_step(number, step) for number, step in enumerate(record.steps)],
        lines=lines,
        hidden=sum(not line.printed for line in lines),
        gaps=[f"{_when(record, g.from_s)} to {_when(record, g.to_s)} ({_minutes(g.to_s - g.from_s)})" for g in empty],
        wort=_wort(record),
        added=[_added(entry) for entry in record.added],
        data=Markup(_data(record)),
        script=Markup(_asset("vendor/uPlot.iife.min.js") + "\n" + _asset("zoom.js")),
        style=Markup(_asset("page.css") + _asset("vendor/uPlot.min.css")),
        version=__version__,
    )


@cache
def _asset(name: str) -> str:
    return (files("controller.report") / name).read_text(encoding="utf-8")


@cache
def _template() -> jinja2.Template:
    world = jinja2.Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined)
    return world.from_string(_asset("page.html"))


# ---------------------------------------------------------------- words


def _result(record: RunRecord) -> str:
    trips = sum(event.kind == "trip" for event in record.events)
    said = f"{record.state}, {chart.clock(record.ended_s)}"
    return said + (f", {trips} trip{'s' if trips != 1 else ''}" if trips else ", no trips")


def _when(record: RunRecord, t_s: float) -> str:
    """Run time, and the clock where there was one."""
    minutes, seconds = divmod(round(t_s), 60)
    text = f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
    if record.began_s is None:
        return text
    wall = datetime.fromtimestamp(record.began_s + t_s / record.speed, UTC).astimezone()
    return f"{text} ({wall:%H:%M})"


def _minutes(seconds: float | None) -> str:
    if seconds is None:
        return "–"
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.1f} min"


def _c(value: float | None, digits: int = 2) -> str:
    return "–" if value is None else f"{value:.{digits}f}"


def _head(record: RunRecord) -> list[tuple[str, str]]:
    lines = [("Program", record.program), ("Tun", record.tun), ("Run", record.run)]
    if record.began_s is not None:
        began = datetime.fromtimestamp(record.began_s, UTC).astimezone()
        lines.append(("Begun", f"{began:%Y-%m-%d %H:%M %Z}"))
    if record.energy_kwh is not None:
        lines.append(("Energy", f"{record.energy_kwh:.2f} kWh"))
    lines.append(("Planned", chart.clock(sum(s.ramp_s + s.hold_s for s in record.planned if s.kind != "keep"))))
    return [*lines, *record.meta.items()]


def _step(number: int, step: Went) -> dict[str, str]:
    """One line of planned against actual."""
    ramp = None
    if step.in_band_s is not None and step.ramp_started_s is not None:
        ramp = step.in_band_s - step.ramp_started_s
    return {
        "number": str(number),
        "name": step.name,
        "target": _c(step.target_c, 1),
        "planned": _minutes(step.planned_s),
        "credited": _minutes(step.credited_s),
        "short": "short" if step.kind != "keep" and step.credited_s < step.planned_s - 1.0 else "",
        "ramp": _minutes(ramp),
        "climb": _c(step.climb_c_per_min),
        "low": _c(step.min_c),
        "mean": _c(step.mean_c),
        "high": _c(step.max_c),
        "over": _c(step.overshoot_c),
        "rms": _c(step.rms_error_c),
    }


def _weight(event: Happening) -> int:
    """Which lines are printed first? Trips, then people's doing, then the course."""
    if event.kind in TRIPS:
        return 0
    return 1 if event.kind in PEOPLE else 2 if event.kind in ("step", "resume", "note") else 3


def _printed(record: RunRecord) -> set[int]:
    """Which lines go on paper, so that two pages hold everything?"""
    room = PRINTED - 2 * len(record.added)
    room -= WORT_LINES if record.prediction is not None and len(record.steps) > PAGE_STEPS else 0
    found = set()
    for index in sorted(range(len(record.events)), key=lambda i: (_weight(record.events[i]), i)):
        room -= 1 + len(_text(record.events[index])) // 110
        if room >= 0:
            found.add(index)
    return found


def _lines(record: RunRecord) -> list[Line]:
    printed = _printed(record)
    number, lines = 0, []
    for index, event in enumerate(record.events):
        marked = event.kind in ("trip", "order", "entry")
        number += marked
        lines.append(
            Line(
                number if marked else None,
                _when(record, event.t_s),
                KINDS.get(event.kind, event.kind),
                _text(event),
                "trip" if event.kind in TRIPS else "person" if event.kind in PEOPLE else "plain",
                index in printed,
            )
        )
    return lines


def _text(event: Happening) -> str:
    by = event.data.get("by")
    return event.text + (f" [{by}]" if by and str(by) not in event.text else "")


def _wort(record: RunRecord) -> list[tuple[str, str]]:
    """The wort estimate in figures with their bands."""
    found = record.prediction
    if found is None:
        return []
    lines = []
    for key, name in (("apparent_limit_pct", "Apparent limit attenuation"), ("real_limit_pct", "Real")):
        band = found.get(key)
        if isinstance(band, dict):
            lines.append((name, f"{band['mid']:.1f} % ({band['low']:.0f} to {band['high']:.0f})"))
    if (starch := found.get("starch_left_pct")) is not None:
        lines.append(("Starch left", f"{starch:.1f} %"))
    minutes = found.get("iodine_negative_min")
    lines.append(("Iodine negative", "not reached" if minutes is None else f"{minutes:.0f} min after dough-in"))
    return [*lines, ("Calibrated on", str(found.get("basis") or "–"))]


def _added(entry: Any) -> dict[str, str]:
    at = datetime.fromtimestamp(float(entry["at"]), UTC).astimezone()
    about = f" ({entry['about']})" if entry.get("about") else ""
    return {
        "kind": str(entry["kind"]),
        "when": f"{at:%Y-%m-%d %H:%M}",
        "by": str(entry["by"]),
        "text": str(entry.get("text") or "") + about,
    }


# ---------------------------------------------------------------- pictures


def _columns(record: RunRecord, key: str) -> Curve:
    names = {"mash_c": "measured", "setpoint_c": "setpoint", "duty": "heat"}
    times = [row.t_s for row in record.rows]
    return Curve(names[key], names[key], times, [getattr(row, key) for row in record.rows])


def _span(record: RunRecord) -> tuple[float, float]:
    """Lowest and highest temperature of the picture, on whole fives."""
    known = [row.mash_c for row in record.rows if row.mash_c is not None]
    known += [row.setpoint_c for row in record.rows if row.setpoint_c is not None]
    known += [step.target_c for step in record.planned]
    low, high = (min(known), max(known)) if known else (0.0, 100.0)
    return floor((low - 1) / 5) * 5.0, ceil((high + 1) / 5) * 5.0


def _course(record: RunRecord, empty: Sequence[Gap], lines: Sequence[Line]) -> str:
    plan = plan_curve(record)
    axes = Axes(max(record.ended_s, plan[-1][0] if plan else 1.0), *_span(record), 330.0)
    mash, setpoint = _columns(record, "mash_c"), _columns(record, "setpoint_c")
    numbered = [
        (event.t_s, line.number, line.css)
        for event, line in zip(record.events, lines, strict=True)
        if line.number is not None
    ]
    ends = [("planned", "planned", plan[-1][1])] if plan else []
    ends += [(c.css, c.name, v) for c in (mash, setpoint) if (v := _last(c.values)) is not None]
    return chart.picture(
        axes,
        "course",
        "Mash temperature, planned and measured",
        _described(record),
        chart.shade(axes, "gap", ((g.from_s, g.to_s) for g in empty), "no reading"),
        chart.shade(axes, "held", _held(record), "heat held off"),
        chart.grid(axes, "°C"),
        chart.line(axes, "planned", plan),
        chart.drawn(axes, setpoint, GAP_S * 3),
        chart.drawn(axes, mash, GAP_S),
        chart.marks(axes, numbered),
        chart.labels(axes, ends),
    )


def _held(record: RunRecord) -> list[tuple[float, float]]:
    """From when to when was the run held or tripped?"""
    spans: list[tuple[float, float]] = []
    before = ""
    for row in record.rows:
        held = row.state in ("held", "holding", "restarting")
        if held and before not in ("held", "holding", "restarting"):
            spans.append((row.t_s, row.t_s))
        elif held:
            spans[-1] = (spans[-1][0], row.t_s)
        before = row.state
    return spans


def _last(values: Iterable[float | None]) -> float | None:
    return next((v for v in reversed(list(values)) if v is not None), None)


def _described(record: RunRecord) -> str:
    """The picture in words, for those who do not see it."""
    known = [row.mash_c for row in record.rows if row.mash_c is not None]
    if not known:
        return "No temperature was recorded."
    rests = "; ".join(f"{s.name} {s.target_c:.0f} °C, {_minutes(s.credited_s)} credited" for s in record.steps)
    return f"From {known[0]:.1f} to {known[-1]:.1f} °C in {chart.clock(record.ended_s)}. {rests}."


def _heat(record: RunRecord, empty: Sequence[Gap]) -> str:
    plan = plan_curve(record)
    axes = Axes(max(record.ended_s, plan[-1][0] if plan else 1.0), 0.0, 100.0, 110.0)
    duty = _columns(record, "duty")
    share = Curve("heat", "heat", duty.times_s, [None if v is None else 100.0 * v for v in duty.values])
    mean = sum(row.duty for row in record.rows) / max(len(record.rows), 1)
    return chart.picture(
        axes,
        "heat",
        "Heater power, percent of full",
        f"Mean {100 * mean:.0f} percent over the run.",
        chart.shade(axes, "gap", ((g.from_s, g.to_s) for g in empty), "no reading"),
        chart.grid(axes, "%"),
        chart.filled(axes, share),
    )


def _enzymes(record: RunRecord) -> str:
    if not record.enzymes:
        return ""
    axes = Axes(max(record.ended_s, 1.0), 0.0, 100.0, 200.0)
    times = [row.t_s for row in record.rows]
    curves = [Curve(key.split("_")[0], ENZYMES[key], times, values) for key, values in record.enzymes.items()]
    ends = [(c.css, c.name, v) for c in curves if (v := _last(c.values)) is not None]
    said = "; ".join(f"{name} {value:.0f} percent" for _, name, value in ends)
    return chart.picture(
        axes,
        "enzymes",
        "Enzyme activity and starch left, percent, estimated",
        f"At the end: {said}.",
        chart.grid(axes, "%"),
        *(chart.drawn(axes, c) for c in curves),
        chart.labels(axes, ends),
    )


# ---------------------------------------------------------------- data for zooming


def _data(record: RunRecord) -> str:
    """The samples as short whole numbers, in a JSON block that cannot end its own element."""
    values = {
        "t": _steps([round(row.t_s) for row in record.rows]),
        "mash": [None if row.mash_c is None else round(100 * row.mash_c) for row in record.rows],
        "setpoint": _runs([None if row.setpoint_c is None else round(100 * row.setpoint_c) for row in record.rows]),
        "heat": _runs([round(100 * row.duty) for row in record.rows]),
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
