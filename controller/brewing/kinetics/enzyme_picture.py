"""Where in this program does which enzyme work, and when is it lost? Drawn as plain lines for a terminal.

No colour, and on request no character beyond ASCII; the numbers come from enzyme_lanes.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import floor

from controller.brewing.kinetics.enzyme_lanes import WINDOWS, Lane, Lanes, left_words

LEVELS, PLAIN_LEVELS = " ░▒▓█", " .:=#"
ROW_K = 2.0
NAME_WIDTH = 17
WIDTH = 60  # of the drawing; names and figures stand beside it
Begin = tuple[int, float]  # number of a step, and when it begins, s


def drawn(found: Lanes, begins: Sequence[Begin] = (), plain: bool = False, width: int = WIDTH) -> list[str]:
    """How do the enzymes stand against a mash, in lines of text? With `plain` nothing but ASCII is used."""
    lines = [*curve([found.celsius], found.slice_s, begins, width), "", *_enzymes(found, plain, width)]
    return [ascii_only(line).rstrip() if plain else line.rstrip() for line in lines]


def ascii_only(line: str) -> str:
    return line.replace("°C", "degC").encode("ascii", "replace").decode("ascii")


def _squeezed(values: Sequence[float], width: int) -> list[float]:
    """The values in so many columns; each column is the mean of what falls into it, or the nearest."""
    count = len(values)
    cuts = [n * count // width for n in range(width + 1)]
    return [sum(values[a:b]) / (b - a) if b > a else values[min(a, count - 1)] for a, b in pairwise(cuts)]


def curve(
    mashes: Sequence[Sequence[float]], slice_s: float, begins: Sequence[Begin] = (), width: int = WIDTH
) -> list[str]:
    """Temperatures over time, a row every 2 K, with the numbers of the steps where they begin and minutes below; of
    several mashes each with its own letter, from A on, where they part."""
    most = max(len(celsius) for celsius in mashes)
    lowest = min(min(celsius) for celsius in mashes)
    low = ROW_K * floor(lowest / ROW_K)
    count = max(2, round((max(max(celsius) for celsius in mashes) - low) / ROW_K) + 1)
    rows = [[" "] * width for _ in range(count)]
    for number, celsius in enumerate(mashes):
        for column, value in enumerate(_squeezed(celsius, max(1, round(width * len(celsius) / most)))):
            at = min(count - 1, round((value - low) / ROW_K))
            free = rows[at][column] == " "
            rows[at][column] = (chr(65 + number) if len(mashes) > 1 else "*") if free else "*"
    lines = [f"{low + ROW_K * n:{NAME_WIDTH - 3}.0f} °C |{''.join(row)}" for n, row in enumerate(rows)]
    return [*reversed(lines), *_axis(begins, most * slice_s / width, width)]


def _axis(begins: Sequence[Begin], column_s: float, width: int) -> list[str]:
    steps, minutes = [" "] * width, [" "] * width
    for number, begin_s in begins:
        _put(steps, int(begin_s / column_s), str(number))
    for tick in range(0, width, 10):
        _put(minutes, tick, f"{tick * column_s / 60.0:.0f}")
    lines = [f"{'step begins':>{NAME_WIDTH}} |{''.join(steps)}"] if begins else []
    return [*lines, f"{'minutes':>{NAME_WIDTH}} |{''.join(minutes)}"]


def _put(row: list[str], at: int, text: str) -> None:
    for offset, letter in enumerate(text):
        if 0 <= at + offset < len(row):
            row[at + offset] = letter


def _enzymes(found: Lanes, plain: bool, width: int) -> list[str]:
    levels = PLAIN_LEVELS if plain else LEVELS
    lines = [_lane(lane, levels, width) for lane in found.lanes]
    starch = "".join(levels[_level(left / 100.0)] for left in _squeezed(found.starch_left_pct, width))
    return [*lines, f"{'starch':>{NAME_WIDTH}} |{starch}| {f'{found.starch_left_pct[-1]:.0f} % left':>10}"]


def _lane(lane: Lane, levels: str, width: int) -> str:
    name = f"{lane.window.name:>{NAME_WIDTH}} |"
    if lane.withheld:
        return f"{name}{'it is added: what the malt has is not told apart':^{width}}|"
    bar = "".join(levels[_level(busy)] for busy in _squeezed(lane.busy, width))
    return f"{name}{bar}| {left_words(lane):>10}"


def _level(share: float) -> int:
    """0 for next to nothing, 4 for three quarters and more."""
    return 0 if share < 0.03 else min(4, 1 + int(4.0 * share))


def _wrapped(text: str, indent: str = "") -> list[str]:
    """The text in lines of the drawing's usual width, the second and later ones indented."""
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) + 1 > NAME_WIDTH + WIDTH:
            lines.append(indent + word)
        else:
            lines[-1] += f" {word}" if lines[-1] else word
    return lines


def legend(plain: bool = False) -> list[str]:
    """What do the bars mean, and where does each enzyme work best?"""
    levels = PLAIN_LEVELS if plain else LEVELS
    lines = [f"[{levels[1]}{levels[2]}{levels[3]}{levels[4]}] how busy, up to the most a fresh enzyme does at its best"]
    lines.append("Works best / is lost, in °C; established practice, good to 1 or 2 K:")
    for window in WINDOWS:
        low, high = window.works_c
        source = f" ({window.source})" if window.source else ""
        lines += _wrapped(f"{window.name}: {low:.0f} to {high:.0f} / {window.lost}{source}", "   ")
    return [ascii_only(line) for line in lines] if plain else lines
