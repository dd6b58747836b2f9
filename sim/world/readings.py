"""Which readings leave the tun, on which topics, and what do faults make of them?"""

import math
from random import Random
from typing import NamedTuple

from controller.settings.service import Settings
from controller.settings.tun import Probe as ProbeSettings
from sim.plant.spec import STEP_S
from sim.plant.tun import Tun
from sim.world.instruments import NO_READINGS, Form, Live, Probe
from sim.world.network import Network
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


class FaultyProbes:
    """The probes of one tun, as faults have them speak."""

    def __init__(self, probes: dict[Role, Probe], room_c: float) -> None:
        self.probes, self._room_c = probes, room_c
        self.fallen_c = self.drift_k = 0.0

    def value(self, role: Role, live: Live, share: float) -> float:
        """What this probe's next sample says, with what the faults make of it."""
        probe = self.probes[role]
        if "probe_swapped" in live and role in ("mash", "outlet") and "outlet" in self.probes:
            return self.probes["outlet" if role == "mash" else "mash"].sample()
        if role == "mash":
            return self._mash_value(probe, live, share)
        if role == "second" and "second_frozen" in live:
            probe.seq += 1
            return probe.sent_c
        value = probe.sample()
        if role == "second" and "second_offset" in live:
            value += live["second_offset"].value
        if role == "outlet" and "outlet_hot" in live:
            value += live["outlet_hot"].value
        return value

    def _mash_value(self, probe: Probe, live: Live, share: float) -> float:
        if "probe_stale" in live:
            return probe.sent_c
        if "probe_frozen" in live:
            probe.seq += 1
            return probe.sent_c
        value = probe.sample()
        if "probe_value" in live:
            return live["probe_value"].value
        if "probe_fallen" in live:
            return round(self.fallen_c, 2)
        if "probe_jump" in live:
            value += live["probe_jump"].value
        if "probe_spike" in live and probe.seq % 5 == 0:
            value += live["probe_spike"].value
        if "probe_wash" in live:
            value += live["probe_wash"].value * share
        if "probe_drift" in live:
            value += self.drift_k
        if "probe_fahrenheit" in live:
            value = value * 1.8 + 32.0
        if "probe_celsius" in live:
            value = (value - 32.0) / 1.8
        return round(value, 4)

    def grow(self, live: Live) -> None:
        """What grows with time: a drift, a probe that cools in the air."""
        if "probe_drift" in live:
            self.drift_k += live["probe_drift"].value * STEP_S / 60.0
        if "probe_fallen" in live:
            self.fallen_c += STEP_S / live["probe_fallen"].value * (self._room_c - self.fallen_c)
