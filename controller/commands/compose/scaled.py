"""How much grist and liquor does a program take for another volume in the kettle?"""

from __future__ import annotations

from controller.commands.shared.exit_codes import Wrong
from controller.plan import kettle
from controller.plan.recipe import Program
from controller.settings.problems import Problem
from controller.settings.table import show
from controller.settings.tun import Tun


def scaled(source: Program, tun: Tun, volume_l: float) -> Program:
    """The program for so much wort of the gravity that it wants: what the grain holds back and a sparge's yield counted
    anew, the malts in their proportion. Raises Wrong where it wants no gravity, or no grist gives that."""
    litres = show("volume", volume_l)
    if source.wanted is None:
        raise Wrong(
            Problem("--scale", f"{litres} of {source.name}", "a program that says in [wanted] how strong it is")
        )
    wanted = source.wanted.model_copy(update={"volume_l": volume_l})
    try:
        found = kettle.expected(source.model_copy(update={"wanted": wanted}), tun)
    except ValueError as why:
        raise Wrong(Problem("--scale", litres, str(why))) from None
    if found is None:
        raise Wrong(Problem("--scale", litres, "a program with grist"))
    factor = found.needed.grist_kg / source.grist_kg
    grist = tuple(line.model_copy(update={"mass_kg": round(line.mass_kg * factor, 3)}) for line in source.grist)
    liquor = source.liquor.model_copy(update={"mass_kg": round(found.needed.liquor_kg, 2), "volume_l": None})
    return source.model_copy(update={"grist": grist, "liquor": liquor, "wanted": wanted})
