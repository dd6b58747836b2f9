"""G13: a heater without liquid or flow burns out: a bare sheath is past 300 °C in half a minute (rough arithmetic),
far too fast for any broker. The node and a hard-wired switch must act; this is the second line.

The first word that says no cuts, and heat comes back once the switch has been closed for 3 s (contact.py). A trip is
what two words say, or many bounces: a float that dances at the brim must not stop a mash, nor have half heat. Lost
flow is tried again by itself once; lost again within 10 min it waits for a person. So does a lack of liquid, by the
node's own word as well. A switch that says nothing is a gap of a link, after one word that says no as well; so is flow
that is lost while the pump's node hears nothing, or has just come back: its lease has ended, as it should.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard.contact import CLOSED_S, WITHIN_S, Contact
from controller.core.guard.heater_line import node_says
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.senses import AWAY_TRIP_S, HEATED, Senses
from controller.core.nouns import HeaterReport, Instant, RunState, Switch, Trip

AGAIN_S = (60.0, 600.0)  # flow lost again after so long, within so long: it waits for a person (own proposal)
LOST_KEPT = 15
UNHEARD = Contact()
OWN = "no_liquid", "no_flow"  # codes of the heater node
BOUNCED = "The {} switch opened for a moment; heat comes back once it was closed for 3 s. Look at switch and level."


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
    level: Contact = UNHEARD
    flow: Contact = UNHEARD
    node: Contact = UNHEARD  # by the heater node's own word
    node_code: str = ""  # what that said last
    away_at: Instant | None = None  # the pump's node was away then, the newest time

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """By the switches, or by the heater node's own word."""
        after, switches = self._away(senses, known)._switches(senses)
        after, told = after._by_node(senses, known)
        return after, _worst(switches, told)

    def asleep(self, senses: Senses) -> Self:
        """The words count on."""
        return self._heard(senses)

    def _heard(self, senses: Senses) -> Self:
        """With what the switches say. Where no flow is asked for, none is no wonder."""
        level, flow = self.level.heard(senses.heater.level), self.flow.heard(senses.heater.flow)
        flow = flow if _flow_asked(senses) else flow.not_asked()
        same = level is self.level and flow is self.flow
        return self if same else replace(self, level=level, flow=flow)

    def _switches(self, senses: Senses) -> tuple[Self, Finding | None]:
        after, now, tun = self._heard(senses), senses.now, senses.tun
        dry = still = None
        if senses.heated and tun.level is not None:
            dry = _said("level", "liquid at the heater", after.level, senses.heater.level, senses)
        if tun.flow is not None and _flow_asked(senses):
            still = _said("flow", "flow past the heater", after.flow, senses.heater.flow, senses)
        if still is not None and after._pump_away(senses):
            gap_s = max(senses.silence_trip_s, 0.0 if senses.heater.movers is None else AWAY_TRIP_S)
            still = still._replace(cut_only=False, latched=False, gap_s=gap_s)
        if still is not None and still.gap_s is None and not still.cut_only:
            after, again = after._flow_lost(now)
            still = still._replace(latched=again)
        return after, _worst(dry, still)

    def _away(self, senses: Senses, known: Known) -> Self:
        """Is the node that drives the pump away, or does no word of ours reach it? Where that has no presence of its
        own, the heater's counts as that one: it gets the same words, or none."""
        own, there, within_s = senses.own, senses.heater.movers, senses.tun.guard.heater_silent_s / 2
        if there is None:
            there = senses.heater.online is not False and known.line.silent_s(senses.now) <= within_s
        heard = there and own.link.up and own.link.delay_s <= within_s
        return self if heard else replace(self, away_at=senses.now)

    def _pump_away(self, senses: Senses) -> bool:
        """May the pump stand because its node got no word, or did until just now?"""
        return self.away_at is not None and senses.now - self.away_at < senses.tun.guard.flow_proof_s

    def _flow_lost(self, now: Instant) -> tuple[Self, bool]:
        """Flow is lost; was it within the last ten minutes before?"""
        least_s, most_s = AGAIN_S
        recent = tuple(at for at in self.flow_lost_at if now - at < most_s)
        again = any(now - at > least_s for at in recent)
        return replace(self, flow_lost_at=(*recent[-LOST_KEPT:], now)), again

    def _by_node(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Its own contacts, once it was asked for heat."""
        report, now = senses.heater.report, senses.now
        after = self if report is None else self._told(report, known.line.heats)
        if report is not None and report.fault and after.node.heard_at == report.at and after.node.is_open(now):
            after, again = after._flow_lost(now) if after.node_code == "no_flow" else (after, True)
            return after, Finding(self.ROW, 0.0, 0.0, latched=again, says=node_says(report.fault))
        node = after.node
        silent = node.open_since is not None and node.heard_at is not None and now - node.heard_at >= CLOSED_S
        return after, None if silent or node.settled(now) else Finding(self.ROW, 0.0, 0.0, cut_only=True)

    def _told(self, report: HeaterReport, heats: bool) -> Self:
        """After its report. Told to be off it no longer looks at its flow, so that only heat shows that it is back."""
        code = report.fault_code if report.fault else None
        if code in OWN:
            heard_at = self.node.heard_at
            if not heats and self.node.open_since is None:
                return self
            before = UNHEARD if heard_at is None or report.at - heard_at > WITHIN_S else self.node
            return replace(self, node=before.heard(Switch(False, report.at)), node_code=str(code))
        if self.node.open_since is None or report.fault or (self.node_code == "no_flow" and report.duty <= 0.0):
            return self
        closed = self.node.heard(Switch(True, report.at))
        return replace(self, node=closed._replace(closed_since=None) if report.duty > 0.0 else closed)

    def still_there(self, trip: Trip, senses: Senses, known: Known) -> Finding | None:
        """What do the switches say, as if heat were asked for?"""
        return self._switches(senses)[1]

    def cleared(self) -> Self:
        """Somebody has looked: bounces count anew."""
        return replace(self, level=self.level._replace(bounces=()), flow=self.flow._replace(bounces=()))

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """A bounce that took the heat for some seconds."""
        if not senses.heated:
            return ()
        now, contacts = senses.now, (("level", self.level), ("flow", self.flow))
        bounced = (name for name, known in contacts if known.bounces and not (known.settled(now) or known.is_open(now)))
        return tuple(Note("G13", BOUNCED.format(name)) for name in bounced)[:1]


def _flow_asked(senses: Senses) -> bool:
    """Should the pump make a flow by now, and does heat ask for it?"""
    proving = senses.run.state is RunState.RESTARTING or senses.run.target.heat == "hold"
    return proving and senses.heater.pump_on_s >= senses.tun.guard.flow_proof_s


def _worst(*found: Finding | None) -> Finding | None:
    """A trip, else a gap of a link, else what cuts for this tick."""
    there = [finding for finding in found if finding is not None]
    return min(there, key=lambda finding: (finding.cut_only, finding.gap_s is not None), default=None)


def _said(name: str, of_what: str, contact: Contact, word: Switch | None, senses: Senses) -> Finding | None:
    """What does one switch give cause for? Its silence is a gap of a link, be it after one word that says no."""
    now, limit_s = senses.now, senses.tun.guard.switch_gone_s
    silent_s = 86400.0 if word is None else min(86400.0, now - word.at)
    if not (silent_s <= limit_s):
        says = f"The {name} switch has been silent for {{value:.0f}} s (limit {{limit:g}} s). Heat is off."
        return Finding(NoLiquid.ROW, silent_s, limit_s, False, says=says, gap_s=senses.silence_trip_s)
    says = f"The {name} switch says: no {of_what}. Heat is off."
    if contact.is_open(now):
        return Finding(NoLiquid.ROW, silent_s, limit_s, True, says=says)
    return None if contact.settled(now) else Finding(NoLiquid.ROW, silent_s, limit_s, cut_only=True, says=says)
