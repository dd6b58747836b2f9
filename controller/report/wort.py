"""What has the mash come to, by the kinetic model on the recorded temperature?

From the middle of dough-in on, in strides of ten seconds; across a gap in a straight line, as after an outage. Nothing
is estimated for plain liquor, nor where the record does not show dough-in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from controller.brewing.kinetics import hands, malts, model
from controller.edge.record import line_format
from controller.report.run_record import ENZYMES, Second

STRIDE_S = 10.0  # as live
LONGEST_PIECES = 60  # a gap is followed in at most so many steps


class Wort(NamedTuple):
    """The estimate at the end, and percent left per row."""

    prediction: dict[str, Any] | None
    columns: dict[str, list[float | None]]


def follow(rows: Sequence[Second], course: Mapping[str, Any]) -> Wort:
    """The mash of a run from its rows; `course` as the record keeps it."""
    first = _dough_in(rows)
    if first is None or not course["grist_kg"]:
        return Wort(None, {})
    basis = malts.recalled(course.get("malt"))
    amounts, leg = model.fresh(basis.malt), 0
    opened = [(course["legs"][0]["name"], amounts)]
    marks: list[tuple[float, tuple[float, ...]]] = [(rows[first].t_s, _left(amounts))]
    asked = work(course)
    for at_s, step, phase, dt_s, mean_c in _strides(rows[first:]):
        amounts = model.step(basis.params, amounts, mean_c, dt_s)
        marks.append((at_s, _left(amounts)))
        if step != leg and 0 <= step < len(course["legs"]):
            leg = step
            opened.append((course["legs"][leg]["name"], amounts))
        amounts = hands.worked(basis.params, amounts, asked, leg, phase, mean_c)
    read = model.read(amounts, basis.params, opened)
    return Wort(dict(read.as_json()), _columns(rows, marks))


def work(course: Mapping[str, Any]) -> hands.Work:
    """What did the steps of a course ask of people's hands? The course as the journal keeps it."""
    asked = tuple(_hand(leg["kind"], line_format.comes(leg)) for leg in course["legs"])
    return hands.Work(asked, course["grist_kg"], malts.recalled(course.get("malt")).malt.liquor_kg_per_kg)


def _hand(kind: str, comes: Mapping[str, Any]) -> hands.Hand:
    same = {key: comes[key] for key in ("pull_kg_per_kg", "boil_off_kg", "thin_p") if key in comes}
    return hands.Hand(kind, comes["kg"], **same)


class Mashed(NamedTuple):
    """Seconds and mean temperature of each stride from dough-in on, with what was done to the mash, and where in it
    each step begins; empty where the record does not show dough-in."""

    profile: list[model.Span | model.Deed]
    marks: list[model.Mark]


def mashed(rows: Sequence[Second], course: Mapping[str, Any]) -> Mashed:
    """The mash of a run as a profile."""
    first, legs = _dough_in(rows), course["legs"]
    if first is None:
        return Mashed([], [])
    strides = [(dt_s, mean_c, step, phase) for _, step, phase, dt_s, mean_c in _strides(rows[first:])]
    marks, time_s, begun = [model.Mark(legs[0]["name"], 0.0)], 0.0, 0
    for dt_s, _, step, _ in strides:
        if step > begun and step < len(legs):
            marks += [model.Mark(legs[n]["name"], time_s) for n in range(begun + 1, step + 1)]
            begun = step
        time_s += dt_s
    return Mashed(list(hands.followed(work(course), strides)), marks)


def _dough_in(rows: Sequence[Second]) -> int | None:
    """Which row is half-way through the pouring of the grain?"""
    adding = [i for i, row in enumerate(rows) if row.step == 0 and row.phase == "adding"]
    return adding[len(adding) // 2] if adding else None


def _strides(rows: Sequence[Second]) -> Iterator[tuple[float, int, str, float, float]]:
    """Run time, step, phase, length and mean temperature of each stride between known readings."""
    known = [row for row in rows if row.mash_c is not None]
    if not known:
        return
    before, heat, span = known[0], 0.0, 0.0
    for row in known[1:]:
        dt_s = row.t_s - before.t_s
        if dt_s <= 0.0:
            continue
        assert row.mash_c is not None
        assert before.mash_c is not None
        heat, span = heat + dt_s * (row.mash_c + before.mash_c) / 2.0, span + dt_s
        if dt_s > STRIDE_S:
            pieces = min(LONGEST_PIECES, int(dt_s / STRIDE_S) + 1)
            for n in range(pieces):
                share = (n + 0.5) / pieces
                mean_c = before.mash_c + share * (row.mash_c - before.mash_c)
                yield before.t_s + dt_s * (n + 1) / pieces, row.step, row.phase, dt_s / pieces, mean_c
            heat, span = 0.0, 0.0
        elif span >= STRIDE_S or row.step != before.step:
            yield row.t_s, row.step, row.phase, span, heat / span
            heat, span = 0.0, 0.0
        before = row


def _left(amounts: model.Amounts) -> tuple[float, ...]:
    shares = (amounts.beta, amounts.alpha, amounts.glucanase, amounts.protease, model.starch_left(amounts))
    return tuple(round(100.0 * share, 2) for share in shares)


def _columns(rows: Sequence[Second], marks: Sequence[tuple[float, tuple[float, ...]]]) -> dict[str, list[float | None]]:
    """The newest figures known at each row."""
    columns: dict[str, list[float | None]] = {key: [] for key in ENZYMES}
    at = -1
    for row in rows:
        while at + 1 < len(marks) and marks[at + 1][0] <= row.t_s:
            at += 1
        for n, column in enumerate(columns.values()):
            column.append(marks[at][1][n] if at >= 0 else None)
    return columns
