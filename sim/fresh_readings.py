"""Did every command with power rest on a fresh reading?

Counted from messages alone, with a reader of its own: nothing here comes from the controller. A reading counts when it
is a finite number within the range any mash thermometer can show, not retained, and new by the sender's own sequence
where there is one.
"""

import json
import math
import re
from typing import Any

FRESH_S = 10.0  # a command with power needs a reading not older than this
SLACK_S = 0.5  # for the path through the broker
LOWEST_C, HIGHEST_C = -5.0, 105.0
RESTART = 3  # so many rising sequence numbers below the last: a node that started anew


_scan = vars(json.JSONDecoder())["scan_once"]  # of a text without blanks around it: value and end, or StopIteration
_OFF = re.compile(rb'"duty":\s*0(?:\.0*)?[,}]').search  # anything else counts as heat


def decoded(payload: bytes) -> Any:
    """What JSON is it? Raises ValueError where it is none."""
    text = payload.decode().strip(" \t\n\r")
    try:
        found, end = _scan(text, 0)
    except (StopIteration, RecursionError):
        raise ValueError("no JSON") from None
    if end != len(text):
        raise ValueError("more than one value")
    return found


class FreshReadings:
    """Hears readings and heater commands; counts those that had nothing to rest on."""

    def __init__(self, topic: str, pointer: str, seq_pointer: str, unit: str) -> None:
        self._topic, self._unit = topic, unit
        self._value_at = pointer.split("/")[1:]
        self._seq_at = (seq_pointer or "/seq").split("/")[1:]
        self.newest_s = -math.inf  # arrival of the newest valid reading
        self.value_c: float | None = None
        self._seq: int | None = None
        self._lower: list[int] = []
        self.commands = 0
        self.hot = 0
        self.without = 0

    def reading(self, payload: bytes, at: float, retained: bool = False) -> bool:
        """A message on the mash probe's topic. Was it a valid, new reading?"""
        value, seq = self.read(payload)
        if retained or value is None or not self._new(seq):
            return False
        self.newest_s, self.value_c = at, value
        return True

    def command(self, payload: bytes, at: float) -> bool:
        """A heater command that the daemon sent. Did it rest on evidence?"""
        self.commands += 1
        if _OFF(payload):
            return True
        self.hot += 1
        rests = at - self.newest_s <= FRESH_S + SLACK_S
        self.without += not rests
        return rests

    def read(self, payload: bytes) -> tuple[float | None, int | None]:
        """Value in °C and sequence of a reading; no value where it is none."""
        try:
            found = decoded(payload)
        except ValueError:
            return None, None
        value, seq = _walk(found, self._value_at), _walk(found, self._seq_at)
        if value.__class__ is not float and value.__class__ is not int:
            return None, None
        value = value if self._unit == "C" else (value - 32.0) / 1.8
        if not (LOWEST_C <= value <= HIGHEST_C):
            return None, None
        return value, seq if seq.__class__ is int else None

    def _new(self, seq: int | None) -> bool:
        if seq is None or self._seq is None or seq > self._seq:
            self._seq, self._lower = seq, []
            return True
        if seq < self._seq and (not self._lower or seq > self._lower[-1]):
            self._lower.append(seq)
        elif seq != self._seq:
            self._lower = [seq]
        if len(self._lower) < RESTART:
            return False
        self._seq, self._lower = seq, []
        return True


def _walk(found: Any, way: list[str]) -> Any:
    for key in way:
        if found.__class__ is not dict:
            return None
        found = found.get(key)
    return found
