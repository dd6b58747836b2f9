"""What will be in the kettle before the boil, and what would it take to have there what is wanted?

Extract by the malt sheets, what the grain holds back by the tun's figures. What happens from the kettle on is left to
others: of the boil only the water that goes is counted.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.brewing import extract, runoff, volumes
from controller.plan import additions
from controller.plan.recipe import Program
from controller.plan.stages import liquor_kg, moisture_share
from controller.settings.tun import Tun

VOLUME_SHARE, STRENGTH_P = 0.03, 0.3  # good to so much (own proposal)


class Kettle(NamedTuple):
    """The kettle as it is wanted, as this grist makes it, and the grist that would make it as wanted."""

    wanted: runoff.Wort
    got: runoff.Wort
    lauter_share: float
    sparge_kg: float
    sparge_l: float  # at its temperature
    needed: runoff.Wanted
    assumed: bool  # a sheet does not say how much extract there is


def expected(program: Program, tun: Tun) -> Kettle | None:
    """What comes into the kettle, with as much sparge liquor as fills it? None where nothing is wanted, or no grain is.

    Raises ValueError where the grain holds back more than there is, or no grist gives what is wanted.
    """
    wanted = program.wanted
    if wanted is None or not program.grist:
        return None
    after = runoff.Wort(wanted.volume_l, wanted.gravity, runoff.extract_kg(wanted.volume_l, wanted.gravity))
    kettle = runoff.before_boil(after, wanted.boil_off_l) if wanted.boil_off_l else after
    promised = extract.promise(additions.sheets(program))
    share = extract.USUAL_EXTRACT if promised is None else promised.extract_share
    grist_kg = additions.all_grist_kg(program)
    malt = runoff.Malt(grist_kg, share, moisture_share(program), wanted.conversion)
    lauter, liquor = runoff.Lauter(tun.held_back_l_per_kg, tun.dead_space_l), _all_liquor_kg(program)
    needed = runoff.grist_for(kettle, malt, lauter, wanted.sparge, liquor / grist_kg)
    sparge_kg = runoff.sparge_kg(malt, liquor, lauter, kettle.volume_l) if wanted.sparge != "none" else 0.0
    out = runoff.run_off(malt, liquor, lauter, wanted.sparge, sparge_kg)
    lautered = out.lauter_share
    if wanted.sparge == "continuous":  # a band: the brewery's own figure, else the usual one
        lautered = runoff.USUAL_CONTINUOUS if wanted.lauter is None else wanted.lauter
    got = runoff.strength(out.kettle.volume_l, lautered * malt.dissolved_kg)
    sparge_l = volumes.liquor_volume_l(sparge_kg, wanted.sparge_temperature_c)
    return Kettle(kettle, got, lautered, sparge_kg, sparge_l, needed, promised is None)


def _all_liquor_kg(program: Program) -> float:
    """Liquor of the mash, with what is added in written amounts and what comes with a cooker, less what boils off."""
    added = sum(step.amount_kg or 0.0 for step in program.step if step.kind in ("infusion", "water_in"))
    cooked = 0.0 if program.cereal is None else program.cereal.liquor_kg - additions.cooker_boil_off_kg(program)
    boiled = sum(step.boil_off_kg or 0.0 for step in program.step if step.kind == "decoction")
    return liquor_kg(program) + added + cooked - boiled
