"""How does a mash teach in a terminal: temperatures and enzymes drawn, each rest told, sources on request?"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence

from controller.brewing.kinetics import enzyme_picture, spoken
from controller.brewing.kinetics.enzyme_lanes import WINDOWS
from controller.brewing.kinetics.figures import FIGURES
from controller.brewing.kinetics.lesson import Lesson, Taught
from controller.brewing.source import Source, Sources

WIDTH = 110
KEPT = "\N{NO-BREAK SPACE}"


def lines(lesson: Lesson, sources: bool = False) -> list[str]:
    """The drawing, then each rest: what it is for, what it did here, what a change would do; then the wort."""
    told = [
        *enzyme_picture.drawn(lesson.lanes, [(one.number, one.begin_s) for one in lesson.taught], _plain()),
        "",
        *(line for one in lesson.taught for line in taught(one)),
        *wrapped("wort", " ".join(spoken.wort_words(lesson.said))),
        *wrapped("", lesson.prediction.basis),
        "",
        *enzyme_picture.legend(_plain()),
    ]
    if sources:
        told += ["", "Where each figure and window comes from:", *listed(entries([lesson]))]
    else:
        told.append("--sources names where each figure and window comes from.")
    return [shown(f"  {line}".rstrip()) for line in told]


def _plain() -> bool:
    """Does the terminal know no more than plain ASCII?"""
    return not (sys.stdout.encoding or "").lower().startswith("utf")


def shown(line: str) -> str:
    return enzyme_picture.ascii_only(line) if _plain() else line


def taught(one: Taught, brief: bool = False) -> Iterator[str]:
    """One step in lines; `brief`: without what any such step is for."""
    yield f"{one.number}. {one.name}, {one.target_c:.4g} °C"
    if not brief:
        yield from wrapped("for", one.purpose)
    yield from wrapped("here", f"{one.did[:1].upper()}{one.did[1:]}.")
    for n, change in enumerate(one.would):
        yield from wrapped("" if n else "change", change)


def wrapped(name: str, text: str) -> list[str]:
    kept = text.replace(" %", f"{KEPT}%").replace(" °C", f"{KEPT}°C")  # no line ends between a figure and its unit
    told = textwrap.wrap(
        kept, WIDTH - 2, initial_indent=f"   {name:<8}", subsequent_indent=" " * 11, break_on_hyphens=False
    )
    return [line.replace(KEPT, " ") for line in told]


# ---------------------------------------------------------------- sources


def entries(lessons: Sequence[Lesson]) -> list[tuple[str, Sources]]:
    """Each figure, window and reason of these lessons with its sources."""
    windows = [(f"window of {one.name}", one.sources) for one in WINDOWS]
    steps = {one.purpose: one.sources for lesson in lessons for one in lesson.taught}
    reasons = [(f"reason: {purpose.partition(': ')[2] or purpose}", found) for purpose, found in steps.items()]
    return [*FIGURES.items(), *windows, *dict(reasons).items()]


def listed(found: Iterable[tuple[str, Sequence[Source]]]) -> Iterator[str]:
    """Sources in lines, what each is of before it."""
    for name, sources in found:
        yield from textwrap.wrap(name, WIDTH - 2, initial_indent="  ", subsequent_indent="  ")
        for source in sources:
            yield from textwrap.wrap(str(source), WIDTH - 2, initial_indent="     ", subsequent_indent="       ")
