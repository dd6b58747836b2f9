"""G13: a heater without liquid or flow burns out: a bare sheath is past 300 °C in half a minute (rough arithmetic),
far too fast for any broker. The node and a hard-wired switch must act; this is the second line.

Lost flow is tried again by itself once; lost again within 10 min it waits for a person. So does a lack of liquid, by
the node's own word as well. A switch that says nothing is a gap of a link: heat is off, and it ends by itself; a word
that says no, whoever's, goes before it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard import liquid
from controller.core.guard.heater_line import node_says
from controller.core.guard.interlock import Finding, Interlock, Known, Row
from controller.core.guard.senses import HEATED, Senses
from controller.core.nouns import Instant, RunState, Switch, Trip

AGAIN_S = (60.0, 600.0)  # flow lost again after so long, within so long: it waits for a person (own proposal)
LOST_KEPT = 15


@dataclass(frozen=True, slots=True)
class NoLiquid(Interlock):
    """Liquid over the heater, and flow where the pump should make one. Lost flow is tried again by itself once."""

    ROW: ClassVar[Row] = Row(
        id="G13",
        name="no liquid or no flow",
        field="switch_gone_s",
        unit="s",
        priority=1,
        clears="latched",
        deadline_s=2.0,
        says="No liquid or no flow at the heater, or its switch is silent ({value:.0f} s, limit {limit:g} s). "
        "Heat is off.",
        do="Check level, valves, pump and bed. "
        "Lost flow is tried again by itself once; the next time it waits for you.",
    )
    STATES: ClassVar[frozenset[RunState]] = HEATED | {RunState.RESTARTING}

    flow_lost_at: tuple[Instant, ...] = ()

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """By the switches, or by the heater node's own word while it is asked for heat."""
        after, finding = self._switches(senses)
        if finding is not None and finding.gap_s is None:
            return after, finding
        after, told = after._by_node(senses, known)
        return after, told or finding

    def _switches(self, senses: Senses) -> tuple[Self, Finding | None]:
        tun, heater, now = senses.tun, senses.heater, senses.now
        dry = None
        if senses.heated and not liquid.wet(tun, heater.level, now):
            dry = _found("level", "liquid at the heater", heater.level, senses, latched=True)
        if dry is not None and dry.gap_s is None:
            return self, dry
        proving = senses.run.state is RunState.RESTARTING or senses.run.target.heat == "hold"
        proven = heater.pump_on_s < tun.guard.flow_proof_s or liquid.flows(tun, heater.flow, now)
        if proven or not proving:
            return self, dry
        silent = heater.flow is None or heater.flow.ok
        after, again = (self, False) if silent else self._flow_lost(now)
        still = _found("flow", "flow past the heater", heater.flow, senses, latched=again)
        return after, dry if dry is not None and silent else still

    def _flow_lost(self, now: Instant) -> tuple[Self, bool]:
        """Flow is lost; was it within the last ten minutes before?"""
        least_s, most_s = AGAIN_S
        recent = tuple(at for at in self.flow_lost_at if now - at < most_s)
        again = any(now - at > least_s for at in recent)
        return replace(self, flow_lost_at=(*recent[-LOST_KEPT:], now)), again

    def _by_node(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        report = senses.heater.report
        if report is None or not report.fault or not known.line.heats:
            return self, None
        says = node_says(report.fault)
        if report.fault_code == "no_liquid":
            return self, Finding(self.ROW, 0.0, 0.0, latched=True, says=says)
        if report.fault_code != "no_flow":
            return self, None
        after, again = self._flow_lost(senses.now)
        return after, Finding(self.ROW, 0.0, 0.0, latched=again, says=says)

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """What do the switches say, as if heat were asked for?"""
        return self._switches(senses)[1]


def _found(name: str, of_what: str, switch: Switch | None, senses: Senses, *, latched: bool) -> Finding:
    """The finding in plain words: what the switch says, or that it says nothing."""
    says, gap_s = f"The {name} switch says: no {of_what}. Heat is off.", None
    if switch is None or switch.ok:
        gap_s, latched = senses.silence_trip_s, False  # silence is a gap of a link
        says = f"The {name} switch has been silent for {{value:.0f}} s (limit {{limit:g}} s). Heat is off."
    silent_s = min(86400.0, senses.now - switch.at) if switch is not None else 86400.0
    return Finding(NoLiquid.ROW, silent_s, senses.tun.guard.switch_gone_s, latched, says=says, gap_s=gap_s)
