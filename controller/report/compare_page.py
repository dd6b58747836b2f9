"""How do mashes look that are laid over each other, in a terminal and on a page?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import NamedTuple

from controller.brewing.kinetics import enzyme_picture, spoken
from controller.brewing.kinetics.comparisons import verdict
from controller.brewing.kinetics.lesson import Lesson
from controller.brewing.kinetics.model import Prediction
from controller.report import lesson_drawing, lesson_page, lesson_text

Row = tuple[str, Callable[[Prediction], str]]


def _limit(found: Prediction) -> str:
    band = found.apparent_limit_pct
    return "no figure" if band is None else spoken.band(band._asdict())


def _iodine(found: Prediction) -> str:
    """From the finest grind to crushed malt, min."""
    if any(one["what"] == "iodine" for one in found.withheld):
        return "no figure"
    fine, crushed = found.iodine_fine_min, found.iodine_negative_min
    if fine is None:
        return "not by the end"
    return f"{fine:.0f} min or later" if crushed is None else f"{fine:.0f} to {crushed:.0f} min"


def _extract(found: Prediction) -> str:
    return spoken.extract(found.as_json()).partition(" of what")[0].partition(":")[0]


ROWS: tuple[Row, ...] = (
    ("apparent limit", _limit),
    ("extract", _extract),
    ("iodine-negative", _iodine),
    ("starch left", lambda found: f"{found.starch_left_pct:.0f} %"),
    ("beta-amylase left", lambda found: f"{found.beta_left_pct:.0f} %"),
    ("alpha-amylase left", lambda found: f"{found.alpha_left_pct:.0f} %"),
)


class Compared(NamedTuple):
    """Mashes over each other, with the pairs to be told apart."""

    title: str
    question: str
    lessons: Sequence[Lesson]
    pairs: Sequence[tuple[int, int]] = ((0, 1),)


def lines(compared: Compared, sources: bool = False) -> list[str]:
    """The comparison for a terminal."""
    title, question, lessons, pairs = compared
    curves, slice_s = _even(lessons)
    told = [title, *([question] if question else []), ""]
    told += [f"{chr(65 + n)}  {one.title}" for n, one in enumerate(lessons)]
    told += ["", *enzyme_picture.curve(curves, slice_s), "* where they lie on each other", ""]
    told += [f"{'':<20}" + "".join(f"{chr(65 + n):<22}" for n in range(len(lessons)))]
    told += [f"{name:<20}" + "".join(f"{say(one.prediction):<22}" for one in lessons) for name, say in ROWS]
    told += ["", *(line for words in verdict(lessons, pairs) for line in lesson_text.wrapped("", words)), ""]
    for n, one in enumerate(lessons):
        told += [f"{chr(65 + n)}  {one.title}"]
        told += [line for step in one.taught for line in lesson_text.taught(step, brief=True)]
    if sources:
        told += ["", "Where each figure and window comes from:", *lesson_text.listed(lesson_text.entries(lessons))]
    return [lesson_text.shown(line.rstrip()) for line in told]


def _even(lessons: Sequence[Lesson]) -> tuple[list[list[float]], float]:
    """The temperatures of all in slices of one length, and that length, s."""
    slice_s = max(one.lanes.slice_s for one in lessons)
    curves = []
    for one in lessons:
        count = max(1, round(one.total_s / slice_s))
        at = [min(len(one.lanes.celsius) - 1, int(n * slice_s / one.lanes.slice_s)) for n in range(count)]
        curves.append([one.lanes.celsius[n] for n in at])
    return curves, slice_s


def page(compared: Compared) -> str:
    """The comparison as a page: over each other first, then each by itself."""
    title, question, lessons, pairs = compared
    letters = "".join(f"<li>{_key(n)} <b>{chr(65 + n)}</b> {escape(one.title)}</li>" for n, one in enumerate(lessons))
    head = "".join(f'<th scope="col">{chr(65 + n)}</th>' for n in range(len(lessons)))
    rows = "".join(
        f'<tr><th scope="row">{name}</th>{"".join(_cell(say, one) for one in lessons)}</tr>' for name, say in ROWS
    )
    told = "".join(f"<p>{escape(words)}</p>" for words in verdict(lessons, pairs))
    over = (
        f'<section class="lesson"><p class="question">{escape(question)}</p><ul class="key">{letters}</ul>'
        '<figure class="wide drawn" tabindex="0" role="region" aria-label="Temperatures over each other">'
        f"{lesson_drawing.course(lessons, 'over')}</figure>"
        f'<div class="wide" tabindex="0" role="region" aria-label="Figures side by side"><table class="beside">'
        f'<thead><tr><th scope="col">estimate</th>{head}</tr></thead><tbody>{rows}</tbody></table></div>'
        f'<div class="came">{told}{lesson_page.links(lesson_page.WORT)}</div></section>'
    )
    each = [lesson_page.section(_lettered(n, one), f"mash-{n}") for n, one in enumerate(lessons)]
    return lesson_page.page(title, [over, *each], lessons)


def _cell(say: Callable[[Prediction], str], one: Lesson) -> str:
    return f"<td>{escape(say(one.prediction))}</td>"


def _lettered(n: int, one: Lesson) -> Lesson:
    return one._replace(title=f"{chr(65 + n)}: {one.title}")


def _key(n: int) -> str:
    """A piece of the mash's line."""
    css = lesson_drawing.OWN[n % len(lesson_drawing.OWN)]
    return f'<svg viewBox="0 0 30 8" aria-hidden="true"><path class="{css}" d="M0 4H30"/></svg>'
