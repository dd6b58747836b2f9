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
from controller.messages.status_schema import Celsius, Heard, Id, Seconds, Sent, Share, Text, TripClass, UnixS, Whole

# ---------------------------------------------------------------- what we send


class Command(Sent):
    """The lease on the heater. At least every 2 s, on and off alike, never retained."""

    epoch: Whole = Field(description="Owner epoch: a higher one takes the tun over.")
    seq: Whole
    at: UnixS
    valid_s: Annotated[float, Field(gt=0.0, le=10.0)] = Field(description="The node falls to off after so long.")
    duty: Share
    reason: Text
    reading_seq: Whole | None = Field(description="Sequence of the reading that the command rests on.")
    reading_age_s: Seconds | None
    owner: Id = Field(description="Random word of the sending process.")


class MotorCommand(Sent):
    """Stirrer or pump: on or off, for how long, why."""

    seq: Whole
    on: bool
    valid_s: Annotated[float, Field(gt=0.0, le=10.0)]
    reason: Text


class Reply(Sent):
    """The answer to an order, within a second."""

    id: Id | None = Field(description="The order's id; null where it had none.")
    order: str
    accepted: bool
    reason: Text = Field(description="What was done, or why not.")
    state: RunState


class Event(Sent):
    """Something worth a line in the record."""

    seq: Whole = Field(description="Sequence of the journal, no gaps.")
    at: UnixS
    kind: str
    id: str
    text: Text
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    first_out: bool | None = Field(None, description="The first of several trips.")
    latched: bool | None = Field(None, description="Stays until a person clears it.")
    priority: Literal[1, 2, 3] | None = Field(None, description="1 act now, 2 act soon, 3 note.")
    of_class: TripClass | None = Field(None, alias="class", description="Of a trip.")
    data: dict[str, Any] | None = None


class HistoryPoint(Sent):
    """A minute of the run, or more (`point_s`). Null where there was no reading."""

    t_s: Seconds = Field(description="Its beginning, since the start of the run.")
    min_c: Celsius | None
    mean_c: Celsius | None
    max_c: Celsius | None
    setpoint_c: Celsius | None = Field(description="At its end.")
    target_c: Celsius | None = Field(description="At its end; null where no temperature was held.")
    duty: Share = Field(description="Mean of what was commanded.")


class History(Sent):
    """The run so far, for whoever comes late. A point was at `at` - (`t_s` - its own `t_s`) / `speed`."""

    at: UnixS
    run: Id | None = Field(description="The newest run, also once it has ended; null where there was none.")
    t_s: float = Field(description="Run time at `at`.")
    speed: Annotated[float, Field(gt=0.0)]
    point_s: Annotated[float, Field(ge=60.0)] = Field(description="A point is so long: 60, doubled as a run grows.")
    points: list[HistoryPoint] = Field(max_length=360)
    events: list[Event] = Field(max_length=50, description="The last ones, oldest first, as on `event`.")


class Malt(Sent):
    """One line of the grist."""

    name: str
    mass_kg: float


class StartableStep(Sent):
    """One step of a program that could be started."""

    name: str
    target_c: Celsius
    planned_s: Seconds


class StartableProgram(Sent):
    """A program of the daemon's machine. Figures are null, lists empty, where it does not fit the tun."""

    name: str = Field(description="For `start`: program=NAME.")
    title: str
    tun: str = Field(description="Written for this tun; empty where it is for any.")
    missing: list[str] = Field(description="Why it cannot be started; empty where it can.")
    strike_c: Celsius | None = Field(description="Null: water alone.")
    landing_c: Celsius | None = Field(description="Where the mash should land after dough-in.")
    liquor_kg: float | None
    liquor_c: Celsius | None = Field(description="As it comes.")
    grist: list[Malt]
    grist_c: Celsius | None = Field(description="Assumed of the grain.")
    fill_share: float | None = Field(description="Of the vessel, with all additions.")
    heat_up_s: Seconds | None = Field(description="To strike; a delayed start begins so long before `ready_at`.")
    duration_s: Seconds | None = Field(description="From the first heat to the end, people answering at once.")
    steps: list[StartableStep]
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

    tun: str
    seq: Whole
    wish_w: Annotated[float, Field(ge=0.0)] = Field(description="What it would draw if it could.")
    hold_w: Annotated[float, Field(ge=0.0)] = Field(description="What it may draw now, or still draws.")
    rank: Literal[0, 1, 2] = Field(description="0 a mash behind its target, 1 a mash, 2 strike liquor.")
    heard: dict[str, Whole] = Field(description="The newest word heard of each other tun.")


class Presence(RootModel[bool]):
    """Here or not; `false` is the last will."""


# ---------------------------------------------------------------- what we hear


class ReadingObject(Heard):
    """A reading as JSON; the keys are those that the tun file's pointers name."""

    seq: Whole | None = None
    at: float | None = None
    unit: str | None = None


class ReadingPayload(RootModel[float | ReadingObject]):
    """A bare number, or JSON that is read through the pointer of the tun file."""


class SwitchPayload(Heard):
    """A level or flow switch."""

    ok: bool
    seq: Whole | None = None


class Report(Heard):
    """What the heater node says of itself."""

    boot: str | int = Field(description="A new value at each power-up.")
    epoch: Whole
    seq: Whole = Field(description="The last command obeyed.")
    duty: Share = Field(description="The present output, not a window's mean.")
    lease_left_s: float
    fault: str | None = None
    fault_code: FaultCode | None = None
    outlet_c: Celsius | None = None
    power_w: float | None = None


class Order(Heard):
    """A person's or a dashboard's order. `hold`, `stop` and `abort` need only `order`, or come as a bare word."""

    order: str
    id: Id | None = None
    args: dict[str, Any] = Field(default_factory=dict)
    by: str | None = None
    at: UnixS | None = None
    valid_s: Annotated[float, Field(gt=0.0, le=30.0)] | None = None
    nonce: str | None = Field(None, description="That of the present status.")
    run: str | None = None
    trip: str | None = None


class OrderPayload(RootModel[Order | Literal["hold", "stop", "abort"]]):
    """An order. A bare word is sent as it is, without quotes, so that any plain button can send it."""
