"""What are all payload schemas made of, and which shape has the status document, part by part?"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from controller.core.nouns import Health, Phase, RunState, StepKind

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Seconds = Annotated[float, Field(ge=0.0)]
Whole = Annotated[int, Field(ge=0)]
Celsius = float
TripClass = Literal["link", "physics"]
UnixS = Annotated[float, Field(ge=0.0, description="Unix seconds of the sender's wall clock: a stamp for people.")]
Id = Annotated[str, Field(min_length=1, max_length=64)]
Text = Annotated[str, Field(max_length=4000)]


class Sent(BaseModel):
    """A payload of ours."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Heard(BaseModel):
    """A payload of others."""

    model_config = ConfigDict(extra="allow", frozen=True)


class RunningStep(Sent):
    """The step that runs."""

    index: Whole
    name: str
    kind: StepKind
    phase: Phase
    target_c: Celsius
    planned_s: Seconds
    credited_s: Seconds
    remaining_s: Seconds
    rise_left_s: Seconds
    mixing_left_s: Seconds
    why: str


class PlannedStep(Sent):
    """One step of the program, as it stands now."""

    name: str
    kind: StepKind
    target_c: Celsius
    planned_s: Seconds
    ramp_s: Seconds
    mixing_s: Seconds


class HeaterWord(Sent):
    """What the heater node said last."""

    duty: Share | None
    age_s: Seconds | None
    fault: str | None


class Prompt(Sent):
    """What a person is asked."""

    id: str
    text: Text
    answers: list[str] = Field(min_length=1, description="The first is the ordinary one.")
    waiting_s: Seconds


class OfferWord(Prompt):
    """A correction after dough-in, in figures; null where a way is no help."""

    measured_c: Celsius
    wanted_c: Celsius
    apart_k: float = Field(description="Measured less wanted.")
    heat_s: Seconds | None = Field(description="Full heat for so long, within the rise allowed.")
    liquor_kg: float | None = Field(description="So much liquor instead, hot or cold.")
    liquor_c: Celsius
    thickness_l_per_kg: float | None = Field(description="Afterwards.")
    fill_share: float | None = Field(description="Afterwards; above 1 it does not fit.")


class Trip(Sent):
    """An interlock that holds the heat off."""

    id: str
    text: Text
    value: float | None
    limit: float | None
    unit: str
    priority: Literal[1, 2, 3]
    latched: bool
    first_out: bool
    of_class: TripClass = Field(alias="class", description="A gap of a link, or something about mash or heater?")
    for_s: Seconds


class LimitsWord(Sent):
    """The guard's chief figures."""

    hard_limit_c: Celsius
    above_program_k: float
    outlet_limit_c: Celsius
    reading_gone_s: Seconds
    duty_cap: Share
    lease_s: Seconds


class Band(Sent):
    """A figure with its band."""

    low: float
    mid: float
    high: float


class PredictedStep(Sent):
    """What a step did to starch and enzymes."""

    name: str
    apparent_points_gained: float | None
    starch_converted_pct: float
    beta_lost_pct: float
    alpha_lost_pct: float


class Withheld(Sent):
    """A figure that is not shown, and why."""

    what: Literal["limit", "extract", "iodine", "glucanase"]
    why: str


class Ahead(Sent):
    """The wort at the end, if the rest of the program runs as planned and people answer at once."""

    in_s: Seconds
    apparent_limit_pct: Band | None
    real_limit_pct: Band | None
    extract_share: float | None
    extract_pct: Band | None
    extract_at_most: bool
    starch_left_pct: float
    iodine_fine_min: float | None
    iodine_negative_min: float | None
    withheld: list[Withheld]
    widened: list[str]


class Prediction(Sent):
    """Enzymes and wort, estimated from the temperature since dough-in. Null: the model has nothing to say of it."""

    set: str
    basis: str
    apparent_limit_pct: Band | None
    real_limit_pct: Band | None
    extract_share: float | None
    extract_pct: Band | None
    extract_at_most: bool = Field(description="The extract is no more than so much.")
    starch_left_pct: float
    beta_left_pct: float
    alpha_left_pct: float
    glucanase_left_pct: float
    protease_left_pct: float
    glucanase_min: float
    protease_min: float
    iodine_fine_min: float | None = Field(description="Of the finest grind, minutes after dough-in.")
    iodine_negative_min: float | None = Field(description="Of crushed malt, minutes after dough-in.")
    thickness_kg_per_kg: float | None
    withheld: list[Withheld]
    widened: list[str] = Field(description="Why a figure is wider than usual, or ends where it does.")
    steps: list[PredictedStep] = Field(default_factory=list)
    ahead: Ahead | None = Field(None, description="Worked out anew once a minute and at each new step.")


class Status(Sent):
    """All about one tun, at least every 2 s, retained."""

    at: UnixS
    tun: str
    speed: Annotated[float, Field(gt=0.0)]
    run: str | None
    program: str | None
    title: str | None
    state: RunState
    step: RunningStep | None
    steps: list[PlannedStep]
    temperature_c: Celsius | None = Field(description="Null when older than 10 s.")
    reading_age_s: Seconds | None
    second_c: Celsius | None
    outlet_c: Celsius | None
    setpoint_c: Celsius | None
    duty: Share = Field(description="The last command's.")
    heater: HeaterWord
    finish_at: UnixS | None
    finish_in_s: Seconds | None
    waiting_for: Text | None = Field(description="What a person is asked, or which order a hold needs.")
    meanwhile: Text | None = Field(description="What a mash without heat does, until when it can be saved.")
    prompt: Prompt | None
    live: Text | None = Field(description="While something is added: how much more, and when to stop.")
    offer: OfferWord | None = Field(description="A correction that may be taken up by `answer`; nothing waits for it.")
    held_by: Literal["trip", "latched", "person", "resume"] | None
    trips: list[Trip]
    notes: list[Text]
    limits: LimitsWord
    prediction: Prediction | None
    nonce: str = Field(description="Orders that may lead to heat carry it.")
    epoch: Whole
    journal_seq: Whole
    version: str
    config_hash: str
    simulated: bool
    counters: dict[str, int] = Field(description="Messages refused, by reason.")
    health: Health
    clock_confirmed: bool
