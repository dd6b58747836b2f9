"""Which interlocks are there, and which of them has cause to act now?

The table is the one place for ids, priorities, clearing and words; limits live in settings.Limits. The documentation
prints this table and the tests walk it. Conditions are written so that a value that is no number trips.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from controller.core.model import (
    FALSE_VALUES_C,
    HIGHEST_C,
    LOWEST_C,
    HeaterReport,
    Instant,
    Link,
    Measurement,
    Phase,
    Reading,
    RunState,
    Sample,
    Switch,
    Target,
)
from controller.core.settings import Probe, Tun

S = RunState
HEATED = frozenset({S.RUNNING, S.PAUSING, S.PAUSED})
REFUSED_S = 4.5  # no reading accepted for so long: G03, G04 cut within 5 s although a tick comes once a second

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
        "Full heat for 15 min and still {value:.1f} K short (limit {limit:g} K). Heat is off.",
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
        "Check level, valves, pump and bed before any restart.",
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
        "See what else loads this machine.",
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


class Finding(NamedTuple):
    """An interlock has cause to act."""

    id: str
    value: float
    limit: float
    latched: bool | None = None  # None: as the table says
    cut_only: bool = False  # no trip: heat is off for this tick


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
    second: Measurement | None
    outlet: Measurement | None
    heater: HeaterReport | None  # newest of this tick
    heater_online: bool | None
    level: Switch | None  # newest ever
    flow: Switch | None
    pump_on_s: float  # commanded on for so long
    link: Link
    late_s: float
    gap_s: float
    epoch: int
    epoch_seen: int
    power_w: float  # plate
    capacity_j_per_k: float
    run_s: float  # run time, waited and held time left out
    planned_s: float
    disk_ok: bool
    stirred: bool


class Memory(NamedTuple):
    """What the quick interlocks remember from tick to tick."""

    hot_run: int = 0  # readings at or over the hard limit in a row
    hot_second: int = 0  # the same for the second probe
    hot_c: float = 0.0
    above_run: int = 0
    above_armed: bool = True
    above_c: float = 0.0
    highest_c: float | None = None
    differ_since: Instant | None = None
    differ_noted_since: Instant | None = None
    acked_seq: int = -1
    acked_at: Instant | None = None
    acked_duty: float | None = None
    acked_boot: str = ""
    off_seq: int = 0  # first command of the present row of OFFs
    off_since: Instant = 0.0
    contradict_since: Instant | None = None
    flow_lost_at: tuple[Instant, ...] = ()
    outlet_hot_at: tuple[Instant, ...] = ()
    heat_on_s: float = 0.0


def hot(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G07: is any raw reading at or over the hard limit? Two in a row that could be true latch."""
    limit = senses.tun.guard.hard_limit_c
    run, second = memory.hot_run, memory.hot_second
    mash, other = senses.tun.probes.mash, senses.tun.probes.second or senses.tun.probes.mash
    cool = _all_under(senses.raw, mash, limit) and _all_under(senses.raw_second, other, limit)
    if cool and not run and not second:
        return memory, None
    cut: float | None = None
    pair = run >= 2 or second >= 2
    for value in _could_be_true(senses.raw, mash, senses.seen):
        run = run + 1 if value >= limit else 0
        cut, pair = value if run else cut, pair or run >= 2
    for value in _could_be_true(senses.raw_second, other, senses.second):
        second = second + 1 if value >= limit else 0
        cut, pair = value if second else cut, pair or second >= 2
    if cut is not None or run != memory.hot_run or second != memory.hot_second:
        memory = memory._replace(hot_run=run, hot_second=second, hot_c=cut if cut is not None else memory.hot_c)
    if pair and senses.target.heat != "blocked":
        return memory, Finding("G07", memory.hot_c, limit)
    if pair or cut is not None or _any_over(senses.raw + senses.raw_second, limit):
        return memory, Finding("G07", memory.hot_c, limit, cut_only=True)
    return memory, None


def _all_under(samples: tuple[Sample, ...], probe: Probe, limit: float) -> bool:
    """Is every message a reading under the limit, raw and calibrated? The usual case, said fast."""
    for sample in samples:
        if not isinstance(sample, Reading):
            return False
        value = sample.value_c
        if not (value < limit and probe.calibrated(value) < limit):
            return False
    return True


def _could_be_true(samples: tuple[Sample, ...], probe: Probe, seen: Measurement | None) -> list[float]:
    """Calibrated values of the raw readings that lie in range and are no failed sensor's value. No filter's opinion."""
    believed = seen.value_c if seen is not None else None
    return [
        probe.calibrated(s.value_c)
        for s in samples
        if isinstance(s, Reading) and LOWEST_C <= s.value_c <= HIGHEST_C and not _false_value(s.value_c, believed)
    ]


def _false_value(raw_c: float, believed_c: float | None) -> bool:
    """Is it a value failed sensors give, with no believed reading beside it?"""
    return raw_c in FALSE_VALUES_C and not (believed_c is not None and abs(believed_c - raw_c) <= 2.0)


def _any_over(samples: tuple[Sample, ...], limit: float) -> bool:
    """Is there any reading that is not under the limit, true or not, a number or not?"""
    return any(isinstance(s, Reading) and not (s.value_c < limit) for s in samples)


def above(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G06: is the mash above anything the program still asks for? Armed once the mash has been below."""
    margin = senses.tun.guard.above_program_k
    if senses.highest_c is None or senses.state not in HEATED:
        return memory if memory.highest_c is None else memory._replace(above_run=0, highest_c=None), None
    if memory.highest_c is not None and senses.highest_c < memory.highest_c - margin:
        memory = memory._replace(above_armed=False)  # a falling program: the tun has no cooling
    limit = senses.highest_c + margin
    quiet = not memory.above_run and memory.above_armed and memory.highest_c == senses.highest_c
    if quiet and _all_under(senses.raw, senses.tun.probes.mash, limit):
        return memory, None
    run, armed, worst = memory.above_run, memory.above_armed, memory.above_c
    for value in _could_be_true(senses.raw, senses.tun.probes.mash, senses.seen):
        run = run + 1 if value > limit else 0
        armed, worst = armed or run == 0, value
    if run or run != memory.above_run or armed != memory.above_armed or senses.highest_c != memory.highest_c:
        memory = memory._replace(highest_c=senses.highest_c, above_run=run, above_armed=armed, above_c=worst)
    if run < 3 or not armed or senses.target.heat == "blocked":
        return memory, None
    return memory, Finding("G06", worst, limit)


def reading(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G02, G03, G04: is there a believable reading at all?"""
    if senses.state not in HEATED:
        return memory, None
    limits, seen = senses.tun.guard, senses.seen
    if not (seen.age_s <= limits.reading_gone_s):
        return memory, Finding("G02", min(seen.age_s, 86400.0), limits.reading_gone_s)
    none_for = seen.refused_since is not None and senses.now - seen.refused_since >= REFUSED_S
    if seen.refused_run >= limits.nonsense_readings or (none_for and seen.refused_run > 0):
        return memory, Finding("G03", seen.refused_run, limits.nonsense_readings)
    if seen.jump_since is not None and senses.now - seen.jump_since >= REFUSED_S and seen.jump_c is not None:
        step = seen.jump_c - (seen.value_c if seen.value_c is not None else seen.jump_c)
        return memory, Finding("G04", step, limits.jump_k, latched=step > 5.0)
    return memory, None


def probes(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G05: do two probes in one mash disagree for a minute?"""
    a, b = _level_c(senses.seen), _level_c(senses.second)
    if a is None or b is None or senses.state not in HEATED or senses.target.heat == "blocked":
        if memory.differ_since is None and memory.differ_noted_since is None:
            return memory, None
        return memory._replace(differ_since=None, differ_noted_since=None), None
    apart = abs(a - b)
    limit = senses.tun.guard.probes_differ_k
    noted = memory.differ_noted_since if apart > limit / 2 else None
    since = memory.differ_since if not (apart <= limit) else None
    since = senses.now if since is None and not (apart <= limit) else since
    noted = senses.now if noted is None and apart > limit / 2 else noted
    if since != memory.differ_since or noted != memory.differ_noted_since:
        memory = memory._replace(differ_since=since, differ_noted_since=noted)
    if memory.differ_since is None or senses.now - memory.differ_since < senses.tun.guard.probes_differ_s:
        return memory, None
    return memory, Finding("G05", apart, limit)


def _level_c(seen: Measurement | None) -> float | None:
    """Where does a probe's reading stand, a new level that is not believed yet included? °C"""
    if seen is None:
        return None
    return seen.value_c if seen.jump_c is None else seen.jump_c


def outlet(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G08: is what leaves the heater too hot? The node's own outlet reading counts as well."""
    seen = [m.raw_c for m in (senses.outlet,) if m is not None and m.fresh and m.raw_c is not None]
    if senses.heater is not None and senses.heater.outlet_c is not None:
        seen.append(senses.heater.outlet_c)
    if not seen:
        return memory, None
    limits, worst = senses.tun.guard, max(seen)
    if worst < limits.outlet_limit_c:
        return memory, None
    recent = tuple(t for t in memory.outlet_hot_at if senses.now - t < 600.0)
    again = any(senses.now - t > 60.0 for t in recent)
    memory = memory._replace(outlet_hot_at=(*recent[-15:], senses.now))
    latched = again or not (worst < limits.outlet_trip_c)
    return memory, Finding("G08", worst, limits.outlet_limit_c, latched=latched)


def switches(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G13: liquid over the heater, and flow where the pump should make one."""
    tun, limit = senses.tun, senses.tun.guard.switch_gone_s
    if senses.state not in HEATED:
        return memory, None
    if tun.level is not None and _bad(senses.level, senses.now, limit):
        return memory, Finding("G13", _silent_s(senses.level, senses.now), limit, latched=True)
    if tun.flow is None or senses.target.heat != "hold" or senses.pump_on_s < tun.guard.flow_proof_s:
        return memory, None
    if not _bad(senses.flow, senses.now, limit):
        return memory, None
    recent = tuple(t for t in memory.flow_lost_at if senses.now - t < 600.0)
    memory = memory._replace(flow_lost_at=(*recent[-15:], senses.now))
    return memory, Finding(
        "G13", _silent_s(senses.flow, senses.now), limit, latched=any(senses.now - t > 60 for t in recent)
    )


def _bad(switch: Switch | None, now: Instant, limit_s: float) -> bool:
    return switch is None or not switch.ok or not (now - switch.at <= limit_s)


def _silent_s(switch: Switch | None, now: Instant) -> float:
    return min(86400.0, now - switch.at) if switch is not None else 86400.0


def heater_answers(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G14: does the heater node answer our newest commands?"""
    report = senses.heater
    if report is not None and report.epoch == senses.epoch and report.seq > memory.acked_seq:
        memory = memory._replace(
            acked_seq=report.seq, acked_at=report.at, acked_duty=report.duty, acked_boot=report.boot
        )
    elif (
        report is not None
        and report.epoch == senses.epoch
        and report.seq == memory.acked_seq
        and (report.duty != memory.acked_duty)
    ):
        memory = memory._replace(acked_duty=report.duty)
    if senses.state not in HEATED:
        return memory, None
    limit = senses.tun.guard.heater_silent_s
    silent = senses.now - memory.acked_at if memory.acked_at is not None else 86400.0
    if senses.heater_online is False:
        return memory, Finding("G14", silent, 0.0)
    return memory, Finding("G14", silent, limit) if not (silent <= limit) else None


def heater_obeys(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G15: does the heater go off when told? Epoch and sequence are compared first, so a late report is no liar."""
    report, limits = senses.heater, senses.tun.guard
    if report is None:
        return memory, None
    current = report.power_w is not None and report.power_w > 0.05 * senses.power_w
    on = not (report.duty <= 0.0) or current
    off_for = senses.now - memory.off_since
    known = report.epoch == senses.epoch and report.seq >= memory.off_seq
    overdue = off_for > senses.tun.heater.lease_s + limits.heater_contradicts_s
    if not on or memory.off_seq < 0 or not (known or overdue):
        return memory if memory.contradict_since is None else memory._replace(contradict_since=None), None
    since = memory.contradict_since if memory.contradict_since is not None else senses.now
    memory = memory._replace(contradict_since=since)
    told_off = senses.now - since
    enough = told_off >= limits.heater_contradicts_s - 1.0 and off_for >= limits.heater_contradicts_s
    return memory, Finding("G15", off_for, limits.heater_contradicts_s) if enough else None


def broker(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G16: is the broker there, and do our own commands come back from it?"""
    limit, link = senses.tun.guard.echo_gone_s, senses.link
    if senses.state not in HEATED:
        return memory, None
    if not link.up:
        return memory, Finding("G16", max(0.0, senses.now - link.since), 0.0)
    return memory, Finding("G16", link.delay_s, limit) if not (link.delay_s <= limit) else None


def beat(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G17: did the loop come late?"""
    limit = senses.tun.guard.beat_late_s
    if senses.state not in HEATED or senses.late_s <= limit:
        return memory, None
    return memory, Finding("G17", senses.late_s, limit)


def owner(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G19: does somebody else command this heater? A foreign OFF is obeyed and noted, no more."""
    if senses.state is S.CHECKING:
        return memory, None
    if senses.epoch_seen > senses.epoch:
        return memory, Finding("G19", float(senses.epoch_seen), float(senses.epoch))
    foreign = senses.link.foreign
    if foreign is not None and not (foreign.duty <= 0.0):
        return memory, Finding("G19", foreign.duty, 0.0)
    return memory, None


def duration(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G23: has the run lasted far longer than planned, or the heater been on for far too long?"""
    if senses.state not in HEATED:
        return memory, None
    limits = senses.tun.guard
    most = senses.planned_s * limits.run_factor + limits.run_extra_s
    if not (senses.run_s <= most):
        return memory, Finding("G23", senses.run_s, most)
    if not (memory.heat_on_s <= limits.heat_on_s):
        return memory, Finding("G23", memory.heat_on_s, limits.heat_on_s)
    return memory, None


QUICK = (hot, above, reading, probes, outlet, switches, heater_answers, heater_obeys, broker, beat, owner, duration)
