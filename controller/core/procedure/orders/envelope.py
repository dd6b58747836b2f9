"""May this order be carried out now?

Two questions, in this order: is the envelope good (not retained, not stale, not from the future, not seen before, the
right nonce and run), and does the table of states and orders allow it? A refused order gets a sentence and changes
nothing but the memory of its id. `hold`, `stop`, `abort` and `acknowledge` can lead to no heat and need no envelope.
"""

from math import isfinite
from typing import NamedTuple

from controller.core.nouns import Instant, Order, RunState

S = RunState
ACTIVE = frozenset({S.RUNNING, S.PAUSING, S.PAUSED, S.HOLDING, S.HELD, S.RESTARTING})
ENDED = frozenset({S.STOPPED, S.ABORTED, S.COMPLETE})
ALL = frozenset(S)

ALLOWED: dict[str, frozenset[RunState]] = {
    "start": frozenset({S.IDLE}),
    "pause": frozenset({S.RUNNING}),
    "resume": frozenset({S.PAUSED}),
    "hold": frozenset({S.RUNNING, S.PAUSING, S.PAUSED, S.RESTARTING, S.HOLDING, S.HELD}),
    "restart": frozenset({S.HELD}),
    "stop": ACTIVE | {S.CHECKING},
    "abort": ACTIVE | {S.CHECKING, S.STOPPING},
    "reset": ENDED,
    "clear": ALL - {S.CHECKING},
    "advance": frozenset({S.RUNNING, S.PAUSED, S.HELD}),
    "extend": frozenset({S.RUNNING, S.PAUSED, S.HELD}),
    "adjust": frozenset({S.RUNNING, S.PAUSED, S.HELD}),
    "answer": ACTIVE,
    "announce": frozenset({S.RUNNING, S.PAUSED}),
    "acknowledge": ALL,
}
ARGS: dict[str, tuple[str, ...]] = {  # what an order may bring along; what takes heat away or is an answer is not here
    "start": ("program", "from_step", "credited_s", "ready_at", "here", "attended", "hand_c"),
    "pause": (),
    "resume": (),
    "restart": ("hand_c", "added", "added_l", "added_c", "prove"),
    "reset": (),
    "clear": ("trip", "inspected", "reason"),
    "advance": (),
    "extend": ("by_s",),
    "adjust": ("step", "target_c", "hold_s", "climb_k_per_s"),
    "announce": ("hand_c",),
}
HEAT_OFF_ORDERS = frozenset({"hold", "stop", "abort"})  # they take heat away
PLAIN_ORDERS = HEAT_OFF_ORDERS | {"acknowledge"}  # any plain button may send these: they can lead to no heat

WHY_NOT: dict[RunState, str] = {
    S.IDLE: "nothing is running; `start` begins a program",
    S.CHECKING: "still checking after a start or a sleep; heat is off, wait a few seconds",
    S.RUNNING: "a program is running; `pause`, `hold` or `stop` it first",
    S.PAUSING: "just pausing; try again in a second",
    S.PAUSED: "the run is paused, temperature is kept; `resume` goes on",
    S.HOLDING: "just going to hold; try again in a second",
    S.HELD: "the run is held with the heat off; `restart` goes on, `stop` ends it",
    S.RESTARTING: "restarting; heat returns after the checks",
    S.STOPPING: "just stopping; try again in a second",
    S.STOPPED: "the run was stopped; `reset` makes ready for a new one",
    S.ABORTING: "just aborting; try again in a second",
    S.ABORTED: "the run was aborted; `reset` makes ready for a new one",
    S.COMPLETE: "the run is complete; `reset` makes ready for a new one",
}

UNDER_WAY = "a run is under way; `stop` ends it, then `reset` makes ready for a new one"  # to a second `start`

LONGEST_VALIDITY_S = 30.0  # an order older than this says nothing of what its sender sees now (own proposal)
FUTURE_S = 5.0  # more than that ahead of our clock: not believed
IDS_KEPT = 1000  # remembered ids
NONCE_S = 10.0  # a new nonce so often; the one before stays good


class OrderBook(NamedTuple):
    """What is remembered of orders: ids seen, the nonces in force, counts."""

    seen: tuple[str, ...] = ()
    nonce: str = ""
    nonce_before: str = ""
    nonce_at: Instant = 0.0
    clock_set: bool = False  # our wall clock was set: which of the two was right, nobody knows
    accepted: int = 0
    refused: int = 0


def renew(book: OrderBook, boot: str, now: Instant, wall_set_s: float = 0.0) -> OrderBook:
    """Which nonce is in force? Changes every ten seconds; made of the process' own random `boot` word and the time.
    Once our wall clock was set (`wall_set_s`), it is no measure of anybody else's: the nonce alone is, from then on."""
    if not book.clock_set and not abs(wall_set_s) <= FUTURE_S:
        book = book._replace(clock_set=True)
    if book.nonce and now - book.nonce_at < NONCE_S:
        return book
    word = f"{boot}-{int(now // NONCE_S):x}"
    return book._replace(nonce=word, nonce_before=book.nonce, nonce_at=now)


def judge(
    book: OrderBook, order: Order, state: RunState, run: str | None, now: Instant, wall_s: float, wall_confirmed: bool
) -> tuple[OrderBook, str | None]:
    """May this order be carried out? Returns the book after it, and the reason when not."""
    why = _envelope(book, order, run, now, wall_s, wall_confirmed)
    if why is None and order.name not in ALLOWED:
        why = f"there is no order {order.name!r}; there are {', '.join(ALLOWED)}"
    if why is None and state not in ALLOWED[order.name]:
        under_way = order.name == "start" and state in ACTIVE
        why = f"`{order.name}` is not possible when {state}: {UNDER_WAY if under_way else WHY_NOT[state]}"
    if why is None:
        why = _unknown(order)
    if order.id is not None and order.id not in book.seen and not order.retained:
        book = book._replace(seen=(*book.seen[-IDS_KEPT + 1 :], order.id))
    if why is None:
        return book._replace(accepted=book.accepted + 1), None
    return book._replace(refused=book.refused + 1), why


def _unknown(order: Order) -> str | None:
    """Is there anything in the order that nobody would look at, a slip of the pen?"""
    known = ARGS.get(order.name)
    odd = [] if known is None else [key for key in order.args if key not in known]
    if not odd or known is None:
        return None
    takes = ", ".join(known) or "nothing"
    return f"`{order.name}` does not know {', '.join(map(repr, odd))}; it takes {takes}. Nothing was done"


def _envelope(
    book: OrderBook, order: Order, run: str | None, now: Instant, wall_s: float, wall_confirmed: bool
) -> str | None:
    if order.retained:
        return "a retained order is never obeyed; clear the retained message on the order topic"
    if order.name in PLAIN_ORDERS:
        return None
    if order.id is None or order.nonce is None or order.at is None or order.valid_s is None:
        gaps = [k for k in ("id", "at", "valid_s", "nonce") if getattr(order, k) is None]
        return f"the order lacks {', '.join(gaps)}; orders that may lead to heat need all of id, at, valid_s, nonce"
    if order.id in book.seen:
        return f"order {order.id} was already taken; nothing is done twice"
    if order.nonce not in (book.nonce, book.nonce_before) or not order.nonce:
        return "the order does not carry the nonce of the present status; it may be a replay. Read status and send anew"
    if order.run is not None and order.run != run:
        return f"the order is meant for run {order.run}, the present run is {run or 'none'}"
    return _stale(order, now, wall_s, wall_confirmed and not book.clock_set)


def _stale(order: Order, now: Instant, wall_s: float, wall_confirmed: bool) -> str | None:
    """Is the order too old, or from the future? Not judged while our clock is unconfirmed: the nonce decides then."""
    at, valid = order.at, order.valid_s
    if at is None or valid is None or not (isfinite(at) and 0.0 < valid <= LONGEST_VALIDITY_S):
        return f"valid_s must be above 0 and at most {LONGEST_VALIDITY_S:g} s, and `at` a time in unix seconds"
    if now - order.arrived > valid:
        return f"the order waited {now - order.arrived:.0f} s here, longer than its {valid:g} s validity"
    if not wall_confirmed:
        return None
    if wall_s - at > valid:
        return f"the order is {wall_s - at:.0f} s old, its validity is {valid:g} s"
    if at - wall_s > FUTURE_S:
        return f"the order is stamped {at - wall_s:.0f} s ahead of this machine's clock; set the sender's clock"
    return None
