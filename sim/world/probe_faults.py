"""What do probes say when something is wrong with them?"""

from __future__ import annotations

from sim.plant.spec import STEP_S
from sim.world.instruments import Live, Probe
from sim.world.true_values import Role


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
