"""Which words of a switch count, and what is a flood?"""

from __future__ import annotations

import pytest

from controller.core.nouns import Switch
from controller.messages.inbox import Inbox
from controller.messages.what_counts import Rates, SwitchWords
from tests.core.bench import settings

Said = tuple[float, bool, int | None]


def words(*said: Said) -> list[Switch | None]:
    """What the tick sees of a switch after each word: when, what and which number."""
    switch, seen = SwitchWords(10.0), []
    for at, ok, seq in said:
        switch.hear(Switch(ok, at), seq)
        seen.append(switch.take())
    return seen


BAD = Switch(False, 2.0, 2.0)
CASES: dict[str, tuple[tuple[Said, ...], list[Switch | None]]] = {
    "an older word overrules no newer one": (
        ((1.0, True, 9), (2.0, False, 10), (3.0, True, 9), (4.0, True, 10)),
        [Switch(True, 1.0), BAD, BAD, BAD],
    ),
    "a bad word counts whatever its number": (
        ((1.0, True, 9), (2.0, False, 3), (3.0, True, 9), (4.0, True, 10)),
        [Switch(True, 1.0), BAD, BAD, Switch(True, 4.0)],
    ),
    "a good one only with a number, where there was one": (
        ((1.0, True, 9), (2.0, False, None), (3.0, True, None), (4.0, True, 10)),
        [Switch(True, 1.0), BAD, BAD, Switch(True, 4.0)],
    ),
    "one far ahead locks nothing": (
        ((1.0, True, 9), (2.0, True, 2**53), (3.0, True, 10)),
        [Switch(True, 1.0), Switch(True, 1.0), Switch(True, 3.0)],
    ),
    "three far ahead are believed, a bad one at once": (
        ((1.0, True, 9), (2.0, False, 5000), (3.0, True, 5001), (4.0, True, 5002), (5.0, True, 5003), (6.0, True, 10)),
        [Switch(True, 1.0), BAD, BAD, BAD, Switch(True, 5.0), Switch(True, 5.0)],
    ),
    "a thousand ahead is near, one more is far": (
        ((1.0, True, 9), (2.0, True, 1009), (3.0, True, 2010), (4.0, True, 1010)),
        [Switch(True, 1.0), Switch(True, 2.0), Switch(True, 2.0), Switch(True, 4.0)],
    ),
    "a bad one a thousand ahead counts on": (
        ((1.0, True, 9), (2.0, False, 1009), (3.0, True, 2009)), [Switch(True, 1.0), BAD, Switch(True, 3.0)],
    ),
    "a first word that is bad has a number as well": (
        ((2.0, False, 9), (3.0, True, 5000), (4.0, True, 6000), (5.0, True, 7000)), [BAD, BAD, BAD, Switch(True, 5.0)],
    ),
    "far ahead, and not rising": (
        ((1.0, True, 9), *((2.0 + n, True, 5000) for n in range(4))), [Switch(True, 1.0)] * 5,
    ),
    "silent for long, and nothing but noughts": (
        ((1.0, True, 9), *((20.0 + n, True, 0) for n in range(4))), [Switch(True, 1.0)] * 5,
    ),
    "without numbers the newest": (
        ((1.0, False, None), (2.0, True, None)),
        [Switch(False, 1.0, 1.0), Switch(True, 2.0)],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("said", "seen"), CASES.values(), ids=CASES)
def test_which_words_count(said: tuple[Said, ...], seen: list[Switch | None]) -> None:
    """`ok` counts with a rising number only; a bad word always."""
    assert words(*said) == seen


def test_a_bad_word_between_two_ticks_wins() -> None:
    """No liquid and liquid again within a second: the tick sees the bad word, the next one the good."""
    switch = SwitchWords(10.0)
    switch.hear(Switch(False, 1.0), 10)
    switch.hear(Switch(True, 1.2), 11)
    assert [switch.take(), switch.take()] == [Switch(False, 1.0, 1.0), Switch(True, 1.2)]


def test_since_when_it_says_no() -> None:
    """The first bad word of a row is told with each of them; one good word between begins another row."""
    said: tuple[Said, ...] = ((1.0, False, 1), (3.0, False, 2), (3.5, True, 3), (4.0, False, 4), (6.0, False, 5))
    seen = [Switch(False, 1.0, 1.0), Switch(False, 3.0, 1.0), Switch(True, 3.5), Switch(False, 4.0, 4.0)]
    assert words(*said) == [*seen, Switch(False, 6.0, 4.0)]


@pytest.mark.parametrize(("after_s", "taken"), [(10.0, False), (10.1, True)])
def test_a_switch_that_has_started_anew(after_s: float, taken: bool) -> None:
    """Three lower numbers that rise, once it has been silent for the limit of G13: by then heat is off."""
    first = 1.0 + after_s
    got = words((1.0, True, 900), (first - 2.0, True, 1), (first - 1.0, True, 2), (first, True, 3))
    assert got == [Switch(True, 1.0)] * 3 + [Switch(True, first) if taken else Switch(True, 1.0)]


def test_lower_numbers_that_do_not_rise_are_no_start() -> None:
    """Two old words in turn, for long, are believed never."""
    turns = words((1.0, True, 900), *((20.0 + n, True, 3 + n % 2) for n in range(20)))
    assert set(turns) == {Switch(True, 1.0)}


def test_what_is_not_taken_is_counted_by_reason() -> None:
    """In the inbox, each reason by itself; the file says for how long a silence lasts."""
    box = Inbox(settings(flow={"topic": "p/flow"}, pump={"topic": "p/pump"}), "me")
    for said in (b'{"ok":true,"seq":5}', b'{"ok":true,"seq":5}', b'{"ok":true,"seq":4}', b'{"ok":true}'):
        box.put("p/flow", said, 1.0)
    assert dict(box.counters) == {"sequence repeated": 1, "sequence older": 1, "sequence missing": 1}


@pytest.mark.parametrize(
    ("most_per_s", "every_s", "count", "named_at"),
    [(2.0, 1.0, 2, None), (2.0, 1.0, 3, 10.0), (2.0, 2.0, 4, None), (2.0, 2.0, 5, 10.0), (2.0, 4.0, 9, 12.0),
     (9.0, 0.0625, 1, 10.0), (10.0, 0.0625, 1, None)],
)  # fmt: skip
def test_when_a_flood_is_named(most_per_s: float, every_s: float, count: int, named_at: float | None) -> None:
    """Over the most a second for ten seconds, looked at as often as may be; a tenth of a second is the shortest."""
    rates, at = Rates(("a", "b"), most_per_s), 0.0
    while at < 20.0:
        rates.counts["b"] += count
        since, at = at, at + every_s
        if named := rates.flooding(since, at):
            assert (named, at) == ("b", named_at)
            return
    assert named_at is None


def test_a_quiet_second_ends_a_flood() -> None:
    """The ten seconds begin anew after it; each topic is asked about by itself, and none that is just at the most."""
    rates = Rates(("b", "a"), 2.0)
    assert rates.counts == {"b": 0, "a": 0}
    named = []
    for second in range(20):
        rates.counts["a"] += 0 if second == 8 else 3
        rates.counts["b"] += 3 if second == 8 else 2
        named.append(rates.flooding(float(second), second + 1.0))
    assert named == [None] * 18 + ["a"] * 2


@pytest.mark.parametrize(("a_second", "flood"), [(20, None), (21, "p/mash")])
def test_the_tun_file_says_what_a_flood_is(a_second: int, flood: str | None) -> None:
    """With its limit at 20 a second, 20 are none and 21 are."""
    box = Inbox(settings(guard={"flood_per_s": 20}), "me")
    for second in range(12):
        for _ in range(a_second):
            box.put("p/mash", b"63.0", float(second))
        named = box.take(second + 1.0).link.flooding
    assert named == flood
