"""What can be learned from one mash: what each rest is for, what it did here, and what a small change would do?

Of a plan or of the temperatures of a run, by the same model and in the same words. Every sentence follows from the
figures of that mash.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from controller.brewing.kinetics.enzyme_lanes import Lanes, lanes, word
from controller.brewing.kinetics.malts import Basis
from controller.brewing.kinetics.model import (
    Contribution,
    Deed,
    Mark,
    Prediction,
    Profile,
    Pulled,
    Returned,
    Span,
    Thinned,
    predict,
    spans,
)
from controller.brewing.kinetics.what_if import Rest, Variation, changed
from controller.brewing.source import Sources
from controller.brewing.step_purpose import reason_for_step, sources_for_step

SLICES = 120
NOTHING_PCT = 0.5  # what is shown as 0 %
AT_REST_K = 0.5  # so near its hottest a rest has begun
LOW_REST_C = 60.0  # below, glucanase and protease are spoken of


class Meant(NamedTuple):
    """What a step was meant to be."""

    name: str
    kind: str
    target_c: float
    hold_s: float


class Taught(NamedTuple):
    """One step of the lesson. `number` counts dough-in as step 1."""

    number: int
    name: str
    target_c: float
    begin_s: float
    end_s: float
    purpose: str
    sources: Sources
    did: str
    would: tuple[str, ...]


class Lesson(NamedTuple):
    """A mash, told and ready to be drawn."""

    title: str
    prediction: Prediction
    lanes: Lanes
    taught: tuple[Taught, ...]
    figures: Mapping[str, Any] | None = None  # of the wort, as the record has them; None: as predicted here

    @property
    def said(self) -> Mapping[str, Any]:
        """The prediction as its document holds it, for words."""
        return self.prediction.as_json() if self.figures is None else self.figures

    @property
    def total_s(self) -> float:
        return self.lanes.slice_s * len(self.lanes.celsius)


def lesson(
    title: str,
    profile: Profile,
    marks: Sequence[Mark],
    meant: Sequence[Meant],
    basis: Basis,
    variations: Sequence[Variation] = (),
) -> Lesson:
    """What is there to learn from this mash? `meant` holds each marked step; a keep is not taught.

    Raises ValueError where the profile holds no time.
    """
    pieces = list(profile)
    prediction = predict(pieces, basis.malt, marks, basis.params)
    found = lanes(pieces, basis.malt, basis.params, SLICES)
    ends_s = [*(mark.start_s for mark in marks[1:]), sum(dt_s for dt_s, _ in spans(pieces))]
    first = 1 if meant and meant[0].kind == "dough_in" else 2
    taught, hottest_c, before = [], 0.0, _Left()
    for n, (mark, step, did) in enumerate(zip(marks, meant, prediction.steps, strict=False)):
        after = before.less(did)
        if step.kind != "keep":
            line = _did(did, before, after, _lasting(found, mark.start_s, ends_s[n], step))
            purpose = reason_for_step(step.kind, step.target_c, step.hold_s, hottest_c)
            sources = sources_for_step(step.kind, step.target_c, hottest_c)
            would = tuple(changed(one) for one in variations if one.name == step.name)
            place = (first + n, step.name, step.target_c, mark.start_s, ends_s[n])
            taught.append(Taught(*place, purpose, sources, line, would))
        hottest_c, before = max(hottest_c, 0.0 if step.kind == "dough_in" else step.target_c), after
    return Lesson(title, prediction, found, tuple(taught))


class _Left(NamedTuple):
    """What is left when a step begins, %."""

    starch: float = 100.0
    beta: float = 100.0
    alpha: float = 100.0

    def less(self, did: Contribution) -> _Left:
        lost = (did.starch_converted_pct, did.beta_lost_pct, did.alpha_lost_pct)
        return _Left(*(max(0.0, left - gone) for left, gone in zip(self, lost, strict=True)))


def _did(did: Contribution, before: _Left, after: _Left, low: str) -> str:
    """What did the step do, in a sentence that begins small?"""
    parts = [_starch(did, before, after)]
    points = did.apparent_points_gained
    if points is not None:
        brought = f"brought {points:.0f} point{'s' * (f'{points:.0f}' != '1')} of the limit"
        parts.append(brought if points >= NOTHING_PCT else "hardly moved the limit")
    parts += [_enzyme("beta-amylase", before.beta, after.beta), _enzyme("alpha-amylase", before.alpha, after.alpha)]
    return "; ".join(filter(None, (*parts, low)))


def _starch(did: Contribution, before: _Left, after: _Left) -> str:
    if before.starch < NOTHING_PCT:
        return "no starch was left to cut"
    left = f"{after.starch:.0f} % left" if after.starch >= NOTHING_PCT else "none left"
    if did.starch_converted_pct < NOTHING_PCT:
        return f"cut next to none of the starch, {left}"
    return f"cut {did.starch_converted_pct:.0f} % of the starch, {left}"


def _enzyme(name: str, before_pct: float, after_pct: float) -> str:
    if before_pct < NOTHING_PCT:
        return f"{name} was gone before"
    if f"{before_pct:.0f}" == f"{after_pct:.0f}":
        return f"{name} stayed at {after_pct:.0f} %"
    return f"{name} went from {before_pct:.0f} to {after_pct:.0f} %"


def _lasting(found: Lanes, begin_s: float, end_s: float, step: Meant) -> str:
    """What is left of the low rests' enzymes at its end, in words; nothing above their windows, nor of an added one."""
    if step.target_c >= LOW_REST_C or end_s <= begin_s:
        return ""
    last = max(0, min(len(found.celsius), round(end_s / found.slice_s)) - 1)
    parts = [
        f"{lane.window.name} {word(lane.left_pct[last])}"
        for lane in found.lanes
        if not lane.window.on_starch and not lane.withheld
    ]
    return f"at its end {', '.join(parts)}" if parts else ""


# ---------------------------------------------------------------- a run as rests


def as_rests(profile: Profile, marks: Sequence[Mark], meant: Sequence[Meant]) -> list[Rest]:
    """Which rests does a run come to, for asking what a change would do? Each at its mean temperature from where it was
    reached; a keep is left out, and so are a dough-in and a step that was never reached."""
    found, last_c = [], None
    ends_s = [mark.start_s for mark in marks[1:]]
    for step, pieces in zip(meant, _parts(list(profile), ends_s), strict=False):
        own = spans(pieces)
        if not own or step.kind == "keep":
            continue
        rest = _rest(step, pieces, own)
        found.append(rest._replace(ramp_s=rest.ramp_s if last_c is not None else 0.0))
        last_c = rest.temperature_c
    return found


def _parts(pieces: Sequence[Span | Deed], ends_s: Sequence[float]) -> Iterator[list[Span | Deed]]:
    """The profile, cut where steps end."""
    here: list[Span | Deed] = []
    time_s, ends = 0.0, list(ends_s)
    for piece in pieces:
        if ends and time_s >= ends[0] - 1e-6:
            yield here
            here = []
            ends.pop(0)
        here.append(piece)
        time_s += 0.0 if isinstance(piece, Deed) else piece[0]
    yield here


def _rest(step: Meant, pieces: Sequence[Span | Deed], own: Sequence[Span]) -> Rest:
    pulled = next((piece for piece in pieces if isinstance(piece, Pulled)), None)
    thinned = next((piece for piece in pieces if isinstance(piece, Thinned)), None)
    away_s = 0.0
    if pulled is not None:
        back = next((n for n, piece in enumerate(pieces) if isinstance(piece, Returned)), len(pieces))
        away_s = sum(dt_s for dt_s, _ in spans(pieces[:back]))
        own = spans(pieces[back:]) or own[-1:]
    near_c = min(step.target_c, max(celsius for _, celsius in own)) - AT_REST_K
    at = next((n for n, (_, celsius) in enumerate(own) if celsius >= near_c), 0)
    held = own[at:]
    hold_s = sum(dt_s for dt_s, _ in held)
    mean_c = sum(dt_s * celsius for dt_s, celsius in held) / hold_s
    return Rest(step.name, mean_c, hold_s, sum(dt_s for dt_s, _ in own[:at]), away_s, pulled, thinned)
