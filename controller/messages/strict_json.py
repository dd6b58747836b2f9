"""What does a payload hold, if anything?

Stricter than Python's own parser, which lets through NaN, Infinity, 1e999, truth values as numbers, keys given twice
and UTF-16 (seen with Python 3.11). Nothing here raises: the answer is a value or a `Refused` with a reason.
RFC 8259 is the grammar, RFC 6901 the pointer.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from math import isfinite
from typing import Any, NamedTuple

READING_CAP, ORDER_CAP, STATUS_CAP = 1024, 4096, 65536  # bytes; own proposal, many times what an honest sender needs
DEEPEST = 4  # levels of nesting
EXACT = 2**53  # whole numbers beyond it are not exact in the number type that most senders use
TEXT_CAP, ID_CAP = 500, 64  # characters


class Refused(NamedTuple):
    """Why a payload is not taken: one of few reasons (for counting), and the detail (for a person)."""

    reason: str
    detail: str = ""

    def __str__(self) -> str:
        return f"{self.reason} ({self.detail})" if self.detail else self.reason


class _Strict(ValueError):
    """Raised and caught within this module only."""


class _Twice(_Strict):
    """A key given twice."""


_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*"|[\[\]{}]').findall


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _Twice("a key given twice")
    return members


def _constant(word: str) -> float:
    raise _Strict("not a finite number")


Scanner = Callable[[str, int], tuple[Any, int]]  # text and where to begin; the value and where it ends

# the scanners themselves: `raw_decode` around them only turns StopIteration into an error of its own
_careful: Scanner = vars(json.JSONDecoder(object_pairs_hook=_pairs, parse_constant=_constant))["scan_once"]
_lenient: Scanner = vars(json.JSONDecoder(parse_constant=_constant))["scan_once"]
_BLANK = " \t\n\r"  # what RFC 8259 lets stand around a value


def _decode(text: str) -> Any:
    """One value and nothing around it. Of several faults a key given twice is named last."""
    text = text.strip(_BLANK)
    try:
        value, end = _careful(text, 0)
    except _Twice:
        if _lenient(text, 0)[1] == len(text):
            raise
        end = -1
    if end != len(text):
        raise _Strict("not JSON")
    return value


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
        nested = "[" in text or text.find("{", 1) > 0
        if nested and text.count("{") + text.count("[") > DEEPEST and _depth(text) > DEEPEST:
            return Refused("nested too deep", f"more than {DEEPEST} levels")
        return _decode(text)
    except UnicodeDecodeError:
        return Refused("not UTF-8")
    except _Strict as why:
        return Refused(str(why))
    except (ValueError, StopIteration, RecursionError):
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
