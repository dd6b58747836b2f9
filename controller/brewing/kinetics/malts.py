"""Which malt does the kinetic model take for a grist, and at which pace does beta-amylase go in this brewery?

From the malt sheet (extract and limit attenuation of the Congress wort), and from measured worts of past batches. As
plain numbers it travels with the course of a run, so that dry run, live estimate and record rest on the same malt.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from controller.brewing.kinetics.calibration import (
    BETA_LOSS,
    LIMIT_DEXTRIN,
    Calibration,
    Certificate,
    Implausible,
    anchor,
)
from controller.brewing.kinetics.model import CALIBRATED_SET, DEFAULT_MALT, Malt, Parameters
from controller.brewing.kinetics.rates import changed

SHEETS = frozenset({"malt", "wheat malt", "rye malt", "oat malt", "kilned malt"})  # kinds that are mashed by themselves
PALE = frozenset({"malt"})  # what the model was made for
OTHER_SHARE = 0.10  # beyond this share of other grain it is said (own proposal)
PACE = "beta_loss_factor"
Plain = Mapping[str, float | None]


class GristPart(NamedTuple):
    """A line of the grist, with what its malt sheet says; shares 0..1."""

    kind: str
    mass_kg: float
    extract: float | None = None  # fine grind, dry basis
    limit_attenuation: float | None = None  # apparent, of the Congress wort


class Basis(NamedTuple):
    """What an estimate rests on: the malt, the pace of beta-amylase loss relative to the set's own, and remarks."""

    malt: Malt = DEFAULT_MALT
    beta_loss_factor: float = 1.0
    remarks: tuple[str, ...] = ()

    @property
    def params(self) -> Parameters:
        return parameters(self.beta_loss_factor)

    def plain(self) -> dict[str, float | None]:
        """As plain values, for a course and its record."""
        return {**self.malt._asdict(), PACE: self.beta_loss_factor}


@lru_cache(maxsize=32)
def parameters(beta_loss_factor: float) -> Parameters:
    """The calibrated set at another pace of beta-amylase loss; one object a pace, for rates are remembered by it."""
    if beta_loss_factor == 1.0:
        return CALIBRATED_SET
    return changed(CALIBRATED_SET, beta_loss_scale=CALIBRATED_SET.beta_loss_scale * beta_loss_factor)


def recalled(plain: Plain | None) -> Basis:
    """The basis that plain values describe; the default where there are none. Raises ValueError, TypeError."""
    if plain is None:
        return Basis()
    figures = dict(plain)
    factor = figures.pop(PACE, 1.0)
    if factor is None or not BETA_LOSS[0] <= factor <= BETA_LOSS[1]:
        raise ValueError(f"{PACE} {factor} is outside {BETA_LOSS}")
    share = figures.pop("limit_dextrin_share", None)
    if share is not None and not LIMIT_DEXTRIN[0] <= share <= LIMIT_DEXTRIN[1]:
        raise ValueError(f"limit-dextrin share {share} is outside {LIMIT_DEXTRIN}")
    shares = {name: float(value) for name, value in figures.items() if value is not None}
    if not all(0.0 <= value <= 1.0 for value in shares.values()):
        raise ValueError(f"shares of the malt are outside 0 to 1: {shares}")
    return Basis(Malt(**shares, limit_dextrin_share=share), float(factor))


def of_grist(grist: Sequence[GristPart], brewery: Calibration | None = None) -> Basis:
    """What does the estimate rest on for this grist, in a brewery whose own worts were measured?

    A malt sheet that cannot be right, or that the model cannot reach, is passed over and said.
    """
    remarks = list(_outside(grist))
    certificate = Certificate(
        _percent(_mean(grist, "limit_attenuation")),
        _percent(_mean(grist, "extract")),
    )
    malt = DEFAULT_MALT
    try:
        malt = _anchored(certificate)
    except Implausible as wrong:
        remarks += [f"malt sheet passed over: {problem}" for problem in wrong.problems]
    if brewery is None:
        return Basis(malt, 1.0, tuple(remarks))
    remarks.append(f"brought to {brewery.batches} measured worts of this brewery")
    return Basis(shifted(malt, brewery), brewery.beta_loss_factor, tuple(remarks))


@lru_cache(maxsize=32)
def _anchored(certificate: Certificate) -> Malt:
    return anchor(certificate)


def share_of(malt: Malt) -> float:
    """Which limit-dextrin share has this malt: its own, else the set's?"""
    own = malt.limit_dextrin_share
    return CALIBRATED_SET.limit_dextrin_share if own is None else own


def shifted(malt: Malt, brewery: Calibration) -> Malt:
    """The malt with the brewery's offset: as far from its own share as the measured worts were from theirs; bounded."""
    share = share_of(malt) + brewery.limit_dextrin_share - brewery.from_share
    return malt._replace(limit_dextrin_share=min(LIMIT_DEXTRIN[1], max(LIMIT_DEXTRIN[0], share)))


def _mean(grist: Iterable[GristPart], figure: str) -> float | None:
    """Mean by mass over the malts whose sheet gives the figure; None where none does."""
    known = [
        (line.mass_kg, value) for line in grist if line.kind in SHEETS and (value := getattr(line, figure)) is not None
    ]
    total = sum(kg for kg, _ in known)
    return sum(kg * value for kg, value in known) / total if total > 0.0 else None


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _outside(grist: Sequence[GristPart]) -> Iterable[str]:
    total = sum(line.mass_kg for line in grist)
    other = sum(line.mass_kg for line in grist if line.kind not in PALE)
    if total > 0.0 and other > OTHER_SHARE * total:
        yield f"{100 * other / total:.0f} % of the grist is no pale barley malt: outside what the model was made for"
