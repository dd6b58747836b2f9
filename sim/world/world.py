"""What reaches the daemon from the tun, and what becomes of what it commands?

One tun with its probes, switches and heater node, its broker and its strangers, and one seed for all of it. It speaks
in topics and payload bytes exactly as they go over a broker, and moves in steps of half a second at n x 0.5 s. Whoever
drives it (a dry run, a stand-in on a real broker) asks for messages and hands over commands; nothing here reads a
clock.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from random import Random
from typing import NamedTuple

from controller.core.nouns import Course
from controller.messages.topics import topics
from controller.settings.tun import Probe as ProbeSettings
from controller.settings.tun import Settings
from sim.fresh_readings import decoded
from sim.plant.spec import STEP_S, WATER_J_PER_KG_K
from sim.plant.tun import Tun
from sim.world.faults import Fault, Faults
from sim.world.instruments import NO_READINGS, Form, Heater, Probe, Switch
from sim.world.network import Message, Network
from sim.world.probe_faults import Misled
from sim.world.true_values import Role, TrueValues, of_tun

WALL_S = 1_790_000_000.0  # unix time at the start of every simulated run: 21 September 2026, 14:13 UTC
TAP_C = 15.0  # cold liquor, where the liquor in the tun came in hot (common practice)
MAINS_S = 60.0  # the supply wanders once a minute
FLOWS_SHARE = 0.3  # a flow switch closes above this share of the full flow (common practice: a third)


class ProbeTopic(NamedTuple):
    """The probes that speak on one topic, and how."""

    topic: str
    roles: tuple[Role, ...]
    probes: tuple[Probe, ...]
    form: Form


class World:
    """`until` moves time on and returns what arrived; `receive` takes what the daemon sent."""

    def __init__(
        self,
        settings: Settings,
        course: Course,
        seed: int,
        faults: Iterable[Fault] = (),
        truth: TrueValues | None = None,
        liquor_c: float = 12.0,
    ) -> None:
        self.settings, self.course, self.seed = settings, course, seed
        self.rng = Random(f"world {seed}")
        self.truth = truth if truth is not None else of_tun(settings.tun, self.rng, liquor_c)
        self.faults = Faults(faults)
        self.live = self.faults.at(0.0)
        share = self.live["liquor_share"].value if "liquor_share" in self.live else 1.0
        self.tun = Tun(self.truth.spec, course.liquor_kg * share, self.truth.liquor_c, self.truth.room_c)
        self.tun.stir(False)
        self.tun.pump(0.0)
        self.topics = topics(settings)
        self.wires = Network(self.topics, Random(f"wires {seed}"))
        self.now = -STEP_S  # of the last step done
        self._mischief = Random(f"mischief {seed}")
        self._boots = 0
        self._start_probes()
        self.heater = Heater(self.truth.node, self.truth.measures_power, self._boot(), 0.0)
        self._level, self._flow = Switch(), Switch()
        self._stirrer_until = self._pump_until = self._hand_pump_until = 0.0
        self._mains, self._mains_next = 1.0, 0.0
        self._before: frozenset[str] = frozenset()
        self._foreign_seq = 0
        self._misled = Misled(self.probes, self.truth.room_c)
        self._least_l = settings.tun.min_liquor_l

    def _start_probes(self) -> None:
        tun = self.settings.tun
        by_role = {"mash": tun.probes.mash, "second": tun.probes.second, "outlet": tun.probes.outlet}
        self.probes: dict[Role, Probe] = {}
        by_topic: dict[str, dict[Role, ProbeSettings]] = {}
        for role, senses in self.truth.senses:
            settings = by_role[role]
            if settings is None:
                continue
            self.probes[role] = Probe(senses, settings, self.truth.liquor_c, self.rng)
            by_topic.setdefault(settings.topic, {})[role] = settings
        self._lines = [
            ProbeTopic(topic, tuple(group), tuple(self.probes[role] for role in group), Form(tuple(group.values())))
            for topic, group in by_topic.items()
        ]
        self._felt = [(probe, probe.senses.spot) for probe in self.probes.values()]
        self._due = 0.0

    def _boot(self) -> str:
        self._boots += 1
        return f"{self.rng.getrandbits(32):08x}"

    # ------------------------------------------------------------ for whoever drives it

    @property
    def wall_s(self) -> float:
        """Unix time of the simulated world, s."""
        return WALL_S + max(0.0, self.now)

    def until(self, t: float) -> list[Message]:
        """Move on to t (s) and return what has reached the daemon by then, in the order of arrival."""
        while self.now + STEP_S <= t:
            self.step()
        return self.wires.arrived(t)

    def receive(self, topic: str, payload: bytes, t: float, retained: bool = False) -> None:
        """The daemon publishes at time t."""
        self.wires.to_nodes(t, topic, payload, self.live, retained)

    def say(self, topic: str, payload: bytes, t: float) -> None:
        """A person publishes at time t."""
        self.wires.to_daemon(t, topic, payload, self.live)

    # ------------------------------------------------------------ what hands do at the tun

    def hand_c(self) -> float:
        """What does a hand thermometer read in the tun now? °C, to 0.1."""
        return round(self.tun.mash_mean_c + self._mischief.gauss(0.0, 0.1), 1)

    def dough_in(self, over_s: float) -> None:
        """Pour the grist in, lid off; by a fault only a part of it."""
        share = self.live["grist_share"].value if "grist_share" in self.live else 1.0
        if self.course.grist_kg * share > 0:
            truth = self.truth
            self.tun.add_grist(self.course.grist_kg * share, truth.grist_c, truth.grist_moisture, over_s)

    def temper(self, wanted_c: float, over_s: float = 30.0) -> float:
        """Cold liquor within so many s, stirred in by hand, until the mash is no warmer than wanted. Returns kg."""
        too_warm = self.tun.mash_mean_c - wanted_c
        if too_warm <= 0:
            return 0.0
        cold = min(self.truth.liquor_c, TAP_C)
        kg = self.tun.capacity_j_per_k * too_warm / (WATER_J_PER_KG_K * (wanted_c - cold))
        self.tun.add_liquor(kg, cold, over_s)
        return kg

    def hand_pump(self, for_s: float) -> None:
        """Run the pump by its own switch for so long."""
        self._hand_pump_until = self.now + for_s

    def wet_and_flowing(self) -> bool:
        """Who looks at pump and switches: is there liquid, would there be flow, and do both switches say so?"""
        share = self.live["pump_slow"].value if "pump_slow" in self.live else 1.0
        dead = ("flow_lost", "flow_silent", "level_silent", "pump_stopped", "mains_cut")
        return self._has_liquid() and share >= FLOWS_SHARE and self.live.keys().isdisjoint(dead)

    # ------------------------------------------------------------ half a second

    def step(self) -> None:
        """Half a second further."""
        now = self.now + STEP_S
        self.now, live = now, self.faults.at(now)
        if now == 0.0:
            self._online(self.topics.heater_online, True)
            self._online(self.topics.probe_online, True)
        if live is not self.live or (now == 0.0 and live):
            self.live = live
            self._edges(now)
        if not live and now % 1.0 == 0.0 and self.heater.plain:
            self._between(now)
            return
        for message in self.wires.for_nodes(now):
            self._command(message)
        self._motors(now)
        self._heat(now)
        self._see(now)
        if live and now % 1.0 == 0.0:
            self.wires.strangers(now, live)

    def _between(self, now: float) -> None:
        """A half second in which nothing is decided: commands come in at the other half, k + 0.25 s on."""
        tun = self.tun
        tun.half(self.heater.share)
        for probe, spot in self._felt:
            probe.feel(tun.spot_c(spot))
        if now >= self._due:
            self._samples(now)

    def _edges(self, now: float) -> None:
        """What happens once, when a fault begins or ends?"""
        kinds = frozenset(self.live)
        begun, over = kinds - self._before, self._before - kinds
        self._before = kinds
        self.wires.link(now, "broker_gone" not in kinds)
        if begun & {"heater_reboot", "heater_boots_on"} or over & {"heater_gone", "mains_cut"}:
            self.heater.reboot(self._boot(), now)
        if begun & {"probe_reboot"} or over & {"mains_cut"}:
            for probe in self.probes.values():
                probe.seq = 0
        self._presence(begun, over)
        self._plays(begun, now)
        if (begun | over) & {"lid_open"}:
            self.tun.lid("lid_open" in kinds)

    def _presence(self, begun: frozenset[str], over: frozenset[str]) -> None:
        """Birth messages and last wills of the nodes."""
        if begun & {"heater_gone", "mains_cut"}:
            self._online(self.topics.heater_online, False)
        if over & {"heater_gone", "mains_cut"}:
            self._online(self.topics.heater_online, True)
        if begun & {"probe_offline"}:
            self._online(self.topics.probe_online, False)
        if over & {"probe_offline", "mains_cut"} or begun & {"probe_reboot"}:
            self._online(self.topics.probe_online, True)
        if over & {"broker_gone"}:  # nodes that are there say so anew with each connection
            self._online(self.topics.heater_online, self.live.keys().isdisjoint({"heater_gone", "mains_cut"}))
            self._online(self.topics.probe_online, "probe_offline" not in self.live)

    def _plays(self, begun: frozenset[str], now: float) -> None:
        """Faults that are a single event."""
        if "retained_replay" in begun:
            self.wires.retained_trap(now)
        if "replay" in begun:
            self.wires.replay(now)
        if "cold_liquor" in begun:
            self.tun.add_liquor(self.live["cold_liquor"].value, self.truth.liquor_c, 30.0)
        if "hot_liquor" in begun:
            self.tun.add_liquor(self.live["hot_liquor"].value, 98.0, 30.0)
        if "probe_fallen" in begun:
            self._misled.fallen_c = self.probes["mash"].felt_c
        if "probe_drift" in begun:
            self._misled.drift_k = 0.0
        if "stop_button" in begun:
            word = ("stop", "hold", "abort")[round(self.live["stop_button"].value) - 1]
            self.wires.to_daemon(now, self.topics.order, word.encode(), {})

    def _online(self, topic: str, there: bool) -> None:
        self.wires.to_daemon(self.now, topic, b"true" if there else b"false", {}, keep=True)

    def _command(self, message: Message) -> None:
        """What the daemon said reaches a node."""
        topic, live = message.topic, self.live
        if topic == self.topics.heater_command:
            if not live or not live.keys() & {"heater_deaf", "heater_gone", "mains_cut"}:
                self.heater.hear(message.payload, self.now, message.retained)
        elif topic == self.topics.stirrer_command:
            self._stirrer_until = self._lease(message.payload)
        elif topic == self.topics.pump_command:
            self._pump_until = self._lease(message.payload)

    def _lease(self, payload: bytes) -> float:
        """A motor node keeps a lease too."""
        try:
            said = decoded(payload)
            return self.now + float(said["valid_s"]) if said["on"] is True else self.now
        except (ValueError, KeyError, TypeError):
            return self.now  # what cannot be read is no reason to move

    def _motors(self, now: float) -> None:
        live, tun = self.live, self.tun
        stirs = now < self._stirrer_until
        pumps = 1.0 if now < self._pump_until or now < self._hand_pump_until else 0.0
        if live:
            dead = "mains_cut" in live
            stirs = stirs and not dead and "stirrer_stopped" not in live
            pumps = 0.0 if dead or "pump_stopped" in live else pumps
            pumps *= live["pump_slow"].value if "pump_slow" in live else 1.0
        if stirs != tun.stirring:
            tun.stir(stirs)
        if pumps != tun.pumping:
            tun.pump(pumps)

    def _heat(self, now: float) -> None:
        """The node decides, the element heats."""
        if now >= self._mains_next:
            self._mains_next += MAINS_S
            share = self.truth.mains_share
            self._mains = min(share, max(-share, self._mains - 1.0 + self.rng.gauss(0.0, 0.3 * share))) + 1.0
        live = self.live
        self.tun.mains = self._mains * (live["mains_power"].value if "mains_power" in live else 1.0)
        if live and "heater_gone" in live:
            self.heater.share = 0.0
            self.tun.half(0.0)
            return
        outlet = self.probes.get("outlet")
        share = self.heater.beat(
            now, live, None if outlet is None else outlet.sent_c, self._has_liquid(), self._flows()
        )
        self.tun.half(share)

    def _has_liquid(self) -> bool:
        return self.tun.level_l >= self._least_l and "level_lost" not in self.live

    def _flows(self) -> bool:
        return self.tun.pumping >= FLOWS_SHARE and "flow_lost" not in self.live

    def _see(self, now: float) -> None:
        """Probes feel and speak, switches and heater speak."""
        tun, live = self.tun, self.live
        for probe, spot in self._felt:
            probe.feel(tun.spot_c(spot))
        if live:
            self._misled.grow(live)
        if live or now >= self._due:
            self._samples(now)
        topics, to_daemon = self.topics, self.wires.to_daemon
        dark = bool(live) and not live.keys().isdisjoint(("heater_gone", "mains_cut", "heater_silent"))
        if not dark and (said := self.heater.speak(now, live, self._own_outlet_c())) is not None:
            to_daemon(now, topics.heater_report, said, live)
        said = self._level.speak(now, self._has_liquid()) if topics.level and "level_silent" not in live else None
        if topics.level and said is not None:
            to_daemon(now, topics.level, said, live)
        said = self._flow.speak(now, self._flows()) if topics.flow and "flow_silent" not in live else None
        if topics.flow and said is not None:
            to_daemon(now, topics.flow, said, live)

    def _own_outlet_c(self) -> float | None:
        outlet = self.probes.get("outlet")
        return None if outlet is None else outlet.sent_c

    # ------------------------------------------------------------ readings

    def _samples(self, now: float) -> None:
        """Every topic whose sample is due, and when the next one of any will be."""
        for line in self._lines:
            if now >= line.probes[0].next_s:
                self._publish(line, now)
        self._due = min([line.probes[0].next_s for line in self._lines])

    def _publish(self, line: ProbeTopic, now: float) -> None:
        """One topic's samples, which are due."""
        live = self.live
        topic, roles, probes, form = line
        mash = bool(live) and "mash" in roles
        slow = live["probe_slow"].value if mash and "probe_slow" in live else None
        if not probes[0].due(now, slow):
            return
        if not live:
            samples = [(probe.sample(), probe.seq) for probe in probes]
            self.wires.to_daemon(now, topic, form.payload(samples, self.wall_s if form.stamped else 0.0), live)
        elif "mains_cut" not in live and not (mash and ("probe_unplugged" in live or "probe_offline" in live)):
            self._publish_all(topic, roles, form, now)

    def _publish_all(self, topic: str, roles: tuple[Role, ...], form: Form, now: float) -> None:
        """The same with faults at work: something else in place of the reading, many of it, a stranger's beside it."""
        live, payload = self.live, self._payload(roles, form)
        copies = round(live["probe_flood"].value) if "mash" in roles and "probe_flood" in live else 1
        for _ in range(copies):
            self.wires.to_daemon(now, topic, payload, live)
        if roles == ("mash",) and "foreign_reading" in live:
            self._foreign_seq += 1
            fake = form.payload([(live["foreign_reading"].value, self._foreign_seq)], self.wall_s)
            self.wires.to_daemon(now, topic, fake, live)

    def _payload(self, roles: tuple[Role, ...], form: Form) -> bytes:
        live = self.live
        if "mash" in roles and "probe_text" in live:
            return NO_READINGS[int(self.now) % len(NO_READINGS)]
        values = {role: self._misled.value(role, live, self.heater.share) for role in roles}
        if "mash" in roles and "probe_nan" in live:
            values["mash"] = math.nan
        return form.payload([(values[role], self.probes[role].seq) for role in roles], self.wall_s).replace(
            b"nan", b"NaN"
        )
