"""A level or flow switch by its words: nothing rests on one word, and nothing on a bounce."""

from __future__ import annotations

import pytest

from controller.core.guard.contact import Contact
from controller.core.nouns import Switch

Words = tuple[tuple[float, bool, float | None], ...]  # when, what, and the first word of its row


def after(*words: tuple[float, bool, float | None]) -> Contact:
    """The contact after these words."""
    contact = Contact()
    for at, ok, since in words:
        contact = contact.heard(Switch(ok, at, since))
    return contact


OPEN: dict[str, tuple[Words, float, bool, bool]] = {
    "never heard": ((), 9.0, False, True),
    "closed from the first": (((1.0, True, None),), 1.0, False, True),
    "one word": (((1.0, False, None),), 1.5, False, False),
    "one word and silence": (((1.0, False, None),), 90.0, False, False),
    "two, under a second apart": (((1.0, False, None), (1.9, False, None)), 2.0, False, False),
    "two, a second apart": (((1.0, False, None), (2.0, False, None)), 2.0, True, False),
    "the first of a row was not seen": (((2.0, False, 1.0),), 2.0, True, False),
    "closed between, unseen": (((1.0, False, 1.0), (2.0, False, 2.0)), 2.0, False, False),
    "closed between": (((1.0, False, None), (1.5, True, None), (2.0, False, None)), 2.0, False, False),
    "closed for under 3 s": (((1.0, False, None), (1.5, True, None)), 4.4, False, False),
    "closed for 3 s": (((1.0, False, None), (1.5, True, None)), 4.5, False, True),
    "three bounces over 5 s": (((1.0, False, None), (9.0, True, None)) * 3, 9.0, True, False),
    "within a minute": (((1.0, False, None), (9.0, True, None)) * 3, 60.0, True, True),
    "a minute after": (((1.0, False, None), (9.0, True, None)) * 3, 69.0, False, True),
    "bounces of 5 s in all": (
        ((1.0, False, None), (9.0, True, None), (11.0, False, None), (19.0, True, None), (21.0, False, None),
         (22.0, True, None)), 22.0, False, False,
    ),
}  # fmt: skip


@pytest.mark.parametrize(("words", "now", "is_open", "settled"), OPEN.values(), ids=OPEN)
def test_what_its_words_say(words: Words, now: float, is_open: bool, settled: bool) -> None:
    """Open beyond doubt by two words a second apart with none between, or by over 5 s in a minute, a lone word counting
    for 2 s at most; settled once it has been closed for 3 s."""
    contact = after(*words)
    assert (contact.is_open(now), contact.settled(now)) == (is_open, settled)


def test_the_same_word_again_changes_nothing() -> None:
    """What the tick sees twice is one word; a good word of the same moment as a bad one is another."""
    once = after((1.0, False, 1.0))
    assert once.heard(Switch(False, 1.0, 1.0)) is once and once.heard(None) is once
    assert once.heard(Switch(True, 1.0)).open_since is None


def test_a_row_that_goes_on_is_one_row() -> None:
    """A further word of the same row is no bounce before it."""
    assert after((1.0, False, 0.5), (2.0, False, 0.5)) == Contact(2.0, 0.5)


def test_what_a_bounce_is_worth() -> None:
    """It counts for as long as it was open, for 2 s at most, and is forgotten a minute after its end."""
    assert after((1.0, False, None), (1.5, True, None)).bounces == ((1.5, 0.5),)
    assert after((1.0, False, None), (9.0, True, None)).bounces == ((9.0, 2.0),)
    first = ((1.0, False, None), (2.0, True, None))
    assert after(*first, (60.5, False, None), (61.5, True, None)).bounces == ((2.0, 1.0), (61.5, 1.0))
    assert after(*first, (61.0, False, None), (62.0, True, None)).bounces == ((62.0, 1.0),)


def test_where_nothing_is_asked_nothing_counts() -> None:
    """Of a pump that stands neither bounces nor the last closing are kept, but for the row that is on."""
    rested = after((1.0, False, None), (1.5, True, None), (2.0, False, None)).not_asked()
    assert rested == Contact(2.0, 2.0)
    assert rested.not_asked() is rested
    assert Contact(closed_since=3.0).not_asked() == Contact()
