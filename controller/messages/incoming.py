"""What does a payload say?

One reader a kind of message, bytes in, a value or a `Refused` out; none of them raises. What a payload may hold at all
is judged in strict_json.py; what we say ourselves is built in outgoing.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, get_args

from controller.core.nouns import Bad, FaultCode, HeaterReport, Instant, Order, Reading, Sample, Switch
from controller.messages.strict_json import (
    ORDER_CAP,
    READING_CAP,
    STATUS_CAP,
    TEXT_CAP,
    Parts,
    Refused,
    document,
    number,
    parts,
    text,
    walk,
    whole,
)
from controller.quick_records import maker

Value = TypeVar("Value")
_reading_of, _report = maker(Reading), maker(HeaterReport)
EPOCH_CAP = 2**40  # far above any count of restarts, far below what a node's counter must hold
_NUMBER = re.compile(rb"[ \t\r\n]*(-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?)[ \t\r\n]*").fullmatch

# ---------------------------------------------------------------- readings

UNITS = {"C": "C", "°C": "C", "CELSIUS": "C", "F": "F", "°F": "F", "FAHRENHEIT": "F"}


class Form(NamedTuple):
    """Where in a probe's payload do value, sequence, stamp and unit stand, and which unit is meant?"""

    value: Parts = ()
    unit: str = "C"
    unit_at: Parts | None = None  # None: the key `unit` where it is there and fits
    seq_at: Parts | None = None  # None: the key `seq`, likewise
    at_at: Parts | None = None  # None: the key `at`, likewise


def form(
    pointer: str = "",
    unit: str = "C",
    unit_pointer: str | None = None,
    seq_pointer: str | None = None,
    at_pointer: str | None = None,
) -> Form:
    """A probe's settings made ready for reading. Without a pointer of its own a key is used where it fits, else not."""
    extra = [parts(p) if p else None for p in (unit_pointer, seq_pointer, at_pointer)]
    return Form(parts(pointer), unit, *extra)


def reading(shape: Form, payload: bytes, now: Instant, clock_s: float) -> Sample:
    """Which temperature does a probe's payload give? In °C, not calibrated; `Bad` with a reason if none.

    `clock_s`: what a sender's stamp is compared with, s.
    """
    if not shape.value and shape.seq_at is None and len(payload) <= READING_CAP and (plain := _NUMBER(payload)):
        value: float | Refused = number(float(plain[1]))
        if value.__class__ is Refused:
            return Bad(str(value), now)
        return _reading_of(value if shape.unit == "C" else _celsius(value), now)  # type: ignore[arg-type]
    found = document(payload)
    if found.__class__ is Refused:
        return Bad(str(found), now)
    value = number(walk(found, shape.value))
    if value.__class__ is Refused:
        return Bad(str(value), now)
    return _reading(shape, found, value, now, clock_s)  # type: ignore[arg-type]


def _reading(shape: Form, found: Any, value: float, now: Instant, clock_s: float) -> Sample:
    seq, at, unit = _beside(shape, found)
    if isinstance(seq, Refused):
        return Bad(f"sequence: {seq}", now)
    if isinstance(at, Refused):
        return Bad(f"time stamp: {at}", now)
    if isinstance(unit, Refused):
        return Bad(str(unit), now)
    if seq is None and shape.seq_at is not None:  # a number that is promised tells new readings from old ones
        return Bad("sequence missing", now)
    value_c = value if (unit or shape.unit) == "C" else _celsius(value)
    return _reading_of(value_c=value_c, at=now, seq=seq, lag_s=None if at is None else clock_s - at)


def _beside(shape: Form, found: Any) -> tuple[int | Refused | None, float | Refused | None, str | Refused | None]:
    """Sequence, stamp, unit beside the value. What a pointer was set for must fit; what was not asked for need not."""
    plain = found.get if found.__class__ is dict else {}.get
    _, _, unit_at, seq_at, at_at = shape
    seq = plain("seq") if seq_at is None else walk(found, seq_at)
    at = plain("at") if at_at is None else walk(found, at_at)
    unit = plain("unit") if unit_at is None else walk(found, unit_at)
    if seq is not None and (seq := whole(seq)).__class__ is Refused and seq_at is None:
        seq = None
    if at is not None and (at := number(at)).__class__ is Refused and at_at is None:
        at = None
    if unit is not None:
        known = UNITS.get(unit.upper()) if isinstance(unit, str) else None
        unit = known or (None if unit_at is None else Refused("a unit that is neither °C nor °F"))
    return seq, at, unit


def _celsius(value_f: float) -> float:
    return (value_f - 32.0) / 1.8


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
    boot, fault, outlet_c, power_w = get("boot"), get("fault"), get("outlet_c"), get("power_w")
    faulty = fault is not None and fault != ""
    try:
        return _report(
            at=now,
            boot=_fit("boot", text(str(boot) if boot.__class__ is int else boot)),
            epoch=_fit("epoch", whole(get("epoch"), EPOCH_CAP)),
            seq=_fit("seq", whole(get("seq"))),
            duty=_share("duty", number(get("duty"))),
            lease_left_s=_fit("lease_left_s", number(get("lease_left_s"))),
            fault=None if not faulty else _fit("fault", text(fault, TEXT_CAP)),
            fault_code=_fault_code(get("fault_code")) if faulty else None,
            outlet_c=None if outlet_c is None else _fit("outlet_c", number(outlet_c)),
            power_w=None if power_w is None else _fit("power_w", number(power_w)),
            n=None if (n := get("n")) is None else _fit("n", whole(n)),
        )
    except _Unfit as why:
        return why.refused


def _fault_code(said: object) -> FaultCode:
    """Which code has the fault? None that we know: `internal`, and somebody must look."""
    return next((code for code in get_args(FaultCode) if code == said), "internal")


class _Unfit(Exception):
    """A field of a message that does not fit."""

    def __init__(self, refused: Refused) -> None:
        super().__init__(refused.reason)
        self.refused = refused


def _fit(name: str, found: Value | Refused) -> Value:
    if isinstance(found, Refused):
        raise _Unfit(Refused(found.reason, name))
    return found


def _share(name: str, found: float | Refused) -> float:
    share = _fit(name, found)
    if not (0.0 <= share <= 1.0):
        raise _Unfit(Refused("a share outside 0..1", name))
    return share


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


class Told(NamedTuple):
    """What a retained status says of the process that sent it."""

    state: str
    run: str | None
    epoch: int
    journal_seq: int
    latched: tuple[str, ...]


def last_status(payload: bytes) -> Told | None:
    """What did the last process say of itself? None where it cannot be read."""
    found = document(payload, STATUS_CAP)
    if found.__class__ is not dict:
        return None
    state, run = text(found.get("state")), text(found.get("run"))
    epoch, journal_seq = whole(found.get("epoch"), EPOCH_CAP), whole(found.get("journal_seq"))
    if isinstance(state, Refused) or isinstance(epoch, Refused) or isinstance(journal_seq, Refused):
        return None
    trips = found.get("trips")
    there = [trip for trip in trips if isinstance(trip, dict)] if isinstance(trips, list) else []
    latched = tuple(str(trip.get("id"))[:8] for trip in there if trip.get("latched") is True)
    return Told(state, None if isinstance(run, Refused) else run, epoch, journal_seq, latched)


# ---------------------------------------------------------------- orders

HEAT_OFF = ("hold", "stop", "abort")  # they take heat away
PLAIN = (*HEAT_OFF, "acknowledge")  # any plain button may send these, as bare words too


_MARK = re.compile(rb'"id"\s*:\s*"([\x20\x21\x23-\x5b\x5d-\x7e]{1,64})"').search  # of an order otherwise unreadable


def order(payload: bytes, now: Instant, retained: bool = False) -> Order:
    """Which order is it? One that cannot be read comes back with its `problems`, so that it gets an answer too."""
    if (word := payload[:16].strip().lower().decode("ascii", "replace")) in PLAIN:
        return Order(word, now, retained=retained)
    found = document(payload, ORDER_CAP)
    if found.__class__ is not dict:
        why = str(found) if isinstance(found, Refused) else "no object"
        mark = _MARK(payload[:ORDER_CAP])
        key = mark[1].decode("ascii") if mark else None
        return Order("", now, key, retained=retained, problems=(f"the order cannot be read: {why}",))
    problems: list[str] = []

    def take(key: str, read: Callable[[Any], Any]) -> Any:
        value = found.get(key)
        if value is None or not isinstance(value := read(value), Refused):
            return value
        problems.append(f"{key}: {value}")
        return None

    name = take("order", text)
    if not name and not problems:
        problems.append("the key `order` is missing or empty")
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
    return read if name in PLAIN else read._replace(problems=tuple(problems))


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
