"""Which plain values does a payload hold, read strictly, on a small board?

One flat object of texts, numbers, truth values and nulls, as RFC 8259 has it. An interpreter's own reader takes keys
given twice, 1e999 and 01. Also how a report is written. No import but json and math: CPython and MicroPython run this
same file.
"""

import json
from math import isfinite

LONGEST = 1024  # bytes
LONGEST_NUMBER = 40  # characters; no honest sender needs them
_BLANK, _DIGITS, _ENDS = b" \t\r\n", b"0123456789", b",} \t\r\n"
_WORDS = ((b"true", True), (b"false", False), (b"null", None))
_ESCAPES = {0x22: '"', 0x5C: "\\", 0x2F: "/", 0x62: "\b", 0x66: "\f", 0x6E: "\n", 0x72: "\r", 0x74: "\t"}


def read(payload: bytes) -> dict[str, object] | str:
    """The members of the object, or in words why the payload is not taken."""
    if len(payload) > LONGEST:
        return "too long"
    try:
        return _Reader(bytes(payload)).document()
    except (ValueError, IndexError) as why:  # UnicodeError is a ValueError
        return str(why) if isinstance(why, _Strict) else "not JSON"


def write(members: dict[str, object]) -> bytes:
    """A flat object as JSON; a number that is not finite becomes null."""
    clean = {k: None if isinstance(v, float) and not isfinite(v) else v for k, v in members.items()}
    return json.dumps(clean).encode()


class _Strict(ValueError):
    """Not taken, with a reason of its own."""


class _Reader:
    """Walks over the bytes once. Raises ValueError or IndexError where they are not as they should be."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def document(self) -> dict[str, object]:
        """The one object, with nothing but blanks around it."""
        members: dict[str, object] = {}
        self.take(b"{")
        if not self.next_is(b"}"):
            self.member(members)
            while self.next_is(b","):
                self.member(members)
            self.take(b"}")
        self.blanks()
        if self.at != len(self.data):
            raise ValueError
        return members

    def member(self, members: dict[str, object]) -> None:
        """A key that is new, and its value."""
        self.blanks()
        key = self.text()
        if key in members:
            raise _Strict("a key given twice")
        self.take(b":")
        self.blanks()
        members[key] = self.value()

    def value(self) -> object:
        """Text, number, truth value or null; nothing nested."""
        first = self.data[self.at]
        if first == 0x22:
            return self.text()
        if first in b"[{":
            raise _Strict("nested")
        for word, value in _WORDS:
            if self.data[self.at : self.at + len(word)] == word:
                self.at += len(word)
                return value
        return self.number()

    def text(self) -> str:
        """A text in quotes, its escapes taken out."""
        if self.data[self.at] != 0x22:
            raise ValueError
        self.at += 1
        parts, begin = [], self.at
        while self.data[self.at] != 0x22:
            if self.data[self.at] < 0x20:
                raise ValueError
            if self.data[self.at] == 0x5C:
                parts.append(self.data[begin : self.at].decode())
                parts.append(self.escape())
                begin = self.at
            else:
                self.at += 1
        parts.append(self.data[begin : self.at].decode())
        self.at += 1
        return "".join(parts)

    def escape(self) -> str:
        """What a backslash and what follows stand for. Half a character (a surrogate) is refused."""
        code = self.data[self.at + 1]
        if code != 0x75:
            self.at += 2
            if code not in _ESCAPES:
                raise ValueError
            return _ESCAPES[code]
        digits = self.data[self.at + 2 : self.at + 6]
        if len(digits) != 4 or not all(d in b"0123456789abcdefABCDEF" for d in digits):
            raise ValueError
        self.at += 6
        point = int(digits.decode(), 16)
        if 0xD800 <= point <= 0xDFFF:
            raise _Strict("half a character")
        return chr(point)

    def number(self) -> object:
        """A number: whole ones stay whole."""
        begin = self.at
        while self.at < len(self.data) and self.data[self.at] not in _ENDS:
            self.at += 1
        said = self.data[begin : self.at]
        if len(said) > LONGEST_NUMBER or not _is_number(said):
            raise ValueError
        text = said.decode()
        if not any(mark in text for mark in ".eE"):
            return int(text)
        value = float(text)
        if not isfinite(value):
            raise _Strict("not a finite number")
        return value

    def next_is(self, mark: bytes) -> bool:
        """Is this mark the next after the blanks? It is taken, then."""
        self.blanks()
        found = self.data[self.at : self.at + 1] == mark
        self.at += found
        return found

    def take(self, mark: bytes) -> None:
        """The mark that must come now."""
        if not self.next_is(mark):
            raise ValueError

    def blanks(self) -> None:
        """Over what may stand between."""
        while self.at < len(self.data) and self.data[self.at] in _BLANK:
            self.at += 1


def _is_number(said: bytes) -> bool:
    """Is it a number as RFC 8259 has it: no plus, no leading zero, digits on both sides of the point?"""
    rest = said[1:] if said[:1] == b"-" else said
    whole = _digits(rest)
    if whole == 0 or (whole > 1 and rest[:1] == b"0"):
        return False
    rest = rest[whole:]
    if rest[:1] == b".":
        share = _digits(rest[1:])
        if share == 0:
            return False
        rest = rest[1 + share :]
    if rest[:1] in (b"e", b"E"):
        rest = rest[2:] if rest[1:2] in (b"+", b"-") else rest[1:]
        return _digits(rest) == len(rest) > 0
    return not rest


def _digits(text: bytes) -> int:
    """How many digits does it begin with?"""
    count = 0
    while count < len(text) and text[count] in _DIGITS:
        count += 1
    return count
