"""How do thermometers on this machine become readings on the wire?

Each thermometer has a thread of its own, since a read blocks for a conversion and may hang. A reading is sent when it
is made, once, or never: an old temperature that looks fresh is worse than none. A thermometer that fails is silent on
its topic; after three failures in a row its `online` topic says false.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Iterable
from typing import Any, NamedTuple

from controller.edge.clock import MachineClock
from controller.edge.log import Log
from controller.edge.mqtt.broker_link import BrokerLink
from controller.edge.mqtt.connection import Will
from controller.edge.mqtt.transport import Transport
from controller.edge.systemd import Notifier
from controller.field import hardware_config
from controller.field.hardware_config import NodeHardware, ProbeTable
from controller.field.node_service import NodeService
from controller.field.thermometer import Fault, Thermometer
from controller.messages import outgoing
from controller.messages.strict_json import parts
from controller.settings.tun import Probe

LIVES_S = 5.0  # a reading is of use for so long
FAILURES = 3  # in a row, then the probe counts as gone
TELL_S = 60.0  # the same fault is logged so often
HUNG_S = 8.0  # a thermometer that has not answered for so long: no more signs of life to the service manager


class Place(NamedTuple):
    """One thermometer and where its readings go."""

    role: str
    probe: Probe
    thermometer: Thermometer


def payload(probe: Probe, celsius: float, seq: int, wall_s: float) -> bytes:
    """A reading in the form that the tun's file describes; a bare number where that has no pointer."""
    fahrenheit = probe.unit == "F" and not probe.unit_pointer
    value = round(celsius * 1.8 + 32.0 if fahrenheit else celsius, 3)
    if not probe.pointer:
        return f"{value!r}".encode()
    document: dict[str, Any] = {}
    _put(document, probe.pointer, value)
    _put(document, probe.seq_pointer or "/seq", seq)
    _put(document, probe.at_pointer or "/at", round(wall_s, 3))
    _put(document, probe.unit_pointer or "/unit", "F" if fahrenheit else "C")
    return outgoing.document(document)


def _put(document: dict[str, Any], pointer: str, value: object) -> None:
    """Set what an RFC 6901 pointer points at; what stands there already stays."""
    *above, last = parts(pointer)
    for key in above:
        inner = document.setdefault(key, {})
        if not isinstance(inner, dict):
            return
        document = inner
    document.setdefault(last, value)


class Voice:
    """One place's side of the wire: sequence, presence, what was logged."""

    def __init__(self, place: Place, first_seq: int) -> None:
        self.place, self.seq = place, first_seq
        self.online = f"{place.probe.topic}/online"
        self.there: bool | None = None
        self.failures = 0
        self.heard_at: float | None = None
        self._told, self._told_at = "", -TELL_S

    def presence(self, failed: bool) -> bool | None:
        """Is the probe there? None when nothing has changed."""
        self.failures = self.failures + 1 if failed else 0
        there = self.there if 0 < self.failures < FAILURES else not failed
        changed, self.there = there != self.there, there
        return there if changed else None

    def worth_logging(self, text: str, now: float) -> bool:
        """Is this fault new, or long not told?"""
        if text == self._told and now - self._told_at < TELL_S:
            return False
        self._told, self._told_at = text, now
        return True


class ProbeService(NodeService):
    """The thermometers, their threads and the link."""

    def __init__(
        self,
        places: Iterable[Place],
        every_s: float,
        transport: Transport,
        clock: MachineClock,
        notifier: Notifier | None = None,
        log: Log | None = None,
    ) -> None:
        first = int(clock.wall_s() * 4.0)  # faster than any pace: rises over a restart wherever the clock does
        self.voices = [Voice(place, first) for place in places]
        super().__init__(transport, notifier, log, [voice.online for voice in self.voices])
        self._every_s, self._clock = every_s, clock

    def got(self, voice: Voice, found: float | Fault, wall_s: float) -> None:
        """On the event loop: a thermometer answered."""
        now = self._clock.now()
        voice.heard_at = now
        there = voice.presence(isinstance(found, Fault))
        if there is not None:
            self._tell_presence(voice.online, there)
        if not isinstance(found, Fault):
            voice.seq += 1
            data = payload(voice.place.probe, found, voice.seq, wall_s)
            self._transport.heater(voice.place.probe.topic, data, False, LIVES_S)  # now or never, as heater commands
        elif voice.worth_logging(found.why, now):
            self._log.warning(f"{voice.place.role}: no reading: {found.why}")
        if all(v.heard_at is not None and now - v.heard_at < HUNG_S for v in self.voices):
            self._notifier.beat()

    def _read(self, voice: Voice) -> None:
        """A thermometer's own thread: read, hand on, keep the pace."""
        due = self._clock.now()
        while not self._halt.is_set():
            found = voice.place.thermometer.read()
            self._soon(self.got, voice, found, self._clock.wall_s())
            due = max(due + self._every_s, self._clock.now())
            self._halt.wait(due - self._clock.now())

    def begin(self) -> None:
        for voice in self.voices:
            threading.Thread(target=self._read, args=(voice,), name=voice.place.role, daemon=True).start()
        self._notifier.ready("reading")


def places(fitted: NodeHardware, probe: ProbeTable) -> list[Place]:
    """The thermometers of this machine; the mash's first, for the last will tells of the first."""
    return [Place(r, getattr(fitted.tun.probes, r), sensor.thermometer()) for r, sensor in probe.sensors.fitted()]


def make(fitted: NodeHardware, probe: ProbeTable, log: Log) -> ProbeService:
    """The service for these files."""
    fitted_places = places(fitted, probe)
    online = f"{fitted_places[0].probe.topic}/online"
    transport = BrokerLink(
        hardware_config.broker(fitted.service, probe),
        f"underback-probe-{fitted.tun.name}-{secrets.token_hex(6)}",
        [online],  # something has to be listened to; nothing comes of it
        Will(online, outgoing.FALSE),
    )
    return ProbeService(fitted_places, probe.every_s, transport, MachineClock(), Notifier(), log)
