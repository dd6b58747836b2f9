"""What does a brewer print before the day? Malts, liquor, strike, steps by the clock, what will be asked, and boxes.

Plain HTML without script, told in the units that the brewery chose.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

from controller.core.nouns import COMES_IN
from controller.core.procedure.entries import ITEMS
from controller.plan.plan import Plan
from controller.plan.stages import Stage
from controller.report import plan_page
from controller.settings.own_units import Own, in_own_units
from controller.settings.table import show

STYLE = """@page{size:A4;margin:14mm}body{font:11pt/1.35 sans-serif;color:#000;background:#fff;
max-width:182mm;margin:auto}
h1{font-size:16pt;margin:0}h2{font-size:11pt;margin:5mm 0 1mm;border-bottom:1px solid #000}
table{border-collapse:collapse;width:100%}th,td{text-align:left;vertical-align:top;padding:1mm 2mm 1mm 0}
tr{break-inside:avoid}th{font-weight:600}td:nth-child(3){white-space:nowrap}
td.box{border:1px solid #000;min-width:22mm;height:7mm}small{color:#333}"""
BOX = None  # an empty cell to write into


def html(plan: Plan, dough_in_s: float | None, own: Own) -> str:
    """The page. `dough_in_s`: dough-in in seconds after midnight; without it times count from the first heat."""
    title = escape(plan.program.title)
    head = f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title}</title>\n'
    sections = (
        ("Malts", _table(("", "mass", "lot", "weighed"), _malts(plan))),
        ("Liquor and strike", _table((), ((line.strip(),) for line in plan_page.facts(plan)))),
        ("Steps", _table(("when", "step", "target", "hold", "how", "mash", "time"), _steps(plan, dough_in_s))),
        ("What will be asked", _table(("step", "question", "answer"), _questions(plan))),
        ("Measured", _table((), _measured(plan))),
    )
    body = "".join(f"<section><h2>{name}</h2>{table}</section>\n" for name, table in sections)
    top = _table(("date", "brewer", "batch"), [(BOX, BOX, BOX)])
    tun = escape(plan.tun.title or plan.tun.name)
    page = f"<h1>{title}</h1>\n<p>{escape(plan.program.name)} on {tun}</p>\n{top}{body}"
    return f"{head}<style>{STYLE}</style>\n</head>\n<body>\n{in_own_units(page, own)}</body>\n</html>\n"


def _table(heads: tuple[str, ...], rows: Iterable[tuple[str | None, ...]]) -> str:
    """A table; a cell of None is a box."""
    top = "".join(f"<th>{escape(head)}</th>" for head in heads)
    lines = "".join(f"<tr>{''.join(map(_cell, row))}</tr>\n" for row in rows)
    return f"<table>{f'<tr>{top}</tr>' if heads else ''}\n{lines}</table>\n"


def _cell(text: str | None) -> str:
    return '<td class="box"></td>' if text is None else f"<td>{escape(text)}</td>"


def _malts(plan: Plan) -> Iterator[tuple[str | None, ...]]:
    for line in plan.program.all_grist:
        yield line.name, show("mass", line.mass_kg), line.lot, BOX


def _steps(plan: Plan, dough_in_s: float | None) -> Iterator[tuple[str | None, ...]]:
    for row in plan_page.rows(plan, dough_in_s):
        yield row.clock, row.name, row.target, row.hold, row.rise, BOX, BOX


def _questions(plan: Plan) -> Iterator[tuple[str | None, ...]]:
    for number, stage in enumerate(plan.stages, 1):
        for question in _asked(plan, stage):
            yield f"{number} {stage.name}", question, BOX


def _asked(plan: Plan, stage: Stage) -> Iterator[str]:
    """What will a person be asked in this step?"""
    for one in (one for one in plan.program.enzyme if stage.at is not None and one.added_in == stage.name):
        yield f"{one.told}; is it in? pH"
    if stage.kind == "dough_in":
        yield "How much liquor is in the tun, at which temperature?"
        yield from ("Strike reached: begin dough-in?", "Is the grain all in and stirred? By hand the mash reads")
    elif stage.kind in COMES_IN:
        what = {"decoction": "Decoction", "cereal": "Cooker"}.get(stage.kind, "Liquor")
        yield f"{what}: begun, in and stirred?"
    elif stage.kind == "keep":
        yield "Taken over?"
    elif stage.at is not None and (step := plan.program.step[stage.at]).by != "time":
        after = f" from minute {step.ask_after_s / 60.0:g} on" if step.ask_after_s else ""
        yield f"Iodine test{after}: no starch, reddish, blue?" if step.by == "iodine" else f"Go on?{after}"


def _measured(plan: Plan) -> Iterator[tuple[str | None, ...]]:
    """A box for each line that a batch record should hold."""
    for item in ITEMS:
        if item.water or (plan.program.grist and not item.lab):
            yield item.title, BOX
    yield "signed", BOX
