"""A dry run whose process can be killed, and whose heat and true mash are written down second by second.

What a restarted process knows is what the recorder would have had on disk: the state of the last event or of the last
change of place, in the bytes of the record.
"""

from __future__ import annotations

import json
from typing import Any

from controller.core import checkpoint
from controller.core.nouns import Event
from controller.core.procedure.orders.envelope import ACTIVE
from controller.core.procedure.resume import Pending
from controller.core.state import Outcome, State, start
from controller.edge.record.recorder import worth_keeping
from controller.messages.inbox import Inbox
from sim.people.manner import Manner
from sim.random_setup import RandomSetup
from tests.regimes.evidence.lean import Case, Lean

LIMIT_S = 1800.0  # an outage of so long is resumed by itself (the shipped setting)


class Mortal(Lean):
    """One mash in one wide tun, watched."""

    def __init__(self, setup: RandomSetup, seed: int, manner: Manner) -> None:
        case = Case(seed, setup.settings, setup.plan, setup.truth, setup.drawn, liquor_share=1.0, grist_share=1.0)
        super().__init__(case, manner=manner)
        self.true_c: list[float] = []  # the mash, each second
        self.heat_j: list[float] = []  # what the heater has put in, each second
        self.told: list[tuple[float, Event]] = []
        self.lives = 1
        self._kept: State = self.state

    def second(self) -> Outcome:
        """One tick."""
        before = self.state
        outcome = super().second()
        if outcome.events or worth_keeping(before, outcome.state):
            self._kept = outcome.state
        self.told += [(self.now, event) for event in outcome.events]
        self.true_c.append(self.world.tun.mash_mean_c)
        self.heat_j.append(self.world.tun.energy().heater)
        return outcome

    def kill(self, down_s: float) -> None:
        """The process dies; so long later another finds the record. The tun goes on, and nobody hears it."""
        kept: dict[str, Any] = json.loads(json.dumps(checkpoint.keep(self._kept)))
        gone, self._now = self._now, self._now + round(down_s)
        self.site.until(self._now)
        self.lives += 1
        settings, boot = self.settings, f"{self.state.boot}-{self.lives}"
        known = checkpoint.recall(kept, self._now, self._now - self._kept.now)
        assert known is not None
        pending = None
        if known.run.state in ACTIVE:
            pending = Pending(known.run, known.last_c, self._now - gone, True, self.lives - 1, LIMIT_S)
        guard = known.guard._replace(epoch=known.guard.epoch + 1)
        self.state = self._kept = start(settings, self._now, boot, guard, pending)
        self.inbox = Inbox(settings, boot, known.guard.epoch)
        self.inbox.prepare, self._topics, self._up = self._prepare, self.inbox.topics, False
        self.true_c += [self.world.tun.mash_mean_c] * round(down_s)
        self.heat_j += [self.world.tun.energy().heater] * round(down_s)

    def say(self, name: str, **args: Any) -> None:
        """Somebody gives an order, with all that an order needs."""
        key = f"{name}-{self.now:g}"
        said = {"id": key, "order": name, "args": args, "by": "somebody", "at": self.world.wall_s, "valid_s": 30.0}
        said |= {"nonce": self.state.orders.nonce, "run": self.state.run.begun.id or None}
        if "trip" in args:
            said["trip"] = args.pop("trip")
        self.inbox.put(self.world.topics.order, json.dumps(said).encode(), self.now)
