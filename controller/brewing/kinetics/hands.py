"""What do people's hands do to the mash: which part is away to be boiled, and how thick is it?

Asked again and again with the step that runs and its phase, as live, dry run and record know them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from controller.brewing.kinetics.amounts import Amounts
from controller.brewing.kinetics.decoction import Deed, Pulled, Returned, Thinned, done
from controller.brewing.kinetics.rates import Parameters

Span = tuple[float, float]  # s, mean degC

BACK = "settling"  # the phase in which all is back and stirred
SAME_KG_PER_KG = 1e-6


class Hand(NamedTuple):
    """What a step asks of people."""

    kind: str
    addition_kg: float = 0.0  # infusion, water_in: liquor added; decoction: mash pulled
    pull_kg_per_kg: float | None = None  # thickness of the pull
    boil_off_kg: float = 0.0  # of the pull
    thin_p: float | None = None  # the liquid alone is pulled, of this gravity, °P


class Work(NamedTuple):
    """The steps of a course, and the mash at dough-in."""

    hands: tuple[Hand, ...]
    grist_kg: float
    liquor_kg_per_kg: float | None


def due(
    work: Work, index: int, phase: str, now_c: float, away: bool, thick_now: float | None
) -> Pulled | Returned | Thinned | None:
    """What is done to the mash in this step and phase, and has not been done yet? None: nothing.

    `away`: a part of the mash is out; `thick_now`: how thick the mash is by now.
    """
    hand = work.hands[index]
    boiling = hand.kind == "decoction" and phase != BACK
    if away:
        return None if boiling else Returned()
    if boiling:
        return Pulled(pull_share(work, index), now_c, hand.pull_kg_per_kg, hand.thin_p is not None)
    over = index + 1 if phase == BACK else index
    if thick_now is None or not any(more_kg(one) for one in work.hands[:over]):
        return None
    return Thinned(thick(work, over)) if abs(thick(work, over) - thick_now) > SAME_KG_PER_KG else None


def worked(params: Parameters, state: Amounts, work: Work, index: int, phase: str, now_c: float) -> Amounts:
    """What is the mash once what belongs to this step and phase has been done?"""
    deed = due(work, index, phase, now_c, state.away is not None, state.malt.liquor_kg_per_kg)
    return state if deed is None else done(params, state, deed)


def pull_share(work: Work, index: int) -> float:
    """Which share of the mash does the decoction of this step take, 0..1? Of the liquid, where that alone is pulled."""
    hand, before = work.hands[index], thick(work, index)
    if hand.thin_p is not None:
        return hand.addition_kg * (1.0 - hand.thin_p / 100.0) / (work.grist_kg * before)
    return hand.addition_kg / (work.grist_kg * (1.0 + before))


def more_kg(hand: Hand) -> float:
    """How much more liquor is in the mash after this step, kg? Less, where some has boiled off."""
    return hand.addition_kg if hand.kind in ("infusion", "water_in") else -hand.boil_off_kg


def thick(work: Work, until: int) -> float:
    """How thick is the mash, what so many steps add and boil off counted, kg/kg?"""
    first = 4.0 if work.liquor_kg_per_kg is None else work.liquor_kg_per_kg
    return first + sum(more_kg(one) for one in work.hands[:until]) / work.grist_kg


def followed(work: Work, rows: Iterable[tuple[float, float, int, str]]) -> Iterator[Span | Deed]:
    """Which profile do these rows make: seconds, temperature, step and phase of each?"""
    away, thick_now = False, work.liquor_kg_per_kg
    for dt_s, celsius, index, phase in rows:
        yield dt_s, celsius
        deed = due(work, index, phase, celsius, away, thick_now) if 0 <= index < len(work.hands) else None
        if deed is None:
            continue
        away = isinstance(deed, Pulled)
        thick_now = deed.liquor_kg_per_kg if isinstance(deed, Thinned) else thick_now
        yield deed
