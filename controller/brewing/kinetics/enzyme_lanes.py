"""How busy is each enzyme over a program, and how much of it is left? The numbers behind the drawing.

The model's own activity; the windows beside it are handbook figures, good to 1 or 2 K.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from math import exp
from typing import NamedTuple

from controller.brewing.kinetics.amounts import pasted, starch_left
from controller.brewing.kinetics.constants import SHARED
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    DEFAULT_MALT,
    Amounts,
    Deed,
    Malt,
    Parameters,
    Profile,
    Rates,
    advance,
    follow,
    fresh,
    gather,
    rates,
    spans,
)
from controller.brewing.source import Source, Sources, of_constants

LOW_S, STARCH_S = 1800.0, 600.0  # full mark: the best a fresh enzyme could do in so long, at its best temperature
WIDTH = 60
FADING_PCT, GONE_PCT = (
    80.0,
    5.0,
)  # constants of the two low rests' enzymes are assumed: words, no figures (own proposal)


class Window(NamedTuple):
    """Where an enzyme works best and where it is lost, degC, and a publication that says so, if there is one."""

    name: str
    works_c: tuple[float, float]
    lost: str
    source: str
    share: Callable[[Amounts], float]
    activity: Callable[[Rates], float]
    loss: Callable[[Rates], float]
    sources: Sources  # of both, with how sure they are
    on_starch: bool = True  # at work only on starch that is pasted

    @property
    def assay_s(self) -> float:
        """How long does what a full mark is taken from last?"""
        return STARCH_S if self.on_starch else LOW_S


WINDOWS = (
    Window(
        "beta-glucanase",
        (40.0, 50.0),
        "from 50 on: half in 41 min there, in 1 min at 60",
        "Kettunen et al. 1996; Sandegren; Lyons, MBAA TQ 15, 1978",  # abstracts; the trade says 35 to 45
        lambda s: s.glucanase,
        lambda r: r.low_rest,
        lambda r: r.glucanase_loss,
        (
            Source("published", "least beta-glucan when mashed in at 48 °C: Kettunen et al. 1996, abstract"),
            *of_constants((SHARED["glucanase_half_life"],)),
            Source("common practice", "35 to 45 °C"),
        ),
        on_starch=False,
    ),
    Window(
        "protease",
        (45.0, 55.0),
        "above 55 to 60",
        "Osman et al., J. Inst. Brew. 108, 2002",  # abstract; window: course table after Palmer
        lambda s: s.protease,
        lambda r: r.low_rest,
        lambda r: r.protease_loss,
        (
            *of_constants((SHARED["protease_half_life"],)),
            Source("common practice", "45 to 55 °C, course table after J. J. Palmer"),
        ),
        on_starch=False,
    ),
    Window(
        "limit dextrinase",
        (60.0, 65.0),
        "free form above 63",
        "Sissons et al., J. ASBC 53, 1995",  # abstract; window: Palmer, How to Brew, print table, second hand
        lambda s: s.debrancher,
        lambda r: r.debranching,
        lambda r: r.debrancher_loss,
        (
            Source("published", "lost above 63 °C: Sissons et al., J. ASBC 53, 1995, abstract"),
            Source("common practice", "60 to 65 °C, J. J. Palmer, How to Brew, second hand"),
        ),
    ),
    Window(
        "beta-amylase",
        (62.0, 66.0),
        "above 68",
        "R. Muller, Brewing Research Foundation, 1990",  # second hand; window: common practice
        lambda s: s.beta,
        lambda r: r.beta,
        lambda r: r.beta_loss,
        (
            Source("published", "half in 10 min at 65 °C: R. Muller, Brewing Research Foundation, 1990, second hand"),
            Source("common practice", "62 to 66 °C"),
        ),
    ),
    Window(
        "alpha-amylase",
        (70.0, 75.0),
        "above 77 to 78",
        "W. Kunze, Technology Brewing and Malting",  # second hand; window: common practice
        lambda s: s.alpha,
        lambda r: r.alpha,
        lambda r: r.alpha_loss,
        (Source("common practice", "70 to 75 °C, lost above 77 to 78; W. Kunze, second hand"),),
    ),
)


class Lane(NamedTuple):
    """One enzyme over a program: how busy it is in each slice of time (0..1), and how much is left in % after each."""

    window: Window
    busy: tuple[float, ...]
    left_pct: tuple[float, ...]
    withheld: bool = False  # the same enzyme was added: what the malt's own does is not told apart


class Lanes(NamedTuple):
    """All enzymes over one program, in even slices of time."""

    slice_s: float
    celsius: tuple[float, ...]  # mean of each slice
    starch_left_pct: tuple[float, ...]
    lanes: tuple[Lane, ...]


@cache
def full_mark(params: Parameters, number: int) -> float:
    """What is the most an enzyme can do at any one temperature, in half an hour or in ten minutes on pasted starch?"""
    return max(mean_work(params, number, 30.0 + 0.5 * n) for n in range(111))


@cache
def mean_work(params: Parameters, number: int, celsius: float) -> float:
    """How much does a fresh enzyme do at one temperature, loss counted; an amylase on what is pasted in that time?"""
    window = WINDOWS[number]
    rate = rates(params, celsius)
    lost = window.loss(rate) * window.assay_s
    mean = window.activity(rate) * (1.0 - exp(-lost)) / lost if lost > 1e-9 else window.activity(rate)
    if not window.on_starch:
        return mean
    return mean * pasted(follow(params, fresh(), [(window.assay_s, celsius)]))


def lanes(
    profile: Profile, malt: Malt = DEFAULT_MALT, params: Parameters = CALIBRATED_SET, slices: int = WIDTH
) -> Lanes:
    """How busy is each enzyme in each of so many slices of the program? Profile as for `predict`.

    ValueError where the profile holds no time at all.
    """
    pieces = list(gather(profile))
    total_s = sum(dt_s for dt_s, _ in spans(pieces))
    if total_s <= 0.0:
        raise ValueError("the temperature profile holds no time: nothing to draw")
    marks = [full_mark(params, number) or 1.0 for number in range(len(WINDOWS))]
    sums = [_Slice() for _ in range(slices)]
    state, time_s = fresh(malt), 0.0
    for piece in pieces:
        before, state = state, advance(params, state, piece)
        if isinstance(piece, Deed):
            continue
        dt_s, celsius = piece
        here = sums[min(slices - 1, int((time_s + 0.5 * dt_s) / total_s * slices))]
        here.add(dt_s, celsius, _work(rates(params, celsius), before, marks), state)
        time_s += dt_s
    return _gathered(total_s / slices, sums, fresh(malt))


def _work(rate: Rates, state: Amounts, marks: Sequence[float]) -> list[float]:
    """How busy is each enzyme, of its full mark? An amylase only on what is pasted."""
    opened = pasted(state)
    return [
        w.activity(rate) * w.share(state) * (opened if w.on_starch else 1.0) / mark
        for w, mark in zip(WINDOWS, marks, strict=True)
    ]


class _Slice:
    """What happens in one slice of time, summed."""

    def __init__(self) -> None:
        self.span_s, self.heat, self.work = 0.0, 0.0, [0.0] * len(WINDOWS)
        self.end: Amounts | None = None

    def add(self, dt_s: float, celsius: float, work: Sequence[float], after: Amounts) -> None:
        self.span_s += dt_s
        self.heat += dt_s * celsius
        self.work = [total + dt_s * now for total, now in zip(self.work, work, strict=True)]
        self.end = after


def _gathered(slice_s: float, sums: Sequence[_Slice], start: Amounts) -> Lanes:
    """Sums as means; a slice shorter than a piece of the profile repeats the one before."""
    celsius: list[float] = []
    busy: list[list[float]] = []
    ends: list[Amounts] = []
    for one in sums:
        empty = one.span_s == 0.0
        celsius.append((celsius[-1] if celsius else 0.0) if empty else one.heat / one.span_s)
        nothing = busy[-1] if busy else [0.0] * len(WINDOWS)
        busy.append(nothing if empty else [min(1.0, work / one.span_s) for work in one.work])
        ends.append(one.end or (ends[-1] if ends else start))
    found = (
        Lane(
            window,
            tuple(row[n] for row in busy),
            tuple(100.0 * window.share(end) for end in ends),
            start.malt.known.low_rest_enzyme and window.name == "beta-glucanase",
        )
        for n, window in enumerate(WINDOWS)
    )
    starch = tuple(100.0 * starch_left(end) for end in ends)
    return Lanes(slice_s, tuple(celsius), starch, tuple(found))


def word(left_pct: float) -> str:
    """How much of an enzyme of the low rests is left, in words?"""
    return "mostly active" if left_pct >= FADING_PCT else "fading" if left_pct >= GONE_PCT else "gone"


def left_words(lane: Lane) -> str:
    """How much of an enzyme is left at the end: a figure, or a word where its constants are assumed?"""
    return f"{lane.left_pct[-1]:.0f} % left" if lane.window.on_starch else word(lane.left_pct[-1])
