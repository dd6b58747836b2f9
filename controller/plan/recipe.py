"""What does the brewer want of a mash?

A rest program as it stands in `config/programs/NAME.toml`: grist, liquor, dough-in and the steps in order. Whether it
fits a tun is for `plan.py`; what its own values must agree on is in `recipe_checks.py`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import (
    Field,
    StrictBool,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from controller.plan.ingredients import Grist as Grist
from controller.plan.ingredients import Liquor as Liquor
from controller.plan.ingredients import Name
from controller.plan.ingredients import Text as Text
from controller.settings.problems import Problem
from controller.settings.table import Quantity, Table, read, show, wrong

Aim = Literal["dry", "balanced", "full"]
Kind = Literal["rest", "infusion", "decoction", "mash_out", "keep", "souring"]

MIN_REST_S, MAX_REST_S = 60.0, 4 * 3600.0  # a slip of the pen lies outside (own proposal)
MAX_LONG_S = 12 * 3600.0  # with long = true
MAX_KEEP_S = 2 * 3600.0  # sugars darken and the bed settles (common practice); longer with long = true
MAX_SOURING_S = 72 * 3600.0
LOWEST_TARGET_C, BOILING_C = 20.0, 100.0


class DoughIn(Table):
    """How the grain meets the liquor."""

    strike_c: Annotated[float | None, Quantity("temperature", 20, 98, auto=True)] = None  # None: worked out
    grist_temperature_c: Annotated[float, Quantity("temperature", -10, 45)] = 18.0
    slaking_heat_kj_per_kg: Annotated[float, Quantity("heat", 0, 60)] = 0.0  # 13 to 38 by moisture (Pauls and Whites)


class HotLiquor(Table):
    """Liquor for the run-off, heated elsewhere: somebody is reminded in time."""

    temperature_c: Annotated[float, Quantity("temperature", 20, 100)] = 78.0
    takes_s: Annotated[float, Quantity("duration", 60, 14_400)]  # to heat it


class Step(Table):
    """One step. Which keys serve depends on its kind."""

    name: Name
    kind: Kind = "rest"
    temperature_c: Annotated[float | None, Quantity("temperature", LOWEST_TARGET_C, BOILING_C)] = None
    time_s: Annotated[float | None, Quantity("duration", MIN_REST_S, MAX_SOURING_S)] = None
    ramp_k_per_s: Annotated[float | None, Quantity("rate", 0.05 / 60, 5 / 60)] = None
    tolerance_k: Annotated[float, Quantity("difference", 0.5, 3)] = 1.0
    by: Literal["time", "person", "iodine"] = "time"
    ask_after_s: Annotated[float | None, Quantity("duration", 60, 14_400)] = None
    go_on_after_s: Annotated[float | None, Quantity("duration", 60, 14_400)] = None
    long: StrictBool = False
    amount_kg: Annotated[float | None, Quantity("mass", 0.05, 10_000, auto=True)] = None
    added_at_c: Annotated[float | None, Quantity("temperature", 1, 100)] = None
    away_s: Annotated[float | None, Quantity("duration", 60, 14_400)] = None  # decoction: from pull to return
    ph_every_s: Annotated[float | None, Quantity("duration", 600, 86_400)] = None  # souring: reminder
    why: Text = ""

    @field_validator("time_s", mode="wrap")
    @classmethod
    def _in_words(cls, value: object, read_it: Any, info: ValidationInfo) -> object:
        """What is out of any range is told as what is out of the kind's."""
        try:
            return read_it(value)
        except ValidationError as refused:
            if not refused.errors()[0]["msg"].startswith("a value from"):
                raise
            raise wrong(time_wanted(str(info.data.get("kind", "rest")))) from None

    @property
    def held_s(self) -> float:
        """For how long does the step hold? Base value of the kind where nothing is written."""
        if self.time_s is not None:
            return self.time_s
        return MAX_KEEP_S if self.kind == "keep" else 0.0


_LIMIT_ATTENUATION = Quantity("share", 0.4, 0.95)


class Program(Table):
    """A rest program: `config/programs/NAME.toml`."""

    name: Name = "unnamed"
    title: Text
    aim: Aim | float = "balanced"
    tun: Text = ""  # the tun it was written for, where there are several
    grist: tuple[Grist, ...] = ()
    liquor: Liquor
    dough_in: DoughIn = DoughIn.model_construct()
    hot_liquor: HotLiquor | None = None
    enzyme: StrictBool = False  # enzyme added for beta-glucan
    cereal_mash: StrictBool = False  # raw maize, rice or sorghum is cooked apart and joined
    splashing: StrictBool = False  # the mash splashes, or is stirred long with the lid open
    pale_to_keep: StrictBool = False  # a pale beer meant to keep
    staffed_s: Annotated[float | None, Quantity("duration", 60, 86_400)] = (
        None  # somebody is there so long from dough-in
    )
    people: tuple[Text, ...] = ()  # who is there to answer
    step: Annotated[tuple[Step, ...], Field(min_length=1, max_length=40)]
    notes: Annotated[tuple[Text, ...], Field(max_length=40)] = ()  # remarks; of a foreign file, what did not map
    overrule: dict[str, Text] = Field(default_factory=dict)  # advice known and accepted: id = "reason"

    @field_validator("aim", mode="before")
    @classmethod
    def _aim(cls, value: object, info: ValidationInfo) -> object:
        if value in ("dry", "balanced", "full") or (isinstance(value, float) and not info.context):
            return value
        try:
            return read(_LIMIT_ATTENUATION, value, from_file=True)
        except PydanticCustomError:
            raise wrong('"dry", "balanced", "full", or a limit attenuation such as "80 %"') from None

    @model_validator(mode="before")
    @classmethod
    def _steps_named(cls, data: object) -> object:
        """A step without a name is called by its kind and place."""
        if not isinstance(data, dict) or not isinstance(data.get("step"), (list, tuple)):
            return data
        steps = [
            {"name": f"{str(step.get('kind', 'rest')).replace('_', '-')} {at}", **step}
            if isinstance(step, dict)
            else step
            for at, step in enumerate(data["step"], 1)
        ]
        return {**data, "step": steps}

    @classmethod
    def example(cls, name: str) -> str:
        """What could stand in this field, in words?"""
        if name == "liquor":
            return 'a block [liquor] with mass or volume, such as mass = "60 kg"'
        return super().example(name)

    @property
    def grist_kg(self) -> float:
        """How much grain is there, kg? 0 = a run with water alone."""
        return sum(line.mass_kg for line in self.grist)


def degrees(value_c: float) -> str:
    """A temperature in a message: what was written in °F is not told to a thousandth."""
    return show("temperature", round(value_c, 2))


def problem_at(at: int, step: Step, key: str, found: str, wanted: str) -> Problem:
    """A problem with one key of one step, by its block in the file; people's step 1 is dough-in, where there is one."""
    return Problem(f'[[step]] {at + 1} "{step.name}": {key}', found, wanted, ("step", at, key))


def time_wanted(kind: str) -> str:
    """How long may a step of this kind be, in words?"""
    longest_s = {"souring": MAX_SOURING_S, "keep": MAX_KEEP_S}.get(kind, MAX_REST_S)
    more = "" if kind == "souring" else f", or to {show('duration', MAX_LONG_S)} with long = true"
    return f"a time from {show('duration', MIN_REST_S)} to {show('duration', longest_s)}{more}"


def added_at_c(step: Step) -> float:
    """How hot is what is added? Boiling liquor has cooled to 98 °C when it arrives, a decoction to 95 (from memory)."""
    if step.added_at_c is not None:
        return step.added_at_c
    return 98.0 if step.kind == "infusion" else 95.0
