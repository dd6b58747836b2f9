"""Pins that are no pins, and payloads, for the heater node's tests."""

from __future__ import annotations

import json
import threading
from typing import Any

from controller.core import wire
from controller.core.node import NodeSettings
from controller.field.heater_node import HeaterNode, Limit, Pins

SHAPE = wire.form("/temperature", "C", None, "/seq", None)


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
    return own._replace(**changes)


def heater_node(pins: Pins, where: str = "mash", **changes: Any) -> HeaterNode:
    """A node that starts at second 0."""
    return HeaterNode(settings(**changes), pins, Limit(SHAPE), where, 0.0)
