"""Pins that are no pins, and payloads, for the heater node's tests."""

from __future__ import annotations

import json
import threading
from typing import Any

from controller.field.heater_node import HeaterNode, Limit, Pins
from controller.field.lease import NodeSettings
from controller.messages import incoming

SHAPE = incoming.form("/temperature", "C", None, "/seq", None)


class FakeOutput:
    """An output that remembers. `stuck`: what it reads back whatever is set; `broken`: setting raises."""

    def __init__(self) -> None:
        self.on = False
        self.closed = False
        self.stuck: bool | None = None
        self.broken = False
        self.went_on, self.went_off = threading.Event(), threading.Event()

    def set(self, on: bool) -> bool:
        if self.broken:
            raise OSError(5, "Input/output error")
        assert not (self.closed and on), "switched on after it was let go"
        self.on = on
        (self.went_on if on else self.went_off).set()
        return self.stuck is None or self.stuck == on

    def close(self) -> None:
        self.on, self.closed = False, True
        self.went_off.set()


class FakeInput:
    """A contact."""

    def __init__(self, ok: bool | None = True) -> None:
        self.ok = ok

    def read(self) -> bool | None:
        return self.ok

    def close(self) -> None:
        return


def command(duty: float, seq: int, valid_s: float = 10.0, epoch: int = 1, **more: Any) -> bytes:
    """A heater command."""
    return json.dumps({"epoch": epoch, "seq": seq, "valid_s": valid_s, "duty": duty, **more}).encode()


def reading(celsius: float, seq: int) -> bytes:
    """A probe's message."""
    return json.dumps({"temperature": celsius, "seq": seq}).encode()


def settings(**changes: Any) -> NodeSettings:
    """A solid-state relay with a two-second window and a mash-side limit of 80 °C."""
    own = NodeSettings(5000.0, "b1", min_off_s=0.0, window_s=2.0, outlet=True, outlet_limit_c=80.0, outlet_trip_c=82.0)
    return own.but(**changes)


def heater_node(pins: Pins, where: str = "mash", **changes: Any) -> HeaterNode:
    """A node that starts at second 0."""
    return HeaterNode(settings(**changes), pins, Limit(SHAPE), where, 0.0)


BEAT = 0.05  # s


class Bench:
    """A node with pins, and a clock that is counted."""

    def __init__(self, where: str = "mash", level: FakeInput | None = None, **changes: Any) -> None:
        self.pin, self.stirrer = FakeOutput(), FakeOutput()
        pins = Pins(self.pin, level=level, stirrer=self.stirrer)
        self.node: HeaterNode = heater_node(pins, where, level=level is not None, **changes)
        self.beats, self.seq, self.celsius = 0, 0, 66.0
        self.reports: list[dict[str, Any]] = []
        self.levels: list[dict[str, Any]] = []

    @property
    def now(self) -> float:
        return self.beats * BEAT

    def run(self, seconds: float, probe: bool = True) -> list[bool]:
        """Beat for so long, with a reading each second; the pin at each beat."""
        states = []
        for _ in range(round(seconds / BEAT)):
            if probe and self.beats % 20 == 0:
                self.read(self.celsius)
            say = self.node.beat(self.now)
            if say.report is not None:
                self.reports.append(json.loads(say.report))
            if say.level is not None:
                self.levels.append(json.loads(say.level))
            states.append(self.pin.on)
            self.beats += 1
        return states

    def read(self, celsius: float) -> None:
        self.seq += 1
        self.node.reading(reading(celsius, self.seq), self.now, False)

    def heat(self, seq: int = 1, duty: float = 1.0, valid_s: float = 10.0, retained: bool = False) -> None:
        self.node.command(command(duty, seq, valid_s), self.now, retained)

    def heated(self, duty: float = 1.0) -> None:
        """A second of readings, a command, and a second under heat."""
        self.run(1)
        self.heat(duty=duty)
        assert all(self.run(1))

    @property
    def fault(self) -> str | None:
        fault: str | None = self.reports[-1]["fault"]
        return fault
