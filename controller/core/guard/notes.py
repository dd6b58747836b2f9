"""What is worth knowing and takes no heat away?"""

from __future__ import annotations

from controller.core.guard.registry import BY_ID, HEATED, Senses
from controller.core.guard.requalify import lacks
from controller.core.guard.state import GuardState
from controller.core.nouns import Event, Measurement, Phase, RunState

OVER_NOTE_K = 2.0  # over target: said, for heat destroys beta-amylase in minutes (own proposal)
REPEAT_S = 60.0  # the same words at most once a minute
WAITS_S = 60.0  # restarting takes some 10 s; after so long it is said what heat waits for (own proposal)
OPEN_S = 1800.0  # an addition has stood open for so long: heat and three watches wait for it (own proposal)
SILENT_S = 60.0  # another probe has given no reading for so long (own proposal)
ARRIVALS = 9  # so many believed readings show how far apart they come
PRIORITY = {"G07": 1, "adding": 2, "second": 2, "outlet": 2}  # 1 act now, 2 act soon; else 3, a note
CHECK_PROBE = "Check the probe, its plug and its network."


def follow(state: GuardState, senses: Senses, events: list[Event]) -> GuardState:
    """What is noted now? Said when it begins, at most once a minute."""
    state = _remember(state, senses)
    notes = tuple(_notes_now(state, senses))
    if notes == state.notes:
        return state
    had = {key for key, _ in state.notes}
    said = dict(state.said)
    for key, text in notes:
        if key not in had and senses.now - said.get(key, -REPEAT_S) >= REPEAT_S:
            said[key] = senses.now
            events.append(Event("note", key, text, priority=PRIORITY.get(key, 3)))
    return state._replace(notes=notes, said=tuple(said.items()))


def _remember(state: GuardState, senses: Senses) -> GuardState:
    """Since when has an addition stood open, and, for a start, when did the last few believed readings arrive?"""
    memory, seen, adding = state.memory, senses.seen, senses.phase is Phase.ADDING
    if adding != (memory.adding_since is not None):
        memory = memory._replace(adding_since=senses.now if adding else None)
    if senses.state not in HEATED and seen.fresh and seen.at is not None:
        memory = memory._replace(believed_at=(*memory.believed_at[1 - ARRIVALS :], seen.at))
    return state if memory is state.memory else state._replace(memory=memory)


def _notes_now(state: GuardState, senses: Senses) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    limits, seen, memory, link = senses.tun.guard, senses.seen, state.memory, senses.link
    heated = senses.state in HEATED
    if heated and limits.reading_late_s < seen.age_s <= limits.reading_gone_s:
        found.append(("G01", f"No new mash temperature for over {limits.reading_late_s:g} s."))
    if memory.differ_noted_since is not None and senses.now - memory.differ_noted_since >= 120.0:
        found.append(("G05", f"The two mash probes differ by more than {limits.probes_differ_k / 2:g} K."))
    if not (abs(senses.wall_set_s) <= limits.clock_odd_s):
        set_s = f"The wall clock was set by {senses.wall_set_s:+.0f} s (limit {limits.clock_odd_s:g} s)."
        found.append(("G18", f"{set_s} Rest times are not affected. {BY_ID['G18'].do}"))
    if senses.gap_s > limits.clock_odd_s:
        found.append(("G18", "The machine slept; every reading so far counts as stale."))
    if not senses.disk_ok:
        found.append(("G20", f"{BY_ID['G20'].says} {BY_ID['G20'].do}"))
    if link.flooding:
        found.append(("G22", f"More than {limits.flood_per_s:g} messages a second arrive on {link.flooding}."))
    if heated and senses.target.heat == "hold" and _over_k(senses) > OVER_NOTE_K:
        found.append(("over", f"The mash is {_over_k(senses):.0f} K over its target and the rest clock stands still. "
                              "Stir with the lid open, or add cold liquor."))  # fmt: skip
    waits = senses.state is RunState.RESTARTING and not state.qualified
    if waits and senses.now - max(state.qualify_from, state.off_until) > WAITS_S and (what := lacks(state, senses)):
        found.append(("waits", f"Heat still waits for {what}."))
    if state.past.idle_alarm:
        found.append(("G10", "The reading rises with the heater off. If no hot liquor is being added, cut the mains."))
    if link.foreign is not None and link.foreign.duty <= 0.0:
        found.append(("G19", "Somebody else sent OFF on the heater topic; it was obeyed."))
    if heated:
        found.extend((*_heater_late(state, senses), *_silent(state, senses)))
    if heated and senses.target.heat == "blocked":
        found.extend(_adding(state, senses))
    return found


def _heater_late(state: GuardState, senses: Senses) -> list[tuple[str, str]]:
    """Has the heater node been silent for half the time that it may be?"""
    limit, acked_at = senses.tun.guard.heater_silent_s, state.memory.acked_at
    if acked_at is None or not (limit / 2 < senses.now - acked_at <= limit):
        return []
    said = f"The heater node has not answered for {senses.now - acked_at:.0f} s; over {limit:g} s heat goes off."
    return [("G14", f"{said} Check its supply and network.")]


def _adding(state: GuardState, senses: Senses) -> list[tuple[str, str]]:
    """What is noted while something is being added, when heat is blocked and little is watched?"""
    memory, found = state.memory, []
    if memory.hot_run or memory.hot_second:
        over = f"{memory.hot_c:.1f} °C is read during an addition; the limit is {senses.tun.guard.hard_limit_c:g} °C."
        do = "If hot liquor or mash just went in, stir. If not, the heater may be stuck on: cut the mains, then look."
        found.append(("G07", f"{over} {do}"))
    if memory.adding_since is not None and senses.now - memory.adding_since >= OPEN_S:
        open_min = (senses.now - memory.adding_since) / 60
        stood = f"The addition has stood open for {open_min:.0f} min (limit {OPEN_S / 60:g} min)."
        waits = "Until it is over heat stays off, and a broken or stuck heater is not looked for (G09, G10, G12)."
        found.append(("adding", f"{stood} {waits} Answer the question, or `stop`."))
    return found


def _silent(state: GuardState, senses: Senses) -> list[tuple[str, str]]:
    """Which probe beside the mash probe gives no reading to believe, and what is not watched meanwhile?"""
    found, probes, now, heard_at = [], senses.tun.probes, senses.now, state.memory.outlet_at
    if probes.second is not None and (said := _missing(state, senses, "second", "second mash probe", senses.second)):
        found.append(("second", f"{said} Whether the probes differ (G05) is not watched meanwhile. {CHECK_PROBE}"))
    if probes.outlet is not None and (said := _missing(state, senses, "outlet", "outlet probe", senses.outlet)):
        by_node = heard_at is not None and now - heard_at <= SILENT_S
        watched = "is watched by the heater node's own thermometer alone" if by_node else "is not watched meanwhile"
        found.append(("outlet", f"{said} Whether the outlet is hot (G08) {watched}. {CHECK_PROBE}"))
    return found


def _missing(state: GuardState, senses: Senses, role: str, name: str, seen: Measurement | None) -> str:
    """Is a probe beside the mash probe gone by its own word, or silent? In words, or nothing."""
    if role in senses.gone:
        return f"The {name}'s presence topic says that it is gone."
    known_s = senses.now - state.started_at
    silent_s = known_s if seen is None else min(seen.age_s, known_s)
    return "" if silent_s <= SILENT_S else f"No good reading of the {name} for {silent_s:.0f} s (limit {SILENT_S:g} s)."


def _over_k(senses: Senses) -> float:
    """By how much is the mash over the plateau, K?"""
    target, value = senses.target.target_c, senses.seen.value_c
    return 0.0 if target is None or value is None else value - target
