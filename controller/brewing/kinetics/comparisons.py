"""Which mashes are worth laying over each other, and what tells two of them apart?

Three comparisons ship: they need no tun and no program. Figures follow from the model each time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from controller.brewing import heat
from controller.brewing.kinetics.lesson import Lesson, Meant, lesson
from controller.brewing.kinetics.malts import Basis, GristPart, of_grist
from controller.brewing.kinetics.model import Prediction
from controller.brewing.kinetics.what_if import Rest, profile_of, what_if

EQUAL_POINTS = 3.0  # closer limits are no different to the model (kinetics of this set: a fifth of its band)
SHOWN_POINTS = 0.5
L_PER_KG = 3.0
HOTTEST_C = 78.0  # no mash-out beyond (common practice)
CLIMB_S_PER_K = 60.0  # 1 K/min, the usual ceiling (common practice)
TUN = (297_420.0, 4.0, 18.0)  # J/K, W/K, °C: 20 kg grist and 60 kg liquor in a steel vessel (own proposal)


class Comparison(NamedTuple):
    """Mashes to be laid over each other, and what to look for."""

    title: str
    question: str
    mashes: Callable[[], list[Lesson]]
    pairs: tuple[tuple[int, int], ...] = ((0, 1),)


def _basis(kolbach: float, friability: float, fine_coarse: float) -> Basis:
    grist = [GristPart("malt", 20.0, kolbach=kolbach, friability=friability, fine_coarse=fine_coarse)]
    return of_grist(grist, liquor_kg_per_kg=L_PER_KG)


WELL, UNDER = _basis(0.42, 0.89, 0.011), _basis(0.34, 0.76, 0.020)


def _mash(title: str, basis: Basis, *rests: Rest) -> Lesson:
    """A mash of these rests, the last one mash-out; rises where none is given take a minute a kelvin."""
    planned = [rests[0]]
    for rest in rests[1:]:
        rise_s = CLIMB_S_PER_K * max(0.0, rest.temperature_c - planned[-1].temperature_c)
        planned.append(rest._replace(ramp_s=rest.ramp_s or rise_s))
    profile, marks = profile_of(planned)
    kinds = ["rest"] * (len(planned) - 1) + ["mash_out"]
    meant = [Meant(rest.name, kind, rest.temperature_c, rest.hold_s) for rest, kind in zip(planned, kinds, strict=True)]
    return lesson(title, profile, marks, meant, basis, what_if(planned, basis.malt, basis.params, HOTTEST_C))


def _single(title: str, basis: Basis, celsius: float) -> Lesson:
    return _mash(title, basis, Rest("conversion", celsius, 3600.0), Rest("mash-out", 78.0, 300.0))


def _stepped(title: str, basis: Basis) -> Lesson:
    rests = (("maltose rest", 63.0, 2400.0), ("saccharification", 72.0, 1200.0), ("mash-out", 78.0, 300.0))
    return _mash(title, basis, *(Rest(*rest) for rest in rests))


def _overshot(title: str, celsius: float, by_k: float) -> Lesson:
    """An hour's rest that the heater carried too far: the tun has no cooling and comes down by itself."""
    capacity, loss_w_per_k, room_c = TUN
    falls_s = min(3600.0, heat.cooling_time_s(capacity, loss_w_per_k, room_c, celsius + by_k, celsius))
    rests = (Rest("", celsius + by_k, 0.0), Rest("", celsius, 3600.0 - falls_s, falls_s), Rest("", 78.0, 300.0, 720.0))
    profile, marks = profile_of(rests)
    begun = [marks[0]._replace(name="conversion"), marks[2]._replace(name="mash-out")]
    meant = [Meant("conversion", "rest", celsius, 3600.0), Meant("mash-out", "mash_out", 78.0, 300.0)]
    return lesson(title, profile, begun, meant, WELL)


SHIPPED: dict[str, Comparison] = {
    "temperature": Comparison(
        "65 against 68 °C",
        "One rest of an hour: what do 3 K change?",
        lambda: [_single("65 °C", WELL, 65.0), _single("68 °C", WELL, 68.0)],
    ),
    "modification": Comparison(
        "63, 72 and 78 °C against one rest, on well- and on under-modified malt",
        "What does a step mash do that one rest does not, and for which malt?",
        lambda: [
            make(f"{rests}, {malt} malt", basis)
            for malt, basis in (("well-modified", WELL), ("under-modified", UNDER))
            for rests, make in (("63, 72, 78 °C", _stepped), ("65 °C alone", partial(_single, celsius=65.0)))
        ],
        ((0, 1), (2, 3), (0, 2)),
    ),
    "overshoot": Comparison(
        "66 °C as wanted against 2 K too hot",
        "What does it cost when the mash lands 2 K over its rest and cools by itself?",
        lambda: [_single("66 °C", WELL, 66.0), _overshot("68 °C, cooling to 66", 66.0, 2.0)],
    ),
}


# ---------------------------------------------------------------- what tells them apart


def verdict(lessons: Sequence[Lesson], pairs: Sequence[tuple[int, int]] = ((0, 1),)) -> Iterator[str]:
    """What tells the mashes of each pair apart, in sentences? A, B, C ... as they are drawn."""
    for a, b in pairs:
        first, other = Told(chr(65 + a), lessons[a].prediction), Told(chr(65 + b), lessons[b].prediction)
        yield _limits(first, other)
        yield _extract(first, other)
        yield from _only(first, other)
        yield from _only(other, first)


class Told(NamedTuple):
    """A mash by its letter."""

    letter: str
    found: Prediction


def _only(one: Told, other: Told) -> Iterator[str]:
    """What widens the figures of the one alone?"""
    for words in one.found.widened:
        if words not in other.found.widened:
            unknown = "; by how much is not in the figures" if "later" in words or "less" in words else ""
            yield f"Only of {one.letter}: {words}{unknown}."


def _limits(first: Told, other: Told) -> str:
    a, b = first.found.apparent_limit_pct, other.found.apparent_limit_pct
    if a is None or b is None:
        return f"{first.letter} and {other.letter}: no figure of both limits, so that neither is called drier."
    apart = b.mid - a.mid
    if abs(apart) < SHOWN_POINTS:
        return f"{first.letter} and {other.letter} ferment alike."
    many = f"{abs(apart):.0f} point{'s' * (f'{abs(apart):.0f}' != '1')} {'drier' if apart > 0.0 else 'fuller'}"
    if round(abs(apart)) < EQUAL_POINTS:  # as it is shown
        least = f"less than the {EQUAL_POINTS:.0f} points that the model tells apart"
        return f"{other.letter} is {many} than {first.letter}: {least}."
    return f"{other.letter} is {many} than {first.letter}; the order is safer than the size."


def _extract(first: Told, other: Told) -> str:
    a, b = first.found.extract_pct, other.found.extract_pct
    if a is None or b is None:
        return f"{first.letter} and {other.letter}: no figure of both extracts."
    left = other.found.starch_left_pct - first.found.starch_left_pct
    if abs(left) >= SHOWN_POINTS:
        return f"{other.letter} leaves {abs(left):.0f} % {'more' if left > 0.0 else 'less'} starch than {first.letter}."
    apart = b.mid - a.mid
    if abs(apart) < SHOWN_POINTS:
        return f"{first.letter} and {other.letter} give the same extract."
    least = "at least " if (other if apart < 0.0 else first).found.extract_at_most else ""
    share = f"{least}{abs(apart):.0f} % {'more' if apart > 0.0 else 'less'} of what the malt holds"
    return f"{other.letter} gives {share} than {first.letter}, by the malt sheets."
