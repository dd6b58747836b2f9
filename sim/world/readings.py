"""Which readings leave the tun, on which topics, and what do faults make of them?"""

from __future__ import annotations

import math
from random import Random
from typing import NamedTuple

from controller.settings.service import Settings
from controller.settings.tun import Probe as ProbeSettings
from sim.plant.tun import Tun
from sim.world.instruments import NO_READINGS, Form, Live, Probe
from sim.world.network import Network
from sim.world.probe_faults import FaultyProbes
from sim.world.true_values import Role, TrueValues


class ProbeTopic(NamedTuple):
    """The probes that speak on one topic, and how."""

    topic: str
    roles: tuple[Role, ...]
    probes: tuple[Probe, ...]
    form: Form


class Readings:
    """The probes of one tun and their topics."""

    def __init__(self, settings: Settings, truth: TrueValues, rng: Random, network: Network) -> None:
        tun = settings.tun
        by_role = {"mash": tun.probes.mash, "second": tun.probes.second, "outlet": tun.probes.outlet}
        self.probes: dict[Role, Probe] = {}
        by_topic: dict[str, dict[Role, ProbeSettings]] = {}
        for role, senses in truth.senses:
            probe = by_role[role]
            if probe is None:
                continue
            self.probes[role] = Probe(senses, probe, truth.liquor_c, rng)
            by_topic.setdefault(probe.topic, {})[role] = probe
        self._topics = [
            ProbeTopic(topic, tuple(group), tuple(self.probes[role] for role in group), Form(tuple(group.values())))
            for topic, group in by_topic.items()
        ]
        self._felt = [(probe, probe.senses.spot) for probe in self.probes.values()]
        self._network = network
        self._foreign_seq = 0
        self.faulty = FaultyProbes(self.probes, truth.room_c)
        self.due_s = 0.0  # when the next sample of any is due

    def feel(self, tun: Tun) -> None:
        """Half a second in the mash, each probe at its spot."""
        for probe, spot in self._felt:
            probe.feel(tun.spot_c(spot))

    def say(self, now: float, live: Live, share: float, wall_s: float) -> None:
        """Every topic whose sample is due, and when the next one of any will be. `share`: of the heater's power."""
        for line in self._topics:
            if now >= line.probes[0].next_s:
                self._publish(line, now, live, share, wall_s)
        self.due_s = min([line.probes[0].next_s for line in self._topics])

    def _publish(self, line: ProbeTopic, now: float, live: Live, share: float, wall_s: float) -> None:
        """One topic's samples, which are due."""
        topic, roles, probes, form = line
        mash = bool(live) and "mash" in roles
        slow = live["probe_slow"].value if mash and "probe_slow" in live else None
        if not probes[0].due(now, slow):
            return
        if not live:
            samples = [(probe.sample(), probe.seq) for probe in probes]
            self._network.to_daemon(now, topic, form.payload(samples, wall_s if form.stamped else 0.0), live)
        elif "mains_cut" not in live and not (mash and ("probe_unplugged" in live or "probe_offline" in live)):
            self._publish_all(line, now, live, share, wall_s)

    def _publish_all(self, line: ProbeTopic, now: float, live: Live, share: float, wall_s: float) -> None:
        """The same with faults at work: something else in place of the reading, many of it, a stranger's beside it."""
        topic, roles, _, form = line
        payload = self._payload(line, now, live, share, wall_s)
        copies = round(live["probe_flood"].value) if "mash" in roles and "probe_flood" in live else 1
        for _ in range(copies):
            self._network.to_daemon(now, topic, payload, live)
        if roles == ("mash",) and "foreign_reading" in live:
            self._foreign_seq += 1
            fake = form.payload([(live["foreign_reading"].value, self._foreign_seq)], wall_s)
            self._network.to_daemon(now, topic, fake, live)

    def _payload(self, line: ProbeTopic, now: float, live: Live, share: float, wall_s: float) -> bytes:
        roles = line.roles
        if "mash" in roles and "probe_text" in live:
            return NO_READINGS[int(now) % len(NO_READINGS)]
        values = {role: self.faulty.value(role, live, share) for role in roles}
        if "mash" in roles and "probe_nan" in live:
            values["mash"] = math.nan
        said = line.form.payload([(values[role], self.probes[role].seq) for role in roles], wall_s)
        return said.replace(b"nan", b"NaN")
