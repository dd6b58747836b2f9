"""What may a program file say of its water, and of the salts and acid that go into it?"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import field_validator

from controller.brewing import alkalinity
from controller.settings.table import Quantity, Table


class Water(Table):
    """The water's sheet. Alkalinity is written as CaCO3."""

    calcium_mg_per_l: Annotated[float, Quantity("concentration", 0, 2_000)] = 0.0  # by the water's sheet
    magnesium_mg_per_l: Annotated[float, Quantity("concentration", 0, 2_000)] = 0.0  # the same
    bicarbonate_mg_per_l: Annotated[float | None, Quantity("concentration", 0, 2_000)] = None  # or:
    alkalinity_mg_per_l: Annotated[float | None, Quantity("concentration", 0, 2_000)] = None  # as CaCO3

    @field_validator("alkalinity_mg_per_l", mode="before")
    @classmethod
    def _as_chalk(cls, value: object) -> object:
        return value.removesuffix("CaCO3").strip() if isinstance(value, str) else value

    @property
    def ions(self) -> alkalinity.Liquor:
        """As the sums take it."""
        bicarbonate = self.bicarbonate_mg_per_l or 0.0
        if self.alkalinity_mg_per_l is not None:
            bicarbonate = self.alkalinity_mg_per_l / alkalinity.CARBONATE_MG * alkalinity.BICARBONATE_MG
        return alkalinity.Liquor(self.calcium_mg_per_l, self.magnesium_mg_per_l, bicarbonate)


class Salt(Table):
    """One salt, weighed into the mash's liquor."""

    name: Literal["gypsum", "calcium chloride"]  # with their water
    mass_kg: Annotated[float, Quantity("mass", 0.0001, 20)]  # in all

    @property
    def ions(self) -> dict[str, float]:
        """Mass shares."""
        return alkalinity.GYPSUM if self.name == "gypsum" else alkalinity.CHLORIDE


class Acid(Table):
    """Lactic acid, measured into the mash's liquor."""

    volume_l: Annotated[float, Quantity("volume", 0.0001, 20)]  # in all
    strength: Annotated[float, Quantity("share", 0.5, 0.95)] = 0.8  # by mass
