"""Which nouns do all rooms share?

Frozen values only. Times are seconds on the service's scaled monotonic clock (`Instant`); wall-clock time only where
its name says so. Temperatures in °C, differences in K, powers in W, `duty` a share 0..1; "nothing" is always `None`."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Any, Literal, NamedTuple, TypeVar

from controller.quick_records import quick

T = TypeVar("T")
A_MOMENT, FLEETING = "a moment on this process' clock", "means nothing to another process"  # plain_values.py reads them
Instant = Annotated[float, A_MOMENT]  # s, scaled monotonic clock
Fleeting = Annotated[T, FLEETING]  # a field that does not survive a restart


class RunState(StrEnum):
    """In which state of ISA-88 / IEC 61512 is the run? (`checking` is our own: after a process start.)"""

    IDLE = "idle"
    CHECKING = "checking"
    RUNNING = "running"
    PAUSING = "pausing"
    PAUSED = "paused"
    HOLDING = "holding"
    HELD = "held"
    RESTARTING = "restarting"
    STOPPING = "stopping"
    STOPPED = "stopped"
    ABORTING = "aborting"
    ABORTED = "aborted"
    COMPLETE = "complete"


class Phase(StrEnum):
    """What goes on within a step?"""

    ARMED = "armed"  # delayed start, no heat yet
    HEATING = "heating"  # strike liquor
    WAITING = "waiting"  # for a person
    ADDING = "adding"  # dough-in, infusion, return of a decoction: heat blocked
    SETTLING = "settling"  # mixing after an addition: heat blocked
    RAMPING = "ramping"
    RESTING = "resting"


StepKind = Literal["dough_in", "rest", "infusion", "water_in", "decoction", "cereal", "mash_out", "keep", "souring"]
Health = Literal["good", "failure", "function check", "out of specification", "maintenance required"]  # NAMUR NE 107
FaultCode = Literal["own_probe_silent", "own_limit", "no_liquid", "no_flow", "switch_stuck", "no_power", "internal"]
COMES_IN: frozenset[StepKind] = frozenset({"infusion", "water_in", "decoction", "cereal"})  # into the mash
GOES_IN: frozenset[StepKind] = COMES_IN | {"dough_in"}  # steps in which something is added
SETTLE_S = 180.0  # mixing time after an addition before the reading is believed (common practice: 3 to 5 min)
ALONE_K = 5.0  # a reading that jumps further is not believed of itself, however steady it is then (own proposal)
JUMP_RATE_K_PER_S = 0.1  # what a mash may really do between readings (own proposal)
LOWEST_C, HIGHEST_C = -5.0, 105.0  # a reading beyond: open or shorted sensor, or another unit (own proposal)
POWER_ON_C = 85.0  # a 1-wire thermometer's register after power-up, raw 0x0550 (its data sheet)
ALL_ZERO_C, FREEZING_F = 0.0, 32.0  # an all-zero scratchpad passes its CRC-8 (arithmetic); 0 °C sent in °F
FALSE_VALUES_C = frozenset({POWER_ON_C, ALL_ZERO_C, FREEZING_F, -0.0625, -0.062})  # the last two: line pulled high


class Reading(NamedTuple):
    """One well-formed temperature message."""

    value_c: float  # as sent, unit converted, not yet calibrated
    at: Instant  # arrival
    seq: int | None = None  # the sender's sequence, where it has one
    lag_s: float | None = None  # arrival minus the sender's stamp, where it has one: only a change of it says anything


class Bad(NamedTuple):
    """One message on a reading topic that is no reading."""

    why: str
    at: Instant


Sample = Reading | Bad


class HeaterReport(NamedTuple):
    """What the heater node says of itself."""

    at: Instant  # arrival
    boot: str  # a new value at each power-up
    epoch: int
    seq: int  # last command obeyed
    duty: float  # present output, not a window's mean
    lease_left_s: float
    fault: str | None = None  # in words, for people
    fault_code: FaultCode | None = None  # for us, as the contract has them; `internal` where none fits
    outlet_c: float | None = None
    power_w: float | None = None
    n: int | None = None  # rises with each report of one boot


class Switch(NamedTuple):
    """A level or flow switch's newest word."""

    ok: bool
    at: Instant
    since: Instant | None = None  # of a word that says no: the first in a row of such words, where that is known


class Presence(NamedTuple):
    """A node's newest word of its presence: its own, or its last will."""

    there: bool
    at: Instant  # arrival
    retained: bool = False  # the broker's copy: nobody knows how old it is


class Foreign(NamedTuple):
    """A heater command on our topic that we did not send."""

    duty: float
    epoch: int | None
    at: Instant


class Link(NamedTuple):
    """How is the broker reached?"""

    up: bool
    since: Instant  # when this connection came up, or when it was lost
    delay_s: float = 0.0  # round trip of the newest own command heard back, or age of the oldest not yet heard
    echo_at: Instant | None = None  # when an own command was last heard back
    foreign: Foreign | None = None  # newest since the last tick
    flooding: str | None = None  # a topic with too many messages a second for 10 s


class Disk(NamedTuple):
    """Can the journal be trusted to keep what it is given?"""

    ok: bool
    durable_seq: int  # every event up to this sequence is on disk
    written_seq: int  # every event up to this sequence was handed over
    free_mb: float = 1e6
    text: str = ""


class ComesIn(NamedTuple):
    """What comes into the mash in a step, or is drawn off it; of a rest nothing."""

    kg: float = 0.0  # liquor to add, mash to pull, a cooker that joins
    hot_c: float | None = None
    j_per_kg_k: float = 4190.0  # of what comes in; water, mean of 60..78 °C (IAPWS SR6-08(2011))
    pull_kg_per_kg: float | None = None  # thickness of what is drawn off or joins
    thin_p: float | None = None  # decoction of the liquid alone: its gravity, °P
    boil_off_kg: float = 0.0  # decoction: of the pull
    kettle: str = ""  # decoction: what happens to it, in words
    cooled_c: float | None = None  # decoction: the main mash is left to cool, to this; None: it is kept
    away_s: float = 0.0  # decoction: from pull to return, by the plan; nothing waits for it


class Iodine(NamedTuple):
    """When are iodine tests asked for in a step?"""

    after_s: float = 0.0  # a step that ends by iodine: this long into the rest
    go_on_after_s: float | None = None  # unanswered so long after asking, go on; None: wait for ever
    every_s: float = 0.0  # a series of tests, nothing waits for it; 0 = none
    from_s: float = 0.0  # after the temperature is reached


class Leg(NamedTuple):
    """One step of a course, compiled: plain numbers in base units."""

    name: str
    kind: StepKind
    target_c: float
    hold_s: float  # planned time in band; for `keep` the longest wait
    climb_k_per_s: float  # upper limit of the rise
    tolerance_k: float
    ends: Literal["time", "person", "iodine"]
    capacity_j_per_k: float  # of all that is in the tun during this leg, vessel metal included
    ramp_s: float  # planned rise, s
    why: str = ""
    comes: ComesIn = ComesIn()
    mixing_s: float = SETTLE_S  # after an addition, before the reading is believed
    iodine: Iodine = Iodine()
    told: str = ""  # said when the step begins
    remind_s: float = 0.0  # souring: the pH is asked for so often; 0 = never


class Event(NamedTuple):
    """Something worth a line in the journal."""

    kind: str  # state, step, phase, trip, cleared, order, prompt, note, resume, ...
    id: str
    text: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    first_out: bool | None = None
    latched: bool | None = None
    priority: int | None = None  # 1 act now, 2 act soon, 3 note
    link: bool | None = None  # of a trip: says nothing of the mash
    data: Mapping[str, Any] | None = None


class ForPeople(NamedTuple):
    """What is said to people in a run; nothing in it decides about heat."""

    grist: tuple[tuple[str, float], ...] = ()  # name and kg of each malt
    overruled: Mapping[str, str] | None = None  # advice known and accepted: rule and the brewer's reason
    hot_liquor_s: float | None = None  # sparge liquor takes so long to heat; None: nobody is reminded
    hot_liquor_c: float | None = None
    cooker: tuple[tuple[float, str], ...] = ()  # what is told of a cooker, so long before it joins, s
    days_s: tuple[float, float] | None = None  # nine simulated days of ten were ready within, from the start
    filed: Fleeting[tuple[Event, ...]] = ()  # on record once, at the start: advice, malt lots, calibration


class Course(NamedTuple):
    """A program made ready for one tun: what the core steps through. Journalled whole at the start of a run."""

    program: str
    title: str
    tun: str
    legs: tuple[Leg, ...]
    liquor_kg: float
    grist_kg: float  # 0 = water only
    liquor_capacity_j_per_k: float  # liquor and vessel before dough-in
    loss_w_per_k: float
    planned_s: float  # whole run, people answering at once
    digest: str  # hash of the program file's meaning and of the tun file
    malt: Mapping[str, float | None] | None = None  # what the estimate of the wort rests on; decides nothing
    landing_c: float | None = None  # where the mash should land after dough-in
    liquor_c: float | None = None  # of the liquor before any heat, by the plan
    people: ForPeople = ForPeople()


class Order(NamedTuple):
    """A person's or a dashboard's order, as read from the wire by the strict reader."""

    name: str
    arrived: Instant
    id: str | None = None
    args: Mapping[str, Any] = {}
    by: str = "unknown"
    at: float | None = None  # sender's wall clock, unix s
    valid_s: float | None = None
    nonce: str | None = None
    run: str | None = None
    trip: str | None = None
    retained: bool = False
    course: Course | None = None  # `start`, `adjust`: what the edge loaded and compiled for it
    problems: tuple[str, ...] = ()  # why it could not be read or loaded


@quick
class Measurement(NamedTuple):
    """What is believed of the mash temperature."""

    value_c: float | None  # calibrated, newest accepted; None when there is none within 10 s
    raw_c: float | None  # newest well-formed reading, calibrated, believed or not
    at: Instant | None  # arrival of the newest accepted reading
    age_s: float  # its age, the broker's delay included; inf when there is none
    seq: int | None
    fresh: bool  # a new reading was accepted in this tick
    doubtful: bool  # refused readings or a gap: rest time does not count
    health: Health = "good"
    text: str = ""
    refused_run: int = 0  # nonsense in a row
    refused_since: Instant | None = None
    jump_since: Instant | None = None  # since when readings sit on another level
    jump_c: float | None = None  # that level
    good_run: int = 0  # believed in a row
    good_since: Instant | None = None


class Target(NamedTuple):
    """What does the program want of the tun now?"""

    heat: Literal["off", "blocked", "hold"]
    target_c: float | None  # the plateau; None when heat is off for good
    climb_k_per_s: float  # upper limit of the rise
    key: int  # changes whenever a new plateau begins
    capacity_j_per_k: float  # what is in the tun now, vessel included
    strike: bool = False  # liquor before dough-in
    plain: bool = False  # no grain in the tun: no bed


class Setpoint(NamedTuple):
    """Where should the mash be at this moment, and how fast should it climb?"""

    value_c: float
    slope_k_per_s: float


class Demand(NamedTuple):
    """How much heat is asked for, before the guard has had its say?"""

    duty: float
    reason: str


class Trip(NamedTuple):
    """An interlock that has taken the heat away and has not given it back."""

    id: str
    at: Instant
    text: str
    value: float | None
    limit: float | None
    unit: str
    priority: int  # 1 act now, 2 act soon, 3 note
    latched: bool  # stays until a person clears it
    first_out: bool
    link: bool = False  # a gap of a link, that says nothing of mash, liquor, flow or heater


class View(NamedTuple):
    """What the other rooms may know of the guard: last tick's trips and whether heat would be let out."""

    trips: tuple[Trip, ...] = ()
    latched: bool = False
    lost: bool = False  # another controller owns the tun; for good
    ready: bool = False  # re-qualified, minimum time off is over, heater answers, start-up lock open
    heater_off: bool = False  # the heater node has acknowledged OFF
    flow_ok: bool = True  # flow proven, or no flow switch fitted
    waits_for: str = ""  # what heat still waits for
    link_gone: str = ""  # a link has kept heat away for so long, or so far, that a person is asked
    dry: bool = False  # the level switch says that there is no liquid; its silence says nothing


class Motor(NamedTuple):
    """Stirrer or pump: on or off, and why."""

    on: bool
    reason: str


class Reply(NamedTuple):
    """The answer to an order, within a second, with a reason."""

    id: str | None
    accepted: bool
    reason: str
    state: RunState
    order: str = ""
