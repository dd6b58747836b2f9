"""How does a mash teach on a page: the drawing, each rest, and the source of every figure one click away?

Plain HTML and SVG without scripts. User text is escaped. A reader who sees no drawing has the same in words.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache
from html import escape
from importlib.resources import files

from controller.brewing.kinetics import spoken
from controller.brewing.kinetics.enzyme_lanes import WINDOWS
from controller.brewing.kinetics.lesson import Lesson, Taught
from controller.report import lesson_drawing
from controller.report.lesson_text import entries

# Which sources stand behind what a step did, and behind what a change would do
DID = ("starch", "points of the limit", "beta-amylase left", "alpha-amylase left")
WOULD = ("points of the limit", "iodine")
LOW = ("beta-glucanase left", "protease left")
WINDOWED = tuple(f"window of {one.name}" for one in WINDOWS)
WORT = ("apparent limit", "real limit", "range of the limit", "extract", "iodine", "thickness")


@cache
def style() -> str:
    """The style of the lesson, beside that of the page."""
    return (files("controller.report") / "lesson.css").read_text(encoding="utf-8")


def page(title: str, parts: Iterable[str], lessons: Sequence[Lesson]) -> str:
    """A whole page around what is taught."""
    own = (files("controller.report") / "page.css").read_text(encoding="utf-8") + style()
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{own}</style>\n</head>\n<body>\n"
        f'<header><p class="kind">What the mash teaches; an estimate</p><h1>{escape(title)}</h1></header>\n<main>\n'
        + "\n".join(parts)
        + sources(lessons)
        + "\n</main>\n</body>\n</html>\n"
    )


def section(lesson: Lesson, key: str = "lesson") -> str:
    """The drawing of one mash and what each rest did, as a part of a page. `key` tells it from others there."""
    wort = "".join(f"<p>{escape(line)}</p>" for line in spoken.wort_words(lesson.said))
    basis = f'<p class="basis">{escape(lesson.prediction.basis)}</p>'
    return (
        f'<section class="lesson" aria-labelledby="h-{key}"><h2 id="h-{key}">{escape(lesson.title)}</h2>'
        f'<figure class="wide drawn" tabindex="0" role="region" aria-label="Drawing of {escape(lesson.title)}">'
        f"{lesson_drawing.course([lesson], key)}{lesson_drawing.lanes(lesson, key)}</figure>{_legend()}"
        f'<ol class="rests">{"".join(map(_rest, lesson.taught))}</ol>'
        f'<div class="came"><h3>What it comes to</h3>{wort}{links(WORT)}{basis}</div></section>'
    )


def _legend() -> str:
    return (
        '<p class="legend">Height of a lane: how busy the enzyme is, of the most a fresh one does at its best. '
        f"Broken line: how much is left. Bars at the right edge: where each works best.</p>{links(WINDOWED)}"
    )


def _rest(one: Taught) -> str:
    low = LOW if "at its end" in one.did else ()
    rows = [
        ("What it is for", f"{escape(one.purpose)} {_link(_reason_id(one.purpose), 'reason')}"),
        ("What it did here", f"{escape(one.did[:1].upper() + one.did[1:])}. {links((*DID, *low))}"),
    ]
    if one.would:
        changes = "".join(f"<li>{escape(words)}</li>" for words in one.would)
        rows.append(("What would change", f"<ul>{changes}</ul>{links(WOULD)}"))
    told = "".join(f"<div><dt>{name}</dt><dd>{text}</dd></div>" for name, text in rows)
    lasts = f"{one.target_c:.4g} °C, {(one.end_s - one.begin_s) / 60.0:.0f} min with its rise"
    return (
        f'<li value="{one.number}"><h3>{one.number} {escape(one.name)} <small>{lasts}</small></h3><dl>{told}</dl></li>'
    )


# ---------------------------------------------------------------- sources


def sources(lessons: Sequence[Lesson], *, folded: bool = False) -> str:
    """Every figure, window and reason with where it comes from. A link to one of them opens what is folded."""
    items = "".join(
        f'<div id="{_id(name)}"><dt>{escape(name)}</dt>'
        + "".join(f"<dd><b>{source.mark}</b> {escape(source.where)}</dd>" for source in found)
        + "</div>"
        for name, found in entries(lessons)
    )
    about = "Published: read in the source or in a page that quotes it. Recalled: from memory. Calibrated: fitted."
    return (
        f'<section class="sources" aria-labelledby="h-sources"><details{"" if folded else " open"}><summary>'
        f'<h2 id="h-sources">Where each figure comes from</h2></summary><p>{about}</p><dl>{items}</dl>'
        "</details></section>"
    )


def links(names: Sequence[str]) -> str:
    return f'<span class="sourced">{" ".join(_link(_id(name), name) for name in names)}</span>'


def _link(target: str, words: str) -> str:
    return f'<a href="#{target}">{escape(words)}</a>'


def _reason_id(purpose: str) -> str:
    return _id(f"reason: {purpose.partition(': ')[2] or purpose}")


def _id(name: str) -> str:
    return "s-" + re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:80]
