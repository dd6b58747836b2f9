"""What a payload holds, read more strictly than Python reads it."""

from __future__ import annotations

from controller.messages.strict_json import Refused, document, number, parts, text, walk, whole


def test_pointers_follow_rfc_6901() -> None:
    """The examples of RFC 6901, section 5, where our subset (objects and arrays) applies."""
    found = {"foo": ["bar", "baz"], "": 0, "a/b": 1, "m~n": 8, " ": 7}
    for pointer, value in [("/foo/0", "bar"), ("/", 0), ("/a~1b", 1), ("/m~0n", 8), ("/ ", 7), ("", found)]:
        assert walk(found, parts(pointer)) == value
    for nowhere in ("/foo/2", "/foo/-1", "/foo/x", "/foo/0001", "/nothing", "/a~1b/c"):
        assert walk(found, parts(nowhere)) is None


def test_depth_counts_brackets_outside_text_only() -> None:
    """Four levels pass, five do not, brackets within text do not count; which of two values of one key is meant is not
    for the reader to guess, at any depth."""
    assert document(b"[[[[1]]]]") == [[[[1]]]]
    for payload in (b"[[[[[1]]]]]", b"[[],[[[[1]]]]]", b' {"a":{"b":{"c":{"d":{"e":1}}}}}'):
        assert document(payload) == Refused("nested too deep", "more than 4 levels")
    assert (document(b"7".ljust(1024)), document(b"7".ljust(65), 64)) == (
        7, Refused("too long", "65 bytes, at most 64"),
    )  # fmt: skip
    assert document(b"[[[[1]],[2]]]") == [[[[1]], [2]]]
    assert document(b'{"a":"[[[[[[{{{{\\"[["}') == {"a": '[[[[[[{{{{"[['}
    assert document(b"[[],[],[],[],[],[]]") == [[]] * 0 + [[], [], [], [], [], []]
    for payload in (b'{"t":1,"t":2}', b'{"a":{"t":1,"t":1}}'):
        assert document(payload) == Refused("a key given twice")


def test_whole_numbers_and_texts_are_bounded() -> None:
    """A number of five thousand digits, or one beyond 2^53, is refused and does not raise; lone surrogates cannot be
    sent on; control characters could drive a terminal."""
    assert isinstance(document(b"9" * 900), int)
    for large in (10**900, 2**53 + 1):
        assert number(large) == Refused("a whole number too large")
    assert (number(2**53), number(-(2**53)), whole(0), whole(5, 5)) == (2.0**53, -(2.0**53), 0, 5)
    assert whole(-1) == whole(6, 5) == Refused("a whole number out of range")
    assert whole(1.0) == whole(True) == Refused("no whole number")
    assert text("ab\u00b0") == "ab°"
    for bad in ("\ud800", "a\nb", "\x1b[2J"):
        assert text(bad) == Refused("text that cannot be printed")
    assert (text("x" * 64), text("x" * 65)) == ("x" * 64, Refused("text too long", "65 characters, at most 64"))
    assert text(5) == Refused("no text")
