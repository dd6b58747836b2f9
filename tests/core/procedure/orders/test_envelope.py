"""The order desk: the table of states and orders cell by cell, and the envelope."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import Order, RunState
from controller.core.procedure.orders import envelope

NOW, WALL = 1000.0, 1_700_000_000.0
DESK = envelope.renew(envelope.OrderBook(), "boot", NOW)
CELLS = [(state, name) for state in RunState for name in envelope.ALLOWED]


def order(name: str, **changes: object) -> Order:
    good = Order(name, NOW, id="a-1", by="brewer", at=WALL, valid_s=10.0, nonce=DESK.nonce)
    return good._replace(**changes)  # type: ignore[arg-type]


def said(given: Order, state: RunState = RunState.IDLE, desk: envelope.OrderBook = DESK, **more: Any) -> str:
    """Why not? Nothing where it is taken."""
    known = {"run_id": None, "now": NOW, "wall_s": WALL, "confirmed": True} | more
    return envelope.judge(desk, given, state, *known.values())[1] or ""


def test_the_table_has_every_cell() -> None:
    """Thirteen states and fifteen orders make 195 cells."""
    assert len(CELLS) == 13 * 15


@pytest.mark.parametrize(("state", "name"), CELLS, ids=[f"{s}-{n}" for s, n in CELLS])
def test_cell(state: RunState, name: str) -> None:
    """An order is taken exactly where the table says; elsewhere a sentence says why and names the state."""
    desk, why = envelope.judge(DESK, order(name), state, None, NOW, WALL, True)
    if state in envelope.ALLOWED[name]:
        assert why is None
        assert desk.accepted == 1
    else:
        assert why is not None
        assert str(state) in why
        second = name == "start" and state in envelope.ACTIVE
        assert (envelope.UNDER_WAY if second else envelope.WHY_NOT[state]) in why
        assert (desk.accepted, desk.refused) == (0, 1)


@pytest.mark.parametrize("name", sorted(envelope.PLAIN_ORDERS))
def test_plain_buttons_may_take_heat_away(name: str) -> None:
    """hold, stop, abort and acknowledge need no id, time or nonce."""
    assert not said(Order(name, NOW), RunState.RUNNING)


@pytest.mark.parametrize("name", sorted(envelope.ALLOWED))
def test_retained_orders_are_never_obeyed(name: str) -> None:
    """A retained order is refused whatever it asks and leaves no id behind."""
    states = sorted(envelope.ALLOWED[name])
    desk, why = envelope.judge(DESK, order(name, retained=True), states[0], None, NOW, WALL, True)
    assert "retained" in (why or "")
    assert desk.seen == ()


ENVELOPES: dict[str, tuple[dict[str, object], str]] = {
    "twice": ({}, "already taken"),
    "no id": ({"id": None}, "lacks id"),
    "no nonce": ({"nonce": None}, "lacks nonce"),
    "no stamp": ({"at": None}, "lacks at"),
    "no validity": ({"valid_s": None}, "lacks valid_s"),
    "wrong nonce": ({"nonce": "other-1"}, "nonce"),
    "empty nonce": ({"nonce": ""}, "nonce"),
    "other run": ({"run": "r-9"}, "run r-9"),
    "stale": ({"at": WALL - 10.5}, "10 s old"),
    "future": ({"at": WALL + 5.5}, "ahead"),
    "too long valid": ({"valid_s": 31.0}, "valid_s"),
    "valid never": ({"valid_s": 0.0}, "valid_s"),
    "valid nan": ({"valid_s": float("nan")}, "valid_s"),
    "stamp nan": ({"at": float("nan")}, "valid_s"),
    "waited": ({"arrived": NOW - 10.5}, "waited"),
}


@pytest.mark.parametrize("case", sorted(ENVELOPES))
def test_bad_envelopes_are_refused_with_a_reason(case: str) -> None:
    """Each fault of the envelope alone is enough, and the sentence names it."""
    changes, words = ENVELOPES[case]
    desk = DESK._replace(seen=("a-1",)) if case == "twice" else DESK
    assert words in said(order("start", **changes), desk=desk, run_id="r-1")


@pytest.mark.parametrize(
    "changes", [{"at": WALL - 9.5}, {"at": WALL + 4.5}, {"valid_s": 30.0}, {"run": "r-1"}, {"arrived": NOW - 9.5}]
)
def test_just_inside_the_limits_is_taken(changes: dict[str, object]) -> None:
    """The same limits, just under."""
    assert not said(order("start", **changes), run_id="r-1")


def test_an_unconfirmed_clock_leaves_it_to_the_nonce() -> None:
    """With our own clock unset, an order's stamp is not judged."""
    assert not said(order("start", at=0.0), confirmed=False)


@pytest.mark.parametrize(("set_s", "why"), [(5.0, "old"), (-5.1, ""), (3600.0, ""), (float("nan"), "")])
def test_a_clock_that_was_set_leaves_it_to_the_nonce(set_s: float, why: str) -> None:
    """Nobody knows which of the two clocks is right once ours was set by over 5 s; the nonce is 20 s old at most."""
    desk = envelope.renew(envelope.renew(DESK, "boot", NOW, set_s), "boot", NOW + 1.0)
    assert desk.clock_set is (not why)
    assert why in said(order("start", at=WALL - 3600.0), desk=desk)
    assert "nonce" in said(order("start", nonce="other-1"), desk=desk)


def test_the_nonce_before_is_still_good_and_the_one_before_that_is_not() -> None:
    """A nonce lives for ten seconds and is accepted for ten more."""
    first = DESK.nonce
    later = envelope.renew(DESK, "boot", NOW + 10.0)
    assert later.nonce != first
    assert not said(order("start"), desk=later)
    last = envelope.renew(later, "boot", NOW + 20.0)
    assert said(order("start"), desk=last)


def test_a_thousand_ids_are_remembered() -> None:
    """The memory of ids is bounded and drops the oldest."""
    desk = DESK
    for number in range(1001):
        desk, why = envelope.judge(desk, order("start", id=f"n-{number}"), RunState.IDLE, None, NOW, WALL, True)
        assert why is None
    assert len(desk.seen) == 1000
    assert "n-0" not in desk.seen
    assert "n-1000" in desk.seen


def test_an_unknown_order_names_the_known_ones() -> None:
    """A misspelt order is refused with the list of orders."""
    assert "start" in said(order("begin"))


@pytest.mark.parametrize("name", sorted(envelope.ALLOWED))
def test_what_nobody_would_look_at_is_refused(name: str) -> None:
    """A misspelt word changes nothing and names what the order takes; heat is taken away whatever else is said."""
    state = sorted(envelope.ALLOWED[name])[0]
    for key in envelope.ARGS.get(name, ()):
        assert not said(order(name, args={key: 1}), state)
    why = said(order(name, args={"targt": 64.0}), state)
    if name in envelope.ARGS:
        assert f"`{name}` does not know 'targt'; it takes " in why
        assert all(key in why for key in envelope.ARGS[name])
    else:
        assert not why  # hold, stop, abort, acknowledge; what an answer may hold is for answers.py
