"""What reaches the daemon from the tun, and what becomes of what it commands?

One tun with its probes, switches and heater node, its broker and its strangers, and one seed for all of it. It speaks
in topics and payload bytes exactly as they go over a broker, and moves in steps of half a second at n x 0.5 s. Whoever
drives it (a dry run, a stand-in on a real broker) asks for messages and hands over commands; nothing here reads a
clock.
"""

from collections.abc import Iterable
from random import Random

from controller.core.nouns import Course
from controller.messages.topics import topics
from controller.settings.service import Settings
from sim.fresh_readings import decoded
from sim.plant.spec import STEP_S, WATER_J_PER_KG_K
from sim.plant.tun import Tun
from sim.world.faults import Fault, Faults
from sim.world.instruments import Heater, Switch
from sim.world.network import Message, Network
from sim.world.own_probe import OwnProbe
from sim.world.readings import Readings
from sim.world.true_values import TrueValues, of_tun

WALL_S = 1_790_000_000.0  # unix time at the start of every simulated run: 21 September 2026, 14:13 UTC
TAP_C = 15.0  # cold liquor, where the liquor in the tun came in hot (common practice)
MAINS_S = 60.0  # the supply wanders once a minute
FLOWS_SHARE = 0.3  # a flow switch closes above this share of the full flow (common practice: a third)


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
        own = OwnProbe(settings.tun)
        self.network = Network(self.topics, Random(f"wires {seed}"), own.topic)
        self.now = -STEP_S  # of the last step done
        self._mischief = Random(f"mischief {seed}")
        self._boots = 0
        self.readings = Readings(settings, self.truth, self.rng, self.network)
        self.probes = self.readings.probes
        self.heater = Heater(self.truth.node, self.truth.measures_power, self._boot(), 0.0, own)
        self._level, self._flow = Switch(), Switch()
        self._stirrer_until = self._pump_until = self._hand_pump_until = 0.0
        self._mains, self._mains_next = 1.0, 0.0
        self._before: frozenset[str] = frozenset()
        self._least_l = settings.tun.min_liquor_l
        self._nodes = (
            (self.topics.heater_online, frozenset({"heater_gone", "mains_cut"})),
            (self.topics.probe_online, frozenset({"probe_offline"})),
            *((topic, frozenset({"mover_gone", "mains_cut"})) for topic in self.topics.movers_online),
        )  # on which topic does each say that it is there, and which faults take it away?

    def _boot(self) -> str:
        self._boots += 1
        return f"{self.rng.getrandbits(32):08x}"

    @property
    def wall_s(self) -> float:
        """Unix time of the simulated world, s."""
        return WALL_S + max(0.0, self.now)

    def until(self, t: float) -> list[Message]:
        """Move on to t (s) and return what has reached the daemon by then, in the order of arrival."""
        while self.now + STEP_S <= t:
            self.step()
        return self.network.arrived(t)

    def receive(self, topic: str, payload: bytes, t: float, retained: bool = False) -> None:
        """The daemon publishes at time t."""
        self.network.to_nodes(t, topic, payload, self.live, retained)

    def say(self, topic: str, payload: bytes, t: float) -> None:
        """A person publishes at time t."""
        self.network.to_daemon(t, topic, payload, self.live)

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

    def step(self) -> None:
        """Half a second further."""
        now = self.now + STEP_S
        self.now, live = now, self.faults.at(now)
        if now == 0.0:
            for topic, _ in self._nodes:
                self._online(topic, True)
        if live is not self.live or (now == 0.0 and live):
            self.live = live
            self._edges(now)
        if not live and now % 1.0 == 0.0 and self.heater.plain:
            self._between(now)
            return
        for message in self.network.for_nodes(now):
            self._command(message)
        self._motors(now)
        self._heat(now)
        self._see(now)
        if live and now % 1.0 == 0.0:
            self.network.strangers(now, live)

    def _between(self, now: float) -> None:
        """A half second in which nothing is decided: commands come in at the other half, k + 0.25 s on."""
        tun = self.tun
        tun.half(self.heater.share)
        self.readings.feel(tun)
        if now >= self.readings.due_s:
            self.readings.say(now, self.live, self.heater.share, self.wall_s)

    def _edges(self, now: float) -> None:
        """What happens once, when a fault begins or ends?"""
        kinds = frozenset(self.live)
        begun, over = kinds - self._before, self._before - kinds
        self._before = kinds
        self.network.link(now, "broker_gone" not in kinds)
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
        """Birth messages and last wills of the nodes. Those that are there say so anew with each connection."""
        for topic, away in self._nodes:
            if begun & away or over & (away | {"broker_gone", "mains_cut"}):
                self._online(topic, self.live.keys().isdisjoint(away))
        if begun & {"probe_reboot"}:
            self._online(self.topics.probe_online, True)

    def _plays(self, begun: frozenset[str], now: float) -> None:
        if "retained_replay" in begun:
            self.network.retained_trap(now)
        if "replay" in begun:
            self.network.replay(now)
        if "cold_liquor" in begun:
            self.tun.add_liquor(self.live["cold_liquor"].value, self.truth.liquor_c, 30.0)
        if "hot_liquor" in begun:
            self.tun.add_liquor(self.live["hot_liquor"].value, 98.0, 30.0)
        if "probe_fallen" in begun:
            self.readings.faulty.fallen_c = self.probes["mash"].felt_c
        if "probe_drift" in begun:
            self.readings.faulty.drift_k = 0.0
        if "stop_button" in begun:
            word = ("stop", "hold", "abort")[round(self.live["stop_button"].value) - 1]
            self.network.to_daemon(now, self.topics.order, word.encode(), {})

    def _online(self, topic: str, there: bool) -> None:
        self.network.to_daemon(self.now, topic, b"true" if there else b"false", {}, keep=True)

    def _command(self, message: Message) -> None:
        topic, live = message.topic, self.live
        deaf = bool(live) and not live.keys().isdisjoint(("heater_deaf", "heater_gone", "mains_cut"))
        if topic == self.heater.own.topic and not deaf:
            self.heater.own.hear(message.payload, self.now, message.retained)
        if topic == self.topics.heater_command and not deaf:
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
            dead = "mains_cut" in live or "mover_gone" in live
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
        self.tun.half(self.heater.beat(now, live, self._has_liquid(), self._flows()))

    def _has_liquid(self) -> bool:
        return self.tun.level_l >= self._least_l and "level_lost" not in self.live

    def _flows(self) -> bool:
        return self.tun.pumping >= FLOWS_SHARE and "flow_lost" not in self.live

    def _see(self, now: float) -> None:
        """Probes feel and speak, switches and heater speak."""
        tun, live = self.tun, self.live
        self.readings.feel(tun)
        if live:
            self.readings.faulty.grow(live)
        if live or now >= self.readings.due_s:
            self.readings.say(now, live, self.heater.share, self.wall_s)
        topics, to_daemon = self.topics, self.network.to_daemon
        dark = bool(live) and not live.keys().isdisjoint(("heater_gone", "mains_cut", "heater_silent"))
        if not dark and (said := self.heater.speak(now, live)) is not None:
            to_daemon(now, topics.heater_report, said, live)
        for switch, topic, what, ok in (
            (self._level, topics.level, "level_silent", self._has_liquid),
            (self._flow, topics.flow, "flow_silent", self._flows),
        ):
            if topic and what not in live and (said := switch.speak(now, ok())) is not None:
                to_daemon(now, topic, said, live)
