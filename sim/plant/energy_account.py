"""What does a simulated tun keep account of: heat that came and went, what is being poured, what stays the same?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


class Energy(NamedTuple):
    """Where has the heat gone since the start? All in J, enthalpies from 0 °C."""

    heater: float  # what the heater put in
    added: float  # brought by grist and liquor, heat of wetting included
    removed: float  # taken out with pulled mash
    lost: float  # to the room
    boiled: float  # left as steam from a node that reached the boil
    stored: float  # in the tun now
    stored_at_start: float

    @property
    def gap_j(self) -> float:
        """What does not add up? Zero but for rounding."""
        put_in = self.heater + self.added - self.removed - self.lost - self.boiled
        return self.stored - self.stored_at_start - put_in


@dataclass(slots=True)
class Pour:
    """Something on its way into the tun."""

    left_s: float
    grist_kg_per_s: float
    liquor_kg_per_s: float
    c: float
    wetting_j_per_kg: float
    moisture: float
    top: bool


class Flow(NamedTuple):
    """Coefficients of one step, valid until something changes."""

    film_j: float  # J a step and K from the heater's mass; 0 = no mass, heat goes straight in
    per_heater_j: float  # K of the heater's mass a J
    per_heated_j: float  # K of each heated layer (or of the chamber) a J
    heats: int  # layers heated from the bottom up; 0 = the chamber
    mix: float  # share of the difference between neighbours exchanged a step
    metal_mash: float  # K of a layer a step and K to the metal
    metal_from_mash: float  # K of the metal a step and K to one layer; 0 = the metal follows the mash
    loss: float  # K of the metal (or of each layer) a step and K to the room
    steam: float  # K of the top layer a step and Pa
    room_pa: float  # vapour in the room's air
    shifts: float  # pipe cells moved on a step
    bed: float  # share of a layer that a cell's liquid carries
    chamber: float  # share of the chamber
    layer_j_per_k: float
