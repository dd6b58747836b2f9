"""How do many simulated days look as one page? A fan of their temperatures, and what they come to."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib.resources import files
from math import ceil, floor

from controller.report import svg
from controller.report.svg import Axes

STYLE = "pre{overflow-x:auto;font-size:.86rem}.fan{fill:var(--heat);opacity:.35;stroke:none}"


def html(title: str, lines: Sequence[str], fan: Sequence[tuple[float, float, float, float]]) -> str:
    """The page. `fan`: rows of time s and the 5, 50 and 95 % limits of the mash's true temperature, °C."""
    head, told = escape(lines[0]), escape("\n".join(line.strip() for line in lines[1:2]))
    style = (files("controller.report") / "page.css").read_text(encoding="utf-8") + STYLE
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{head}</title>\n<style>{style}</style>\n</head>\n<body>\n<header>\n"
        f'<p class="kind">Dry runs against a simulated tun</p>\n<h1>{escape(title)}</h1>\n'
        f'<p class="result">{head}: {told}</p>\n</header>\n<main>\n'
        f'<section aria-labelledby="h-fan"><h2 id="h-fan">Temperature</h2>\n<figure id="drawn" tabindex="0" '
        f'aria-label="Fan of the mash temperatures">{chart(fan)}</figure>\n'
        "<p>The line is the middle day at each minute; nine days of ten lie in the coloured band.</p></section>\n"
        f'<section aria-labelledby="h-told"><h2 id="h-told">What they come to</h2>\n'
        f"<pre>{escape(chr(10).join(lines[2:]))}</pre></section>\n</main>\n</body>\n</html>\n"
    )


def chart(fan: Sequence[tuple[float, float, float, float]]) -> str:
    """The fan as a picture, for a broad page and for a telephone; empty where no day completed."""
    if not fan:
        return ""
    low, high = min(row[1] for row in fan), max(row[3] for row in fan)
    axes = Axes(fan[-1][0], floor((low - 1) / 5) * 5.0, ceil((high + 1) / 5) * 5.0, 330.0)
    return "".join(_drawn(fan, each) for each in (axes, svg.narrow(axes)))


def _drawn(fan: Sequence[tuple[float, float, float, float]], axes: Axes) -> str:
    there = [f"{axes.x(t):.1f},{axes.y(top):.1f}" for t, _, _, top in fan]
    back = [f"{axes.x(t):.1f},{axes.y(bottom):.1f}" for t, bottom, _, _ in reversed(fan)]
    middle = svg.Curve("measured", "middle day", [row[0] for row in fan], [row[2] for row in fan])
    return svg.picture(
        axes,
        "fan",
        "Mash temperature of the simulated days",
        f"From {fan[0][2]:.0f} °C to {fan[-1][2]:.0f} °C in {svg.clock(fan[-1][0])}; the widest band is "
        f"{max(row[3] - row[1] for row in fan):.1f} K.",
        svg.grid(axes, "°C"),
        f'<polygon class="fan" points="{" ".join(there + back)}"/>',
        svg.drawn(axes, middle),
        svg.labels(axes, [("measured", "middle day", fan[-1][2])]),
    )
