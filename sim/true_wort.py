"""What wort would the simulated mash have given, by the kinetic model on its true temperature?

The mash is followed from the middle of dough-in on. It informs; nothing in the run looks at it.
"""

import itertools
from typing import Any, NamedTuple

from controller.brewing.kinetics import hands, malts, model
from controller.core.nouns import Course, Phase
from controller.core.procedure.estimate import work
from sim.trace import Trace, TraceSecond

COLUMNS = ("beta_left_pct", "alpha_left_pct", "glucanase_left_pct", "protease_left_pct", "starch_left_pct")
STRIDE_S = 10.0  # as live
Cells = tuple[float | None, ...]
NOTHING: Cells = (None,) * len(COLUMNS)


class Wort(NamedTuple):
    """The prediction at the end, and the enzyme columns of every row."""

    prediction: dict[str, Any] | None
    columns: list[Cells]


def follow(course: Course, trace: Trace) -> Wort:
    """The mash of a dry run, from its rows. Nothing is predicted for plain liquor."""
    first = _middle_of_dough_in(trace.rows) if course.grist_kg > 0 else None
    if first is None:
        return Wort(None, [NOTHING] * len(trace.rows))
    basis = malts.recalled(course.malt)
    amounts, cells = model.fresh(basis.malt), NOTHING
    opened = [(course.legs[0].name, amounts)]
    columns: list[Cells] = [NOTHING] * first
    span, heat, leg, asked = 0.0, 0.0, 0, work(course)
    for before, row in zip(trace.rows[first:], trace.rows[first + 1 :], strict=False):
        dt = row.t_s - before.t_s
        span, heat = span + dt, heat + dt * before.mash_c
        if span >= STRIDE_S or row.step != leg:
            amounts = model.step(basis.params, amounts, heat / span, span)
            span, heat = 0.0, 0.0
            shares = (amounts.beta, amounts.alpha, amounts.glucanase, amounts.protease, model.starch_left(amounts))
            cells = tuple(round(100.0 * share, 3) for share in shares)
        if row.step != leg and row.step < len(course.legs):
            leg = row.step
            opened.append((course.legs[leg].name, amounts))
        if span == 0.0 and row.step == leg:
            amounts = hands.worked(basis.params, amounts, asked, leg, row.phase, row.mash_c)
        columns.append(cells)
    columns.append(cells)
    read = model.read(amounts, basis.params, opened)
    return Wort(read.as_json(), columns)


def profile(course: Course, trace: Trace) -> tuple[list[model.Span | model.Deed], list[model.Mark]]:
    """The true mash temperature from the middle of dough-in on, second by second, and where each step begins.

    Both are empty where no grain went in.
    """
    first = _middle_of_dough_in(trace.rows) if course.grist_kg > 0 else None
    if first is None:
        return [], []
    rows = trace.rows[first:]
    passed = ((after.t_s - row.t_s, row.mash_c, after.step, after.phase) for row, after in itertools.pairwise(rows))
    pieces = list(hands.followed(work(course), passed))
    begun = [model.Mark(course.legs[0].name, 0.0)]
    begun += [
        model.Mark(course.legs[after.step].name, after.t_s - rows[0].t_s)
        for row, after in itertools.pairwise(rows)
        if after.step != row.step and after.step < len(course.legs)
    ]
    return pieces, begun


def _middle_of_dough_in(rows: list[TraceSecond]) -> int | None:
    """Which row is half-way through the pouring of the grain?"""
    adding = [at for at, row in enumerate(rows) if row.step == 0 and row.phase == Phase.ADDING]
    return adding[len(adding) // 2] if adding else None
