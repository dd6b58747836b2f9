"""How is what we have to say put on the wire?

Builders for every payload that goes out: strict JSON in UTF-8, no NaN, no Infinity, units last in every name. `at` is
wall-clock time, unix seconds, a stamp for people; no receiver of ours judges by it alone. A stirrer or pump hears of a
change at once, and of what stays the same often enough that its lease never runs out.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import lru_cache
from math import isfinite
from typing import Any

from controller.core.heater_command import HeaterCommand
from controller.core.nouns import Event, Instant, Motor, Reply
from controller.core.procedure.who_moves import SAY_S, VALID_S


def writer(*, ascii_only: bool) -> Callable[[Any], str]:
    """One that writes values as JSON without blanks; it raises ValueError for a number that is not finite.

    `JSONEncoder.encode` makes its inner encoder anew at each call (3 of 7 us for a heater's report); here it is made
    once, where there is one in C.
    """
    whole = json.JSONEncoder(ensure_ascii=ascii_only, allow_nan=False, check_circular=False, separators=(",", ":"))
    make = getattr(json.encoder, "c_make_encoder", None)
    if make is None:
        return whole.encode
    text = json.encoder.encode_basestring_ascii if ascii_only else json.encoder.encode_basestring
    chunks, join = make(None, whole.default, text, None, ":", ",", False, False, False), "".join
    return lambda value: join(chunks(value, 0))


_encode = writer(ascii_only=False)
_valid = lru_cache(maxsize=16)("{:.3f}".format)  # nearly always that of a full lease
_text = lru_cache(maxsize=256)(_encode)  # reasons repeat from second to second

TRUE, FALSE = b"true", b"false"


class Unfit(ValueError):
    """A command that must never leave the house was about to: a bug."""


def document(values: Mapping[str, Any]) -> bytes:
    """A dictionary as JSON; a number that is not finite becomes null."""
    try:
        return _encode(values).encode("utf-8", "replace")
    except ValueError:
        return _encode(finite(values)).encode("utf-8", "replace")


class Last:
    """The text last made of a value, kept while it is that very value: statuses repeat most of themselves."""

    def __init__(self) -> None:
        self._of: object = self
        self._text = ""

    def text(self, value: object) -> str:
        if value is not self._of:
            self._text = _encode(value)
            self._of = value
        return self._text


_KEPT = {key: Last() for key in ("steps", "prediction")}


def status(values: dict[str, Any]) -> bytes:
    """The status as JSON, as `document` gives it but for the order of its members."""
    try:
        kept = [f'"{key}":{last.text(values[key])}' for key, last in _KEPT.items()]
        rest = dict(values)
        for key in _KEPT:
            del rest[key]
        said = _encode(rest)
    except ValueError:
        return document(values)
    return f"{said[:-1]},{','.join(kept)}}}".encode("utf-8", "replace")


def finite(value: Any) -> Any:
    """The same value with null in place of every number that is not finite."""
    if isinstance(value, Mapping):
        return {str(k): finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [finite(v) for v in value]
    return None if isinstance(value, float) and not isfinite(value) else value


def heater_command(command: HeaterCommand, wall_s: float, owner: str) -> bytes:
    """The lease on the heater. Raises `Unfit` for a share outside 0..1 or a validity outside 0..10 s: the last line."""
    if not (0.0 <= command.duty <= 1.0 and 0.0 < command.valid_s <= 10.0):
        raise Unfit(f"heater command with duty {command.duty!r} for {command.valid_s!r} s")
    age = "null" if command.reading_age_s is None else f"{command.reading_age_s:.3f}"
    seq = "null" if command.reading_seq is None else command.reading_seq
    return (
        f'{{"epoch":{command.epoch},"seq":{command.seq},"at":{wall_s:.3f},"valid_s":{_valid(command.valid_s)},'
        f'"duty":{command.duty!r},"reason":{_text(command.reason)},"reading_seq":{seq},"reading_age_s":{age},'
        f'"owner":{_text(owner)}}}'
    ).encode("utf-8", "replace")


def motor_command(seq: int, motor: Motor, valid_s: float) -> bytes:
    """Stirrer or pump: on or off, for how long, and why."""
    on = "true" if motor.on else "false"
    said = f'{{"seq":{seq},"on":{on},"valid_s":{valid_s:.3f},"reason":{_text(motor.reason)}}}'
    return said.encode("utf-8", "replace")


def reply(answer: Reply) -> bytes:
    """The answer to an order."""
    return document({key: getattr(answer, key) for key in ("id", "order", "accepted", "reason", "state")})


def trip_class(link: bool) -> str:
    """Does a trip tell of a link, or of what is physical?"""
    return "link" if link else "physics"


_OPTIONAL = ("value", "limit", "first_out", "latched", "priority", "data")
EVENT_KEYS = ("seq", "at", "kind", "id", "text", *_OPTIONAL, "unit")


def event_values(seq: int, wall_s: float, event: Event) -> dict[str, Any]:
    """An event as the journal and the wire carry it; what it does not have is left out."""
    values: dict[str, Any] = {"seq": seq, "at": round(wall_s, 3)}
    values |= {"kind": event.kind, "id": event.id, "text": event.text}
    values.update((k, v) for k in _OPTIONAL if (v := getattr(event, k)) is not None)
    if event.unit:
        values["unit"] = event.unit
    if event.link is not None:
        values["class"] = trip_class(event.link)
    return values


def event(seq: int, wall_s: float, what: Event) -> bytes:
    """An event on the wire."""
    return document(event_values(seq, wall_s, what))


def online(there: bool) -> bytes:
    """Our own presence; `false` is the last will."""
    return TRUE if there else FALSE


EARLY_S = 0.5  # half a tick: a word that is due now is not put off to the next one


class MotorWords:
    """One tun's motors; all words share one count."""

    def __init__(self) -> None:
        self._said: dict[str, tuple[bool, Instant]] = {}  # by topic: on or off, and when
        self._seq = 0

    def due(self, topic: str, motor: Motor, now: Instant) -> bytes | None:
        """The word to send, or None where the last one still holds."""
        on, said_at = self._said.get(topic, (None, 0.0))
        if on is motor.on and now - said_at < SAY_S - EARLY_S:
            return None
        self._seq += 1
        self._said[topic] = motor.on, now
        return motor_command(self._seq, motor, VALID_S)
