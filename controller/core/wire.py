"""What does a payload say?

The readers are stricter than Python's own parser, which lets through NaN, Infinity, 1e999, truth values as numbers,
keys given twice and UTF-16 (seen with Python 3.11). None of them raises: the answer is a value or a `Refused` with a
reason. RFC 8259 is the grammar, RFC 6901 the pointer. What we say ourselves is built in words.py.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from math import isfinite
from typing import Any, NamedTuple

from controller.core.model import Bad, HeaterReport, Instant, Order, Reading, Sample, Switch

READING_CAP, ORDER_CAP, STATUS_CAP = 1024, 4096, 65536  # bytes; own proposal, many times what an honest sender needs
DEEPEST = 4  # levels of nesting
EXACT = 2**53  # whole numbers beyond it are not exact in the number type that most senders use
TEXT_CAP, ID_CAP = 500, 64  # characters
EPOCH_CAP = 2**40  # far above any count of restarts, far below what a node's counter must hold


class Refused(NamedTuple):
    """Why a payload is not taken: one of few reasons (for counting), and the detail (for a person)."""

    reason: str
    detail: str = ""

    def __str__(self) -> str:
        return f"{self.reason} ({self.detail})" if self.detail else self.reason


class _Strict(ValueError):
    """Raised and caught within this module only."""


# ---------------------------------------------------------------- bytes to a document

_NUMBER = re.compile(rb"[ \t\r\n]*(-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?)[ \t\r\n]*").fullmatch
_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*"|[\[\]{}]').findall


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _Strict("a key given twice")
    return members


def _constant(word: str) -> float:
    raise _Strict("not a finite number")


_decode = json.JSONDecoder(object_pairs_hook=_pairs, parse_constant=_constant).decode


def _depth(text: str) -> int:
    level = deepest = 0
    for mark in _BRACKETS(text):
        if mark in "[{":
            level += 1
            deepest = max(deepest, level)
        elif mark in "]}":
            level -= 1
    return deepest


def document(payload: bytes, cap: int = READING_CAP) -> Any:
    """What JSON does the payload hold? `Refused` when it is too long, not UTF-8, too deep, or not strict JSON."""
    if len(payload) > cap:
        return Refused("too long", f"{len(payload)} bytes, at most {cap}")
    try:
        text = payload.decode()
        if text.count("{") + text.count("[") > DEEPEST and _depth(text) > DEEPEST:
            return Refused("nested too deep", f"more than {DEEPEST} levels")
        return _decode(text)
    except UnicodeDecodeError:
        return Refused("not UTF-8")
    except _Strict as why:
        return Refused(str(why))
    except (ValueError, RecursionError):
        return Refused("not JSON")


def number(value: Any) -> float | Refused:
    """Is it a finite number? Truth values and text are not."""
    if value.__class__ is float:
        return value if isfinite(value) else Refused("not a finite number")
    if value.__class__ is int:
        return float(value) if -EXACT <= value <= EXACT else Refused("a whole number too large")
    if value.__class__ is bool:
        return Refused("a truth value in place of a number")
    if value.__class__ is str:
        return Refused("text in place of a number")
    return Refused("nothing there" if value is None else "no number")


def whole(value: Any, highest: int = EXACT) -> int | Refused:
    """Is it a whole number from 0 up to `highest`?"""
    if value.__class__ is not int:
        return Refused("no whole number")
    return value if 0 <= value <= highest else Refused("a whole number out of range")


def text(value: Any, longest: int = ID_CAP) -> str | Refused:
    """Is it printable text of a bearable length? (Lone surrogates and control characters are not printable.)"""
    if value.__class__ is not str:
        return Refused("no text")
    if len(value) > longest:
        return Refused("text too long", f"{len(value)} characters, at most {longest}")
    return value if value.isprintable() else Refused("text that cannot be printed")


Parts = tuple[str, ...]


def parts(pointer: str) -> Parts:
    """Which keys does an RFC 6901 pointer walk through? The empty pointer means the whole document."""
    return tuple(p.replace("~1", "/").replace("~0", "~") for p in pointer.split("/")[1:])


def walk(value: Any, path: Parts) -> Any:
    """What stands at the end of the path? None when the path leads nowhere."""
    for key in path:
        if value.__class__ is dict:
            value = value.get(key)
        elif value.__class__ is list and key.isascii() and key.isdigit() and len(key) < 4 and int(key) < len(value):
            value = value[int(key)]
        else:
            return None
    return value


# ---------------------------------------------------------------- readings

UNITS = {"C": "C", "°C": "C", "CELSIUS": "C", "F": "F", "°F": "F", "FAHRENHEIT": "F"}


class Form(NamedTuple):
    """Where in a probe's payload do value, sequence, stamp and unit stand, and which unit is meant?"""

    value: Parts = ()
    unit: str = "C"
    unit_at: Parts | None = None
    seq_at: Parts | None = None
    at_at: Parts | None = None


def form(
    pointer: str = "",
    unit: str = "C",
    unit_pointer: str | None = None,
    seq_pointer: str | None = None,
    at_pointer: str | None = None,
) -> Form:
    """A probe's settings made ready for reading. An absent or empty pointer to unit, sequence or stamp means: none."""
    extra = [parts(p) if p else None for p in (unit_pointer, seq_pointer, at_pointer)]
    return Form(parts(pointer), unit, *extra)


def reading(shape: Form, payload: bytes, now: Instant, wall_s: float) -> Sample:
    """Which temperature does a probe's payload give? In °C, not calibrated; `Bad` with a reason if none."""
    if not shape.value and len(payload) <= READING_CAP and (plain := _NUMBER(payload)):
        value: float | Refused = number(float(plain[1]))
        if value.__class__ is Refused:
            return Bad(str(value), now)
        return Reading(_celsius(value, shape.unit), now)  # type: ignore[arg-type]
    found = document(payload)
    if found.__class__ is Refused:
        return Bad(str(found), now)
    value = number(walk(found, shape.value))
    if value.__class__ is Refused:
        return Bad(str(value), now)
    return _reading(shape, found, value, now, wall_s)  # type: ignore[arg-type]


def _reading(shape: Form, found: Any, value: float, now: Instant, wall_s: float) -> Sample:
    seq = walk(found, shape.seq_at) if shape.seq_at else None
    at = walk(found, shape.at_at) if shape.at_at else None
    unit = walk(found, shape.unit_at) if shape.unit_at else None
    if seq is not None and isinstance(seq := whole(seq), Refused):
        return Bad(f"sequence: {seq}", now)
    if at is not None and isinstance(at := number(at), Refused):
        return Bad(f"time stamp: {at}", now)
    if unit is not None:
        unit = UNITS.get(unit.upper()) if isinstance(unit, str) else None
        if unit is None:
            return Bad("a unit that is neither °C nor °F", now)
    return Reading(_celsius(value, unit or shape.unit), now, seq, None if at is None else wall_s - at)


def _celsius(value: float, unit: str) -> float:
    return value if unit == "C" else (value - 32.0) / 1.8


# ---------------------------------------------------------------- nodes


def switch(payload: bytes, now: Instant) -> tuple[Switch, int | None] | Refused:
    """What does a level or flow switch say, and with which sequence? `{"ok": true, "seq": n}`."""
    found = document(payload)
    if found.__class__ is Refused:
        return found
    if found.__class__ is not dict or found.get("ok").__class__ is not bool:
        return Refused("no truth value under `ok`")
    seq = found.get("seq")
    if seq is not None and isinstance(seq := whole(seq), Refused):
        return seq
    return Switch(found["ok"], now), seq


def report(payload: bytes, now: Instant) -> HeaterReport | Refused:
    """What does the heater node say of itself?"""
    found = document(payload)
    if found.__class__ is not dict:
        return found if isinstance(found, Refused) else Refused("no object")
    get = found.get
    boot, fault = get("boot"), get("fault")
    fields: list[Any] = [
        text(str(boot) if boot.__class__ is int else boot),
        whole(get("epoch"), EPOCH_CAP),
        whole(get("seq")),
        number(get("duty")),
        number(get("lease_left_s")),
        None if fault in (None, "") else text(fault, TEXT_CAP),
        None if get("outlet_c") is None else number(get("outlet_c")),
        None if get("power_w") is None else number(get("power_w")),
    ]
    for name, field in zip(HeaterReport._fields[1:], fields, strict=True):
        if field.__class__ is Refused:
            return Refused(field.reason, name)
    if not (0.0 <= fields[3] <= 1.0):
        return Refused("a share outside 0..1", "duty")
    return HeaterReport(now, *fields)


def online(payload: bytes) -> bool | Refused:
    """Is a node there? `true` / `false`; the words online and offline are taken too, as much firmware sends them."""
    word = payload[:16].strip().lower()
    if word in (b"true", b"online"):
        return True
    return False if word in (b"false", b"offline") else Refused("neither true nor false")


class Echo(NamedTuple):
    """A heater command as heard on the topic: ours or another's."""

    duty: float
    epoch: int | None
    seq: int | None
    owner: str | None


def echo(payload: bytes) -> Echo | Refused:
    """Which heater command went past? An OFF needs nothing but its duty."""
    found = document(payload)
    if found.__class__ is not dict:
        return found if isinstance(found, Refused) else Refused("no object")
    duty, owner = number(found.get("duty")), text(found.get("owner"))
    if isinstance(duty, Refused):
        return Refused(duty.reason, "duty")
    epoch, seq = whole(found.get("epoch"), EPOCH_CAP), whole(found.get("seq"))
    return Echo(
        duty,
        None if isinstance(epoch, Refused) else epoch,
        None if isinstance(seq, Refused) else seq,
        None if isinstance(owner, Refused) else owner,
    )


def epoch_of_status(payload: bytes) -> int | None:
    """Which owner epoch does a retained status name? None when it names none."""
    found = document(payload, STATUS_CAP)
    if found.__class__ is not dict:
        return None
    epoch = whole(found.get("epoch"), EPOCH_CAP)
    return None if isinstance(epoch, Refused) else epoch


# ---------------------------------------------------------------- orders

HEAT_OFF = ("hold", "stop", "abort")  # they take heat away: any plain button may send them, as bare words too


def order(payload: bytes, now: Instant, retained: bool = False) -> Order:
    """Which order is it? One that cannot be read comes back with its `problems`, so that it gets an answer too."""
    if (word := payload[:16].strip().lower().decode("ascii", "replace")) in HEAT_OFF:
        return Order(word, now, retained=retained)
    found = document(payload, ORDER_CAP)
    if found.__class__ is not dict:
        why = str(found) if isinstance(found, Refused) else "no object"
        return Order("", now, retained=retained, problems=(f"the order cannot be read: {why}",))
    problems: list[str] = []

    def take(key: str, read: Callable[[Any], Any]) -> Any:
        value = found.get(key)
        if value is None or not isinstance(value := read(value), Refused):
            return value
        problems.append(f"{key}: {value}")
        return None

    name = take("order", text)
    if name is None and not problems:
        problems.append("the key `order` is missing")
    args = found.get("args")
    args = {} if args is None else args
    if args.__class__ is not dict:
        args = {}
        problems.append("args: no object")
    problems.extend(f"args: {why}" for why in _unclean(args))
    read = Order(
        name=name or "",
        arrived=now,
        id=take("id", text),
        by=take("by", text) or "unknown",
        at=take("at", number),
        valid_s=take("valid_s", number),
        nonce=take("nonce", text),
        run=take("run", text),
        trip=take("trip", text),
        retained=retained,
    )
    if not problems:
        return read._replace(args=args)
    return read if name in HEAT_OFF else read._replace(problems=tuple(problems))


def _unclean(value: Any) -> list[str]:
    """Which numbers and texts in an order's arguments cannot be taken?"""
    if isinstance(value, dict):
        return [why for key, item in value.items() for why in (*_unclean(key), *_unclean(item))]
    if isinstance(value, list):
        return [why for item in value for why in _unclean(item)]
    if value is None or value.__class__ is bool:
        return []
    clean = text(value, TEXT_CAP) if value.__class__ is str else number(value)
    return [str(clean)] if isinstance(clean, Refused) else []
