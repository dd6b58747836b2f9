"""How much extract can a grist give by its malt sheets, and how strong is its first wort then?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.brewing import wort

USUAL_MOISTURE = 0.04  # of malt whose sheet does not say: 3.5 to 6 % is accepted (byo.com, opening seen)
USUAL_EXTRACT = 0.78  # as is: pale malt gives 79 to 83 % of its dry mass (common practice), at 4 % moisture
LEAST_OF_IT = 0.5  # a wort with less of it than this is hardly meant (own proposal)


class Sheet(NamedTuple):
    """A line of the grist with what its sheet says; shares 0..1."""

    kind: str
    mass_kg: float
    extract: float | None  # Congress mash, fine grind, dry basis
    moisture: float | None


class Promise(NamedTuple):
    """What a grist can give: shares of its whole mass as it is."""

    extract_share: float
    moisture_share: float


def promise(grist: Sequence[Sheet]) -> Promise | None:
    """What can this grist give? None where a line's sheet does not say. Husk gives nothing."""
    lines = [line for line in grist if line.kind != "husk"]
    total_kg = sum(line.mass_kg for line in grist)
    if not lines or total_kg <= 0.0:
        return None
    extract_kg = moisture_kg = 0.0
    for line in lines:
        if line.extract is None:
            return None
        moisture = USUAL_MOISTURE if line.moisture is None else line.moisture
        extract_kg += line.mass_kg * line.extract * (1.0 - moisture)
        moisture_kg += line.mass_kg * moisture
    return Promise(extract_kg / total_kg, moisture_kg / total_kg)


def first_wort_p(grist: Sequence[Sheet], liquor_kg: float) -> float | None:
    """How strong is the first wort if all of it is converted and nothing sparged, °P? None where it is not known.

    P = 100 E/(R + w + E), all kg a kg of grist as it is: extract over extract and all water (mass balance, the form of
    the Congress extract; thickness sets the first wort: J. Palmer, MBAA TQ 54(2) 2017, abstract seen).
    """
    given = promise(grist)
    if given is None:
        return None
    return wort.first_wort_p(liquor_kg / sum(line.mass_kg for line in grist), *given[::-1])


class Yield(NamedTuple):
    """What of a grist is in the wort, and how that compares."""

    share: float  # of the grist's mass
    possible_share: float  # by the malt sheets, or as is usual
    assumed: bool  # the sheets do not say
    question: str  # what is odd about it; empty where nothing is

    @property
    def of_possible(self) -> float:
        """Which share of what it can give?"""
        return self.share / self.possible_share


def brewhouse_yield(volume_l: float, wort_p: float, grist_kg: float, grist: Sequence[Sheet]) -> Yield:
    """What does so much wort of that strength say about its grist? Volume at 20 °C."""
    share = wort.brewhouse_yield_share(volume_l, wort.gravity(wort_p), grist_kg)
    given = promise(grist)
    found = Yield(share, USUAL_EXTRACT if given is None else given.extract_share, given is None, "")
    if found.of_possible > 1.0:
        return found._replace(question="more than the malt holds: check volume, gravity and grist")
    if found.of_possible < LEAST_OF_IT:
        return found._replace(question="less than half of what the malt can give: check volume, gravity and grist")
    return found
