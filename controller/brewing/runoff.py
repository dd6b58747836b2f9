"""How much wort, and how strong, comes out of the mash and into the kettle?

By mass: extract that the malt gives, what the spent grain holds back, what sparging washes out of it. Volumes at 20 °C.
Conversion (is it dissolved?) and lauter yield (did it come out?) stand apart: a low first wort is a fault of the mash.
"""

from __future__ import annotations

from math import exp, prod
from typing import Literal, NamedTuple

from controller.brewing import wort
from controller.brewing.volumes import HELD_BACK_L_PER_KG

Sparge = Literal["none", "batch", "twice", "continuous"]
BATCHES = {"none": 0, "batch": 1, "twice": 2, "continuous": 0}
USUAL_CONTINUOUS = 0.93  # lauter yield, of 0.90 to 0.97 (common practice)
USUAL_CONVERSION = 0.95  # (common practice)
ROUNDS = 60  # of a search that halves its error each time


class Malt(NamedTuple):
    """A grist, its extract as it is, and what became of it in the mash."""

    grist_kg: float
    extract_share: float
    moisture_share: float
    conversion_share: float = USUAL_CONVERSION

    @property
    def dissolved_kg(self) -> float:
        return self.conversion_share * self.extract_share * self.grist_kg


class Lauter(NamedTuple):
    """What stays behind: in the grain, and under the floor."""

    held_back_l_per_kg: float = HELD_BACK_L_PER_KG
    dead_space_l: float = 0.0

    def held_l(self, grist_kg: float) -> float:
        return self.held_back_l_per_kg * grist_kg + self.dead_space_l


class Wort(NamedTuple):
    """Wort in the mash or in the kettle: litres at 20 °C, °P, extract."""

    volume_l: float
    wort_p: float
    extract_kg: float


def wort_of(extract_kg: float, water_kg: float) -> Wort:
    """What do so much extract and so much water make?"""
    strength = 100.0 * extract_kg / (extract_kg + water_kg)
    density = wort.DENSITY_20_KG_PER_L * wort.gravity(strength)
    return Wort((extract_kg + water_kg) / density, strength, extract_kg)


def first_wort(malt: Malt, liquor_kg: float) -> Wort:
    """All the wort of the mash, before any of it runs off."""
    return wort_of(malt.dissolved_kg, liquor_kg + malt.moisture_share * malt.grist_kg)


class RunOff(NamedTuple):
    """What came out."""

    first_l: float  # first run-off
    lauter_share: float  # of the dissolved extract
    kettle: Wort


def run_off(malt: Malt, liquor_kg: float, lauter: Lauter, sparge: Sparge = "none", added_kg: float = 0.0) -> RunOff:
    """What reaches the kettle? Raises ValueError where the grain holds back more than there is.

    Batches: what is held back is diluted, mixed and drained again (best with equal run-offs: Troester, second hand).
    Continuous: between a bed that mixes wholly, 1 - r/(r + V1) exp(-V2/r), and all of it.
    """
    whole, held_l = first_wort(malt, liquor_kg), lauter.held_l(malt.grist_kg)
    first_l = whole.volume_l - held_l
    if first_l <= 0.0:
        raise ValueError(f"the grain holds back {held_l:.1f} L, and there are {whole.volume_l:.1f} L of wort")
    left, batches = held_l / whole.volume_l, BATCHES[sparge]
    sparge_l = added_kg / wort.DENSITY_20_KG_PER_L
    if sparge == "continuous":
        low = 1.0 - left * exp(-sparge_l / held_l)
        return RunOff(first_l, low, _kettle(malt, whole, first_l + sparge_l, low))
    rest = left * prod(held_l / (held_l + sparge_l / batches) for _ in range(batches))
    return RunOff(first_l, 1.0 - rest, _kettle(malt, whole, first_l + sparge_l * (batches > 0), 1.0 - rest))


def sparge_kg(malt: Malt, liquor_kg: float, lauter: Lauter, kettle_l: float) -> float:
    """How much sparge liquor fills the kettle, kg? 0 where the first run-off is enough."""
    first_l = first_wort(malt, liquor_kg).volume_l - lauter.held_l(malt.grist_kg)
    return max(0.0, (kettle_l - first_l) * wort.DENSITY_20_KG_PER_L)


def _kettle(malt: Malt, whole: Wort, volume_l: float, lauter_share: float) -> Wort:
    """The wort that came out, by its extract and its volume."""
    extract_kg = lauter_share * malt.dissolved_kg
    return strength(volume_l, extract_kg)


def strength(volume_l: float, extract_kg: float) -> Wort:
    """How strong are so many litres with so much extract?"""
    low, high = 0.0, 30.0
    for _ in range(ROUNDS):
        middle = (low + high) / 2.0
        enough = volume_l * wort.DENSITY_20_KG_PER_L * wort.gravity(middle) * middle / 100.0 >= extract_kg
        low, high = (low, middle) if enough else (middle, high)
    return Wort(volume_l, high, extract_kg)


def extract_kg(volume_l: float, wort_p: float) -> float:
    """How much extract is in so much wort, kg?"""
    return volume_l * wort.DENSITY_20_KG_PER_L * wort.gravity(wort_p) * wort_p / 100.0


def before_boil(after: Wort, boil_off_l: float) -> Wort:
    """What must be in the kettle before the boil? Extract stays, water goes."""
    return strength(after.volume_l + boil_off_l, after.extract_kg)


class Wanted(NamedTuple):
    """Grist and liquor for a wanted kettle."""

    grist_kg: float
    liquor_kg: float
    sparge_kg: float
    lauter_share: float


def grist_for(kettle: Wort, malt: Malt, lauter: Lauter, sparge: Sparge, thickness: float) -> Wanted:
    """How much grist, mash liquor and sparge liquor give this kettle? `malt` for a kilogram; its mass is worked out.

    Without a sparge all liquor goes into the mash, and its thickness follows.
    """
    low, high = kettle.extract_kg / malt.extract_share / 2.0, 20.0 * kettle.extract_kg / malt.extract_share
    for _ in range(ROUNDS):
        grist_kg = (low + high) / 2.0
        found = _liquors(kettle, malt._replace(grist_kg=grist_kg), lauter, sparge, thickness)
        given_kg = malt.conversion_share * malt.extract_share * grist_kg
        enough = found is None or found.lauter_share * given_kg >= kettle.extract_kg
        low, high = (low, grist_kg) if enough else (grist_kg, high)
    final = _liquors(kettle, malt._replace(grist_kg=high), lauter, sparge, thickness)
    if final is None:
        raise ValueError("no grist gives this wort in this way: more liquor, or a sparge")
    return final


def _liquors(kettle: Wort, malt: Malt, lauter: Lauter, sparge: Sparge, thickness: float) -> Wanted | None:
    """The liquors that fill the kettle with this grist; None where they do not."""
    if sparge == "none":
        return _unsparged(kettle, malt, lauter)
    liquor_kg = thickness * malt.grist_kg
    added_kg = sparge_kg(malt, liquor_kg, lauter, kettle.volume_l)
    if added_kg <= 0.0 or first_wort(malt, liquor_kg).volume_l <= lauter.held_l(malt.grist_kg):
        return None
    out = run_off(malt, liquor_kg, lauter, sparge, added_kg)
    share = USUAL_CONTINUOUS if sparge == "continuous" else out.lauter_share
    return Wanted(malt.grist_kg, liquor_kg, added_kg, share)


def _unsparged(kettle: Wort, malt: Malt, lauter: Lauter) -> Wanted:
    """All the liquor at once: so much that the first run-off is the kettle."""
    volume_l = kettle.volume_l + lauter.held_l(malt.grist_kg)
    whole = strength(volume_l, malt.dissolved_kg)
    water_kg = malt.dissolved_kg * (100.0 / max(whole.wort_p, 1e-6) - 1.0)
    liquor_kg = water_kg - malt.moisture_share * malt.grist_kg
    return Wanted(malt.grist_kg, liquor_kg, 0.0, kettle.volume_l / volume_l)


def held_back_by_moisture(malt: Malt, spent_moisture_share: float) -> float:
    """How much does the grain hold back, kg a kg of grist, by the moisture of the spent grain?"""
    solids = 1.0 - malt.moisture_share - malt.conversion_share * malt.extract_share
    return solids * spent_moisture_share / (1.0 - spent_moisture_share)
