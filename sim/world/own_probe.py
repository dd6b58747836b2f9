"""What does the simulated heater node's own thermometer tell it?

It looks at the outlet probe, or without one at the mash probe, as the shipped node does: over the broker, by the real
node's own reader, so that a silent probe, nonsense and a lost connection reach it as they would at a tun.
"""

from controller.field.hardware_config import MASH_GAP_K, TRIP_K
from controller.field.heater_node import Limit
from controller.field.lease import OUTLET_GAP_K
from controller.messages import incoming
from controller.settings.tun import Tun


class OwnProbe:
    """Which probe it is, and its newest live reading."""

    def __init__(self, tun: Tun) -> None:
        self.where, self._probe = (
            ("mash", tun.probes.mash) if tun.probes.outlet is None else ("outlet", tun.probes.outlet)
        )
        self.topic = self._probe.topic
        self.reboot()

    def reboot(self) -> None:
        """Power-up: nothing is known."""
        probe = self._probe
        shape = incoming.form(probe.pointer, probe.unit, probe.unit_pointer, probe.seq_pointer, probe.at_pointer)
        self._limit = Limit(shape)

    def hear(self, payload: bytes, now: float, retained: bool) -> None:
        """A message on its topic."""
        self._limit.hear(payload, now, retained)

    def celsius(self, now: float) -> float | None:
        """The newest reading, °C; None when it is too old to go by."""
        return self._limit.celsius(now)


def figures(tun: Tun) -> dict[str, float]:
    """The node's own limits at that place, as the shipped node has them."""
    guard = tun.guard
    if tun.probes.outlet is None:
        limit_c, trip_c, gap_k = guard.hard_limit_c, guard.hard_limit_c + TRIP_K, MASH_GAP_K
    else:
        limit_c, trip_c, gap_k = guard.outlet_limit_c, max(guard.outlet_limit_c, guard.outlet_trip_c), OUTLET_GAP_K
    return {"outlet_limit_c": limit_c, "outlet_trip_c": trip_c, "outlet_gap_k": gap_k}
