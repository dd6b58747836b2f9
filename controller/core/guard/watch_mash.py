"""Do the readings of mash and outlet give cause to cut the heat? G02 to G08, tick by tick.

Conditions are written so that a value that is no number trips.
"""

from __future__ import annotations

from controller.core.guard.registry import HEATED, Finding, Memory, Senses, apart_k
from controller.core.guard.trips import LATCH_AFTER_S
from controller.core.nouns import ALONE_K, FALSE_VALUES_C, HIGHEST_C, LOWEST_C, Instant, Measurement, Reading, Sample
from controller.settings.tun import Probe

TICK_S = 1.0  # a tick comes so often: what must happen within a time happens at the last tick before its end
REFUSED_S = 5.0 - TICK_S  # G03, G04: no reading accepted for so long
LEVEL_S = REFUSED_S + 0.5  # G04: five readings of one level take four seconds and are then believed, unless far away
ABOVE_S = 3.0 - TICK_S  # G06: two readings in a row over so long do as well as three
OUTLET_WILD = "The outlet thermometer says {value:.1f} °C (limit {limit:g} °C): steam, or it is broken. Heat is off."
OUTLET_GAP_K = 5.0  # G08: over once the outlet is so far below its limit ...
OUTLET_OVER_S = 5.0 - TICK_S  # G08: the outlet may be far over the mash for less than 5 s
FLOW_RISE = 2.0  # of what the plate's flow warms by at full power: flow and power may be as much off (own proposal)
OUTLET_NEAR_K = 2.0  # ... or so near the mash where that is warm: with no heat it gets no cooler (own proposal)


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
    """G06: is the mash above anything the program still asks for?

    Armed when a run begins. Where the program falls, in a hold as well, the mash must first have been well below; so it
    must after a process start within a run, since nobody knows what was asked before. G07 and G10 watch meanwhile.
    """
    margin = senses.tun.guard.above_program_k
    if senses.highest_c is None or senses.state not in HEATED:
        return memory if not memory.above_run else memory._replace(above_run=0, above_since=None), None
    if memory.highest_c is not None and senses.highest_c < memory.highest_c:
        memory = memory._replace(above_armed=False)  # a falling program: the tun has no cooling
    limit = senses.highest_c + margin
    quiet = not memory.above_run and memory.above_armed and memory.highest_c == senses.highest_c
    if quiet and _all_under(senses.raw, senses.tun.probes.mash, limit):
        return memory, None
    run, since, armed, worst = memory.above_run, memory.above_since, memory.above_armed, memory.above_c
    for value in _could_be_true(senses.raw, senses.tun.probes.mash, senses.seen):
        run = run + 1 if value > limit else 0
        since = None if not run else senses.now if since is None else since
        armed, worst = armed or value <= limit - margin / 2, value  # well below: a slow fall crosses it in noise
    if run or run != memory.above_run or armed != memory.above_armed or senses.highest_c != memory.highest_c:
        memory = memory._replace(
            highest_c=senses.highest_c, above_run=run, above_since=since, above_armed=armed, above_c=worst
        )
    long_enough = run >= 3 or (run == 2 and since is not None and senses.now - since >= ABOVE_S)
    if not long_enough or not armed or senses.target.heat == "blocked":
        return memory, None
    return memory, Finding("G06", worst, limit)


def reading(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G02, G03, G04: is there a believable reading at all?"""
    if senses.state not in HEATED:
        return memory, None
    limits, seen = senses.tun.guard, senses.seen
    if "mash" in senses.gone or not (seen.age_s <= limits.reading_gone_s):
        return memory, Finding("G02", min(seen.age_s, 86400.0), limits.reading_gone_s, says=_why_gone(senses))
    none_for = seen.refused_since is not None and senses.now - seen.refused_since >= REFUSED_S
    if seen.refused_run >= limits.nonsense_readings or (none_for and seen.refused_run > 0):
        return memory, Finding("G03", seen.refused_run, limits.nonsense_readings, says=_why_nonsense(senses))
    if seen.jump_since is None or seen.jump_c is None or senses.target.heat == "blocked":
        return memory, None  # while something is being added, heat is off and another level is no wonder
    step = seen.jump_c - (seen.value_c if seen.value_c is not None else seen.jump_c)
    if senses.now - seen.jump_since < (REFUSED_S if abs(step) > ALONE_K else LEVEL_S):
        return memory, None
    return memory, Finding("G04", step, limits.jump_k, latched=step > ALONE_K, says=_from_to(seen))


def _from_to(seen: Measurement) -> str:
    """The jump in full; without what was believed before, the step alone."""
    if seen.value_c is None:
        return ""
    to = f"from {seen.value_c:.1f} to {seen.jump_c:.1f} °C"
    return f"The reading jumped by {{value:.1f}} K, {to} (limit {{limit:g}} K). Heat is off."


def _why_nonsense(senses: Senses) -> str:
    """The sentence with what came and why it is not believed; the table's where the probe room does not say."""
    if not senses.seen.text:
        return ""
    why = senses.seen.text.replace("{", "(").replace("}", ")")
    return f"The mash readings make no sense: {why} ({{value:.0f}} in a row, limit {{limit:g}}). Heat is off."


def _why_gone(senses: Senses) -> str:
    """The sentence for readings that are missing, where more is known than that."""
    if "mash" in senses.gone:
        return "The mash probe's presence topic says that it is gone; it last read {value:.0f} s ago. Heat is off."
    if not senses.raw or not unproven(senses.seen):
        return ""
    why = "Mash readings come, but none known to be fresh for {value:.0f} s (limit {limit:g} s): "
    do = "If the probe node was started anew or its clock set, compare it with a hand thermometer, `clear`, `restart`."
    return f"{why}{senses.seen.text}. Heat is off. {do}"


def unproven(seen: Measurement) -> bool:
    """Are the newest readings sound, but not known to be new?"""
    return bool(seen.text) and not seen.refused_run and seen.jump_since is None


def probes(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G05: do two probes in one mash disagree for a minute?"""
    apart, blocked, now = apart_now_k(senses), senses.target.heat == "blocked", senses.now
    if blocked:
        memory = memory._replace(added_at=now)
    if apart is None or blocked or senses.state not in HEATED:
        if memory.differ_since is None and memory.differ_noted_since is None:
            return memory, None
        return memory._replace(differ_since=None, differ_noted_since=None), None
    limits = senses.tun.guard
    limit = apart_k(limits.probes_differ_k, memory.added_at, now)
    had_since, had_noted = memory.differ_since, memory.differ_noted_since
    since = None if apart <= limit else now if had_since is None else had_since
    noted = None if not (apart > limit / 2) else now if had_noted is None else had_noted
    if since != had_since or noted != had_noted:
        memory = memory._replace(differ_since=since, differ_noted_since=noted)
    if since is None or now - since < limits.probes_differ_s - TICK_S:
        return memory, None
    return memory, Finding("G05", apart, limit)


def apart_now_k(senses: Senses) -> float | None:
    """By how much do the two mash probes differ, K? None where one of them says nothing."""
    a, b = _level_c(senses.seen), _level_c(senses.second)
    return None if a is None or b is None else abs(a - b)


def _level_c(seen: Measurement | None) -> float | None:
    """Where does a probe's reading stand, a new level that is not believed yet included? °C"""
    if seen is None:
        return None
    return seen.value_c if seen.jump_c is None else seen.jump_c


def outlet(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G08: is what leaves the heater too hot? Any raw reading cuts, no filter asked, the node's own as well.

    Once too hot it stays so until an outlet reading that is believed is well below the limit.
    """
    limits, stood = senses.tun.guard, memory.outlet_hot_c is not None
    limit = limits.outlet_limit_c
    hot = [value for value in _outlet_raw(senses) if not (value < limit)]
    if hot:
        worst = max(hot)
        memory = memory._replace(outlet_at=senses.now)
        again = not stood and any(60.0 < senses.now - t < 600.0 for t in memory.outlet_hot_at)
        latched, says = again or not (worst < limits.outlet_trip_c), "" if worst <= HIGHEST_C else OUTLET_WILD
        return _outlet_hot_now(memory, senses.now, worst), Finding("G08", worst, limit, latched, says=says)
    cool = _outlet_believed(senses)
    if not cool:
        return _outlet_unheard(senses, memory)
    memory, worst = memory._replace(outlet_at=senses.now), max(cool)
    if not stood or worst < _cool_again_c(senses):
        return _outlet_hot_now(memory, senses.now, None) if stood else memory, None
    return memory._replace(outlet_hot_c=worst), Finding("G08", worst, limit)


def _outlet_raw(senses: Senses) -> list[float]:
    """Everything that was read at the outlet since the last tick, raw and corrected, true or not, °C."""
    probe, report = senses.tun.probes.outlet, senses.heater
    raw = [s.value_c for s in senses.raw_outlet if isinstance(s, Reading)]
    found = raw if probe is None else [*raw, *map(probe.calibrated, raw)]
    return found if report is None or report.outlet_c is None else [*found, report.outlet_c]


def _outlet_believed(senses: Senses) -> list[float]:
    """What shows that the outlet is cool, °C? No value outside what a thermometer there may read, and no false one."""
    seen, report = senses.outlet, senses.heater
    found = [] if seen is None or not seen.fresh or seen.value_c is None else [seen.value_c]
    node_c = None if report is None else report.outlet_c
    if node_c is not None and LOWEST_C <= node_c <= HIGHEST_C and not _false_value(node_c, None):
        found.append(node_c)
    return found


def _outlet_hot_now(memory: Memory, now: Instant, hot_c: float | None) -> Memory:
    """What is remembered of an outlet at or over its limit, °C, or just cool again (None)."""
    return memory._replace(outlet_hot_c=hot_c, outlet_hot_at=(*memory.outlet_hot_at[-15:], now))


def _cool_again_c(senses: Senses) -> float:
    """Below which outlet temperature is it over, °C? An outlet gets no cooler than the mash that runs into it."""
    limit, mash_c = senses.tun.guard.outlet_limit_c, senses.seen.value_c
    return limit - OUTLET_GAP_K if mash_c is None else max(limit - OUTLET_GAP_K, min(limit, mash_c + OUTLET_NEAR_K))


def outlet_over_mash(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G08: does heat stay in the heater? In a pumped tun the outlet is far over the mash where flow fails."""
    tun, out, mash_c = senses.tun, senses.outlet, senses.seen.value_c
    watched = tun.pump is not None and not tun.probes.mash.behind_heater and memory.off_seq < 0
    if not watched or out is None or out.value_c is None or mash_c is None:
        return memory if memory.over_mash_since is None else memory._replace(over_mash_since=None), None
    over_k, limit = out.value_c - mash_c, max(tun.guard.outlet_over_mash_k, FLOW_RISE * tun.plate_rise_k)
    if over_k <= limit:
        return memory if memory.over_mash_since is None else memory._replace(over_mash_since=None), None
    since = senses.now if memory.over_mash_since is None else memory.over_mash_since
    memory = memory._replace(over_mash_since=since)
    if senses.now - since < OUTLET_OVER_S:
        return memory, None
    again = any(60.0 < senses.now - t < 600.0 for t in memory.outlet_hot_at)
    memory = memory._replace(outlet_hot_at=(*memory.outlet_hot_at[-15:], senses.now), over_mash_since=None)
    says = "Wort leaves the heater {value:.1f} K hotter than the mash (limit {limit:.0f} K). Heat is off."
    return memory, Finding("G08", over_k, limit, latched=again, says=says, unit="K")


def _outlet_unheard(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """Silence is no proof that the outlet is cool again: it stays too hot until the trip waits for a person."""
    hot_c, heard_at = memory.outlet_hot_c, memory.outlet_at
    if hot_c is None or heard_at is None:
        return memory, None
    if senses.now - heard_at > LATCH_AFTER_S:  # the trip is as old, and latched by now
        return memory._replace(outlet_hot_c=None), None
    return memory, Finding("G08", hot_c, senses.tun.guard.outlet_limit_c)
