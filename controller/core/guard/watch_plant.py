"""Do heater, switches, broker, loop, owner or clock give cause to cut the heat? G13 to G17, G19, G23, tick by tick.

Conditions are written so that a value that is no number trips.
"""

from __future__ import annotations

from controller.core.guard.registry import HEATED, Finding, Memory, Senses
from controller.core.nouns import NO_FLOW, NO_LIQUID, OUTLET, Instant, RunState, Switch

NOT_THERE = "The heater node's presence topic says that it is gone. Its lease runs out; heat is off."  # G14
NO_LINK = "The connection to the message broker is lost. Heat is off."  # G16
OUTBID = (
    "Another controller of a higher number ({value:.0f}, ours is {limit:.0f}) owns this tun. This one stops for good."
)
HEATED_LONG = "The heater has been on for {value:.0f} s of this run (limit {limit:.0f} s). Heat is off."  # G23
SLEPT = "The machine slept, or stood still, for {value:.0f} s (limit {limit:g} s). Heat is off."  # G17
POWER_SHARE = 0.05  # of what should flow: less is none, more with the heater off is some (own proposal)
DRAWS_DUTY, DRAWS_S = 0.2, 5.0  # the output over so much, for so long in all, without power (own proposal)


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
    memory, again = _flow_lost(memory, senses.now)
    return memory, _no_go("flow", "flow past the heater", senses.flow, senses.now, limit, latched=again)


def _flow_lost(memory: Memory, now: Instant) -> tuple[Memory, bool]:
    """Flow is lost; was it within the last ten minutes before?"""
    recent = tuple(t for t in memory.flow_lost_at if now - t < 600.0)
    again = any(now - t > 60 for t in recent)
    return memory._replace(flow_lost_at=(*recent[-15:], now)), again


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
    """G14: does the heater node answer our newest commands? The age of an answer is that of the command it answers, so
    that a queue before the node counts; a sequence that we never sent, or long ago, is no answer."""
    report = senses.heater
    if report is not None and report.epoch == senses.epoch:
        seq, acked = report.seq, memory.acked_seq
        if seq > acked and (sent_at := dict(memory.sent).get(seq)) is not None:
            memory = memory._replace(acked_seq=seq, acked_at=sent_at, acked_duty=report.duty, acked_boot=report.boot)
        elif seq == acked and report.duty != memory.acked_duty:
            memory = memory._replace(acked_duty=report.duty)
    if senses.state not in HEATED or senses.gap_s > senses.tun.guard.clock_odd_s:
        return memory, None  # a machine that slept has sent nothing that could be answered: G17
    limit = senses.tun.guard.heater_silent_s
    silent = senses.now - memory.acked_at if memory.acked_at is not None else 86400.0
    if senses.heater_online is False:
        return memory, Finding("G14", silent, 0.0, says=NOT_THERE)
    if silent <= limit:
        return memory, None
    says = "The heater node answers commands of {value:.0f} s ago (limit {limit:g} s). Heat is off."
    return memory, Finding("G14", silent, limit, says=says if _behind(senses, memory) else "")


def _behind(senses: Senses, memory: Memory) -> bool:
    """Does the heater node still answer, to old commands?"""
    report = senses.heater
    return report is not None and report.epoch == senses.epoch and report.seq == memory.acked_seq


def heater_obeys(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G15: does the heater go off when told? Epoch and sequence are compared first, so a late report is no liar."""
    report, limits = senses.heater, senses.tun.guard
    if report is None:
        return memory, None
    current = report.power_w is not None and report.power_w > POWER_SHARE * senses.tun.heater.power_w
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


def heater_fault(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G13, G08, G15: does the heater node report a fault of its own while it is asked for heat?

    The rules of `node.py` are told by their words; a fault that is none of them waits for a person.
    """
    report = senses.heater
    if report is not None and (report.fault or "") != memory.fault:
        memory = memory._replace(fault=report.fault or "")
    if report is None or not report.fault or memory.off_seq >= 0:
        return memory, None
    text = report.fault.replace("{", "(").replace("}", ")")
    says = f"The heater node's own fault: {text}. Heat is off."
    limits = senses.tun.guard
    if NO_LIQUID in report.fault:
        return memory, Finding("G13", 0.0, 0.0, latched=True, says=says)
    if NO_FLOW in report.fault:
        memory, again = _flow_lost(memory, senses.now)
        return memory, Finding("G13", 0.0, 0.0, latched=again, says=says)
    if OUTLET in report.fault:
        hot_c = 0.0 if report.outlet_c is None else report.outlet_c
        return memory, Finding("G08", hot_c, limits.outlet_limit_c, hot_c >= limits.outlet_trip_c, says=says)
    return memory, Finding("G15", report.duty, 0.0, latched=True, says=says, unit="duty")


def heater_draws(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G09: does power flow where the node says that its output is on? Only where it measures power.

    Within an on/off window only the time with the output on counts, and power in any report starts it anew.
    """
    report = senses.heater
    if report is None or report.power_w is None:
        return memory, None
    plate_w = senses.tun.heater.power_w
    if report.power_w > POWER_SHARE * plate_w:
        return memory if not memory.no_power_s else memory._replace(no_power_s=0.0), None
    due_w = POWER_SHARE * plate_w * report.duty
    if memory.off_seq >= 0 or not (report.duty > DRAWS_DUTY and report.power_w < due_w):
        return memory, None
    without_s = memory.no_power_s + senses.dt
    if without_s < DRAWS_S:
        return memory._replace(no_power_s=without_s), None
    memory = memory._replace(no_power_s=0.0)
    says = "With its output on, the heater draws {value:.0f} W (at least {limit:.0f} W is due). Heat is off."
    return memory, Finding("G09", report.power_w, due_w, says=says, unit="W")


def broker(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G16: is the broker there, and do our own commands come back from it?"""
    limit, link = senses.tun.guard.echo_gone_s, senses.link
    if senses.state not in HEATED:
        return memory, None
    if not link.up:
        return memory, Finding("G16", max(0.0, senses.now - link.since), 0.0, says=NO_LINK)
    return memory, Finding("G16", link.delay_s, limit) if not (link.delay_s <= limit) else None


def beat(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G17: did the loop come late?"""
    limit = senses.tun.guard.beat_late_s
    if senses.state not in HEATED or senses.late_s <= limit:
        return memory, None
    if senses.gap_s > senses.tun.guard.clock_odd_s:
        return memory, Finding("G17", senses.gap_s, limit, says=SLEPT)
    return memory, Finding("G17", senses.late_s, limit)


def owner(senses: Senses, memory: Memory) -> tuple[Memory, Finding | None]:
    """G19: does somebody else command this heater? A foreign OFF is obeyed and noted, no more."""
    if senses.state is RunState.CHECKING:
        return memory, None
    if senses.epoch_seen > senses.epoch:
        return memory, Finding("G19", float(senses.epoch_seen), float(senses.epoch), says=OUTBID, unit="")
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
        return memory, Finding("G23", memory.heat_on_s, limits.heat_on_s, says=HEATED_LONG)
    return memory, None
