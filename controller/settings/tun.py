"""What is this tun?

Attributes are in base units with the unit in the name; keys in the files are the same without the unit and hold text
with a unit (`table.py`). A single value's range is checked here; what several must agree on is in `cross_checks.py`.
"""

from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field, StrictBool, StringConstraints, field_validator, model_validator

from controller.brewing import water
from controller.settings.guard_limits import Limits
from controller.settings.table import Quantity, Table

Topic = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^+#\x00$][^+#\x00]*$")]
OptionalTopic = Annotated[str, StringConstraints(max_length=200, pattern=r"^([^+#\x00$][^+#\x00]*)?$")]
Pointer = Annotated[str, StringConstraints(max_length=100, pattern=r"^(/[^/]*)*$")]  # RFC 6901
_as_text = BeforeValidator(lambda value: value.isoformat() if hasattr(value, "isoformat") else value)  # TOML's own date
Spot = Literal["mash", "bed outlet", "return", "heater outlet"]  # where the wort's round passes a mash probe
WARM: tuple[Spot, ...] = ("return", "heater outlet")  # behind the heater, before the bed
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$"), _as_text]  # ISO 8601; core knows no calendar


class Probe(Table):
    """A thermometer on the wire."""

    topic: Topic
    pointer: Pointer = ""
    unit: Literal["C", "F"] = "C"
    unit_pointer: Pointer = ""
    seq_pointer: Pointer = ""
    at_pointer: Pointer = ""
    raw_ice_c: Annotated[float, Quantity("temperature", -3, 3)] = 0.0  # further off: a broken probe (own proposal)
    raw_boil_c: Annotated[float, Quantity("temperature", 80, 105)] = 100.0
    boil_c: Annotated[float, Quantity("temperature", 80, 102)] = 100.0
    calibrated_on: Day | None = None
    lag_s: Annotated[float, Quantity("duration", 0, 120)] = 10.0
    place: Spot | None = None  # None: not said
    behind_heater: StrictBool = False  # follows from the place; of older files all that is said of it

    @model_validator(mode="before")
    @classmethod
    def _warm(cls, data: object) -> object:
        """A file that says the place need not say as well that this is behind the heater."""
        warm = isinstance(data, dict) and data.get("place") in WARM
        return {"behind_heater": True, **data} if warm and isinstance(data, dict) else data

    @field_validator("unit", mode="before")
    @classmethod
    def _degree(cls, value: object) -> object:
        return value.replace("°", "") if isinstance(value, str) else value

    def calibrated(self, raw_c: float) -> float:
        """What is the temperature when the probe says `raw_c`? Straight line through ice and boiling water, °C."""
        return (raw_c - self.raw_ice_c) * self.boil_c / (self.raw_boil_c - self.raw_ice_c)


class Probes(Table):
    """Which thermometers are there? `mash` is the one that is controlled on."""

    mash: Probe
    second: Probe | None = None
    outlet: Probe | None = None


class Heater(Table):
    """What makes the heat, and how is it switched?"""

    kind: Literal["proportional", "ssr", "contactor", "gas"]
    power_w: Annotated[float, Quantity("power", 100, 500_000, rule="what the heater's plate says")]
    place: Literal["jacket", "element", "line", "coil"]
    bath_l: Annotated[float, Quantity("volume", 0, 20_000)] = 0.0  # liquor round a coil or in a jacket, warmed as well
    efficiency: Annotated[float, Quantity("share", 0.1, 1)] = 1.0
    window_s: Annotated[float, Quantity("duration", 0, 60)] = 0.0
    min_on_s: Annotated[float, Quantity("duration", 0, 30)] = 0.0
    min_off_s: Annotated[float, Quantity("duration", 0, 30)] = 0.0
    min_fire: Annotated[float, Quantity("share", 0, 0.9)] = 0.0
    duty_cap: Annotated[float, Quantity("share", 0.05, 1)] = 1.0
    lease_s: Annotated[float, Quantity("duration", 3, 10)] = 10.0
    command_topic: OptionalTopic = ""
    report_topic: OptionalTopic = ""
    online_topic: OptionalTopic = ""

    @property
    def bath_j_per_k(self) -> float:
        """Heat capacity of the liquor that has to be warmed along with the mash, J/K."""
        return self.bath_l * water.J_PER_L_K


class SwitchInput(Table):
    """A level or flow switch that says "all is well" or not."""

    topic: Topic


class Output(Table):
    """A stirrer or pump that is told on and off."""

    topic: Topic
    online_topic: OptionalTopic = ""
    required_for_heat: StrictBool = True


LOSS_RULE = "lost to the room a kelvin, lid on; at first 4 with 100 L or 2 with 30 L, later from `underback learn`"


class Tun(Table):
    """A mash tun: `config/tuns/NAME.toml`."""

    MADE_UP: ClassVar[frozenset[str]] = frozenset({"name"})  # the file's own

    name: Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9_-]{0,39}$")]
    title: Annotated[str, StringConstraints(max_length=80)] = ""
    simulated: StrictBool = False
    volume_l: Annotated[float, Quantity("volume", 1, 20_000)]
    min_liquor_l: Annotated[float, Quantity("volume", 0.1, 20_000, rule="what it takes to cover the heater")]
    metal_j_per_k: Annotated[float, Quantity("capacity", 0, 10_000_000, rule="kg of steel x 0.5 kJ/(kg K)")]
    loss_w_per_k: Annotated[float, Quantity("loss", 0.05, 1_000, rule=LOSS_RULE)]
    open_loss_w_per_k: Annotated[float | None, Quantity("loss", 0.05, 3_000)] = None  # lid off; None: 3 x `loss`
    mash_in_rate: Annotated[float, Quantity("number", 0.05, 1_000)] = 2.0  # kg a minute, by hand (own proposal)
    dead_space_l: Annotated[float, Quantity("volume", 0, 2_000)] = 0.0  # wort that stays under the floor and in pipes
    held_back_l_per_kg: Annotated[float, Quantity("thickness", 0.3, 2)] = 0.96  # 0.8 to 1.1 seen (common practice)
    room_c: Annotated[float, Quantity("temperature", -10, 45)] = 18.0
    altitude_m: Annotated[float, Quantity("length", -400, 5_000)] = 0.0
    energy_price_per_kwh: Annotated[float | None, Quantity("price", 0, 1_000)] = None
    currency: Annotated[str, StringConstraints(max_length=10)] = ""
    metrics_port: Annotated[int | None, Quantity("number", 0, 65535)] = None  # this tun's, before service.toml's
    supply_limit_w: Annotated[float | None, Quantity("power", 100, 1_000_000)] = None
    mixing: Literal["stirrer", "pump", "none"]
    flow_l_per_min: Annotated[float | None, Quantity("flow", 0.1, 5_000)] = Field(None, alias="flow_rate")
    climb_k_per_s: Annotated[float, Quantity("rate", 0.05 / 60, 5 / 60)] = 1.0 / 60.0
    heater: Heater
    probes: Probes
    level: SwitchInput | None = None
    flow: SwitchInput | None = None
    stirrer: Output | None = None
    pump: Output | None = None
    guard: Limits = Limits.model_construct()

    @property
    def plate_rise_k(self) -> float:
        """By how much does full power warm the wort that flows past, by the plates, K? 0 without a flow figure."""
        flow_l_per_s = (self.flow_l_per_min or 0.0) / 60.0
        return self.heater.power_w * self.heater.efficiency / (flow_l_per_s * water.J_PER_L_K) if flow_l_per_s else 0.0

    def mashing_in_s(self, grist_kg: float) -> float:
        """How long until all the grain is in, s? 3 min at the least (own proposal); 0 without grain."""
        return max(180.0, 60.0 * grist_kg / self.mash_in_rate) if grist_kg > 0.0 else 0.0

    @property
    def open_w_per_k(self) -> float:
        """What is lost to the room a kelvin while the lid is off, W/K: three times as much as else (own proposal)."""
        return 3.0 * self.loss_w_per_k if self.open_loss_w_per_k is None else self.open_loss_w_per_k

    @property
    def may_be_left(self) -> bool:
        """Would a switch show, with nobody there, that the tun has run dry?"""
        return self.level is not None or self.flow is not None

    @property
    def bed(self) -> bool:
        """Does the wort pass a bed of grist on its round, or does a stirrer mix the mash?"""
        return self.mixing == "pump" and self.stirrer is None

    @property
    def probe_place(self) -> Spot:
        """Where does the mash probe sit, by the file, or by what is assumed where it does not say?"""
        probe = self.probes.mash
        if probe.place is not None:
            return probe.place
        return "heater outlet" if probe.behind_heater else "bed outlet" if self.bed else "mash"

    def with_liquor_j_per_k(self, liquor_l: float) -> float:
        """How much heat warms the metal and so many litres of liquor by one kelvin, J/K?"""
        return liquor_l * water.J_PER_L_K + self.metal_j_per_k

    @classmethod
    def example(cls, name: str) -> str:
        """What could stand in this field, in words?"""
        return 'mixing = "stirrer" or "pump"' if name == "mixing" else super().example(name)


class Learned(Table):
    """What a water run showed of this tun: `learned/NAME.toml` in the data folder, plain numbers."""

    power_w: float = Field(gt=0, lt=1e6, alias="power_w")
    power_sd: float = Field(ge=0, lt=1e6, alias="power_sd", default=0.0)
    capacity_factor: float = Field(gt=0.1, lt=10, alias="capacity_factor", default=1.0)
    lag_s: float = Field(ge=0, le=1200, alias="lag_s")
    lag_sd_s: float = Field(ge=0, le=1200, alias="lag_sd_s", default=0.0)
    dead_s: float = Field(ge=0, le=600, alias="dead_s")
    dead_sd_s: float = Field(ge=0, le=600, alias="dead_sd_s", default=0.0)
    loss_w_per_k: float | None = Field(ge=0, le=1e5, alias="loss_w_per_k", default=None)  # None: the plate's
    loss_sd: float = Field(ge=0, le=1e5, alias="loss_sd", default=0.0)
    on: Day
    tun_digest: str = ""
