"""What does a program say of liquor that is no part of the mash?

What the empty tun is rinsed with, what the run-off is washed with, and what is to be in the kettle in the end.
"""

from typing import Annotated, ClassVar, Literal

from pydantic import model_validator

from controller.settings.table import Quantity, Table


class Preheat(Table):
    """Liquor that the empty tun is rinsed with; it is swirled and drained."""

    TEXT: ClassVar[str] = "10 kg at 78 °C"

    mass_kg: Annotated[float, Quantity("mass", 0.1, 10_000)]
    temperature_c: Annotated[float, Quantity("temperature", 20, 100)]

    @model_validator(mode="before")
    @classmethod
    def _in_one_text(cls, data: object) -> object:
        if not isinstance(data, str):
            return data
        mass, _, temperature = data.partition(" at ")
        return {"mass": mass, "temperature": temperature}


class HotLiquor(Table):
    """Liquor for the run-off, heated elsewhere: somebody is reminded in time."""

    temperature_c: Annotated[float, Quantity("temperature", 20, 100)] = 78.0
    takes_s: Annotated[float, Quantity("duration", 60, 14_400)]  # to heat it


class WantedWort(Table):
    """What is to be in the kettle; with a boil-off both figures are meant after the boil."""

    volume_l: Annotated[float, Quantity("volume", 0.1, 20_000)]
    gravity: Annotated[float, Quantity("gravity", 1, 30)]
    boil_off_l: Annotated[float, Quantity("volume", 0, 5_000)] = 0.0
    sparge: Literal["none", "batch", "twice", "continuous"] = "batch"
    sparge_temperature_c: Annotated[float, Quantity("temperature", 20, 100)] = 78.0
    conversion: Annotated[float, Quantity("share", 0.5, 1)] = 0.95  # of what the malt can give (common practice)
    lauter: Annotated[float | None, Quantity("share", 0.5, 1)] = None  # the brewery's own, of a continuous sparge
