"""Which malt does the kinetic model take for a grist, and at which pace does beta-amylase go in this brewery?

From the malt sheet (extract and limit attenuation of the Congress wort), and from measured worts of past batches. As
plain numbers it travels with the course of a run, so that dry run, live estimate and record rest on the same malt.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from controller.brewing.kinetics.amounts import Known
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
HALF = frozenset({"kilned malt", "wheat malt", "rye malt"})  # bring amylases and paste no later (IoB textbook, seen)
LATE = frozenset({"maize", "rice", "sorghum"})  # paste above 65 °C (IoB textbook, quoted)
BARLEY = frozenset({"malt", "kilned malt"})
NO_STARCH = frozenset({"husk", "sugar"})
KOLBACH_LEAST, FRIABILITY_LEAST, FINE_COARSE_MOST = 0.35, 0.80, 0.018  # as advice A9
USUAL_EXTRACT = 0.81  # dry basis, of a malt whose sheet is silent (common practice)
PACE = "beta_loss_factor"
Plain = Mapping[str, float | None]


class GristPart(NamedTuple):
    """A line of the grist, with what its malt sheet says; shares 0..1."""

    kind: str
    mass_kg: float
    extract: float | None = None  # fine grind, dry basis
    limit_attenuation: float | None = None  # apparent, of the Congress wort
    kolbach: float | None = None
    friability: float | None = None
    fine_coarse: float | None = None
    cooked: bool = False  # flaked, or boiled first


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
        known = {name: None if value is None else float(value) for name, value in self.malt.known._asdict().items()}
        plain = {**self.malt._asdict(), **known, PACE: self.beta_loss_factor}
        del plain["known"]
        return plain


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
    thick = figures.pop("liquor_kg_per_kg", None)
    if thick is not None and not thick > 0.0:
        raise ValueError(f"thickness {thick} kg/kg is not more than 0")
    known = _recalled({name: figures.pop(name) for name in Known._fields if name in figures})
    shares = {name: float(value) for name, value in figures.items() if value is not None}
    if not all(0.0 <= value <= 1.0 for value in shares.values()):
        raise ValueError(f"shares of the malt are outside 0 to 1: {shares}")
    return Basis(Malt(**shares, limit_dextrin_share=share, liquor_kg_per_kg=thick, known=known), float(factor))


def _recalled(said: Plain) -> Known:
    """What is known beside the malt's figures; what is not said is as usual."""
    usual = Known()
    return Known(
        pale_share=_or(said.get("pale_share"), usual.pale_share),
        raw_share=_or(said.get("raw_share"), usual.raw_share),
        under_modified=bool(said.get("under_modified")),
        fine_coarse_share=said.get("fine_coarse_share"),
        low_rest_enzyme=bool(said.get("low_rest_enzyme")),
        starch_enzyme=bool(said.get("starch_enzyme")),
        mash_ph=said.get("mash_ph"),
        cooked_apart=bool(said.get("cooked_apart")),
        unboiled=bool(said.get("unboiled")),
        fine_grind=bool(said.get("fine_grind")),
    )


def _or(value: float | None, usual: float) -> float:
    return usual if value is None else value


def of_grist(
    grist: Sequence[GristPart],
    brewery: Calibration | None = None,
    liquor_kg_per_kg: float | None = DEFAULT_MALT.liquor_kg_per_kg,
    *,
    mash_ph: float | None = None,
    low_rest_enzyme: bool = False,
    starch_enzyme: bool = False,
    cooked_apart: bool = False,
    unboiled: bool = False,
    fine_grind: bool = False,
) -> Basis:
    """What does the estimate rest on for this grist, in a brewery whose own worts were measured?

    A malt sheet that cannot be right, or that the model cannot reach, is passed over and said.
    """
    remarks: list[str] = []
    certificate = Certificate(
        _percent(_mean(grist, "limit_attenuation")),
        _percent(_mean(grist, "extract")),
    )
    malt = DEFAULT_MALT
    try:
        malt = _anchored(certificate)
    except Implausible as wrong:
        remarks += [f"malt sheet passed over: {problem}" for problem in wrong.problems]
    added = {"low_rest_enzyme": low_rest_enzyme, "starch_enzyme": starch_enzyme}
    added |= {"cooked_apart": cooked_apart, "unboiled": unboiled, "fine_grind": fine_grind}
    known = _known(grist)._replace(mash_ph=mash_ph, **added)
    malt = malt._replace(liquor_kg_per_kg=liquor_kg_per_kg, known=known)
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


def _mean(grist: Iterable[GristPart], figure: str, kinds: Collection[str] = SHEETS) -> float | None:
    """Mean by mass over the malts whose sheet gives the figure; None where none does."""
    known = [
        (line.mass_kg, value) for line in grist if line.kind in kinds and (value := getattr(line, figure)) is not None
    ]
    total = sum(kg for kg, _ in known)
    return sum(kg * value for kg, value in known) / total if total > 0.0 else None


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _known(grist: Sequence[GristPart]) -> Known:
    """What is known of the grist that widens the estimate or withholds a part of it?"""
    starchy = [line for line in grist if line.kind not in NO_STARCH]
    total = sum(line.mass_kg for line in starchy)
    if total <= 0.0:
        return Known()
    pale = sum(line.mass_kg * (1.0 if line.kind in PALE else 0.5 if line.kind in HALF else 0.0) for line in starchy)
    raw = sum(line.mass_kg for line in starchy if line.kind in LATE and not line.cooked)
    coarse = _mean(starchy, "fine_coarse", PALE | HALF)
    share = None if coarse is None else coarse / (_mean(starchy, "extract") or USUAL_EXTRACT)
    return Known(pale / total, raw / total, _under_modified(starchy, coarse), share)


def _under_modified(grist: Sequence[GristPart], coarse: float | None) -> bool:
    """Does the sheet say that the malt gives up its starch late?"""
    kolbach, friability = _mean(grist, "kolbach", BARLEY), _mean(grist, "friability", BARLEY)
    if kolbach is None or kolbach >= KOLBACH_LEAST:
        return False
    return (friability is not None and friability < FRIABILITY_LEAST) or (
        coarse is not None and coarse > FINE_COARSE_MOST
    )
