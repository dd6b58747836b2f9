"""What is a tun really like, of what is it made, and what heat came and went? None of it shared with the controller."""

import itertools
import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

STEP_S = 0.5
WATER_J_PER_KG_K = 4186.0  # IAPWS-95 at 0.101325 MPa, between 60 and 65 °C
MALT_DRY_J_PER_KG_K = 1590.0  # 0.38 of water's: Pauls & Whites Brewing Room Book 1984/85, table by moisture
BOIL_C = 100.0
STEAM_W_PER_M2_PA = 0.089  # still air over open water: ASHRAE Handbook, HVAC Applications, natatoriums
ROOM_HUMIDITY = 0.5  # common practice
# Heat of wetting by moisture, J/kg, implied by the slaking column of the same 1984/85 table at 2.68 L/kg.
WETTING_J_PER_KG = ((0.00, 38e3), (0.02, 30e3), (0.04, 19e3), (0.06, 17e3), (0.08, 13e3))

Place = Literal["jacket", "element", "line", "coil", "burner"]
Spot = Literal["centre", "wall", "before_heater", "outlet", "return", "top", "bottom"]


@dataclass(frozen=True, slots=True)
class TunSpec:
    """What is this tun really like? (Not what its name plate says.) Raises ValueError where it cannot be stepped."""

    volume_l: float
    place: Place
    power_w: float  # into the tun at nominal mains
    heater_j_per_k: float  # sheath, burner plate and bottom, or the hot liquor round a coil
    film_w_per_k: float  # from there into what it heats
    loss_w_per_k: float
    metal_j_per_k: float = 0.0
    metal_film_w_per_k: float | None = None  # None: the metal follows the mash at once
    layers: int = 3
    mixing_s: float = 20.0  # time constant between neighbouring layers, stirrer on
    still_mixing_s: float = 1500.0  # the same in a standing mash
    liquor_mixing_s: float = 20.0  # the same by convection in plain liquor
    stirrer: bool = True
    flow_kg_per_s: float = 0.0  # of the recirculation; 0 = no loop
    flow_in_grist: float = 1.0  # share of that flow which the bed lets through
    chamber_kg: float = 1.0  # liquid at the heater in the line, or inside the coil
    dead_before_s: float = 0.0  # transport from the bed to the heater at full flow
    dead_after_s: float = 0.0  # and from the heater back
    surface_m2: float = 0.0  # open when the lid is off
    lid_leak: float = 0.0  # share of the open surface's evaporation that gets past a closed lid
    malt_dry_j_per_kg_k: float = MALT_DRY_J_PER_KG_K

    def __post_init__(self) -> None:
        if self.layers < 1 or self.volume_l <= 0 or self.power_w < 0 or self.loss_w_per_k < 0:
            raise ValueError(f"not a tun: {self}")
        if self.heater_j_per_k > 0 and STEP_S * self.film_w_per_k > 0.5 * self.heater_j_per_k:
            raise ValueError("heater mass too small for its film: a step of 0.5 s would swing")
        if self.place in ("line", "coil") and self.flow_kg_per_s <= 0:
            raise ValueError(f"a heater in the {self.place} needs a flow")
        if self.flow_kg_per_s * STEP_S > 0.5 * self.chamber_kg:
            raise ValueError("chamber too small for the flow: a step of 0.5 s would swing")


LN_10 = math.log(10.0)


def saturation_pa(c: float) -> float:
    """How much vapour does air over water at c °C hold? Pa, 1..100 °C; Antoine's equation with the usual constants."""
    return 133.322 * math.exp(LN_10 * (8.07131 - 1730.63 / (233.426 + c)))


def wetting_j_per_kg(moisture: float) -> float:
    """How much heat does dry grist give off when it gets wet? J/kg by moisture (share), from the table above."""
    for (low, high_j), (high, low_j) in itertools.pairwise(WETTING_J_PER_KG):
        if moisture <= high:
            return high_j + (low_j - high_j) * (max(low, moisture) - low) / (high - low)
    return WETTING_J_PER_KG[-1][1]


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
