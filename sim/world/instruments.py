"""What do the instruments at the tun show, and what does the heater do?

A probe answers with a first-order lag, is read on its own beat (late now and then, some samples lost), is rounded and
noisy. A switch is looked at every half second and speaks when it changes, and every two seconds. The heater is the
heater node's own code, with a real element behind it that can fail.
"""

import json
import math
import re
from collections.abc import Mapping, Sequence
from operator import itemgetter
from random import Random
from typing import Any

from controller.field import commands, lease, reset_line
from controller.field.lease import NodeSettings, NodeState
from controller.messages.outgoing import writer
from controller.settings.tun import Probe as ProbeSettings
from sim.plant.random_tun import Senses
from sim.plant.spec import STEP_S
from sim.world.faults import Fault
from sim.world.own_probe import OwnProbe

SIXTEENTH_K = 0.0625  # a multiple of it has at most four decimals and is exact: there is nothing to round
WHAT = ("value", "seq")
SPEAK_S = 2.0  # switches and heater speak so often, unasked
Live = Mapping[str, Fault]
_encode = writer(ascii_only=True)

NO_READINGS = (
    b"null", b"true", b"[]", b"", b'"63.0"', b"6_5", b"infinity", b"1e999", b"\xef\xbb\xbf63.0", b"9" * 5000,
    b"[" * 900 + b"]" * 900, b'{"value":63.0,"value":90.0}', b"x" * 2000, b"63,0",
)  # fmt: skip


class Probe:
    """A thermometer and the small computer that reads it."""

    def __init__(self, senses: Senses, settings: ProbeSettings, true_c: float, rng: Random) -> None:
        self.senses, self._rng = senses, rng
        self._zero_c = settings.raw_ice_c  # a probe with a correction on file really needs it
        self._slope = (settings.raw_boil_c - settings.raw_ice_c) / settings.boil_c
        self._gain = 1.0 - math.exp(-STEP_S / senses.lag_s) if senses.lag_s > 0 else 1.0
        self.felt_c = true_c
        self.seq = 0
        self.sent_c = true_c
        self.next_s = 0.0  # the next sample is due then

    def feel(self, true_c: float) -> None:
        """Half a second in this temperature."""
        self.felt_c += self._gain * (true_c - self.felt_c)

    def due(self, now: float, period_s: float | None = None) -> bool:
        """Is a sample taken at this half second? Some are late by the sender's own jitter."""
        if now < self.next_s:
            return False
        senses, rng = self.senses, self._rng
        period, jitter, lost = senses.period_s if period_s is None else period_s, senses.jitter_s, senses.lost_share
        self.next_s = max(now + 0.5 * period, self.next_s + period)
        if jitter and rng.random() < jitter:
            self.next_s += STEP_S
        return not (lost and rng.random() < lost)

    def sample(self) -> float:
        """The next sample, °C, rounded as this sensor does. Numbers it."""
        _, _, resolution_k, noise_k, _, _, _, error_k = self.senses
        value = self._zero_c + self._slope * (self.felt_c + error_k)
        if noise_k:
            value += self._rng.gauss(0.0, noise_k)
        self.seq += 1
        sent_c = round(value / resolution_k) * resolution_k
        self.sent_c = sent_c = sent_c if resolution_k == SIXTEENTH_K else round(sent_c, 4)
        return sent_c


class Form:
    """How are the readings of one node's probes put on the wire? As their settings say they will be read."""

    def __init__(self, probes: Sequence[ProbeSettings]) -> None:
        self.units = [probe.unit for probe in probes]
        self.stamped = any(probe.at_pointer for probe in probes)
        self.plain = not probes[0].pointer
        said: dict[str, Any] = {}
        for place, probe in enumerate(probes):
            _put(said, probe.pointer or "/value", f"value {place}")
            _put(said, probe.seq_pointer or "/seq", f"seq {place}")
            if probe.unit_pointer:
                _put(said, probe.unit_pointer, probe.unit)
            if probe.at_pointer:
                _put(said, probe.at_pointer, "stamp 0")
        text = '"value 0"' if self.plain else json.dumps(said)
        marks = {f'"{what} {place}"': 2 * place + n for place in range(len(probes)) for n, what in enumerate(WHAT)}
        marks['"stamp 0"'] = -1  # of the values as `payload` has them
        self._in_order = itemgetter(*[marks[mark] for mark in re.findall("|".join(marks), text)])
        self._template = re.sub("|".join(marks), "%s", text.replace("%", "%%"))

    def payload(self, samples: Sequence[tuple[float, int]], wall_s: float) -> bytes:
        """Value (°C) and sequence of each probe; a bare number where there is no pointer, else JSON."""
        shown: list[float | int] = []
        for unit, (value_c, seq) in zip(self.units, samples, strict=True):
            shown += (value_c if unit == "C" else round(value_c * 1.8 + 32.0, 4), seq)
        if self.stamped:
            shown.append(round(wall_s, 3))
        said: str = self._template % self._in_order(shown)
        return said.encode()


def _put(said: dict[str, Any], pointer: str, value: object) -> None:
    """Set what the pointer points at, making the objects on the way."""
    *way, last = pointer.split("/")[1:]
    for key in way:
        said = said.setdefault(key, {})
    said[last] = value


class Switch:
    """A level or flow switch on the wire."""

    def __init__(self) -> None:
        self.ok = True
        self._seq = 0
        self._next = 0.0

    def speak(self, now: float, ok: bool) -> bytes | None:
        """What it says at this half second, if anything."""
        if ok == self.ok and now < self._next:
            return None
        self.ok, self._seq, self._next = ok, self._seq + 1, now + SPEAK_S
        return b'{"ok": %s, "seq": %d}' % (b"true" if ok else b"false", self._seq)


def booted(now: float) -> NodeState:
    """A node at power-up: until its first reading its own thermometer counts as silent, as in the shipped node."""
    return lease.boot(now).but(outlet_at=now - 2.0 * lease.SENSOR_GONE_S)


class Heater:
    """The heater node with its switch and element."""

    def __init__(self, settings: NodeSettings, measures_power: bool, boot: str, now: float, own: OwnProbe) -> None:
        self.settings, self.own = settings.but(boot=boot), own
        self.measures_power = measures_power
        self.state = booted(now)
        self.share = 0.0  # of the element's power that flows now
        self.refused = 0
        self._told = self.state
        self._next, self._n = now, 0

    @property
    def plain(self) -> bool:
        """Does the output stay as it is until the next command? True unless the node makes on and off of a share."""
        return self.settings.window_s <= 0.0 or self.state.ordered in (0.0, 1.0)

    def hear(self, payload: bytes, now: float, retained: bool = False) -> None:
        """A message on the command topic."""
        self.state, why = commands.obey(self.settings, self.state, payload, now, retained)
        if why is None:
            self._next = now  # every accepted command is answered
        else:
            self.refused += 1

    def reboot(self, boot: str, now: float) -> None:
        """Power-up: a new boot word, off, nobody's."""
        self.settings = self.settings.but(boot=boot)
        self.state, self._next, self._n = booted(now), now, 0
        self.own.reboot()

    def reset(self) -> str:
        """Somebody at the tun presses the node's button."""
        before = self.state.fault if self.state.latched else ""
        self.state = lease.reset(self.state)
        return reset_line.words(before, "")

    def beat(self, now: float, live: Live, level_ok: bool, flow_ok: bool) -> float:
        """Half a second of the lease. Returns the share of power that really flows."""
        power = self.share * self.settings.power_w if self.measures_power else None
        self.state, output = lease.beat(
            self.settings,
            self.state,
            now,
            outlet_c=self.own.celsius(now),
            level_ok=level_ok,
            flow_ok=flow_ok,
            power_w=power,
        )
        self.share = _element(output, live) if live else output
        return self.share

    def speak(self, now: float, live: Live) -> bytes | None:
        """The report that is due at this half second, if any."""
        if now < self._next and not lease.worth_telling(self._told, self.state):
            return None
        self._told, self._next, self._n = self.state, now + SPEAK_S, self._n + 1
        power = self.share * self.settings.power_w if self.measures_power else None
        outlet_c = self.own.celsius(now) if self.own.where == "outlet" else None
        said = lease.report(self.settings, self.state, now, outlet_c=outlet_c, power_w=power)
        said["n"] = self._n
        said["fault"] = self.state.fault.replace("outlet", self.own.where) or None
        if "heater_lies" in live:
            said["duty"] = live["heater_lies"].value
        if "heater_boots_on" in live:
            said["duty"] = 1.0
        return _encode(said).encode()


def _element(output: float, live: Live) -> float:
    """What flows, with the switch and the element as the faults have them."""
    if "heater_boots_on" in live:
        output = 1.0
    if "heater_power" in live:
        output *= live["heater_power"].value
    if "heater_welded" in live:
        output = max(output, live["heater_welded"].value)
    return 0.0 if "heater_open" in live or "mains_cut" in live else output
