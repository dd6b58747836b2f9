"""What stands in the bath of a laboratory mash?

Several beakers share one bath and one curve; each has its lot, its mass and its grind, and its wort is entered by its
number. The tun then holds the bath's water and no grain.
"""

from typing import Annotated, Literal

from pydantic import StringConstraints

from controller.settings.table import Quantity, Table

Grind = Literal["fine", "coarse"]  # of the Congress mash: 0.2 mm and 1.0 mm between the discs (EBC 1.1, from memory)


class Beaker(Table):
    """One beaker. `moisture` is for a lot that has no sheet here."""

    lot: Annotated[str, StringConstraints(max_length=200)] = ""  # its moisture is taken from the sheet
    grist_kg: Annotated[float, Quantity("mass", 0.001, 5)] = 0.05  # weighed in, to 0.01 g
    grind: Grind = "fine"  # where a lot stands there both ways, the record has fine less coarse
    moisture: Annotated[float | None, Quantity("share", 0, 0.2)] = None  # else as usual
