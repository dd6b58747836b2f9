"""Does anything that can be sent get past a reader, or raise?

    python -m tests.regimes.evidence.fuzz --per-reader 1000000

Each reader gets random damage to payloads that an honest sender would send (bytes flipped, cut, doubled, spliced;
values put in place of others; keys doubled, members nested) and plain random bytes. What comes out must be of the
reader's own type and within its own bounds; any exception is an escape. The seed of every payload is known, so that
one is found again: `--reader NAME --seed N --per-reader 1`. Said as well: how many were taken for a true message.
"""

from __future__ import annotations

import json
import math
import sys
import time
from collections.abc import Callable
from random import Random
from typing import NamedTuple

from controller.core import checkpoint
from controller.core.nouns import Bad, HeaterReport, Order, RunState, Switch
from controller.field import commands, lease
from controller.messages import incoming as wire
from controller.messages import strict_json as strict
from controller.messages.inbox import Inbox
from tests.core.bench import settings
from tests.core.runs import heating
from tests.regimes.command import options

Check = Callable[[bytes], bool]  # was it taken for a true message? Raises where something is wrong
READING = b'{"value": 63.25, "seq": 1207, "at": 1790000000.5, "unit": "C"}'
REPORT = (
    b'{"boot": "a1b2", "epoch": 3, "seq": 77, "duty": 0.5, "lease_left_s": 9.5, "fault": null, "outlet_c": 70.1, '
    b'"power_w": 900}'
)
COMMAND = b'{"epoch": 3, "seq": 78, "duty": 0.25, "valid_s": 10.0, "owner": "dry1", "reason": "ramp", "reading_seq": 5}'
ORDER = (
    b'{"id": "o-1", "order": "start", "args": {"program": "x", "hand_c": 55.5, "here": true, "attended": true}, '
    b'"by": "brewer", "at": 1790000000, "valid_s": 30, "nonce": "boot-1f", "run": "r1", "trip": "G07"}'
)
STATUS = b'{"state": "idle", "epoch": 7, "duty": 0.0, "trips": [], "steps": [{"name": "a"}], "nonce": "b-1"}'
VALUES = (
    b"NaN", b"Infinity", b"-Infinity", b"1e999", b"-1e999", b"true", b"null", b'""', b"[]", b"{}", b"-0", b"0.0",
    b"9" * 400, b"-127", b"85.0", b"127.94", b"1e-400", b'"65"', b'"\\ud800"', b'"\\u0000"', b"[[[[[[1]]]]]]", b"6_5",
    b"\xef\xbb\xbf1", b"+1", b".5", b"1.", b"0x10", b"\xd9\xa3", b"1" + b"0" * 30, b"9007199254740993", b"1e308",
    b'{"a":1,"a":2}',
)  # fmt: skip
FORMS = (wire.form(), wire.form("/value", "F", "/unit", "/seq", "/at"), wire.form("/value"), wire.form("/a/0/b"))


class Reader(NamedTuple):
    """One reader: what honest senders send it, and what must hold of what it makes of a payload."""

    honest: tuple[bytes, ...]
    check: Check


def _finite(*values: float | None) -> None:
    for value in values:
        assert value is None or (value.__class__ is float and math.isfinite(value)), value


def reading(payload: bytes) -> bool:
    taken = False
    for shape in FORMS:
        found = wire.reading(shape, payload, 5.0, 1.79e9)
        if isinstance(found, Bad):
            assert found.why
            continue
        taken = True
        _finite(found.value_c, found.lag_s)
        assert found.seq is None or (found.seq.__class__ is int and 0 <= found.seq <= strict.EXACT)
    return taken


def switch(payload: bytes) -> bool:
    found = wire.switch(payload, 5.0)
    if isinstance(found, strict.Refused):
        return False
    word, seq = found
    assert isinstance(word, Switch)
    assert word.ok.__class__ is bool
    assert seq is None or 0 <= seq <= strict.EXACT
    return True


def report(payload: bytes) -> bool:
    found = wire.report(payload, 5.0)
    if isinstance(found, strict.Refused):
        return False
    assert isinstance(found, HeaterReport)
    _finite(found.duty, found.lease_left_s, found.outlet_c, found.power_w)
    assert 0.0 <= found.duty <= 1.0
    assert 0 <= found.epoch <= wire.EPOCH_CAP
    assert 0 <= found.seq <= strict.EXACT
    assert found.boot.__class__ is str
    assert len(found.boot) <= strict.ID_CAP
    return True


def online(payload: bytes) -> bool:
    there = wire.online(payload)
    assert there.__class__ in (bool, strict.Refused)
    return there.__class__ is bool


def echo(payload: bytes) -> bool:
    found = wire.echo(payload)
    if isinstance(found, strict.Refused):
        return False
    _finite(found.duty)
    assert found.epoch is None or 0 <= found.epoch <= wire.EPOCH_CAP
    return True


def status(payload: bytes) -> bool:
    epoch = wire.epoch_of_status(payload)
    assert epoch is None or 0 <= epoch <= wire.EPOCH_CAP
    return epoch is not None


def order(payload: bytes) -> bool:
    found = wire.order(payload, 5.0)
    assert isinstance(found, Order)
    _finite(found.at, found.valid_s)
    if found.problems:
        return False
    assert found.name
    assert len(found.name) <= strict.ID_CAP
    assert found.name.isprintable()
    json.dumps(dict(found.args), allow_nan=False)
    return True


def obey(payload: bytes) -> bool:
    """The heater node's own reader: the output stays a share, and only a command that can be read raises it."""
    plate = lease.NodeSettings(power_w=3000.0, boot="b")
    state, why = commands.obey(plate, lease.boot(0.0), payload, 20.0)
    state, output = lease.beat(plate, state, 20.5, outlet_c=None, level_ok=True, flow_ok=True, power_w=None)
    assert output.__class__ is float
    assert 0.0 <= output <= 1.0
    assert why is None or output == 0.0
    return why is None


def record(payload: bytes) -> bool:
    """A damaged record from the disk: values again or None."""
    try:
        found = json.loads(payload)
    except (ValueError, RecursionError):
        return False  # the journal refuses the line
    kept = checkpoint.recall(found, 5.0) if isinstance(found, dict) else None
    if kept is None:
        return False
    assert kept.run.state in RunState
    _finite(kept.run.progress.credited_s, kept.run.hold.gap.credit_s, kept.run.begun.excluded_s, kept.last_c)
    return True


class _Door:
    """The inbox as a whole: every topic in turn, and what a tick takes from it."""

    def __init__(self) -> None:
        self.inbox = Inbox(settings(), "dry1")
        self.topics = sorted(self.inbox.topics.heard())
        self.count = 0

    def __call__(self, payload: bytes) -> bool:
        self.count += 1
        now = self.count / 2.0
        refused = self.inbox.counters.total()
        self.inbox.put(self.topics[self.count % len(self.topics)], payload, now)
        if self.count % 8 == 0:
            inputs = self.inbox.take(now)
            assert len(inputs.mash) <= 8
            assert len(inputs.orders) <= 48
            assert not self.inbox.take(now).orders
            self.inbox.turned_away.clear()
        return self.inbox.counters.total() == refused


def _kept() -> bytes:
    """A true record of a run under way."""
    return json.dumps(checkpoint.keep(heating().state)).encode()


READERS: dict[str, Reader] = {
    "reading": Reader((READING, b"63.25", b"-1.5e1", b'{"a": [{"b": 61.0}], "seq": 4}'), reading),
    "switch": Reader((b'{"ok": true, "seq": 12}', b'{"ok": false, "seq": 13}'), switch),
    "heater report": Reader((REPORT,), report),
    "online": Reader((b"true", b"false", b"online", b" Offline "), online),
    "heater command": Reader((COMMAND, b'{"duty": 0}'), echo),
    "status": Reader((STATUS,), status),
    "order": Reader((ORDER, b"hold", b" stop ", b'{"order": "clear", "id": "x", "trip": "G07"}'), order),
    "heater node": Reader((COMMAND, b'{"duty": 0}'), obey),
    "inbox": Reader((READING, REPORT, COMMAND, ORDER, STATUS, b"true", b'{"ok": true, "seq": 12}', b"hold"), _Door()),
    "record": Reader((_kept(),), record),
}


def damaged(rng: Random, honest: tuple[bytes, ...]) -> bytes:
    """One payload: an honest one with one to four kinds of damage, or, one time in ten, any bytes at all."""
    pick = rng.random
    if pick() < 0.1:
        return rng.randbytes(int(pick() * 80) if pick() < 0.99 else int(pick() * 5000))
    payload = honest[int(pick() * len(honest))]
    for _ in range(1 + int(pick() ** 3 * 4)):
        payload = DAMAGES[int(pick() * len(DAMAGES))](rng, payload)
    return payload


def _flip(rng: Random, payload: bytes) -> bytes:
    if not payload:
        return b"\x00"
    at = int(rng.random() * len(payload))
    return payload[:at] + bytes((payload[at] ^ (1 << int(rng.random() * 8)),)) + payload[at + 1 :]


def _cut(rng: Random, payload: bytes) -> bytes:
    a, b = sorted((int(rng.random() * (len(payload) + 1)), int(rng.random() * (len(payload) + 1))))
    return payload[:a] + payload[b:]


def _double(rng: Random, payload: bytes) -> bytes:
    a, b = sorted((int(rng.random() * (len(payload) + 1)), int(rng.random() * (len(payload) + 1))))
    return payload[:b] + payload[a:]


def _insert(rng: Random, payload: bytes) -> bytes:
    at = int(rng.random() * (len(payload) + 1))
    return payload[:at] + rng.randbytes(1 + int(rng.random() * 3)) + payload[at:]


def _value(rng: Random, payload: bytes) -> bytes:
    """Another value in place of one: between a colon and the next comma or brace."""
    marks = [i for i, byte in enumerate(payload) if byte == 0x3A]
    new = VALUES[int(rng.random() * len(VALUES))]
    if not marks:
        return new
    at = marks[int(rng.random() * len(marks))] + 1
    end = min((i for i in (payload.find(b",", at), payload.find(b"}", at)) if i >= 0), default=len(payload))
    return payload[:at] + new + payload[end:]


def _again(rng: Random, payload: bytes) -> bytes:
    """A member given twice."""
    at = payload.find(b"{") + 1
    end = payload.find(b",", at)
    return payload if at == 0 or end < 0 else payload[: end + 1] + payload[at : end + 1] + payload[end + 1 :]


def _nest(rng: Random, payload: bytes) -> bytes:
    deep = 1 + int(rng.random() ** 4 * 900)
    return b"[" * deep + payload + b"]" * deep if rng.random() < 0.5 else b'{"value":' * deep + payload + b"}" * deep


DAMAGES = (_flip, _flip, _cut, _double, _insert, _value, _value, _again, _nest)


class Escape(NamedTuple):
    reader: str
    seed: int
    payload: bytes
    what: str


def fuzz(name: str, count: int, first: int = 0) -> tuple[int, list[Escape]]:
    """So many payloads for one reader. How many were taken for true messages, and what escaped?"""
    reader, found, taken = READERS[name], list[Escape](), 0
    rng = Random()
    for seed in range(first, first + count):
        rng.seed(seed)
        payload = damaged(rng, reader.honest)
        try:
            taken += reader.check(payload)
        except Exception as what:
            found.append(Escape(name, seed, payload, f"{type(what).__name__}: {what}"))
            if len(found) >= 20:
                break
    return taken, found


def main(words: list[str]) -> int:
    args = options(__doc__, words, per_reader=100_000, reader=[*READERS], seed=0)
    escapes: list[Escape] = []
    for name in args.reader:
        began = time.process_time()
        taken, found = fuzz(name, args.per_reader, args.seed)
        escapes += found
        took = time.process_time() - began
        print(f"{name}: {args.per_reader} payloads, {taken} taken, {len(found)} escapes, {took:.0f} s", flush=True)
        for escape in found[:5]:
            print(f"  seed {escape.seed}: {escape.what}: {escape.payload[:200]!r}")
    return 1 if escapes else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
