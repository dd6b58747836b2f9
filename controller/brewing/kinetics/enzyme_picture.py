"""Where in this program does which enzyme work, and when is it lost? Drawn as plain lines for a terminal.

No colour, and on request no character beyond ASCII; the numbers come from enzyme_lanes.py.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import accumulate
from math import floor

from controller.brewing.kinetics.enzyme_lanes import WIDTH, WINDOWS, Lanes, lanes
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    DEFAULT_MALT,
    Malt,
    Mark,
    Parameters,
    Prediction,
    Profile,
    Span,
    predict,
    spans,
)
from controller.brewing.kinetics.spoken import wort_words

LEVELS, PLAIN_LEVELS = " ░▒▓█", " .:=#"
ROW_K = 2.0
NAME_WIDTH = 17


def picture(
    profile: Profile,
    marks: Sequence[Mark] = (),
    malt: Malt = DEFAULT_MALT,
    params: Parameters = CALIBRATED_SET,
    width: int = WIDTH,
    plain: bool = False,
) -> list[str]:
    """How do the enzyme windows stand against a program, in lines of text? With `plain` nothing but ASCII is used.

    `width` is that of the drawing in characters; names and figures stand beside it.
    """
    pieces = list(profile)
    found = lanes(pieces, malt, params, width)
    drawn = [
        *_curve(found, marks),
        "",
        *_enzymes(found, plain),
        "",
        *_words(predict(pieces, malt, marks, params), _ends_c(spans(pieces), marks)),
    ]
    drawn += ["", *_legend(plain)]
    return [_ascii(line).rstrip() if plain else line.rstrip() for line in drawn]


def _ascii(line: str) -> str:
    return line.replace("°C", "degC").encode("ascii", "replace").decode("ascii")


def _curve(found: Lanes, marks: Sequence[Mark]) -> list[str]:
    """The temperature over time, a row every 2 K, with the numbers of the steps where they begin and minutes below."""
    low = ROW_K * floor(min(found.celsius) / ROW_K)
    count = max(2, round((max(found.celsius) - low) / ROW_K) + 1)
    rows = [[" "] * len(found.celsius) for _ in range(count)]
    for column, celsius in enumerate(found.celsius):
        rows[min(count - 1, round((celsius - low) / ROW_K))][column] = "*"
    drawn = [f"{low + ROW_K * n:{NAME_WIDTH - 3}.0f} °C |{''.join(row)}" for n, row in enumerate(rows)]
    return [*reversed(drawn), *_axis(found, marks)]


def _axis(found: Lanes, marks: Sequence[Mark]) -> list[str]:
    width = len(found.celsius)
    steps, minutes = [" "] * width, [" "] * width
    for number, mark in enumerate(marks, start=_first([mark.name for mark in marks])):
        _put(steps, int(mark.start_s / found.slice_s), str(number))
    for tick in range(0, width, 10):
        _put(minutes, tick, f"{tick * found.slice_s / 60.0:.0f}")
    lines = [f"{'step begins':>{NAME_WIDTH}} |{''.join(steps)}"] if marks else []
    return [*lines, f"{'minutes':>{NAME_WIDTH}} |{''.join(minutes)}"]


def _put(row: list[str], at: int, text: str) -> None:
    for offset, letter in enumerate(text):
        if 0 <= at + offset < len(row):
            row[at + offset] = letter


def _enzymes(found: Lanes, plain: bool) -> list[str]:
    levels = PLAIN_LEVELS if plain else LEVELS
    drawn = []
    for lane in found.lanes:
        bar = "".join(levels[_level(busy)] for busy in lane.busy)
        drawn.append(f"{lane.window.name:>{NAME_WIDTH}} |{bar}| {lane.left_pct[-1]:3.0f} % left")
    starch = "".join(levels[_level(left / 100.0)] for left in found.starch_left_pct)
    return [*drawn, f"{'starch':>{NAME_WIDTH}} |{starch}| {found.starch_left_pct[-1]:3.0f} % left"]


def _level(share: float) -> int:
    """0 for next to nothing, 4 for three quarters and more."""
    return 0 if share < 0.03 else min(4, 1 + int(4.0 * share))


def _ends_c(pieces: Sequence[Span], marks: Sequence[Mark]) -> list[float]:
    """The temperature at the end of each step: that of the last piece before the next begins."""
    times = list(accumulate(dt_s for dt_s, _ in pieces))
    ends = [*(mark.start_s for mark in marks[1:]), times[-1]]
    return [pieces[max(0, bisect_right(times, end + 1e-6) - 1)][1] for end in ends]


def _first(names: Sequence[str]) -> int:
    """Which number has the first of these steps? Dough-in is step 1, drawn or not."""
    return 1 if names[:1] == ["dough-in"] else 2


def points(value: float | None) -> str:
    """So many points of the limit, in words, before more; empty where none may be shown."""
    if value is None:
        return ""
    return f"{value:.0f} point{'' if f'{value:.0f}' == '1' else 's'} of the limit, "


def _words(shown: Prediction, ends_c: Sequence[float]) -> list[str]:
    """The same in words, a sentence a step, for those who cannot see the drawing and for the record."""
    first = _first([one.name for one in shown.steps])
    said = [
        f"{number}. {one.name}, to {ends_c[number - first]:.0f} °C: "
        f"{points(one.apparent_points_gained)}"
        f"{one.starch_converted_pct:.0f} % of the starch; lost {one.beta_lost_pct:.0f} % of the beta-amylase, "
        f"{one.alpha_lost_pct:.0f} % of the alpha-amylase"
        for number, one in enumerate(shown.steps, start=first)
    ]
    lines = [line for sentence in said for line in _wrapped(sentence, "   ")]
    for sentence in (*wort_words(shown.as_json()), shown.basis):
        lines += _wrapped(sentence)
    return lines


def _wrapped(text: str, indent: str = "") -> list[str]:
    """The text in lines of the drawing's usual width, the second and later ones indented."""
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) + 1 > NAME_WIDTH + WIDTH:
            lines.append(indent + word)
        else:
            lines[-1] += f" {word}" if lines[-1] else word
    return lines


def _legend(plain: bool) -> list[str]:
    levels = PLAIN_LEVELS if plain else LEVELS
    lines = [f"[{levels[1]}{levels[2]}{levels[3]}{levels[4]}] how busy, up to the most a fresh enzyme does at its best"]
    lines.append("Works best / is lost, in °C; established practice, good to 1 or 2 K:")
    for window in WINDOWS:
        low, high = window.works_c
        source = f" ({window.source})" if window.source else ""
        lines += _wrapped(f"{window.name}: {low:.0f} to {high:.0f} / {window.lost}{source}", "   ")
    return lines
