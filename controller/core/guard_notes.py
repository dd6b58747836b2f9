"""What is worth knowing and takes no heat away?"""

from __future__ import annotations

from controller.core.evidence import lacks
from controller.core.guard_state import GuardState
from controller.core.interlocks import BY_ID, HEATED, Senses
from controller.core.model import Event, RunState

OVER_NOTE_K = 2.0  # over target: said, for heat destroys beta-amylase in minutes (own proposal)
REPEAT_S = 60.0  # the same words at most once a minute
WAITS_S = 60.0  # restarting takes some 10 s; after so long it is said what heat waits for (own proposal)


def follow(state: GuardState, senses: Senses, events: list[Event]) -> GuardState:
    """What is noted now? Said when it begins, at most once a minute."""
    notes = tuple(_notes_now(state, senses))
    if notes == state.notes:
        return state
    had = {key for key, _ in state.notes}
    said = dict(state.said)
    for key, text in notes:
        if key not in had and senses.now - said.get(key, -REPEAT_S) >= REPEAT_S:
            said[key] = senses.now
            events.append(Event("note", key, text, priority=3))
    return state._replace(notes=notes, said=tuple(said.items()))


def _notes_now(state: GuardState, senses: Senses) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    limits, seen, memory, link = senses.tun.guard, senses.seen, state.memory, senses.link
    heated = senses.state in HEATED
    if heated and limits.reading_late_s < seen.age_s <= limits.reading_gone_s:
        found.append(("G01", f"No new mash temperature for over {limits.reading_late_s:g} s."))
    if memory.differ_noted_since is not None and senses.now - memory.differ_noted_since >= 120.0:
        found.append(("G05", f"The two mash probes differ by more than {limits.probes_differ_k / 2:g} K."))
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
    return found


def _over_k(senses: Senses) -> float:
    """By how much is the mash over the plateau, K?"""
    target, value = senses.target.target_c, senses.seen.value_c
    return 0.0 if target is None or value is None else value - target
