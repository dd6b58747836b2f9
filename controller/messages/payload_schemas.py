"""Which shape has every payload, for people and for checks?

Models for the documentation, the tests and the AsyncAPI document (the status: status_schema.py). The daemon never
builds one in a tick: what goes out is built in outgoing.py and status_document.py, what comes in is read in
incoming.py. What we send is closed (a key that is not listed here is a mistake); what we receive may carry more than we
read.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, RootModel

from controller.core.nouns import FaultCode, RunState
from controller.messages.status_schema import (
    Celsius,
    Filled,
    Heard,
    Id,
    Kg,
    OwnUnit,
    Seconds,
    Sent,
    Share,
    SignedSeconds,
    Text,
    Times,
    TripClass,
    UnixS,
    Watt,
    Whole,
)

Lease = Annotated[Seconds, Field(gt=0.0, le=10.0)]

# ---------------------------------------------------------------- what we send


class Command(Sent):
    """The lease on the heater. At least every 2 s, on and off alike, never retained."""

    epoch: Whole = Field(description="Owner epoch: a higher one takes the tun over.")
    seq: Whole = Field(description="Rises with each command.")
    at: UnixS
    valid_s: Lease = Field(description="The node falls to off after so long.")
    duty: Share = Field(description="Share of full heat wanted.")
    reason: Text = Field(description="Why, in words.")
    reading_seq: Whole | None = Field(description="Sequence of the reading that the command rests on.")
    reading_age_s: Seconds | None = Field(description="Age of that reading.")
    owner: Id = Field(description="Random word of the sending process.")


class MotorCommand(Sent):
    """Stirrer or pump: on or off, for how long, why."""

    seq: Whole = Field(description="Rises with each word.")
    on: bool = Field(description="Run or stand.")
    valid_s: Lease = Field(description="The node falls to off after so long.")
    reason: Text = Field(description="Why, in words.")


class Reply(Sent):
    """The answer to an order, within a second."""

    id: Id | None = Field(description="The order's id; null where it had none.")
    order: str = Field(description="Which order it answers.")
    accepted: bool = Field(description="Done or refused.")
    reason: Text = Field(description="What was done, or why not.")
    state: RunState = Field(description="Of the run, afterwards.")


EVENT_KINDS = {
    "state": "The run's state has changed.",
    "run": "A run has begun.",
    "step": "A step has begun.",
    "step done": "A step has ended, with what was credited.",
    "phase": "Another phase of a step.",
    "prompt": "A person is asked.",
    "answer": "A person has answered, or nobody has in time.",
    "entry": "A person has typed a measurement in.",
    "settled": "How the mash landed after dough-in, and what could be done.",
    "order": "A person has changed the program.",
    "acknowledge": "A person has heard an alert.",
    "overrule": "Advice that the brewer knows and does not follow, with the reason.",
    "trip": "An interlock has taken the heat away.",
    "latched": "A trip that stood stays now until a person clears it.",
    "cleared": "A trip is over.",
    "resume": "A run goes on, or asks whether it may.",
    "note": "What somebody should know; heat stays.",
    "advice": "What was advised when the run began.",
    "malt": "A line of the grist, with its figures.",
    "beaker": "A beaker of a laboratory mash: lot, mass and grind.",
    "calibration": "How a probe is corrected.",
    "expected": "What is to be got of liquor and wort; filed at the start.",
}


FAULT_CODES: dict[FaultCode, str] = {
    "own_probe_silent": "Its own thermometer says nothing; heat is back when it does.",
    "own_limit": "Its own limit was reached; latched at the trip, and the second time in ten minutes.",
    "no_liquid": "Its level input says no or nothing; latched under heat.",
    "no_flow": "Its flow input says no or nothing; latched the second time in ten minutes.",
    "switch_stuck": "Power with the output off: cut the mains. Latched.",
    "no_power": "No power with the output on.",
    "internal": "Anything else; a fault without a code counts as this. Latched.",
}


class Event(Sent):
    """Something worth a line in the record."""

    seq: Whole = Field(description="Sequence of the journal, no gaps.")
    at: UnixS
    kind: str = Field(description="What sort of line; config/reference.md lists them.")
    id: str = Field(description="Of what: an interlock, a step, an order, a prompt.")
    text: Text = Field(description="A sentence for people.")
    value: OwnUnit | None = Field(None, description="What was measured.")
    limit: OwnUnit | None = Field(None, description="What it should have kept to.")
    unit: str = Field("", description="Of value and limit.")
    first_out: bool | None = Field(None, description="The first of several trips.")
    latched: bool | None = Field(None, description="Stays until a person clears it.")
    priority: Literal[1, 2, 3] | None = Field(None, description="1 act now, 2 act soon, 3 note.")
    of_class: TripClass | None = Field(None, alias="class", description="Of a trip.")
    data: dict[str, Any] | None = Field(None, description="More for programs, by kind.")


class HistoryPoint(Sent):
    """A minute of the run, or more (`point_s`). Null where there was no reading."""

    t_s: Seconds = Field(description="Its beginning, since the start of the run.")
    min_c: Celsius | None = Field(description="Lowest reading.")
    mean_c: Celsius | None = Field(description="Mean reading.")
    max_c: Celsius | None = Field(description="Highest reading.")
    setpoint_c: Celsius | None = Field(description="At its end.")
    target_c: Celsius | None = Field(description="At its end; null where no temperature was held.")
    duty: Share = Field(description="Mean of what was commanded.")


class History(Sent):
    """The run so far, for whoever comes late. A point was at `at` - (`t_s` - its own `t_s`) / `speed`."""

    at: UnixS
    run: Id | None = Field(description="The newest run, also once it has ended; null where there was none.")
    t_s: SignedSeconds = Field(description="Run time at `at`.")
    speed: Times = Field(description="Of the tun's clock.")
    point_s: Annotated[Seconds, Field(ge=60.0)] = Field(description="A point is so long: 60, doubled as a run grows.")
    points: list[HistoryPoint] = Field(max_length=360, description="Oldest first.")
    events: list[Event] = Field(max_length=50, description="The last ones, oldest first, as on `event`.")


class Malt(Sent):
    """One line of the grist."""

    name: str = Field(description="As in the program.")
    mass_kg: Kg = Field(description="So much of it.")


class StartableStep(Sent):
    """One step of a program that could be started."""

    name: str = Field(description="As in the program.")
    target_c: Celsius = Field(description="What it should reach and keep.")
    planned_s: Seconds = Field(description="Rest time.")


class StartableProgram(Sent):
    """A program of the daemon's machine. Figures are null, lists empty, where it does not fit the tun."""

    name: str = Field(description="For `start`: program=NAME.")
    title: str = Field(description="For people.")
    tun: str = Field(description="Written for this tun; empty where it is for any.")
    missing: list[str] = Field(description="Why it cannot be started; empty where it can.")
    strike_c: Celsius | None = Field(description="Null: water alone.")
    landing_c: Celsius | None = Field(description="Where the mash should land after dough-in.")
    liquor_kg: Kg | None = Field(description="Into the tun before dough-in.")
    liquor_c: Celsius | None = Field(description="As it comes.")
    grist: list[Malt] = Field(description="Line by line.")
    grist_c: Celsius | None = Field(description="Assumed of the grain.")
    fill_share: Filled | None = Field(description="Of the vessel, with all additions.")
    heat_up_s: Seconds | None = Field(description="To strike; a delayed start begins so long before `ready_at`.")
    duration_s: Seconds | None = Field(description="From the first heat to the end, people answering at once.")
    steps: list[StartableStep] = Field(description="In their order.")
    advice: list[str] = Field(description="What an old hand would say; none of it keeps from starting.")


class Startable(Sent):
    """What could be started. Worked out while the tun is idle; the order is judged anew when it comes."""

    at: UnixS
    programs: list[StartableProgram] = Field(description="Those that can run first.")
    missing: list[str] = Field(description="What is missing for any start.")
    unattended: list[str] = Field(description="What is missing for a start without `attended`.")
    delayed: list[str] = Field(description="What is missing for a start with `ready_at`.")
    cautions: list[str] = Field(description="To be heard before heat is asked for.")
    units: str = Field(description="What a screen shows to people; the wire is metric.")


class Supply(Sent):
    """What a tun says to the others on its supply (core/supply.py)."""

    tun: str = Field(description="Who says it.")
    seq: Whole = Field(description="Rises with each word.")
    wish_w: Annotated[Watt, Field(ge=0.0)] = Field(description="What it would draw if it could.")
    hold_w: Annotated[Watt, Field(ge=0.0)] = Field(description="What it may draw now, or still draws.")
    rank: Literal[0, 1, 2] = Field(description="0 a mash behind its target, 1 a mash, 2 strike liquor.")
    heard: dict[str, Whole] = Field(description="The newest word heard of each other tun.")


class Presence(RootModel[bool]):
    """Here or not; `false` is the last will."""


class Horn(RootModel[bool]):
    """Sound it? `true` while an alert to act on now stands that nobody has heard."""


# ---------------------------------------------------------------- what we hear


class ReadingObject(Heard):
    """A reading as JSON; the keys are those that the tun file's pointers name."""

    seq: Whole | None = Field(None, description="Rises by one with each new measurement.")
    at: SignedSeconds | None = Field(None, description="Unix time of the measurement.")
    unit: str | None = Field(None, description="C or F.")


class ReadingPayload(RootModel[float | ReadingObject]):
    """A bare number, or JSON that is read through the pointer of the tun file."""


class SwitchPayload(Heard):
    """A level or flow switch."""

    ok: bool = Field(description="There is liquid, or it flows.")
    seq: Whole | None = Field(None, description="Rises with each word.")


class Report(Heard):
    """What the heater node says of itself."""

    boot: str | int = Field(description="A new value at each power-up.")
    epoch: Whole = Field(description="Of the owner obeyed.")
    n: Whole | None = Field(None, description="Rises with each report since power-up: tells a late one from a new one.")
    seq: Whole = Field(description="The last command obeyed.")
    duty: Share = Field(description="The present output, not a window's mean.")
    lease_left_s: SignedSeconds = Field(description="Until it falls to off by itself.")
    fault: str | None = Field(None, description="Why there is no heat, in a sentence; null: nothing.")
    fault_code: FaultCode | None = Field(None, description="The same for programs.")
    outlet_c: Celsius | None = Field(None, description="Where it is measured.")
    power_w: Watt | None = Field(None, description="Where it is measured.")


class Order(Heard):
    """A person's or a dashboard's order. `hold`, `stop` and `abort` need only `order`, or come as a bare word."""

    order: str = Field(description="Which one; config/mash.md.")
    id: Id | None = Field(None, description="A word of your own; the reply has it.")
    args: dict[str, Any] = Field(default_factory=dict, description="What the order takes.")
    by: str | None = Field(None, description="Who gives it, for the record.")
    at: UnixS | None = Field(None, description="When it was given, by the sender's clock.")
    valid_s: Annotated[Seconds, Field(gt=0.0, le=30.0)] | None = Field(
        None, description="Older than this it is refused."
    )
    nonce: str | None = Field(None, description="That of the present status.")
    run: str | None = Field(None, description="For this run alone.")
    trip: str | None = Field(None, description="Of `clear`: which one.")


class OrderPayload(RootModel[Order | Literal["hold", "stop", "abort", "acknowledge"]]):
    """An order. A bare word is sent as it is, without quotes, so that any plain button can send it."""
