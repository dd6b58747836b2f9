"""What goes into the tun: malt and liquor, as a rest program names them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import StrictBool, StringConstraints, ValidationError, ValidationInfo, field_validator

from controller.brewing import units
from controller.settings.table import Quantity, Table, show, wrong

Text = Annotated[str, StringConstraints(max_length=200)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]
GristKind = Literal[
    "malt",  # base malt of barley
    "wheat malt",
    "rye malt",
    "oat malt",
    "kilned malt",  # Munich type, amber
    "caramel malt",
    "roasted malt",
    "sour malt",
    "barley",
    "wheat",
    "rye",
    "oats",
    "maize",
    "rice",
    "sorghum",
    "husk",
    "sugar",
]


class Grist(Table):
    """One line of the grain bill. Figures of the malt sheet where they are known."""

    name: Name
    mass_kg: Annotated[float, Quantity("mass", 0.01, 10_000)]
    kind: GristKind = "malt"
    lot: Text = ""
    flaked: StrictBool = False
    moisture: Annotated[float | None, Quantity("share", 0, 0.2)] = None
    kolbach: Annotated[float | None, Quantity("share", 0.15, 0.7)] = None
    friability: Annotated[float | None, Quantity("share", 0, 1)] = None
    fine_coarse: Annotated[float | None, Quantity("share", 0, 0.2)] = None
    beta_glucan_mg_per_l: Annotated[float | None, Quantity("concentration", 0, 2_000)] = None
    extract: Annotated[float | None, Quantity("share", 0.3, 1)] = None  # Congress mash, fine grind, dry basis
    limit_attenuation: Annotated[float | None, Quantity("share", 0.4, 0.95)] = None  # apparent, of the Congress wort


class Liquor(Table):
    """The water in the tun before dough-in: by mass, or by volume at its temperature."""

    mass_kg: Annotated[float | None, Quantity("mass", 0.5, 20_000)] = None
    volume_l: Annotated[float | None, Quantity("volume", 0.5, 20_000)] = None
    temperature_c: Annotated[float, Quantity("temperature", 1, 95)] = 12.0
    expected_ph: Annotated[float | None, Quantity("number", 3, 9)] = None

    @field_validator("mass_kg", "volume_l", mode="wrap")
    @classmethod
    def _other_key(cls, value: object, read_it: Any, info: ValidationInfo) -> object:
        """Litres under mass, kilograms under volume: told with the key that takes them."""
        try:
            return read_it(value)
        except ValidationError:
            kind: Literal["mass", "volume"] = "volume" if info.field_name == "mass_kg" else "mass"
            if (amount := _amount(kind, value)) is None:
                raise
            raise wrong(
                f'a {"mass" if kind == "volume" else "volume"}; this is a {kind}: {kind} = "{amount}"'
            ) from None


def _amount(kind: Literal["mass", "volume"], value: object) -> str | None:
    """The value as a quantity of this kind, as a person would write it; None where it is none."""
    try:
        return show(kind, units.quantity(kind, value)) if isinstance(value, str) else None
    except units.NotAQuantity:
        return None
