"""What does the brewer want of a mash?

A rest program as it stands in `config/programs/NAME.toml`: grist, liquor, dough-in and the steps in order. Whether it
fits a tun is for `plan.py`; what its own values must agree on is in `recipe_checks.py`.
"""

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    Field,
    StrictBool,
    StringConstraints,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from controller.brewing import units
from controller.brewing.pull import Heated
from controller.plan.added_enzyme import Enzyme
from controller.plan.beaker import Beaker, Grind
from controller.plan.other_liquor import HotLiquor, Preheat, WantedWort
from controller.plan.water_tables import Acid, Salt, Water
from controller.settings.problems import Problem
from controller.settings.table import Quantity, Table, read, show, wrong

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
Aim = Literal["dry", "balanced", "full"]
Kind = Literal["rest", "infusion", "water_in", "decoction", "cereal", "mash_out", "keep", "souring"]

MIN_REST_S, MAX_REST_S = 60.0, 4 * 3600.0  # a slip of the pen lies outside (own proposal)
MAX_LONG_S = 12 * 3600.0  # with long = true
MAX_KEEP_S = 2 * 3600.0  # sugars darken and the bed settles (common practice); longer with long = true
MAX_SOURING_S = 72 * 3600.0
LOWEST_TARGET_C, BOILING_C = 20.0, 100.0


class Grist(Table):
    """One line of the grain bill. Figures of the malt sheet where they are known."""

    MADE_UP: ClassVar[frozenset[str]] = frozenset({"name"})  # a lot's sheet may say it

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
    ph: Annotated[float | None, Quantity("number", 5, 7)] = None  # of the Congress wort
    diastatic_power: Annotated[float | None, Quantity("diastatic power", 0, 400)] = None


class Liquor(Table):
    """The water in the tun before dough-in: by mass, or by volume at its temperature."""

    mass_kg: Annotated[float | None, Quantity("mass", 0.5, 20_000)] = None
    volume_l: Annotated[float | None, Quantity("volume", 0.5, 20_000)] = None
    temperature_c: Annotated[float, Quantity("temperature", 1, 95)] = 12.0
    expected_ph: Annotated[float | None, Quantity("number", 3, 9)] = None
    heated_in: Literal["tun", "other vessel"] = "tun"  # where the strike liquor is made hot
    hot_c: Annotated[float | None, Quantity("temperature", 30, 100)] = None  # two tanks to blend the strike from
    cold_c: Annotated[float | None, Quantity("temperature", 1, 60)] = None
    lost_on_the_way_k: Annotated[float, Quantity("difference", 0, 20)] = 0.0  # in hoses and pump

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
            other = "mass" if kind == "volume" else "volume"
            raise wrong(f'a {other}; this is a {kind}: {kind} = "{amount}"') from None


def _amount(kind: Literal["mass", "volume"], value: object) -> str | None:
    """The value as a quantity of this kind, as a person would write it; None where it is none."""
    try:
        return show(kind, units.quantity(kind, value)) if isinstance(value, str) else None
    except units.NotAQuantity:
        return None


class DoughIn(Table):
    """How the grain meets the liquor."""

    strike_c: Annotated[float | None, Quantity("temperature", 20, 98, auto=True)] = None  # None: worked out
    grist_temperature_c: Annotated[float, Quantity("temperature", -10, 45)] = 18.0
    tun_temperature_c: Annotated[float | None, Quantity("temperature", -10, 95)] = None  # empty tun; None: the room's
    preheat: Preheat | None = None
    slaking_kj_per_kg: Annotated[float | None, Quantity("heat", 0, 60, auto=True)] = None  # None: by moisture
    lid: Literal["shut", "open"] = "shut"  # "open": the strike makes up for what the open lid takes
    DROPPED: ClassVar[Mapping[str, str]] = {"slaking_heat": 'slaking = "auto", or such as slaking = "19 kJ/kg"'}


class KettleRest(Table):
    """What happens to what is in the kettle or the cooker: a rest, or the boil."""

    temperature_c: Annotated[float | None, Quantity("temperature", 30, BOILING_C)] = None
    time_s: Annotated[float | None, Quantity("duration", 60, 14_400)] = None
    boil_s: Annotated[float | None, Quantity("duration", 60, 14_400)] = None

    @property
    def heated(self) -> Heated:
        """As the heat balance takes it."""
        return Heated(None, self.boil_s) if self.boil_s is not None else Heated(self.temperature_c, self.time_s or 0.0)


class Cereal(Table):
    """A cooker of raw grain with some malt, that joins the mash in the step of kind "cereal"."""

    grist: Annotated[tuple[Grist, ...], Field(min_length=1)]
    liquor_kg: Annotated[float, Quantity("mass", 0.1, 10_000)]
    liquor_temperature_c: Annotated[float, Quantity("temperature", 1, 95)] = 12.0
    step: Annotated[tuple[KettleRest, ...], Field(min_length=1)]
    power_w: Annotated[float, Quantity("power", 100, 500_000)]  # of the cooker, for its rises
    boil_off_kg: Annotated[float | None, Quantity("mass", 0, 1_000, auto=True)] = None  # None: by power and boil

    @property
    def grist_kg(self) -> float:
        """How much grain is in the cooker, kg?"""
        return sum(line.mass_kg for line in self.grist)


class Step(Table):
    """One step. Which keys serve depends on its kind."""

    MADE_UP: ClassVar[frozenset[str]] = frozenset({"name"})

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
    volume_l: Annotated[float | None, Quantity("volume", 0.02, 10_000)] = None  # in place of amount
    added_at_c: Annotated[float | None, Quantity("temperature", 1, 100)] = None
    returned_at_c: Annotated[float | None, Quantity("temperature", 1, 100)] = None  # decoction, cereal mash
    pull: Literal["thick", "thin", "as the mash"] | float = "thick"  # decoction: what is drawn off; kg/kg
    away_s: Annotated[float | None, Quantity("duration", 60, 14_400, auto=True)] = None  # decoction: pull to return
    kettle: tuple[KettleRest, ...] = ()  # decoction: what happens to it, in order
    kettle_power_w: Annotated[float | None, Quantity("power", 100, 500_000)] = None
    boil_off_kg: Annotated[float | None, Quantity("mass", 0, 1_000, auto=True)] = None  # None: by power and boil
    main_mash: Literal["kept", "left to cool"] = "kept"  # decoction: meanwhile
    iodine_every_s: Annotated[float | None, Quantity("duration", 60, 3_600)] = None  # a series; nothing waits for it
    iodine_from_s: Annotated[float, Quantity("duration", 60, 14_400)] = 600.0  # from the temperature reached on
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

    @model_validator(mode="before")
    @classmethod
    def _by_volume(cls, data: object) -> object:
        """An amount in litres is a volume: a bucket measures nothing else."""
        if not isinstance(data, dict) or "volume" in data or _amount("volume", data.get("amount")) is None:
            return data
        return {**{key: value for key, value in data.items() if key != "amount"}, "volume": data["amount"]}

    @field_validator("pull", mode="before")
    @classmethod
    def _pull(cls, value: object, info: ValidationInfo) -> object:
        if value in PULLS or (isinstance(value, float) and not info.context):
            return value
        try:
            return read(_THICKNESS, value, from_file=True)
        except PydanticCustomError:
            raise wrong('"thick", "thin", "as the mash", or a thickness such as "1.8 L/kg"') from None

    @property
    def held_s(self) -> float:
        """For how long does the step hold? Base value of the kind where nothing is written."""
        if self.time_s is not None:
            return self.time_s
        return MAX_KEEP_S if self.kind == "keep" else 0.0


PULLS = ("thick", "thin", "as the mash")
_THICKNESS = Quantity("thickness", 0.8, 10)
_LIMIT_ATTENUATION = Quantity("share", 0.4, 0.95)


class Program(Table):
    """A rest program: `config/programs/NAME.toml`."""

    ALSO: ClassVar[Mapping[str, tuple[str, ...]]] = {"enzyme": ("boolean",)}

    name: Name = "unnamed"
    title: Text
    aim: Aim | float = "balanced"
    tun: Text = ""  # the tun it was written for, where there are several
    grist: tuple[Grist, ...] = ()
    liquor: Liquor
    dough_in: DoughIn = DoughIn.model_construct()
    water: Water | None = None  # its sheet; then the mash's pH is told where it can be
    salt: Annotated[tuple[Salt, ...], Field(max_length=10)] = ()  # into the mash's liquor
    acid: Annotated[tuple[Acid, ...], Field(max_length=5)] = ()
    hot_liquor: HotLiquor | None = None
    wanted: WantedWort | None = None
    enzyme: tuple[Enzyme, ...] = ()  # what their data sheets say; enzyme = true: see the next
    low_rest_enzyme: StrictBool = False  # enzyme added for beta-glucan
    purpose: Annotated[Literal["beer", "wash"], Field(alias="for")] = "beer"
    starch_enzyme: StrictBool = False  # amylase or another enzyme that cuts starch added
    cereal_mash: StrictBool = False  # raw maize, rice or sorghum of the grist is cooked apart before
    cereal: Cereal | None = None  # a cooker whose grain is not in the dough-in
    grind: Grind | None = None  # of a laboratory mash
    beaker: Annotated[tuple[Beaker, ...], Field(max_length=40)] = ()  # in a bath of water
    splashing: StrictBool = False  # the mash splashes, or is stirred long with the lid open
    pale_to_keep: StrictBool = False  # a pale beer meant to keep
    staffed_s: Annotated[float | None, Quantity("duration", 60, 86_400)] = None  # somebody there so long from dough-in
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
        if isinstance(data, dict) and isinstance(data.get("enzyme"), bool):  # said in one word
            data = {**data, "enzyme": (), "low_rest_enzyme": data["enzyme"]}
        if not isinstance(data, dict) or not isinstance(data.get("step"), (list, tuple)):
            return data
        steps = list(data["step"])
        for at, step in enumerate(steps):
            if isinstance(step, dict):
                steps[at] = {"name": f"{str(step.get('kind', 'rest')).replace('_', '-')} {at + 1}", **step}
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

    def adds(self, kind: Literal["starch", "beta-glucan"]) -> bool:
        """Is an enzyme of this kind added?"""
        plain = self.low_rest_enzyme if kind == "beta-glucan" else self.starch_enzyme
        return plain or any(one.kind == kind for one in self.enzyme)

    @property
    def all_grist(self) -> tuple[Grist, ...]:
        """All the grain, that of the cooker with it."""
        return self.grist if self.cereal is None else (*self.grist, *self.cereal.grist)


def blend_cold_c(liquor: Liquor) -> float:
    """How cold is the liquor that a hot tank's is blended with, °C?"""
    return liquor.temperature_c if liquor.cold_c is None else liquor.cold_c


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
