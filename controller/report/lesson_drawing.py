"""How are temperatures and enzymes of a mash drawn, so that a glance tells which enzyme worked when?

SVG on the same time axis: the temperature above, with the enzymes' windows at its right edge, and a lane an enzyme
below it. Lines differ by dash as well as by colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from itertools import accumulate
from math import ceil, floor

from controller.brewing.kinetics.enzyme_lanes import WINDOWS, Lane, left_words
from controller.brewing.kinetics.lesson import Lesson
from controller.report import svg
from controller.report.svg import BOTTOM, LEFT, RIGHT, TOP, WIDTH, Axes

CSS = {
    "beta-glucanase": "glucanase",
    "protease": "protease",
    "limit dextrinase": "dextrinase",
    "beta-amylase": "beta",
    "alpha-amylase": "alpha",
}
HEIGHT, ROW, LANE = 250.0, 46.0, 28.0  # of the temperatures; of a lane with its room, and of its fullest bar
BAR = 7.0  # between the bars of two windows
OWN = ("measured", "setpoint", "planned", "heat")  # how several mashes are told apart


def course(lessons: Sequence[Lesson], key: str) -> str:
    """The temperatures of one mash, or of several over each other."""
    axes = _axes(lessons)
    lines = "".join(_curve(axes, lesson, OWN[n % len(OWN)]) for n, lesson in enumerate(lessons))
    ends = [(OWN[n % len(OWN)], lesson.title, lesson.lanes.celsius[-1]) for n, lesson in enumerate(lessons)]
    alone = len(lessons) == 1
    steps = [(one.begin_s, one.number, "step") for one in lessons[0].taught] if alone else []
    return svg.picture(
        axes,
        f"{key}-course",
        "Mash temperature" if alone else "Mash temperatures over each other",
        "; ".join(map(_described, lessons)),
        svg.grid(axes, "°C"),
        *(_windows(axes) if alone else ()),
        svg.marks(axes, steps),
        lines,
        "" if alone else svg.labels(axes, [(css, chr(65 + n), value) for n, (css, _, value) in enumerate(ends)]),
    )


def _axes(lessons: Sequence[Lesson]) -> Axes:
    known = [value for lesson in lessons for value in lesson.lanes.celsius]
    low, high = floor((min(known) - 1.0) / 5.0) * 5.0, ceil((max(known) + 1.0) / 5.0) * 5.0
    return Axes(max(lesson.total_s for lesson in lessons), low, high, HEIGHT)


def _curve(axes: Axes, lesson: Lesson, css: str) -> str:
    slice_s = lesson.lanes.slice_s
    points = [((n + 0.5) * slice_s, celsius) for n, celsius in enumerate(lesson.lanes.celsius)]
    path = " ".join(f"{axes.x(t):.1f},{axes.y(value):.1f}" for t, value in points)
    return f'<path class="{css}" d="M{path}"/>'


def _described(lesson: Lesson) -> str:
    """The picture in words, for those who do not see it."""
    steps = ", ".join(f"{one.name} to {one.target_c:.0f} °C" for one in lesson.taught)
    return f"{lesson.title}: {steps}, in {svg.clock(lesson.total_s)}"


def _windows(axes: Axes) -> Iterator[str]:
    """A bar at the right edge for each enzyme whose window the picture holds."""
    for n, window in enumerate(WINDOWS):
        low, high = max(axes.low, window.works_c[0]), min(axes.high, window.works_c[1])
        if low < high:
            x = WIDTH - RIGHT + 10.0 + BAR * n
            yield f'<path class="window {CSS[window.name]}" d="M{x:.0f} {axes.y(low):.1f}V{axes.y(high):.1f}">'
            yield f"<title>{window.name} works best at {low:.0f} to {high:.0f} °C</title></path>"


def lanes(lesson: Lesson, key: str) -> str:
    """How busy each enzyme is over time, how much of it is left, and the starch."""
    found = lesson.lanes
    axes = Axes(lesson.total_s, 0.0, 1.0, TOP + ROW * (len(found.lanes) + 1) + BOTTOM)
    rows = [_lane(axes, found.slice_s, lane, TOP + ROW * (n + 1)) for n, lane in enumerate(found.lanes)]
    starch = [left / 100.0 for left in found.starch_left_pct]
    rows.append(_row(axes, found.slice_s, starch, TOP + ROW * (len(found.lanes) + 1), "starch", "starch left"))
    rows.append(
        _label(TOP + ROW * (len(found.lanes) + 1), "starch", "starch", f"{found.starch_left_pct[-1]:.0f} % left")
    )
    bottom = axes.height - BOTTOM
    steps = "".join(
        f'<path class="grid" d="M{axes.x(one.begin_s):.1f} {TOP}V{bottom}"/>'
        for one in lesson.taught
        if one.begin_s > 0.0
    )
    said = "; ".join(
        f"{lane.window.name} {'not told apart' if lane.withheld else left_words(lane)}" for lane in found.lanes
    )
    return svg.picture(
        axes, f"{key}-lanes", "How busy each enzyme is, and how much is left", f"At the end: {said}.", steps, *rows
    )


def _lane(axes: Axes, slice_s: float, lane: Lane, base: float) -> str:
    css, name = CSS[lane.window.name], lane.window.name
    if lane.withheld:
        return _label(base, css, name, "added: not told apart")
    left = " ".join(
        f"{axes.x((n + 1) * slice_s):.1f},{base - LANE * value / 100.0:.1f}" for n, value in enumerate(lane.left_pct)
    )
    return (
        _row(axes, slice_s, lane.busy, base, css, f"{name}: how busy")
        + f'<path class="left" d="M{left}"><title>{name}: how much is left</title></path>'
        + _label(base, css, name, left_words(lane))
    )


def _row(axes: Axes, slice_s: float, values: Sequence[float], base: float, css: str, title: str) -> str:
    """An area above its base line."""
    times = accumulate([slice_s] * len(values), initial=0.5 * slice_s)
    top = " ".join(f"{axes.x(t):.1f},{base - LANE * value:.1f}" for t, value in zip(times, values, strict=False))
    area = f"M{LEFT},{base:.1f} {top} {WIDTH - RIGHT},{base:.1f}Z"
    return f'<path class="busy {css}" d="{area}"><title>{escape(title)}</title></path>'


def _label(base: float, css: str, name: str, left: str) -> str:
    """The name above the lane, where a narrow screen begins to show it; what is left at its end."""
    return (
        f'<text class="label {css}" x="{LEFT + 2:.0f}" y="{base - LANE - 3:.1f}">{escape(name)}</text>'
        f'<text class="tick" x="{WIDTH - RIGHT + 8:.0f}" y="{base - 4:.1f}">{escape(left)}</text>'
    )
