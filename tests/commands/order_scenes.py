"""What would a daemon answer? The real core on the small bench, in a few states, without a broker.

`order` and `status` find their daemon here; each command runs on the
scene as it was, so that one does not help another.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from functools import cache
from typing import Any

from controller.commands.shared.all_tuns import Heard
from controller.core.nouns import Course
from controller.edge.files import config_files
from controller.edge.mqtt import requests
from controller.edge.start_orders import compiler
from controller.messages import incoming, outgoing
from controller.messages.status_document import status
from controller.settings.service import Settings
from tests.core.bench import WALL, Bench, tun
from tests.places import CONFIG

GANNET = config_files.settings(CONFIG, "gannet")
ON_BENCH = GANNET._replace(tun=tun(name="gannet"))
COMPILE = compiler(CONFIG, GANNET)


def fresh(bench: Bench) -> Bench:
    """The same state of the tun on a bench of its own, without what went before."""
    own = copy.copy(bench)
    own.orders, own.log, own.events, own.replies, own.dead = [], [], [], [], list(bench.dead)
    return own


def _program() -> Course:
    made = COMPILE({"program": "sandpiper"})
    assert isinstance(made, Course)
    return made


def _bench(mash_c: float = 12.0) -> Bench:
    bench = Bench(ON_BENCH, mash_c=mash_c)
    bench.until("idle")
    bench.run(15)
    return bench


def _mashing(first: int, mash_c: float) -> Bench:
    """A bench whose run began at this step."""
    bench = _bench(mash_c)
    bench.order("start", course=_program(), here=True, attended=True, hand_c=mash_c, from_step=first)
    bench.run(3)
    return bench


def _strike() -> Bench:
    bench = _mashing(0, 53.0)
    bench.until("dough_in")
    return bench


def _resting() -> Bench:
    bench = _mashing(2, 63.0)
    bench.until("resting")
    return bench


def _iodine() -> Bench:
    bench = _mashing(3, 72.0)
    bench.until("iodine")
    return bench


def _after(*orders: str) -> Callable[[], Bench]:
    def made() -> Bench:
        bench = fresh(scene("resting"))
        for order in orders:
            assert bench.obey(order).accepted
            bench.run(80)
        return bench

    return made


def _tripped(seconds: int) -> Callable[[], Bench]:
    """The reading leaps and comes back: G04, latched."""

    def made() -> Bench:
        bench = fresh(scene("resting"))
        bench.offset_k = 8.0
        bench.run(4)
        bench.offset_k = 0.0
        bench.run(seconds)
        return bench

    return made


def _proven() -> Bench:
    bench = fresh(scene("idle"))
    bench.state = bench.state._replace(proof_days=1.0)
    return bench


SCENES: dict[str, Callable[[], Bench]] = {
    "idle": _bench,
    "proven": _proven,
    "hot": lambda: _bench(63.0),
    "strike": _strike,
    "resting": _resting,
    "iodine": _iodine,
    "paused": _after("pause"),
    "held": _after("hold"),
    "stopped": _after("stop"),
    "tripped": _tripped(120),
}


@cache
def scene(name: str) -> Bench:
    """The bench as it stands in this state; to be copied."""
    return SCENES[name]()


class Daemon:
    """What `requests` finds in place of a broker and a daemon."""

    def __init__(self, name: str) -> None:
        self.bench = fresh(scene(name))

    def said(self) -> dict[str, Any]:
        """The status, as it comes over the wire."""
        counted: dict[str, int] = {}
        values = status(
            ON_BENCH,
            self.bench.outcome,
            wall_s=WALL,
            wall_confirmed=True,
            speed=1.0,
            journal_seq=1,
            counters=counted,
        )
        return dict(json.loads(outgoing.document(values)))

    async def present(self, settings: Settings, within_s: float = 0.0) -> dict[str, Any]:
        return self.said()

    async def once(self, service: object, tuns: list[str]) -> Heard:
        """What all tuns say: this one alone."""
        heard = Heard(tuns)
        heard.add("gannet", self.said())
        return heard

    async def answering(self, service: object, tuns: list[str]) -> list[str]:
        return ["gannet"]

    async def order(
        self, settings: Settings, values: dict[str, Any], complete: Callable[[dict[str, Any], dict[str, Any]], None]
    ) -> requests.Answer:
        told = self.said()
        values = {"id": "o", "at": WALL, "valid_s": 15.0, "nonce": told["nonce"], **values}
        complete(values, told)
        return self._given(values)

    async def heat_off(self, service: object, tun: str, values: dict[str, Any]) -> requests.Answer:
        return self._given({"id": "o", **values})

    def _given(self, values: dict[str, Any]) -> requests.Answer:
        order = incoming.order(outgoing.document(values), self.bench.now)
        assert order.problems == ()
        if order.name == "start":
            made = COMPILE(order.args)
            order = order._replace(course=made) if isinstance(made, Course) else order._replace(problems=made)
        self.bench.orders.append(order)
        self.bench.step()
        reply = self.bench.replies[-1]
        assert reply.id == "o"
        return requests.Answer(reply.accepted, reply.reason, reply.state, reply.id)
