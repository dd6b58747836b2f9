"""What becomes of a mash of which a part is pulled, boiled and returned?

At the pull the mash splits in two parcels of the same composition. Enzymes lie in the liquid, starch in the grist: a
thick X
is taken in four equal parts of the time away: up to 72 degC, at 72 degC, up to the boil, at the boil (assumed).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from controller.brewing.kinetics.amounts import IODINE_STARCH, Amounts, Away, starch_left, thickness
from controller.brewing.kinetics.rates import Parameters
from controller.brewing.kinetics.reactions import step

THICK_PULL = 1.8  # kg liquor to a kg of grist in a thick pull (common practice)
SACCHARIFIED_C, BOIL_C = 72.0, 100.0  # where the pull rests, and what it is brought to (common practice)
PIECE_S = 10.0
# Everything that is a share of the whole grist, and mixes with it.
BY_GRIST = (
    *("dry", "starch", "small", "gel", "limit", "dextrin", "glucose", "maltose", "maltotriose"),
    *("released", "coarse", "cut", "cut_outside", "doubt"),
)
BY_LIQUOR = ("alpha", "beta", "debrancher", "glucanase", "protease", "glucanase_min", "protease_min")


class Pulled(NamedTuple):
    """A part of the mash is taken out, in a profile of temperatures."""

    mass_share: float  # of the mash, 0..1
    temperature_c: float
    pull_kg_per_kg: float | None = None  # thickness of the pull; None: as the mash
    thin: bool = False  # the liquid alone; the share is of the liquid


class Returned(NamedTuple):
    """It comes back."""


class Thinned(NamedTuple):
    """Liquor goes in: so thick is the mash then."""

    liquor_kg_per_kg: float | None


Deed = Pulled | Returned | Thinned


def done(params: Parameters, state: Amounts, deed: Deed) -> Amounts:
    """What is the mash after a deed?"""
    match deed:
        case Pulled():
            return pulled(state, *deed)
        case Returned():
            return returned(params, state)
        case Thinned():
            return thickness(state, deed.liquor_kg_per_kg)


def pulled(
    state: Amounts, mass_share: float, temperature_c: float, pull_kg_per_kg: float | None = None, thin: bool = False
) -> Amounts:
    """What stays in the tun when this share of the mash, 0..1, is taken out? The part that is away goes with it.

    `pull_kg_per_kg`: thickness of the pull; None takes it as thick as the mash. A mash whose thickness nobody knows is
    taken at 4 kg/kg. `thin`: of the liquid alone, whose share `mass_share` is then.
    """
    whole = state.malt.liquor_kg_per_kg
    thick = 4.0 if whole is None else whole
    pull = min(thick, thick if pull_kg_per_kg is None else pull_kg_per_kg)
    share = min(0.9, max(0.0, mass_share))
    grist = 0.0 if thin else min(0.9, share * (1.0 + thick) / (1.0 + pull))
    liquor = share if thin else min(0.9, grist * pull / thick)
    away = Away(thickness(state, pull), temperature_c, grist, liquor, liquor * thick)
    return thickness(state, thick * (1.0 - liquor) / (1.0 - grist))._replace(away=away)


def returned(params: Parameters, state: Amounts) -> Amounts:
    """What is the mash once the part that was away is back? Unchanged where none was."""
    if state.away is None:
        return state
    part = _boiled(params, state.away, state.time_s - state.away.amounts.time_s)
    grist, liquor = state.away.grist_share, state.away.liquor_share
    mixed = {name: _mixed(getattr(state, name), getattr(part, name), grist) for name in BY_GRIST}
    mixed |= {name: _mixed(getattr(state, name), getattr(part, name), liquor) for name in BY_LIQUOR}
    whole = Amounts(**{**state._asdict(), **mixed, "boiled": True, "away": None})
    whole = thickness(whole, _whole(state, state.away))
    if starch_left(whole) >= IODINE_STARCH:
        return whole._replace(fine_s=None, iodine_s=None)
    return whole


def _whole(state: Amounts, away: Away) -> float | None:
    """How thick is it all together, as before the pull and with what was added meanwhile?"""
    main = state.malt.liquor_kg_per_kg
    return None if main is None else main * (1.0 - away.grist_share) + away.liquor_kg_per_kg


def _mixed(main: float, part: float, share: float) -> float:
    return (1.0 - share) * main + share * part


def _boiled(params: Parameters, away: Away, seconds: float) -> Amounts:
    """The part that was away, after so long."""
    part = away.amounts
    for dt_s, celsius in _path(away.temperature_c, seconds):
        part = step(params, part, celsius, dt_s)
    return part


def _path(from_c: float, seconds: float) -> Iterator[tuple[float, float]]:
    """Four equal parts: up to 72 degC, at it, up to the boil, at it."""
    quarter = seconds / 4.0
    first = max(from_c, SACCHARIFIED_C)
    for begin_c, end_c in ((from_c, first), (first, first), (first, BOIL_C), (BOIL_C, BOIL_C)):
        count = max(1, round(quarter / PIECE_S))
        yield from ((quarter / count, begin_c + (end_c - begin_c) * (n + 0.5) / count) for n in range(count))
