"""Which interlocks are there, and what do they look at?

The table is the one place for ids, priorities, clearing and words; limits live in settings.Limits. The documentation
prints this table and the tests walk it. The conditions are in `watch_mash`, `watch_plant` and `physics`.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from controller.core.nouns import (
    HeaterReport,
    Instant,
    Link,
    Measurement,
    Phase,
    RunState,
    Sample,
    Switch,
    Target,
)
from controller.settings.tun import Tun

S = RunState
HEATED = frozenset({S.RUNNING, S.PAUSING, S.PAUSED})

Clears = Literal["itself", "requalified", "latched"]


class Interlock(NamedTuple):
    """One row of the table."""

    id: str
    name: str
    field: str  # of settings.Limits; "" where there is none
    unit: str
    priority: int  # 1 act now, 2 act soon, 3 note
    clears: Clears
    deadline_s: float | None  # to duty 0, from the first offending message; None: a note, heat is not cut
    always: bool  # watched in every state, idle included
    says: str  # with {value} and {limit}
    do: str


TABLE: tuple[Interlock, ...] = (
    Interlock(
        "G01", "reading late", "reading_late_s", "s", 3, "itself", None, False,
        "No new mash temperature for {value:.0f} s (limit {limit:g} s).",
        "Nothing yet; heat may not rise until readings return.",
    ),
    Interlock(
        "G02", "reading gone", "reading_gone_s", "s", 1, "requalified", 10.0, False,
        "Mash temperature missing for {value:.0f} s (limit {limit:g} s). Heat is off.",
        "Check the probe, its plug and its network.",
    ),
    Interlock(
        "G03", "reading nonsense", "nonsense_readings", "readings", 1, "requalified", 5.0, False,
        "{value:.0f} readings in a row make no sense (limit {limit:g}). Heat is off.",
        "Check the probe's wiring and its unit.",
    ),
    Interlock(
        "G04", "reading jumped", "jump_k", "K", 1, "requalified", 5.0, False,
        "The reading jumped by {value:.1f} K (limit {limit:g} K). Heat is off.",
        "Look whether the probe still sits in the mash; a jump up over 5 K waits for you.",
    ),
    Interlock(
        "G05", "probes differ", "probes_differ_k", "K", 1, "latched", 60.0, False,
        "The two mash probes differ by {value:.1f} K (limit {limit:g} K). Heat is off.",
        "Stir or recirculate, and compare both with a hand thermometer.",
    ),
    Interlock(
        "G06", "above program", "above_program_k", "°C", 1, "latched", 3.0, False,
        "The mash is {value:.1f} °C; with its margin the program allows {limit:.1f} °C. Heat is off.",
        "Stir, add cold liquor if need be, and find out why before you go on.",
    ),
    Interlock(
        "G07", "hard limit", "hard_limit_c", "°C", 1, "latched", 2.0, True,
        "The mash is {value:.1f} °C; the limit is {limit:g} °C. Heat is off.",
        "Stay clear of the vessel. Do not restart before you know why.",
    ),
    Interlock(
        "G08", "outlet hot", "outlet_limit_c", "°C", 1, "requalified", 2.0, True,
        "Wort leaves the heater at {value:.1f} °C; the limit is {limit:g} °C. Heat is off.",
        "Flow may be too small: check pump, hose and bed.",
    ),
    Interlock(
        "G09", "no heat seen", "no_heat_window_s", "K", 1, "latched", None, False,
        "Heat was asked for but the mash rose by {value:.1f} K where at least {limit:.1f} K was due. Heat is off.",
        "Check element, cut-out and mains, and whether the probe is in the mash.",
    ),
    Interlock(
        "G10", "heat not asked for", "unasked_rise_k", "K", 1, "latched", None, True,
        "The mash warmed by {value:.1f} K with the heater told to be off (limit {limit:g} K).",
        "The switch may be stuck closed: cut the mains now, then look.",
    ),
    Interlock(
        "G11", "cannot keep up", "cannot_keep_up_k", "K", 2, "latched", None, False,
        "Full heat for long and still {value:.1f} K short (limit {limit:g} K). Heat is off.",
        "Check the heater's legs, lid and valves; part of the heat is missing.",
    ),
    Interlock(
        "G12", "heat ledger", "ledger_k", "K", 2, "latched", None, False,
        "{value:.1f} K more heat went in than the thermometer shows (limit {limit:.1f} K). Heat is off.",
        "Compare the probe with a hand thermometer; check the heater.",
    ),
    Interlock(
        "G13", "no liquid or no flow", "switch_gone_s", "s", 1, "latched", 2.0, True,
        "No liquid or no flow at the heater, or its switch is silent ({value:.0f} s, limit {limit:g} s). Heat is off.",
        "Check level, valves, pump and bed. Lost flow is tried again by itself once; the next time it waits for you.",
    ),
    Interlock(
        "G14", "heater silent", "heater_silent_s", "s", 1, "requalified", 10.0, False,
        "The heater node has not answered for {value:.0f} s (limit {limit:g} s). Its lease runs out; heat is off.",
        "Check the node's supply and network.",
    ),
    Interlock(
        "G15", "heater contradicts", "heater_contradicts_s", "s", 1, "latched", 3.0, True,
        "The heater says it is on {value:.0f} s after being told off (limit {limit:g} s).",
        "Cut the mains by hand, then look at node and switch.",
    ),
    Interlock(
        "G16", "broker gone", "echo_gone_s", "s", 2, "requalified", 10.0, False,
        "The message broker has been out of reach for {value:.0f} s (limit {limit:g} s). Heat is off.",
        "Check broker and network; the run goes on by itself when they return.",
    ),
    Interlock(
        "G17", "loop late", "beat_late_s", "s", 2, "requalified", 1.0, False,
        "The controller stalled for {value:.1f} s (limit {limit:g} s). Heat is off for a minute.",
        "See what else loads this machine, and keep it from sleeping during a mash.",
    ),
    Interlock(
        "G18", "clock odd", "clock_odd_s", "s", 3, "itself", None, True,
        "The clock was set by {value:.0f} s, or the machine slept (limit {limit:g} s). Rest times are not affected.",
        "Nothing, if you set the clock.",
    ),
    Interlock(
        "G19", "second controller", "", "duty", 1, "latched", 2.0, True,
        "Another controller commands this tun (duty {value:g}). This one stops for good.",
        "Find out which one is to run; restart this service only after the other has ended.",
    ),
    Interlock(
        "G20", "journal bad", "", "", 2, "latched", None, True,
        "The run record cannot be written or read; this run will not resume by itself.",
        "Free disk space or mend the disk.",
    ),
    Interlock(
        "G21", "start-up lock", "start_lock_s", "s", 3, "itself", 0.0, True,
        "Checking for {value:.0f} s before heat is allowed (at least {limit:g} s).",
        "Wait.",
    ),
    Interlock(
        "G22", "flood", "flood_per_s", "1/s", 3, "itself", None, True,
        "More than {limit:g} messages a second arrive on one topic.",
        "Find the sender.",
    ),
    Interlock(
        "G23", "run too long", "run_factor", "s", 2, "latched", 1.0, False,
        "The run has lasted {value:.0f} s; by its plan it should end within {limit:.0f} s. Heat is off.",
        "Look at the mash and decide.",
    ),
    Interlock(
        "G24", "keeps tripping", "trips_in_window", "trips", 1, "latched", 1.0, False,
        "Interruption number {value:.0f} within half an hour (limit {limit:g}). Heat is off.",
        "Find the cause before you go on.",
    ),
    Interlock(
        "G25", "does not fit", "fit_high", "ratio", 2, "latched", None, False,
        "It warms {value:.2f} times as fast as this tun should (allowed {limit:g} times). Heat is off.",
        "Is all liquor, is all grain in? Is the probe's unit right?",
    ),
    Interlock(
        "G26", "bad demand", "", "duty", 2, "requalified", 0.0, False,
        "The controller asked for an impossible amount of heat. Heat is off.",
        "Please report this: it is a bug.",
    ),
)  # fmt: skip
BY_ID = {row.id: row for row in TABLE}


MIXING_S = 600.0  # after an addition a pumped bed is uneven for so long (own trial on random tuns up to 2,000 L) ...
UNEVEN = 2.0  # ... and temperatures may lie so many times as far apart as else (own proposal)


def apart_k(limit_k: float, added_at: Instant | None, now: Instant) -> float:
    """How far may temperatures lie apart now, K, where `limit_k` holds in a mixed mash?"""
    return limit_k if added_at is None or now - added_at > MIXING_S else UNEVEN * limit_k


class Finding(NamedTuple):
    """An interlock has cause to act."""

    id: str
    value: float
    limit: float
    latched: bool | None = None  # None: as the table says
    cut_only: bool = False  # no trip: heat is off for this tick
    says: str = ""  # in place of the table's sentence, where the cause is known more closely
    unit: str = ""  # of value and limit, where it is not the table's


class Senses(NamedTuple):
    """What the guard looks at in one tick. The raw samples are here so that no filter can blind it."""

    tun: Tun
    now: Instant
    dt: float
    state: RunState
    phase: Phase
    target: Target
    setpoint_c: float | None
    highest_c: float | None  # highest target that remains
    seen: Measurement
    raw: tuple[Sample, ...]  # of the mash probe
    raw_second: tuple[Sample, ...]
    raw_outlet: tuple[Sample, ...]
    second: Measurement | None
    outlet: Measurement | None
    gone: tuple[str, ...]  # probes whose presence topic says so, not heard since
    heater: HeaterReport | None  # newest of this tick
    heater_online: bool | None
    level: Switch | None  # newest ever
    flow: Switch | None
    pump_on_s: float  # commanded on for so long
    link: Link
    late_s: float
    gap_s: float
    wall_set_s: float  # by how much the wall clock was set since the last tick
    epoch: int
    epoch_seen: int
    power_w: float  # into the mash at full heat, by the plate
    capacity_j_per_k: float  # of all that is warmed, a coil's own liquor included where the tun file names it
    run_s: float  # run time, waited and held time left out
    planned_s: float
    disk_ok: bool
    stirred: bool


class Memory(NamedTuple):
    """What the quick interlocks remember from tick to tick."""

    hot_run: int = 0  # readings at or over the hard limit in a row
    hot_second: int = 0  # the same for the second probe
    hot_c: float = 0.0
    above_run: int = 0  # readings over anything the program asks for, in a row
    above_since: Instant | None = None  # the first of them
    above_armed: bool = True
    above_c: float = 0.0
    highest_c: float | None = None
    differ_since: Instant | None = None
    differ_noted_since: Instant | None = None
    added_at: Instant | None = None  # something was being added then, the newest time
    sent: tuple[tuple[int, Instant], ...] = ()  # sequence and time of the last few commands
    acked_seq: int = -1
    acked_at: Instant | None = None  # when the newest command that the heater node has answered was sent
    acked_duty: float | None = None
    acked_boot: str = ""
    off_seq: int = 0  # first command of the present row of OFFs
    off_since: Instant = 0.0
    contradict_since: Instant | None = None
    fault: str = ""  # what the heater node last said of itself
    no_power_s: float = 0.0  # its output on for so long, and no power measured
    flow_lost_at: tuple[Instant, ...] = ()
    outlet_hot_at: tuple[Instant, ...] = ()
    heat_on_s: float = 0.0
    over_mash_since: Instant | None = None  # the outlet is far over the mash
    outlet_hot_c: float | None = None  # G08 stands; the outlet was last heard at so much
    outlet_at: Instant | None = None  # an outlet temperature was last heard, the probe's or the node's own
    adding_since: Instant | None = None  # an addition stands open
    believed_at: tuple[Instant, ...] = ()  # arrival of the last few believed mash readings
