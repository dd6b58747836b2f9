"""What are all payload schemas made of, and which shape has the status document, part by part?"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from controller.core.nouns import Health, Phase, RunState, StepKind

UNIT = "x-unit"  # the unit of a number, in its schema


def _in(unit: str, **more: Any) -> Any:
    """What marks a number's unit?"""
    return Field(json_schema_extra={UNIT: unit}, **more)


Share = Annotated[float, _in("share", ge=0.0, le=1.0)]
Seconds = Annotated[float, _in("s", ge=0.0)]
SignedSeconds = Annotated[float, _in("s")]
Minutes = Annotated[float, _in("min")]
Whole = Annotated[int, _in("count", ge=0)]
Celsius = Annotated[float, _in("°C")]
Kelvin = Annotated[float, _in("K")]
Kg = Annotated[float, _in("kg")]
Watt = Annotated[float, _in("W")]
Percent = Annotated[float, _in("%")]
Points = Annotated[float, _in("percentage points")]
Filled = Annotated[float, _in("share")]  # may be over 1
LPerKg = Annotated[float, _in("L/kg")]
KgPerKg = Annotated[float, _in("kg/kg")]
Times = Annotated[float, _in("times real time", gt=0.0)]
OwnUnit = Annotated[float, _in("as `unit` says")]
TripClass = Literal["link", "physics"]
UnixS = Annotated[float, _in("unix s", ge=0.0, description="The sender's wall clock: a stamp for people.")]
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

    index: Whole = Field(description="Its place in `steps`, from 0.")
    name: str = Field(description="As in the program.")
    kind: StepKind = Field(description="What it is in the program.")
    phase: Phase = Field(description="What is being done in it now.")
    target_c: Celsius = Field(description="What it should reach and keep.")
    planned_s: Seconds = Field(description="Rest time as planned.")
    credited_s: Seconds = Field(description="Rest time that counts so far.")
    remaining_s: Seconds = Field(description="Rest time left.")
    rise_left_s: Seconds = Field(description="Heating left until the target is reached.")
    mixing_left_s: Seconds = Field(description="Mixing left after an addition.")
    why: str = Field(description="What the step is for.")


class PlannedStep(Sent):
    """One step of the program, as it stands now."""

    name: str = Field(description="As in the program.")
    kind: StepKind = Field(description="What it is in the program.")
    target_c: Celsius = Field(description="What it should reach and keep.")
    planned_s: Seconds = Field(description="Rest time.")
    ramp_s: Seconds = Field(description="Time for the rise before it.")
    mixing_s: Seconds = Field(description="Mixing after what is added in it.")


class HeaterWord(Sent):
    """What the heater node said last."""

    duty: Share | None = Field(description="Its output when it reported; null before the first report.")
    age_s: Seconds | None = Field(description="How old that report is.")
    fault: str | None = Field(description="Why it gives no heat, in its own words; null: nothing.")


class Prompt(Sent):
    """What a person is asked."""

    id: str = Field(description="For `answer`: prompt=ID.")
    text: Text = Field(description="The question.")
    answers: list[str] = Field(min_length=1, description="The first is the ordinary one.")
    waiting_s: Seconds = Field(description="Since when it stands.")


class OfferWord(Prompt):
    """A correction after dough-in, in figures; null where a way is no help."""

    measured_c: Celsius = Field(description="Temperature after mixing.")
    wanted_c: Celsius = Field(description="Target of the first rest.")
    apart_k: Kelvin = Field(description="Measured less wanted.")
    heat_s: Seconds | None = Field(description="Full heat for so long, within the rise allowed.")
    liquor_kg: Kg | None = Field(description="So much liquor instead, hot or cold.")
    liquor_c: Celsius = Field(description="As it would come.")
    thickness_l_per_kg: LPerKg | None = Field(description="Afterwards.")
    fill_share: Filled | None = Field(description="Afterwards; above 1 it does not fit.")


class Trip(Sent):
    """An interlock that holds the heat off."""

    id: str = Field(description="Which interlock, G02 to G25.")
    text: Text = Field(description="What was found, in a sentence.")
    value: OwnUnit | None = Field(description="What was measured; null where no figure is behind it.")
    limit: OwnUnit | None = Field(description="What it should have kept to.")
    unit: str = Field(description="Of value and limit.")
    priority: Literal[1, 2, 3] = Field(description="1 act now, 2 act soon, 3 note.")
    latched: bool = Field(description="Stays until a person clears it.")
    first_out: bool = Field(description="The first of several trips.")
    of_class: TripClass = Field(alias="class", description="A gap of a link, or something about mash or heater?")
    for_s: Seconds = Field(description="Since when it stands.")


class LimitsWord(Sent):
    """The guard's chief figures."""

    hard_limit_c: Celsius = Field(description="Heat is cut at this raw reading.")
    above_program_k: Kelvin = Field(description="Heat is cut so far above the program's target.")
    outlet_limit_c: Celsius = Field(description="Heat is cut at this outlet temperature.")
    reading_gone_s: Seconds = Field(description="A reading older than this is none.")
    duty_cap: Share = Field(description="The most heat that is ever asked for.")
    lease_s: Seconds = Field(description="A heater command is good for so long.")


class Band(Sent):
    """A figure with its band."""

    low: Percent = Field(description="Lower end of the band.")
    mid: Percent = Field(description="Most likely.")
    high: Percent = Field(description="Upper end of the band.")


class PredictedStep(Sent):
    """What a step did to starch and enzymes."""

    name: str = Field(description="As in the program.")
    apparent_points_gained: Points | None = Field(description="Limit attenuation won in this step; null: withheld.")
    starch_converted_pct: Percent = Field(description="Of all starch, in this step.")
    beta_lost_pct: Percent = Field(description="Beta-amylase lost in it, of what there was at dough-in.")
    alpha_lost_pct: Percent = Field(description="The same of alpha-amylase.")


class Withheld(Sent):
    """A figure that is not shown, and why."""

    what: Literal["limit", "extract", "iodine", "glucanase"] = Field(description="Which figure.")
    why: str = Field(description="In a sentence.")


class Ahead(Sent):
    """The wort at the end, if the rest of the program runs as planned and people answer at once."""

    in_s: Seconds = Field(description="Until the end.")
    apparent_limit_pct: Band | None = Field(description="Apparent limit attenuation; null: withheld.")
    real_limit_pct: Band | None = Field(description="Real limit attenuation.")
    extract_share: Filled | None = Field(description="Of what the malt can give.")
    extract_pct: Band | None = Field(description="Extract of the grist, dry basis.")
    extract_at_most: bool = Field(description="The extract is no more than so much.")
    starch_left_pct: Percent = Field(description="Of all starch.")
    iodine_fine_min: Minutes | None = Field(
        description="Iodine-negative of the finest grind, after dough-in; null: not by then."
    )
    iodine_negative_min: Minutes | None = Field(description="Of crushed malt, after dough-in.")
    withheld: list[Withheld] = Field(description="Figures that are not shown.")
    widened: list[str] = Field(description="Why a figure is wider than usual.")


class Prediction(Sent):
    """Enzymes and wort, estimated from the temperature since dough-in. Null: the model has nothing to say of it."""

    set: str = Field(description="Which set of constants.")
    basis: str = Field(description="What is known of the malt, in words.")
    apparent_limit_pct: Band | None = Field(description="Apparent limit attenuation as of now; null: withheld.")
    real_limit_pct: Band | None = Field(description="Real limit attenuation as of now.")
    extract_share: Filled | None = Field(description="Of what the malt can give.")
    extract_pct: Band | None = Field(description="Extract of the grist, dry basis.")
    extract_at_most: bool = Field(description="The extract is no more than so much.")
    starch_left_pct: Percent = Field(description="Of all starch.")
    beta_left_pct: Percent = Field(description="Beta-amylase, of what there was at dough-in.")
    alpha_left_pct: Percent = Field(description="Alpha-amylase, the same.")
    glucanase_left_pct: Percent = Field(description="Beta-glucanase, the same.")
    protease_left_pct: Percent = Field(description="Protease, the same.")
    glucanase_min: Minutes = Field(description="Work done, as minutes of fresh enzyme at 45 °C.")
    protease_min: Minutes = Field(description="Work done, as minutes of fresh enzyme at 45 °C.")
    iodine_fine_min: Minutes | None = Field(description="Of the finest grind, minutes after dough-in.")
    iodine_negative_min: Minutes | None = Field(description="Of crushed malt, minutes after dough-in.")
    thickness_kg_per_kg: KgPerKg | None = Field(description="Liquor to grist.")
    withheld: list[Withheld] = Field(description="Figures that are not shown.")
    widened: list[str] = Field(description="Why a figure is wider than usual, or ends where it does.")
    steps: list[PredictedStep] = Field(default_factory=list, description="What each step so far did.")
    ahead: Ahead | None = Field(None, description="Worked out anew once a minute and at each new step.")


class Status(Sent):
    """All about one tun, at least every 2 s, retained."""

    at: UnixS
    tun: str = Field(description="Its name.")
    speed: Times = Field(description="Of the tun's clock; above 1 in simulations alone.")
    run: str | None = Field(description="The newest run's id; null where there was none.")
    program: str | None = Field(description="Its program's name.")
    title: str | None = Field(description="Its program's title.")
    state: RunState = Field(description="Where the run stands; config/mash.md.")
    step: RunningStep | None = Field(description="The step that runs; null where none does.")
    steps: list[PlannedStep] = Field(description="The whole program as it stands now.")
    temperature_c: Celsius | None = Field(description="Null when older than 10 s.")
    reading_age_s: Seconds | None = Field(description="Of the newest believed reading.")
    second_c: Celsius | None = Field(description="The second probe; null where there is none.")
    outlet_c: Celsius | None = Field(description="At the heater's outlet; null where there is none.")
    setpoint_c: Celsius | None = Field(description="Where the mash should be now.")
    duty: Share = Field(description="The last command's.")
    heater: HeaterWord = Field(description="The heater node's last word.")
    finish_at: UnixS | None = Field(description="When the run should end, wall clock.")
    finish_in_s: Seconds | None = Field(description="The same as time from now.")
    finish_span_s: list[Seconds] | None = Field(description="Nine days of ten end between these; `dryrun --days`.")
    waiting_for: Text | None = Field(description="What a person is asked, or which order a hold needs.")
    meanwhile: Text | None = Field(description="What a mash without heat does, until when it can be saved.")
    prompt: Prompt | None = Field(description="The question as such; null where none stands.")
    live: Text | None = Field(description="While something is added: how much more, and when to stop.")
    offer: OfferWord | None = Field(description="A correction that may be taken up by `answer`; nothing waits for it.")
    held_by: Literal["trip", "latched", "person", "resume"] | None = Field(
        description="Why heat is held; null where it is not."
    )
    trips: list[Trip] = Field(description="Interlocks that hold the heat off.")
    notes: list[Text] = Field(description="What somebody should know; heat stays.")
    limits: LimitsWord = Field(description="Figures of the guard that a curve may show.")
    prediction: Prediction | None = Field(description="Enzymes and wort; null before dough-in.")
    nonce: str = Field(description="Orders that may lead to heat carry it.")
    epoch: Whole = Field(description="The owner's number.")
    journal_seq: Whole = Field(description="What is on disk: sequence of the newest durable event.")
    version: str = Field(description="Of underback.")
    config_hash: str = Field(description="Of the tun's and the service's settings.")
    simulated: bool = Field(description="No real heater hangs on this tun.")
    counters: dict[str, Whole] = Field(description="Messages refused, by reason.")
    health: Health = Field(description="One word of NAMUR NE 107.")
    clock_confirmed: bool = Field(description="Is the daemon's wall clock known to be right?")
