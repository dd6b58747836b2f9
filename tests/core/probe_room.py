"""The probe room with one probe, a reading a second."""

from __future__ import annotations

from controller.core import probe
from controller.core.nouns import Measurement, Reading, Sample
from controller.settings.tun import Probe

PROBE = Probe(topic="p/mash")


class Room:
    """One probe, a reading a second."""

    def __init__(self, value_c: float | None = 60.0, *, trust: bool = False, which: Probe = PROBE) -> None:
        self.state, self.now, self.seq, self.trust, self.which = probe.START, 100.0, 0, trust, which
        self.seen = probe.look(which, 2.0, self.state, (), self.now, 0.0, trust)[1]
        if value_c is not None:
            for _ in range(6):
                self.say(value_c)

    def look(self, *samples: Sample, delay_s: float = 0.0) -> Measurement:
        self.state, self.seen = probe.look(self.which, 2.0, self.state, samples, self.now, delay_s, self.trust)
        return self.seen

    def say(
        self, value_c: float, *, after_s: float = 1.0, lag_s: float | None = None, seq: int | None = -1
    ) -> Measurement:
        self.now += after_s
        self.seq += 1
        return self.look(Reading(value_c, self.now, self.seq if seq == -1 else seq, lag_s))
