"""How is a curve of any length drawn in few bytes?

SVG by hand: per pixel column the lowest and highest value, so that no spike is lost and the size does not grow with the
run. Colours are CSS classes of the page; lines differ by dash as well, never by colour alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from html import escape
from math import ceil, floor, inf
from typing import NamedTuple

WIDTH = 1000.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 118.0, 14.0, 26.0
MINUTES = (1, 2, 5, 10, 15, 20, 30, 60, 120, 240, 480)
MOST_TICKS, FEW_TICKS = 12, 4
SMALL_POINTS = 1000
NARROW, NARROW_RIGHT = 380.0, 10.0  # a picture for a telephone, and what it keeps free
DIGIT, BETWEEN = 7.0, 4.0  # a digit of a mark is so wide; so far apart two marks stay
LETTER = 6.6  # a letter of a step's name is so wide


class Axes(NamedTuple):
    """Which values lie where on the picture?"""

    until_s: float
    low: float
    high: float
    height: float
    width: float = WIDTH
    right: float = RIGHT  # kept free for names

    @property
    def edge(self) -> float:
        """Where does the drawn part end?"""
        return self.width - self.right

    def x(self, t_s: float) -> float:
        return LEFT + (self.width - self.right - LEFT) * min(1.0, max(0.0, t_s / max(self.until_s, 1.0)))

    def y(self, value: float) -> float:
        share = (value - self.low) / max(self.high - self.low, 1e-9)
        return self.height - BOTTOM - (self.height - TOP - BOTTOM) * share


class Curve(NamedTuple):
    """One line of the chart."""

    css: str
    name: str
    times_s: Sequence[float]
    values: Sequence[float | None]


def envelope(axes: Axes, curve: Curve, break_s: float = inf) -> str:
    """The path of a curve: per pixel column its lowest and highest value; broken where values miss."""
    parts: list[str] = []
    column, low, high, last = -1, 0.0, 0.0, 0.0
    pen_up, before = True, -inf
    for t_s, value in zip(curve.times_s, curve.values, strict=True):
        if value is None or t_s - before > break_s:
            if column >= 0:
                parts.append(_column(column, low, high, last, pen_up, axes))
            column, pen_up = -1, True
        if value is None:
            continue
        before = t_s
        here = int(axes.x(t_s))
        if here == column:
            low, high, last = min(low, value), max(high, value), value
            continue
        if column >= 0:
            parts.append(_column(column, low, high, last, pen_up, axes))
            pen_up = False
        column, low, high, last = here, value, value, value
    if column >= 0:
        parts.append(_column(column, low, high, last, pen_up, axes))
    return "".join(parts)


def _column(column: int, low: float, high: float, last: float, pen_up: bool, axes: Axes) -> str:
    """One column: down to the lowest, up to the highest, and on from the last value."""
    a, b, c = (f"{axes.y(v):.1f}" for v in (low, high, last))
    start = f"{'M' if pen_up else 'L'}{column} {a}"
    if a == b:
        return start + ("h0.1" if pen_up else "")
    return f"{start}V{b}" + (f"V{c}" if c != b else "")


def line(axes: Axes, css: str, points: Iterable[tuple[float, float]]) -> str:
    """Straight lines through corner points (s, value)."""
    coordinates = " ".join(f"{axes.x(t):.1f},{axes.y(v):.1f}" for t, v in points)
    return f'<polyline class="{css}" points="{coordinates}"/>' if coordinates else ""


def drawn(axes: Axes, curve: Curve, break_s: float = inf) -> str:
    """A curve as an SVG path."""
    path = envelope(axes, curve, break_s)
    return f'<path class="{curve.css}" d="{path}"/>' if path else ""


def filled(axes: Axes, curve: Curve, break_s: float = inf) -> str:
    """The area below a curve: one bar a pixel column up to its mean, so that relay switching shows as its share."""
    sums: dict[int, list[float]] = {}
    for t_s, value in zip(curve.times_s, curve.values, strict=True):
        if value is not None:
            sums.setdefault(int(axes.x(t_s)), []).append(value)
    floor_y = axes.y(axes.low)
    means = {column: sum(values) / len(values) for column, values in sums.items()}
    bars = [f"M{column} {floor_y:.1f}V{axes.y(mean):.1f}" for column, mean in means.items() if mean > axes.low]
    return f'<path class="{curve.css}" d="{"".join(bars)}"/>' if bars else ""


def shade(axes: Axes, css: str, spans: Iterable[tuple[float, float]], title: str) -> str:
    """Vertical bands from one time to another, with a title for those who point at them."""
    found = []
    for begin, end in spans:
        x, wide = axes.x(begin), max(2.0, axes.x(end) - axes.x(begin))
        tall = axes.height - TOP - BOTTOM
        found.append(f'<rect class="{css}" x="{x:.1f}" y="{TOP}" width="{wide:.1f}" height="{tall:.1f}">')
        found.append(f"<title>{escape(title)}</title></rect>")
    return "".join(found)


def time_step_s(until_s: float, most: int = MOST_TICKS) -> int:
    """How far apart are the marks of the time axis? So that there are at most a dozen, or fewer."""
    return next((m * 60 for m in MINUTES if until_s <= m * 60 * most), MINUTES[-1] * 60)


def value_step(low: float, high: float) -> float:
    """How far apart are the marks of the value axis?"""
    steps = (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0)
    return next((step for step in steps if (high - low) / step <= 8), 100.0)


def grid(axes: Axes, unit: str, began_text: str = "0 min") -> str:
    """Marks and numbers of both axes."""
    parts = []
    step = value_step(axes.low, axes.high)
    top = floor(axes.high / step + 1e-9)
    for i in range(ceil(axes.low / step - 1e-9), top + 1):
        y, text = axes.y(i * step), f"{i * step:g} {escape(unit)}" if i == top else f"{i * step:g}"
        parts.append(f'<path class="grid" d="M{LEFT} {y:.1f}H{axes.edge:g}"/>')
        css = "tick warm" if unit == "°C" else "tick"
        parts.append(f'<text class="{css}" x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{text}</text>')
    every = time_step_s(axes.until_s, MOST_TICKS if axes.width == WIDTH else FEW_TICKS)
    for t in range(0, int(axes.until_s) + 1, every):
        x = axes.x(t)
        parts.append(f'<path class="grid" d="M{x:.1f} {TOP}V{axes.height - BOTTOM}"/>')
        text = clock(t) if t else began_text
        parts.append(f'<text class="tick" x="{x:.1f}" y="{axes.height - 8}" text-anchor="middle">{text}</text>')
    return "".join(parts)


def clock(seconds: float) -> str:
    """Run time as a person reads it: 42 min, 1:05 h."""
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60}:{minutes % 60:02d} h"


def lasting(seconds: float | None) -> str:
    """A length of time as a person reads it: 42 s, 12.5 min; a dash for none."""
    if seconds is None:
        return "–"
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.1f} min"


def labels(axes: Axes, wanted: Iterable[tuple[str, str, float]], apart: float = 14.0) -> str:
    """Names at the right edge (css, text, value there), moved apart where they would lie on each other; none where no
    room is kept for them."""
    if axes.right < RIGHT:
        return ""
    placed: list[tuple[str, str, float]] = []
    for css, text, value in sorted(wanted, key=lambda item: axes.y(item[2])):
        y = axes.y(value) + 4
        if placed and y - placed[-1][2] < apart:
            y = placed[-1][2] + apart
        placed.append((css, text, y))
    shift = max(0.0, placed[-1][2] - (axes.height - BOTTOM + 4)) if placed else 0.0
    return "".join(
        f'<text class="label {css}" x="{axes.edge + 8:g}" y="{y - shift:.1f}">{escape(text)}</text>'
        for css, text, y in placed
    )


def marks(axes: Axes, at: Iterable[tuple[float, int, str]]) -> str:
    """Numbered marks at the top edge (s, number, css); numbers that would lie on each other stand as one: 3-5."""
    parts = []
    for group in _together(axes, sorted(at)):
        css = next((c for _, _, c in group if c == "trip"), group[0][2])
        lines = "".join(f'<path class="{c}" d="M{axes.x(t):.1f} {TOP}V{axes.height - BOTTOM}"/>' for t, _, c in group)
        middle = (axes.x(group[0][0]) + axes.x(group[-1][0])) / 2.0
        text = f'<text x="{middle:.1f}" y="{TOP - 3}" text-anchor="middle">{_numbers(group)}</text>'
        parts.append(f'<g class="mark {css}">{lines}{text}</g>')
    return "".join(parts)


def names(axes: Axes, steps: Iterable[tuple[float, float, int, str]], value: Callable[[float, float], float]) -> str:
    """Each step named above its curve (from, to, number, name); the number alone where there is no room for more.

    `value`: the highest that is drawn between two times.
    """
    parts, free = [], LEFT
    for begin, end, number, name in steps:
        left, right = max(axes.x(begin), free), axes.x(end)
        text = f"{number} {name}"
        shown = text if LETTER * len(text) <= right - left else f"{number}"
        wide = LETTER * len(shown)
        if left + wide > axes.edge:
            continue
        y = max(TOP + 12.0, axes.y(value(begin, end)) - 7.0)
        parts.append(
            f'<text class="name" x="{left:.1f}" y="{y:.1f}">{escape(shown)}<title>{escape(text)}</title></text>'
        )
        free = left + wide + BETWEEN
    return "".join(parts)


Mark = tuple[float, int, str]


def _together(axes: Axes, at: Sequence[Mark]) -> list[list[Mark]]:
    """Marks in groups: those whose numbers would lie on each other are one."""
    groups: list[list[Mark]] = []
    for mark in at:
        groups.append([mark])
        while len(groups) > 1 and _edges(axes, groups[-1])[0] < _edges(axes, groups[-2])[1] + BETWEEN:
            last = groups.pop()
            groups[-1] += last
    return groups


def _edges(axes: Axes, group: Sequence[Mark]) -> tuple[float, float]:
    both, wide = axes.x(group[0][0]) + axes.x(group[-1][0]), DIGIT * len(_numbers(group))
    return (both - wide) / 2.0, (both + wide) / 2.0


def _numbers(group: Sequence[Mark]) -> str:
    """The numbers of a group: 3, or 3-5 (they are in the order of time)."""
    first, last = group[0][1], group[-1][1]
    return f"{first}" if first == last else f"{first}\N{EN DASH}{last}"


def fewer(axes: Axes, curve: Curve, mean: bool = False) -> Curve:
    """The curve with no more points than a small picture can show: of each few samples the lowest and the highest, or
    their mean. A few in which one misses are nothing; a large picture gets them all."""
    each = len(curve.times_s) // SMALL_POINTS
    if axes.width == WIDTH or each < 2:
        return curve
    times: list[float] = []
    values: list[float | None] = []
    for i in range(0, len(curve.times_s), each):
        some = curve.values[i : i + each]
        known = [value for value in some if value is not None]
        whole = len(known) == len(some)
        times += curve.times_s[i : i + 1] if mean or not whole else (curve.times_s[i], curve.times_s[i])
        values += [None] if not whole else [sum(known) / len(known)] if mean else [min(known), max(known)]
    return curve._replace(times_s=times, values=values)


def narrow(axes: Axes) -> Axes:
    """The same axes for a telephone."""
    return axes._replace(width=NARROW, right=NARROW_RIGHT, height=max(110.0, 0.75 * axes.height))


def picture(axes: Axes, name: str, title: str, description: str, *parts: str) -> str:
    """The whole SVG, with a title and a description for those who do not see it."""
    small = axes.width < WIDTH
    name, css = (f"{name}-small", "chart small") if small else (name, "chart")
    return (
        f'<svg class="{css}" viewBox="0 0 {axes.width:g} {axes.height:g}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
        + "".join(parts)
        + "</svg>"
    )
