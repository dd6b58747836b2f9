"""What would change if one rest were a little warmer or a little longer?

A program is a list of `Rest`s here: temperatures, times and ramp times, nothing of heaters.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    DEFAULT_MALT,
    STRIDE_S,
    Amounts,
    Deed,
    Malt,
    Mark,
    Parameters,
    Prediction,
    Pulled,
    Returned,
    Span,
    Thinned,
    course,
    follow,
    fresh,
    gather,
    predict,
    read,
)

WARMER_K = 2.0
LONGER_S = 600.0
LITTLE_POINTS = 0.5  # below the whole percents that are shown
WARMEST_C = 80.0  # no variation beyond: the model has no data there


class Rest(NamedTuple):
    """A rest: its temperature in degC, how long it is held, and the time it takes to get there from the one before."""

    name: str
    temperature_c: float
    hold_s: float
    ramp_s: float = 0.0
    away_s: float = 0.0  # a decoction: before, a part of the mash is away so long
    pulled: Pulled | None = None
    thinned: Thinned | None = None  # an infusion: with it the mash is so thick
    away_to_c: float | None = None  # the main mash has cooled to this by then; None: it is kept
    lands: bool = False  # where the strike lands the mash, short of the rest after it: whoever moves that moves this

    @property
    def by_hand(self) -> bool:
        """Is it reached by what is poured in, so that neither warmer nor longer means anything by itself?"""
        return self.pulled is not None or self.thinned is not None


class Variation(NamedTuple):
    """One change, and what it does to the whole mash. `apparent_points` is None where no limit may be shown."""

    name: str
    change: str
    apparent_points: float | None
    extract_points: float | None
    iodine_min: float | None  # the test turns so much later (negative: sooner)
    duration_min: float


def profile_of(rests: Sequence[Rest], stride_s: float = STRIDE_S) -> tuple[list[Span | Deed], list[Mark]]:
    """Which temperatures over time is a program as planned, from dough-in at the first rest's temperature on?

    Returns the profile for `predict` and a mark for each rest; a rest begins with its ramp, or with the pull.
    """
    pieces: list[Span | Deed] = []
    marks: list[Mark] = []
    time_s = 0.0
    for index, rest in enumerate(rests):
        marks.append(Mark(rest.name, time_s))
        before = rests[index - 1] if index else rest
        ramp_s = rest.ramp_s if index else 0.0
        pieces += _poured(rest, before.temperature_c, stride_s)
        if ramp_s > 0.0:
            pieces += _line(before.temperature_c, rest.temperature_c, ramp_s, stride_s)
        pieces += _line(rest.temperature_c, rest.temperature_c, rest.hold_s, stride_s)
        time_s += rest.away_s + ramp_s + rest.hold_s
    return pieces, marks


def _poured(rest: Rest, from_c: float, stride_s: float) -> list[Span | Deed]:
    """What comes before the rise: a part is away and comes back, or liquor goes in."""
    pieces: list[Span | Deed] = []
    if rest.pulled is not None:
        to_c = from_c if rest.away_to_c is None else rest.away_to_c
        pieces += [rest.pulled, *_line(from_c, to_c, rest.away_s, stride_s)]
    if rest.pulled is not None or rest.away_s > 0.0:
        pieces.append(Returned())
    if rest.thinned is not None:
        pieces.append(rest.thinned)
    return pieces


def _line(from_c: float, to_c: float, length_s: float, stride_s: float) -> list[Span]:
    if length_s <= 0.0:
        return []
    count = max(1, round(length_s / stride_s))
    return [(length_s / count, from_c + (to_c - from_c) * (n + 0.5) / count) for n in range(count)]


def predict_rests(rests: Sequence[Rest], malt: Malt = DEFAULT_MALT, params: Parameters = CALIBRATED_SET) -> Prediction:
    """What wort would this program give if the tun followed it exactly?"""
    profile, marks = profile_of(rests)
    return predict(profile, malt, marks, params)


def what_if(
    rests: Sequence[Rest],
    malt: Malt = DEFAULT_MALT,
    params: Parameters = CALIBRATED_SET,
    warmest_c: float = WARMEST_C,
) -> tuple[Variation, ...]:
    """For each rest: what changes if it is 2 K warmer, and what if it is 10 min longer? Ramps keep their rate.

    `warmest_c`: no variation beyond, in degC.
    """
    base = _followed(rests, malt, params)
    found: list[Variation] = []
    for index, rest in enumerate(rests):
        if rest.by_hand or rest.lands:
            continue
        if rest.temperature_c + WARMER_K <= min(warmest_c, WARMEST_C):
            varied = warmed(rests, index, WARMER_K)
            found.append(_variation(rest.name, f"{WARMER_K:.0f} K warmer", base, varied, params))
        longer = [*rests[:index], rest._replace(hold_s=rest.hold_s + LONGER_S), *rests[index + 1 :]]
        change = f"{LONGER_S / 60:.0f} min longer"
        found.append(_variation(rest.name, change, base, longer, params))
    return tuple(found)


def warmed(rests: Sequence[Rest], index: int, by_k: float) -> list[Rest]:
    """What is the program with one rest's temperature moved? Ramps into it and out of it keep their rate in K/s."""
    varied = list(rests)
    moved = (index - 1, index) if index and rests[index - 1].lands else (index,)
    for n in moved:
        varied[n] = rests[n]._replace(temperature_c=rests[n].temperature_c + by_k)
    for n in (index, index + 1):
        if 0 < n < len(rests):
            was = abs(rests[n].temperature_c - rests[n - 1].temperature_c)
            now = abs(varied[n].temperature_c - varied[n - 1].temperature_c)
            varied[n] = varied[n]._replace(ramp_s=rests[n].ramp_s * now / was if was > 0.0 else rests[n].ramp_s)
    return varied


def changed(one: Variation) -> str:
    """What does a change do, in words? Small numbers are said to change little."""
    if one.apparent_points is None:
        return f"{one.change}: no figure of the limit"
    points = one.apparent_points
    drier = "drier" if points > 0.0 else "fuller"
    many = f"{abs(points):.0f} point{'s' * (abs(points) >= 1.5)}"
    what = f"{many} {drier}" if abs(points) >= LITTLE_POINTS else "changes the limit little"
    parts = [what]
    if one.iodine_min is not None and abs(one.iodine_min) >= 1.0:
        parts.append(f"iodine-negative {abs(one.iodine_min):.0f} min {'later' if one.iodine_min > 0.0 else 'sooner'}")
    if abs(one.duration_min) >= 1.0:
        parts.append(f"{abs(one.duration_min):.0f} min {'longer' if one.duration_min > 0.0 else 'shorter'} in all")
    return f"{one.change}: {', '.join(parts)}"


class _Followed(NamedTuple):
    """A program as planned, piece by piece, with the mash before each piece and at the end."""

    pieces: Sequence[Span | Deed]
    states: Sequence[Amounts]


def _followed(rests: Sequence[Rest], malt: Malt, params: Parameters) -> _Followed:
    pieces = list(gather(profile_of(rests)[0]))
    return _Followed(pieces, list(course(params, fresh(malt), pieces)))


def _end(rests: Sequence[Rest], like: _Followed, params: Parameters) -> Amounts:
    """What does another program come to? As far as it goes like the one that was followed, so does its mash."""
    pieces = list(gather(profile_of(rests)[0]))
    both = zip(pieces, like.pieces, strict=False)
    alike = next((n for n, (its, known) in enumerate(both) if its != known), min(len(pieces), len(like.pieces)))
    return follow(params, like.states[alike], pieces[alike:])


def _variation(name: str, change: str, planned: _Followed, rests: Sequence[Rest], params: Parameters) -> Variation:
    base, other = read(planned.states[-1], params), read(_end(rests, planned, params), params)
    return Variation(
        name=name,
        change=change,
        apparent_points=_less(
            other.apparent_limit_pct and other.apparent_limit_pct.mid,
            base.apparent_limit_pct and base.apparent_limit_pct.mid,
        ),
        extract_points=_less(_pct(other.extract_share), _pct(base.extract_share)),
        iodine_min=_less(other.iodine_negative_min, base.iodine_negative_min),
        duration_min=(other.end.time_s - base.end.time_s) / 60.0,
    )


def _pct(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _less(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a - b
