"""What does the heater node do with its pins, whatever the daemon, the broker and the network do?

The rules are those of lease.py; here they meet pins, a clock and the wire. The switch is worked by a thread of its
own, twenty times a second: a stalled event loop, a broker that hangs, a slow name server change nothing about a lease
running out. Messages only leave something for that thread to look at.
"""

from __future__ import annotations

import re
import threading
from collections import Counter
from typing import NamedTuple

from controller.core.nouns import FALSE_VALUES_C, FREEZING_F, HIGHEST_C, LOWEST_C, POWER_ON_C, Bad, Instant
from controller.core.probe import NEIGHBOUR_K
from controller.field import commands, lease, motor_lease, reset_line
from controller.field.gpio_output import Input, Output
from controller.field.lease import NodeSettings, NodeState
from controller.field.motor_lease import MotorState
from controller.messages import incoming, outgoing

LIMIT_GONE_S = 9.0  # the own limit's reading may be so old; lease.py adds its own second
_FIGURES = re.compile(r"[0-9]+").sub
INPUT_EVERY_S = 1.0  # level and flow are told so often, and at once when they change


class Pins(NamedTuple):
    """What the node switches and reads."""

    heater: Output
    level: Input | None = None
    flow: Input | None = None
    stirrer: Output | None = None
    pump: Output | None = None
    reset: Input | None = None  # a button at the tun: a latched fault goes by this alone, never over the network

    def close(self) -> None:
        """Everything off, the heater first."""
        for pin in self:
            if pin is not None:
                pin.close()


class Say(NamedTuple):
    """What is due on the wire after a beat: a report, words of the level and flow switch."""

    report: bytes | None = None
    level: bytes | None = None
    flow: bytes | None = None


class Contact:
    """A level or flow contact: when is its word due?"""

    def __init__(self, pin: Input | None) -> None:
        self._pin = pin
        self.ok: bool | None = None
        self._seq, self._next = 0, 0.0

    def beat(self, now: Instant) -> bytes | None:
        """Reads the contact. What to say now, if anything; a contact that cannot be read says nothing."""
        before, self.ok = self.ok, self._pin.read() if self._pin is not None else None
        if self.ok is None or (now < self._next and self.ok == before):
            return None
        self._seq, self._next = self._seq + 1, now + INPUT_EVERY_S
        return outgoing.document({"ok": self.ok, "seq": self._seq})


class Limit:
    """The node's own look at a thermometer: the newest live reading and its age."""

    def __init__(self, shape: incoming.Form) -> None:
        self._shape = shape
        self._value_c: float | None = None
        self._at: Instant = 0.0
        self._seq: int | None = None

    def hear(self, payload: bytes, now: Instant, retained: bool) -> str | None:
        """A message of the probe. Returns why it is no reading, if it is none."""
        sample = Bad("retained", now) if retained else incoming.reading(self._shape, payload, now, 0.0)
        if isinstance(sample, Bad):
            return sample.why
        if sample.seq is not None and sample.seq == self._seq:
            return "sequence repeated"
        before_c = self.celsius(now)
        # a coarse thermometer passes through a failed one's values: they count next to a reading, as first one 32 °C
        near = sample.value_c == FREEZING_F if before_c is None else abs(sample.value_c - before_c) <= NEIGHBOUR_K
        nonsense = sample.value_c in FALSE_VALUES_C and sample.value_c != POWER_ON_C  # 85 °C counts: it takes heat away
        if (nonsense and not near) or not (LOWEST_C <= sample.value_c <= HIGHEST_C):
            return "a value that is no measurement"
        self._value_c, self._at, self._seq = sample.value_c, now, sample.seq
        return None

    def celsius(self, now: Instant) -> float | None:
        """The newest reading, °C; None when it is too old to go by."""
        return self._value_c if self._value_c is not None and now - self._at <= LIMIT_GONE_S else None


class HeaterNode:
    """The heater at its pins. Every entry takes `now`; all may be called from any thread."""

    def __init__(self, settings: NodeSettings, pins: Pins, limit: Limit, where: str, now: Instant) -> None:
        """`where`: the place of the limiting thermometer in words, for the fault's text and the report."""
        self.settings, self.pins, self.limit, self._where = settings, pins, limit, where
        # No grace at power-up: until the first reading the own thermometer counts as silent.
        self.state: NodeState = lease.boot(now).but(outlet_at=now - 2.0 * lease.SENSOR_GONE_S)
        self.refused: Counter[str] = Counter()  # messages not taken, by reason
        self._lock = threading.Lock()
        self._stirrer, self._pump = MotorState(), MotorState()
        self._level, self._flow = Contact(pins.level), Contact(pins.flow)
        self._told, self._next, self._said = self.state, now, 0
        self._closed = False

    # ------------------------------------------------------------ what is heard

    def command(self, payload: bytes, now: Instant, retained: bool) -> None:
        """A message on the heater's command topic."""
        with self._lock:
            self.state, why = commands.obey(self.settings, self.state, payload, now, retained)
            self._count(why)
            if why is None:
                self._next = now  # every accepted command is answered

    def reading(self, payload: bytes, now: Instant, retained: bool) -> None:
        """A message of the thermometer that the node's own limit looks at."""
        with self._lock:
            self._count(self.limit.hear(payload, now, retained))

    def stirrer(self, payload: bytes, now: Instant, retained: bool) -> None:
        with self._lock:
            self._stirrer, why = motor_lease.obey(self._stirrer, payload, now, retained)
            self._count(why)

    def pump(self, payload: bytes, now: Instant, retained: bool) -> None:
        with self._lock:
            self._pump, why = motor_lease.obey(self._pump, payload, now, retained)
            self._count(why)

    def _count(self, why: str | None) -> None:
        if why is not None:
            self.refused[_FIGURES("n", why)] += 1  # figures fall away: a stranger must not fill the memory with keys

    def reset(self, now: Instant) -> str:
        """Somebody at the tun clears what is latched. What came of it, by what the inputs say now."""
        with self._lock:
            before = self.fault if self.state.latched else ""
            self.state = lease.reset(self.state)
            seen, _ = self._looked(now)
            return reset_line.words(before, seen.fault.replace("outlet", self._where))

    # ------------------------------------------------------------ what is done

    def beat(self, now: Instant) -> Say:
        """Work the pins, once. Returns what is due on the wire. An error of a pin ends with everything off."""
        with self._lock:
            if self._closed:
                return Say()
            try:
                level, flow = self._level.beat(now), self._flow.beat(now)
                self._work(now)
                self._motors(now)
            except BaseException:
                self._close()
                raise
            return Say(self._report(now), level, flow)

    def _work(self, now: Instant) -> None:
        if self.pins.reset is not None and self.pins.reset.read():
            self.state = lease.reset(self.state)  # at each beat while it is pressed: one that sticks gives no heat
        self.state, output = self._looked(now)
        if not self.pins.heater.set(output > 0.0):
            self.pins.heater.set(False)
            fault = "the output pin does not follow: short circuit, or wired to something that drives it"
            self.state = self.state.but(code=lease.INTERNAL, fault=fault, latched=True, output=0.0, off_since=now)

    def _looked(self, now: Instant) -> tuple[NodeState, float]:
        """The state by what the inputs say now, and what the element should get."""
        return lease.beat(
            self.settings,
            self.state,
            now,
            outlet_c=self.limit.celsius(now),
            level_ok=self._level.ok,
            flow_ok=self._flow.ok,
        )

    def _motors(self, now: Instant) -> None:
        self._stirrer, self._pump = motor_lease.beat(self._stirrer, now), motor_lease.beat(self._pump, now)
        for pin, state in ((self.pins.stirrer, self._stirrer), (self.pins.pump, self._pump)):
            if pin is not None:
                pin.set(state.on)

    def _report(self, now: Instant) -> bytes | None:
        if now < self._next and not lease.worth_telling(self._told, self.state):
            return None
        self._told, self._next, self._said = self.state, now + lease.REPORT_S, self._said + 1
        outlet_c = self.limit.celsius(now) if self._where == "outlet" else None
        said = lease.report(self.settings, self.state, now, outlet_c=outlet_c)
        return outgoing.document({**said, "n": self._said, "fault": self.fault or None})

    # ------------------------------------------------------------ every way out

    def close(self) -> None:
        """Everything off and let go, whatever happened before. May be called more than once; never raises."""
        with self._lock:
            self._close()

    def _close(self) -> None:
        if not self._closed:
            self._closed = True
            self.pins.close()

    @property
    def fault(self) -> str:
        """Why there is no heat, in words; empty when nothing is wrong. The limit's place is named as it is fitted."""
        return self.state.fault.replace("outlet", self._where)

    @property
    def on(self) -> bool:
        """Is the element on now?"""
        return self.state.output > 0.0 and not self._closed
