"""A restart over a probe in doubt: which word of a person, or of another thermometer, is one."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from controller.core.guard import hand, trips
from controller.core.guard.hand import ADDED, ELSE, LATE, SAY, Other
from controller.core.guard.registry import ALL
from controller.core.nouns import Order, RunState, Trip
from tests.core.guard.looks import NOW, OPEN, SEEN, check
from tests.core.guard.story import told

ASKED = OPEN._replace(hand_for="G09", evidence=OPEN.evidence._replace(quiet_c=63.0, now_c=62.0, span_c=(58.0, 66.0)))
MISFIT = OPEN._replace(evidence=OPEN.evidence._replace(quiet_c=63.0, now_c=17.0, span_c=(58.0, 66.0)))
FITS = MISFIT._replace(evidence=MISFIT.evidence._replace(now_c=62.0))
EDGES = [FITS._replace(evidence=FITS.evidence._replace(now_c=now_c)) for now_c in (58.0, 66.0)]
OTHER = "was 63.0 °C when last sound"
HOT = MISFIT._replace(evidence=MISFIT.evidence._replace(now_c=70.0))
NEAR, FAR, OLD = Other(59.0, NOW - 10.0), Other(58.9, NOW), Other(62.0, NOW - 10.1)
WAS = "it was 63.0 °C when last sound"
AFTER = f"after G09 the probe needs a second opinion; {SAY}. {ELSE}"
COLD = f"no mash can be at {{:.1f}} °C by now, {WAS}; if cold liquor was added meanwhile, say added=true as well; " + (
    "else `stop`, look, `start`"
)
FULL = 167_600.0  # J/K: 40 L
POURED: dict[str, object] = {"added_l": 4.0, "added_c": 12.0}
MIXED_C = [(FULL * c + 4.0 * 4190.0 * 12.0) / (FULL + 4.0 * 4190.0) for c in (58.0, 66.0)]
MAKES = "4 L at 12 °C make a mash of 53.8 to 61.1 °C"

CASES: dict[str, tuple[Any, dict[str, object], float | None, tuple[Other, ...], str]] = {
    "nothing is in doubt": (FITS, {}, 62.0, (), ""),
    "nothing is known": (OPEN, {}, 17.0, (), ""),
    "after G09": (ASKED, {}, 62.0, (), AFTER),
    "a misfit": (MISFIT, {}, 17.0, (), f"the probe reads 17.0 °C, and was 63.0 °C when last sound; {SAY}. {ADDED}"),
    "hotter than a mash may be": (HOT, {}, 70.0, (), f"the probe reads 70.0 °C, and {OTHER}; {SAY}. {ELSE}"),
    "as cold as a mash may be": (EDGES[0], {}, 58.0, (), ""),
    "as hot as a mash may be": (EDGES[1], {}, 66.0, (), ""),
    "on trial": (ASKED, {"prove": True}, 62.0, (), ""),
    "on trial, as cold as may be": (ASKED, {"prove": True}, 58.0, (), ""),
    "on trial, of what no mash can be": (ASKED, {"prove": True}, 57.9, (), COLD.format(57.9)),
    "the same, and something was added": (ASKED, {"prove": True, "added": True}, 57.9, (), ""),
    "a trial is yes or no": (ASKED, {"prove": 1}, 62.0, (), AFTER),
    "a second probe": (ASKED, {}, 62.0, (FAR, NEAR), ""),
    "one that says nothing": (ASKED, {}, 62.0, (Other(None, NOW), OLD, FAR), AFTER),
    "by hand": (ASKED, {"hand_c": 65.0}, 62.0, (), ""),
    "by hand, elsewhere": (
        ASKED, {"hand_c": 65.1}, 62.0, (), "by hand 65.1 °C, and the probe reads 62.0 °C; they must agree to 3 K",
    ),
    "by hand, and no probe": (
        ASKED, {"hand_c": 62.0}, None, (), "by hand 62.0 °C, and the probe says nothing; they must agree to 3 K",
    ),
    "no temperature": (ASKED, {"hand_c": "warm"}, 62.0, (), f"`hand` is no temperature; {SAY}"),
    "no number": (ASKED, {"hand_c": nan}, 62.0, (), f"`hand` is no temperature; {SAY}"),
    "no finite one": (ASKED, {"hand_c": inf}, 62.0, (), f"`hand` is no temperature; {SAY}"),
    "a mark": (ASKED, {"hand_c": True}, 1.0, (), f"`hand` is no temperature; {SAY}"),
    "as cold as may be": (ASKED, {"hand_c": 55.0}, 55.0, (), ""),
    "typed back": (MISFIT, {"hand_c": 17.0}, 17.0, (), COLD.format(17.0)),
    "by hand, and nothing to judge it by": (OPEN._replace(hand_for="G09"), {"hand_c": 17.0}, 17.0, (), ""),
    "cold liquor": (MISFIT, {"hand_c": 17.0, "added": True}, 17.0, (), ""),
    "liquor that was added": (ASKED, POURED, 57.0, (), ""),
    "as cold as that may be": (MISFIT, POURED, 53.9, (), ""),
    "the probe is not there": (
        MISFIT, POURED, 53.7, (), f"{MAKES}, and the probe reads 53.7 °C; stir, wait three minutes, or {SAY}",
    ),
    "nor that warm": (
        MISFIT, POURED, 61.2, (), f"{MAKES}, and the probe reads 61.2 °C; stir, wait three minutes, or {SAY}",
    ),
    "liquor, and no probe": (
        MISFIT, POURED, None, (), f"{MAKES}, and the probe says nothing; stir, wait three minutes, or {SAY}",
    ),
    "liquor of no temperature": (MISFIT, {"added_l": 4.0}, 57.0, (), f"how much liquor, and how warm was it? {ADDED}"),
    "just as cold": (MISFIT, POURED, MIXED_C[0], (), ""),
    "just as warm": (MISFIT, POURED, MIXED_C[1], (), ""),
    "half a litre": (MISFIT, {**POURED, "added_l": 0.5}, 60.0, (), ""),
    "the most that may be added": (MISFIT, {**POURED, "added_l": 12.0}, 50.0, (), ""),
    "no liquor": (MISFIT, {**POURED, "added_l": 0.0}, 57.0, (), f"how much liquor, and how warm was it? {ADDED}"),
    "so much that any reading would fit": (
        MISFIT, {"added_l": 12.1, "added_c": 12.0}, 50.0, (), f"nobody knows what that makes of the mash; {SAY}",
    ),
    "over a mash that nobody knew": (OPEN, POURED, 57.0, (), f"nobody knows what that makes of the mash; {SAY}"),
    "as hot as may be": (ASKED, {"hand_c": 69.0}, 69.0, (), ""),
    "hotter, by a heater that did not obey": (ASKED, {"hand_c": 75.0}, 74.0, (), ""),
}  # fmt: skip


@pytest.mark.parametrize(("state", "said", "reading_c", "others", "why"), CASES.values(), ids=CASES)
def test_which_word_is_one(
    state: Any, said: dict[str, object], reading_c: float | None, others: tuple[Other, ...], why: str
) -> None:
    """Asked for after a trip that doubts the probe and over a reading that no mash can have; by hand, by another
    thermometer or on trial; what a mash cannot be is refused, and the sentence has the words that would do."""
    after, found = hand.restarted(state, said, reading_c, others, NOW, FULL)
    assert found == (f"not restarted: {why}" if why else "")
    assert (after == state) is (bool(why) or state in (FITS, OPEN, *EDGES))


def test_what_a_word_changes() -> None:
    """The reading counts from here, what was owed is forgotten and nothing more is asked; on trial, and where liquor
    was named, the next heat is one pulse."""
    owes = ASKED._replace(heat=owing(4.0))
    plain, _ = hand.restarted(owes, {"hand_c": 62.0}, 62.5, (), NOW, FULL)
    assert (plain.evidence.quiet_c, plain.evidence.quiet_at, plain.hand_for) == (62.0, NOW, "")
    assert (plain.heat.owed_k, plain.heat.pulse) == (0.0, None)
    poured, why = hand.restarted(owes, POURED, 57.0, (), NOW, FULL)
    assert (why, poured.heat.owed_k, poured.heat.pulse) == ("", 0.0, None)
    for said, read_c in (({"prove": True}, 62.0), ({"hand_c": 50.0, "added": True}, 50.0)):
        tried, why = hand.restarted(owes, said, read_c, (), NOW, FULL)
        assert (why, tried.heat.pulse is not None) == ("", True)


@pytest.mark.parametrize(("said", "before_k"), [({"prove": True}, 4.0), ({"hand_c": 59.0}, 0.0)])
def test_before_a_pulse_no_word_moves_what_the_mash_was(said: dict[str, object], before_k: float) -> None:
    """What it was stays the measure until the pulse has shown, and a hand reading under it is refused however often;
    what was owed counts until somebody has measured."""
    tried = ASKED._replace(heat=owing(4.0).on_trial())
    after, why = hand.restarted(tried, said, 59.0, (), NOW, FULL)
    assert (why, after.evidence.quiet_c, after.hand_for) == ("", 63.0, "")
    assert after.heat.pulse is not None
    assert after.heat.pulse.before_k == before_k
    assert hand.restarted(after, {"hand_c": 57.9}, 57.9, (), NOW, FULL)[1] == f"not restarted: {COLD.format(57.9)}"


@pytest.mark.parametrize(("said", "quiet_c"), [({"prove": True}, None), ({"hand_c": 70.0}, 70.0)])
def test_a_mash_may_be_hotter_than_it_was(said: dict[str, object], quiet_c: float | None) -> None:
    """A probe that is back in a mash which heat has reached meanwhile counts from here, and one pulse comes first."""
    tried = ASKED._replace(heat=owing(6.0).on_trial())
    after, why = hand.restarted(tried, said, 69.0, (), NOW, FULL)
    assert (why, after.evidence.quiet_c, after.heat.pulse is not None) == ("", quiet_c, True)


def test_before_a_pulse_the_probe_itself_must_fit() -> None:
    """A hand reading just where a mash may be does not carry a probe that is under it: its heat would never come."""
    tried = ASKED._replace(heat=owing(4.0).on_trial())
    assert hand.restarted(tried, {"hand_c": 58.5}, 57.0, (), NOW, FULL)[1] == f"not restarted: {COLD.format(57.0)}"


LEAST_C = 60.0 / 1.3 - 3.0
LATER = {
    "nothing has fallen yet": (60.0, {}, ""),
    "as far as a mash may": (57.0, {}, ""),
    "too late": (56.9, {}, f"the reading has fallen by 3.1 K already; {LATE}"),
    "too late, and measured": (55.0, {"hand_c": 58.0}, ""),
    "too late, and elsewhere": (
        55.0, {"hand_c": 58.1}, "by hand 58.1 °C, and the probe reads 55.0 °C; they must agree to 3 K",
    ),
    "too late, and typed back": (
        43.0, {"hand_c": 43.0}, "no addition makes 43.0 °C of 60.0 °C; `hold`, and look at the probe",
    ),
    "too late, and as much as may be was added": (LEAST_C, {"hand_c": LEAST_C}, ""),
    "too late, and much was added": (44.0, {"hand_c": 44.0}, ""),
    "no temperature": (55.0, {"hand_c": "cold"}, f"the reading has fallen by 5.0 K already; {LATE}"),
}  # fmt: skip


@pytest.mark.parametrize(("reading_c", "said", "why"), LATER.values(), ids=LATER)
def test_an_addition_that_is_announced_late(reading_c: float, said: dict[str, object], why: str) -> None:
    """Once the reading has fallen by over 3 K in three minutes a hand reading must go with the word."""
    state = OPEN._replace(past=told([60.0] * 19 + [reading_c], [0.0] * 20))
    after, found = hand.announced(state, said, reading_c, NOW)
    assert found == (f"not announced: {why}" if why else "")
    assert (after == state) is (bool(why) or not said)
    assert after.heat.pulse is None


def owing(owed_k: float) -> Any:
    """An account of heat that owes so much."""
    return OPEN.heat._replace(owed_k=owed_k)


def test_who_doubts_the_probe() -> None:
    """Those whose cause may be the probe itself, so that its own word does not settle it."""
    assert {one.ROW.id for one in ALL if one.ASKS_HAND} == {"G04", "G05", "G09", "G11", "G12", "G25"}


def test_whose_first_heat_is_a_pulse() -> None:
    """Of those that a person clears, the ones whose cause shows with heat alone."""
    tried = set()
    for one in ALL:
        trip = Trip(one.ROW.id, NOW - 100.0, "words", 1.0, 1.0, "K", 2, True, True)
        order = Order("clear", NOW, "o", {"inspected": True, "reason": "looked"}, "brewer", trip=trip.id)
        standing = OPEN._replace(trips=(trip,), gone=((trip.id, 0.0),))
        after, reply, _ = trips.clear(standing, order, RunState.HELD, NOW, 60.0)
        assert reply.accepted, reply.reason
        tried |= {trip.id} if after.heat.pulse is not None else set()
    assert tried == {"G09", "G11", "G12"}


def test_where_a_mash_may_be() -> None:
    """Told in a hold alone: 3 K and the worst loss below what was last sound, 3 K and the heat on its way above; the
    next run asks for nothing."""
    before = OPEN._replace(
        hand_for="G04",
        heat=owing(1.5),
        evidence=OPEN.evidence._replace(quiet_c=63.0, quiet_at=NOW - 600.0, qualified=False),
    )
    held = check(before, state=RunState.HELD, seen=sound(57.0)).state
    low_c, high_c = held.evidence.span_c or (0.0, 0.0)
    assert (held.evidence.now_c, 50.0 < low_c < 60.0, held.hand_for) == (57.0, True, "G04")
    assert high_c == 66.0 + held.heat.owed_k
    assert check(before, state=RunState.RUNNING).state.evidence.span_c is None
    assert check(before, state=RunState.IDLE).state.hand_for == ""


def sound(value_c: float) -> Any:
    """A sound reading of so much."""
    return SEEN._replace(value_c=value_c)
