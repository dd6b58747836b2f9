"""Do heater, switches, broker, loop, owner or clock give cause to cut the heat? G13 to G17, G19, G23, tick by tick.

Conditions are written so that a value that is no number trips.
"""

from __future__ import annotations

from controller.core.interlocks import HEATED, Finding, Memory, Senses
from controller.core.model import Instant, RunState, Switch

COIL_LONGER = 1.3  # G23: a coil warms its own liquor as well, up to 0.3 of the mash; no plan knows it (own trial)


def switches(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G13: liquid over the heater, and flow where the pump should make one."""
    tun, limit = senses.tun, senses.tun.guard.switch_gone_s
    heated, proving = senses.state in HEATED, senses.state is RunState.RESTARTING
    if heated and tun.level is not None and _bad(senses.level, senses.now, limit):
        return memory, _no_go("level", "liquid at the heater", senses.level, senses.now, limit, latched=True)
    if tun.flow is None or not (proving or (heated and senses.target.heat == "hold")):
        return memory, None
    if senses.pump_on_s < tun.guard.flow_proof_s or not _bad(senses.flow, senses.now, limit):
        return memory, None
    recent = tuple(t for t in memory.flow_lost_at if senses.now - t < 600.0)
    again = any(senses.now - t > 60 for t in recent)
    memory = memory._replace(flow_lost_at=(*recent[-15:], senses.now))
    return memory, _no_go("flow", "flow past the heater", senses.flow, senses.now, limit, latched=again)


def _no_go(name: str, of_what: str, switch: Switch | None, now: Instant, limit_s: float, *, latched: bool) -> Finding:
    """The finding in plain words: what the switch says, or that it says nothing."""
    says = f"The {name} switch says: no {of_what}. Heat is off."
    if switch is None or switch.ok:
        says = f"The {name} switch has been silent for {{value:.0f}} s (limit {{limit:g}} s). Heat is off."
    return Finding("G13", _silent_s(switch, now), limit_s, latched=latched, says=says)


def _bad(switch: Switch | None, now: Instant, limit_s: float) -> bool:
    return switch is None or not switch.ok or not (now - switch.at <= limit_s)


def _silent_s(switch: Switch | None, now: Instant) -> float:
    return min(86400.0, now - switch.at) if switch is not None else 86400.0


def heater_answers(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G14: does the heater node answer our newest commands?"""
    report = senses.heater
    if report is not None and report.epoch == senses.epoch:
        seq, acked = report.seq, memory.acked_seq
        if seq > acked:
            memory = memory._replace(acked_seq=seq, acked_at=report.at, acked_duty=report.duty, acked_boot=report.boot)
        elif seq == acked and report.duty != memory.acked_duty:
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
    current = report.power_w is not None and report.power_w > 0.05 * senses.tun.heater.power_w
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
    if senses.state is RunState.CHECKING:
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
    planned_s = senses.planned_s * (COIL_LONGER if senses.tun.heater.place == "coil" else 1.0)
    most = planned_s * limits.run_factor + limits.run_extra_s
    if not (senses.run_s <= most):
        return memory, Finding("G23", senses.run_s, most)
    if not (memory.heat_on_s <= limits.heat_on_s):
        return memory, Finding("G23", memory.heat_on_s, limits.heat_on_s)
    return memory, None
