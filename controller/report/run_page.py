"""How does a run look as one HTML file?

Everything is inside: SVG that prints and needs no script, uPlot for zooming where script is on. No address is asked.
User text goes through autoescape or stands in a JSON block, never in a script. jinja2 is imported here alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache
from importlib.resources import files
from itertools import count
from typing import Any, NamedTuple

import jinja2
from markupsafe import Markup

from controller import __version__
from controller.brewing.kinetics import spoken
from controller.report import (
    batch_entries,
    batch_record,
    laboratory,
    lesson_page,
    lessons,
    planned_got,
    run_charts,
    svg,
)
from controller.report.rows import gaps
from controller.report.run_charts import packed
from controller.report.run_record import EventRecord, Gap, RunRecord, StepRecord
from controller.settings.own_units import Own, in_own_units

PRINTED, WORT_LINES, BATCH_LINES = 44, 22, 14  # lines: events on the second printed page; what wort and batch take
PAGE_STEPS = 11  # with more steps the wort moves to the second page
TRIPS = ("trip", "latched", "cleared")
PEOPLE = ("order", "answer", "entry", "acknowledge", "run")
KINDS = {  # where the page has another word for it
    "latched": "trip",
    "cleared": "trip over",
    "order": "correction",
    "acknowledge": "heard",
    "step done": "step",
    "resume": "resumed",
    "overrule": "overruled",
}


class EventLine(NamedTuple):
    """One line of the table of events."""

    number: int | None
    when: str
    kind: str
    text: str
    css: str
    printed: bool


def html(record: RunRecord, own: Own | None = None) -> str:
    """The report as text. `own`: what people read is told in these units; else metric."""
    own = own or {}
    empty, lines = gaps(record.rows), _lines(record)
    trips = sum(event.kind == "trip" for event in record.events)
    marked = [(e.t_s, line.number, line.css) for e, line in zip(record.events, lines, strict=True) if line.number]
    page = _template().render(
        record=record,
        result=f"{record.state}, {svg.clock(record.ended_s)}, {trips or 'no'} trip{'s' if trips != 1 else ''}",
        head=_head(record),
        course=Markup(run_charts.course(record, empty, marked)),
        heat=Markup(run_charts.heat(record, empty)),
        enzymes=Markup(run_charts.enzymes(record)),
        steps=[_step(number, step, bool(own)) for number, step in enumerate(record.steps, 1)],
        united=bool(own),
        lines=lines,
        hidden=sum(not line.printed for line in lines),
        gaps=[f"{_when(record, a)} to {_when(record, b)} ({svg.lasting(b - a)})" for a, b in empty],
        gaps_in_all=_in_all(empty),
        wort=_wort(record),
        batch=[] if record.dry else _batch(record),
        missing=[] if record.dry else batch_entries.missing(record, batch_record.initial_heat_c(record)),
        added=[_added(entry) for entry in record.added],
        data=Markup(packed(record, own)),
        lesson=Markup(_lesson(record)),
        script=Markup(_asset("vendor/uPlot.iife.min.js") + "\n" + _asset("zoom.js")),
        style=Markup(_asset("page.css") + _asset("lesson.css") + _asset("vendor/uPlot.min.css")),
        version=__version__,
    )
    return _PART.sub(lambda part: _told(part, own), page) if own else page


_PART = re.compile(r"(?P<left>(?s:<script.*?</script>|<style.*?</style>))|(?P<tag><[^>]+>)(?P<text>[^<]*)")


def _told(part: re.Match[str], own: Own) -> str:
    """A piece of the page with its text in own units: a number of the temperature axis, or a sentence. Tags stay."""
    if part["left"]:
        return part[0]
    axis = "tick warm" in part["tag"] and "°" not in part["text"] and "°C" in own
    text = f"{own['°C'].of(float(part['text'])):.0f}" if axis else in_own_units(part["text"], own)
    return part["tag"] + text


def _batch(record: RunRecord) -> list[batch_entries.BatchLine]:
    """What was entered, what follows from it for a laboratory, and planned beside got."""
    more = (*laboratory.lines(record), *planned_got.lines(record))
    return [*batch_entries.lines(record), *(batch_entries.BatchLine(title, text) for title, text in more)]


@cache
def _asset(name: str) -> str:
    return (files("controller.report") / name).read_text(encoding="utf-8")


@cache
def _template() -> jinja2.Template:
    world = jinja2.Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined)
    return world.from_string(_asset("page.html"))


def _when(record: RunRecord, t_s: float) -> str:
    """Run time, and the clock where there was one."""
    minutes, seconds = divmod(round(t_s), 60)
    text = f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
    if record.began_s is None:
        return text
    return f"{text} ({batch_record.local(record.began_s + t_s / record.speed):%H:%M})"


def _c(value: float | None, digits: int = 2) -> str:
    return "–" if value is None else f"{value:.{digits}f}"


def _in_all(empty: Sequence[Gap]) -> str:
    """The gaps in one line: how many, how long together, and the longest."""
    each = [gap.to_s - gap.from_s for gap in empty]
    if len(each) < 2:
        return f"1 gap in the data, {svg.lasting(sum(each))}"
    return f"{len(each)} gaps in the data, {svg.lasting(sum(each))} in all, the longest {svg.lasting(max(each))}"


def _head(record: RunRecord) -> list[tuple[str, str]]:
    lines = [("Program", record.program), ("Tun", record.tun), ("Run", record.run)]
    if record.began_s is not None:
        lines.append(("Begun", f"{batch_record.local(record.began_s):%Y-%m-%d %H:%M %Z}"))
    lines += _mashed(record)
    if record.energy_kwh is not None:
        lines.append(("Energy", f"{record.energy_kwh:.2f} kWh"))
    steps_s = sum(s.ramp_s + s.mixing_s + s.hold_s for s in record.planned if s.kind != "keep")
    lines.append(("Planned", svg.clock(steps_s if record.planned_s is None else record.planned_s)))
    return [*lines, *record.meta.items()]


def _mashed(record: RunRecord) -> Iterator[tuple[str, str]]:
    """What went in, how hot, and when."""
    if lines := batch_entries.malt(record):
        yield "Malt", ", ".join(f"{line['mass_kg']:g} kg {line['name']}" for line in lines)
    strike = batch_entries.strike(record)
    if strike is not None:
        used = "" if strike["used_c"] is None else f", {strike['used_c']:.1f} °C at dough-in"
        yield "Strike", f"{strike['predicted_c']:.1f} °C planned{used}"
    times = batch_entries.dough_in(record)
    for title, at_s in (("Dough-in", times["began_s"]), ("Grain in", times["grain_in_s"])):
        if at_s is not None:
            yield title, _when(record, at_s)
    if record.rows:
        yield "Last reading", _when(record, record.rows[-1].t_s)


def _step(number: int, step: StepRecord, united: bool) -> dict[str, str]:
    """A row of the table; with the unit in each cell where the page is not metric."""
    found = _figures(number, step)
    units = {"target": "°C", "low": "°C", "mean": "°C", "high": "°C", "climb": "K/min", "over": "K", "rms": "K"}
    return {**found, **{key: f"{found[key]} {unit}" for key, unit in units.items() if united and found[key] != "–"}}


def _figures(number: int, step: StepRecord) -> dict[str, str]:
    return {
        "number": str(number),
        "name": step.name,
        "target": _c(step.target_c, 1),
        "planned": svg.lasting(step.planned_s),
        "asked": "" if step.asked_s is None else svg.lasting(step.asked_s),
        "credited": svg.lasting(step.credited_s),
        "short": "short"
        if step.kind != "keep" and step.credited_s < (step.planned_s if step.asked_s is None else step.asked_s) - 1.0
        else "",
        "ramp": svg.lasting(step.ramp_s),
        "climb": _c(step.climb_c_per_min),
        "low": _c(step.min_c),
        "mean": _c(step.mean_c),
        "high": _c(step.max_c),
        "over": _c(step.overshoot_c),
        "rms": _c(step.rms_error_c),
    }


def _printed(record: RunRecord) -> set[int]:
    """Which lines go on paper, so that two pages hold everything? Trips first, then people's doing, then the course."""
    rank = (TRIPS, PEOPLE, ("step", "resume", "note"))
    order = [next((n for n, kinds in enumerate(rank) if event.kind in kinds), 3) for event in record.events]
    room = PRINTED - 2 * len(record.added) - (0 if record.dry else BATCH_LINES)
    room -= WORT_LINES if record.prediction is not None and len(record.steps) > PAGE_STEPS else 0
    found = set()
    for index in sorted(range(len(order)), key=order.__getitem__):
        room -= 1 + len(_text(record.events[index])) // 110
        if room >= 0:
            found.add(index)
    return found


def _lines(record: RunRecord) -> list[EventLine]:
    printed = _printed(record)
    numbers, lines = count(1), []
    for index, event in enumerate(record.events):
        number = next(numbers) if event.kind in ("trip", "order", "entry") else None
        when, kind, text = _when(record, event.t_s), KINDS.get(event.kind, event.kind), _text(event)
        css = "trip" if event.kind in TRIPS else "person" if event.kind in PEOPLE else "plain"
        lines.append(EventLine(number, when, kind, text, css, index in printed))
    return lines


def _text(event: EventRecord) -> str:
    by = event.data.get("by")
    return event.text + (f" [{by}]" if by and str(by) not in event.text else "")


def _wort(record: RunRecord) -> list[tuple[str, str]]:
    """The wort estimate in figures with their bands."""
    found = record.prediction
    if found is None:
        return []
    lines = [
        ("Attenuation", spoken.limit(found)),
        ("Extract", spoken.extract(found)),
        ("Starch left", f"{found['starch_left_pct']:.0f} %"),
        ("Iodine", spoken.iodine(found)),
        *(("Where it ends", words) for words in spoken.ends(found)),
    ]
    return [*lines, ("Calibrated on", str(found.get("basis") or "–"))]


def _lesson(record: RunRecord) -> str:
    """What each rest did, with the sources; nothing where there was no mash."""
    found = lessons.of_record(record)
    return "" if found is None else lesson_page.section(found) + lesson_page.sources([found], folded=True)


def _added(entry: Any) -> dict[str, str]:
    about = f" ({entry['about']})" if entry.get("about") else ""
    return {
        "kind": str(entry["kind"]),
        "when": f"{batch_record.local(float(entry['at'])):%Y-%m-%d %H:%M}",
        "by": str(entry["by"]),
        "text": str(entry.get("text") or "") + about,
    }
