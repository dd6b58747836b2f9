"""Did anything happen that must never happen? Judged from the recorded messages alone.

Knows topics, published limits and the promises below; nothing of how the controller works. Each promise has the name
under which the documentation lists it. A breach is a promise, a time and a sentence.

I1 heat needs a fresh reading. I2 three invalid readings end it. I3 commands are well formed and rise. I4 no heat in a
state without heat. I5 no heat after two readings at the hard limit until cleared and restarted. I6 a lease never
outlives its evidence. I7 after a latched trip or an end only distinct orders of a person lead back to heat. I8 no heat
within 60 s of a trip that is no link's, within 10 s of a start, or before three readings after a new connection. I9 no
clear within a minute of its trip. I10 nothing is done twice, nothing retained is obeyed. I11 one owner. I12 limits only
tighten. I13 the record counts up. I15 no rest is skipped. I16 rest time is real time. I19 status keeps coming. I21 no
chatter, but for links. I22 every order is answered. I23 status says what was commanded.
"""

import json
import math
from typing import Any, NamedTuple

from controller.messages.topics import topics
from controller.settings.service import Settings
from sim.fresh_readings import FRESH_S, SLACK_S, FreshReadings
from sim.step_judge import StepJudge

COLD = frozenset(
    {"idle", "checking", "holding", "held", "restarting", "stopping", "stopped", "aborting", "aborted", "complete"}
)
ENDS = frozenset({"stopped", "aborted", "complete"})
PLAIN = frozenset({"hold", "stop", "abort", "acknowledge"})  # any plain button sends them, as often as it likes
LOWERS = ("hard_limit_c", "above_program_k", "outlet_limit_c", "reading_gone_s", "duty_cap", "lease_s")
POWER_ON_C = 85.0
HOT_WITHIN_S = 2.0
AFTER_TRIP_S, AFTER_START_S, AFTER_LINK = 60.0, 10.0, 3  # s, s, readings
ANSWER_S = 1.5  # a second, and the beat's own
STATUS_GAP_S = 5.0
CHATTER_S = 60.0
KEPT = 5  # breaches of one promise


class Breach(NamedTuple):
    """A promise that was broken."""

    promise: str
    at_s: float
    text: str

    def __str__(self) -> str:
        return f"{self.promise} at {self.at_s:.2f} s: {self.text}"


class Judge:
    """Hears every message of a run, in order, and keeps the first few breaches of each promise."""

    def __init__(self, settings: Settings) -> None:
        tun = settings.tun
        probe = tun.probes.mash
        self.breaches: list[Breach] = []
        self.commands = 0
        self._topics = topics(settings)
        self._probe_topic = probe.topic
        self._hard_c, self._cap = tun.guard.hard_limit_c, tun.heater.duty_cap
        self._raw = (probe.raw_ice_c, probe.boil_c / (probe.raw_boil_c - probe.raw_ice_c))
        self._evidence = FreshReadings(probe.topic, probe.pointer, probe.seq_pointer, probe.unit)
        self._invalid, self._third_at = 0, math.inf  # readings that were none, in a row; when the third of them came
        self._pairs = 0  # valid readings at the limit in a row
        self._hot_at: float | None = None
        self._epoch = self._seq = -1
        self._lost_at: float | None = None  # a stranger with a higher epoch, or with heat
        self._claimed = -1  # the highest epoch of a stranger's OFF while the daemon was checking
        self._pending_at: float | None = None  # a command with power, whose tick's status and replies may still come
        self._duty = 0.0
        self._status: dict[str, Any] = {}
        self._status_at: float | None = None
        self._limits: dict[str, float] = {}
        self._trip_at: dict[str, float] = {}
        self._trip_before: dict[str, float] = {}
        self._physics_at: dict[str, float] = {}  # of those that are no link's
        self._any_trip_at = -math.inf
        self._began_at = -math.inf  # the first command of an epoch
        self._after_link = AFTER_LINK  # readings since the newest connection
        self._gap_until = 0.0  # the daemon's own machine stood still until then
        self._needs: list[str] = []  # accepted orders still needed before heat, in this order
        self._started = False
        self._orders: dict[str, list[tuple[str, float, bool]]] = {}  # id: order, arrival, retained; oldest first
        self._accepted: set[str] = set()
        self._event_seq = 0
        self._steps = StepJudge(self._broken)

    def _broken(self, promise: str, at: float, text: str) -> None:
        if sum(breach.promise == promise for breach in self.breaches) < KEPT:
            self.breaches.append(Breach(promise, at, text))

    # ------------------------------------------------------------ what is heard

    def hear(self, at: float, topic: str, payload: bytes, retained: bool, ours: bool) -> None:
        """One message as it passed the broker; `ours`: the daemon sent it."""
        if self._pending_at is not None and at > self._pending_at:
            self._settle()
        if topic == self._probe_topic and not ours:
            self._reading(at, payload, retained)
        elif topic == self._topics.heater_command:
            self._command(at, payload) if ours else self._stranger(at, payload, retained)
        elif topic == self._topics.status and ours:
            self._hear_status(at, json.loads(payload))
        elif topic == self._topics.event and ours:
            self._event(at, json.loads(payload))
        elif topic == self._topics.reply and ours:
            self._reply(at, json.loads(payload))
        elif topic == self._topics.order and not ours:
            self._order(at, payload, retained)
        elif topic == self._topics.online and ours:
            self._after_link, self._status_at, self._orders = 0, None, {}

    def stood_still(self, until: float) -> None:
        """The daemon's machine slept or stalled until then: what was due meanwhile is not held against it."""
        self._gap_until = until

    def end(self, at: float, linked: bool) -> None:
        """The record is over."""
        if self._pending_at is not None:
            self._settle()
        if linked and self._status_at is not None:
            self._look_for_gaps(at)

    # ------------------------------------------------------------ readings

    def _reading(self, at: float, payload: bytes, retained: bool) -> None:
        if retained:
            return
        value, _ = self._evidence.read(payload)
        if value is None:
            self._invalid += 1
            self._third_at = at if self._invalid == 3 else self._third_at
            self._pairs = 0
        else:
            self._invalid, self._third_at = 0, math.inf
        if self._evidence.reading(payload, at) and value is not None:
            self._after_link += 1
            c = (value - self._raw[0]) * self._raw[1]
            self._pairs = self._pairs + 1 if c >= self._hard_c and value != POWER_ON_C else 0
            adding = (self._status.get("step") or {}).get("phase") in ("adding", "settling")
            if self._pairs >= 2 and not adding and self._hot_at is None:
                self._hot_at = at

    # ------------------------------------------------------------ commands

    def _command(self, at: float, payload: bytes) -> None:
        said = json.loads(payload)
        self.commands += 1
        duty, valid = said["duty"], said["valid_s"]
        if isinstance(duty, bool) or not isinstance(duty, int | float) or not (0.0 <= duty <= self._cap + 1e-9):
            self._broken("I3", at, f"duty {duty!r} is no share of 0..{self._cap:g}")
            return
        if not (0.0 < valid <= 10.0):
            self._broken("I3", at, f"valid_s {valid!r} is not in (0, 10]")
        if (said["epoch"], said["seq"]) <= (self._epoch, self._seq):
            self._broken("I3", at, f"{said['epoch']}/{said['seq']} after {self._epoch}/{self._seq}")
        if said["epoch"] > self._epoch:
            self._began_at = at
        self._epoch, self._seq, self._duty = said["epoch"], said["seq"], duty
        if duty > 0.0:
            self._heat(at, said)
            self._pending_at = at

    def _heat(self, at: float, said: dict[str, Any]) -> None:
        """All that must hold for a command with power."""
        rests = at - self._evidence.newest_s
        if rests > FRESH_S + SLACK_S:
            self._broken("I1", at, f"heat, and the newest reading is {rests:.1f} s old")
        if at > self._third_at + 1.0 + SLACK_S:
            self._broken("I2", at, "heat, and the last three readings are invalid")
        if self._hot_at is not None and at > self._hot_at + HOT_WITHIN_S:
            self._broken("I5", at, f"heat, and two readings at {self._hot_at:.1f} s were at the hard limit")
        if said["valid_s"] > 12.0 - rests + SLACK_S:
            self._broken("I6", at, f"valid for {said['valid_s']:g} s on a reading {rests:.1f} s old")
        if at < self._any_trip_at + AFTER_TRIP_S - SLACK_S:
            self._broken("I8", at, f"heat {at - self._any_trip_at:.1f} s after a trip")
        if at < self._began_at + AFTER_START_S - SLACK_S:
            self._broken("I8", at, f"heat {at - self._began_at:.1f} s after the first command of an epoch")
        if self._after_link < AFTER_LINK:
            self._broken("I8", at, f"heat after {self._after_link} readings since a new connection")
        if self._lost_at is not None and at > self._lost_at + HOT_WITHIN_S:
            self._broken("I11", at, f"heat, and another owner showed at {self._lost_at:.1f} s")
        if said["epoch"] <= self._claimed:
            self._broken("I11", at, f"heat of epoch {said['epoch']}, and another owner claimed {self._claimed} before")

    def _settle(self) -> None:
        """All that was said in the tick of a command with power is in: does its state, do the orders allow heat?"""
        at, self._pending_at = self._pending_at or 0.0, None
        if (state := self._status.get("state")) in COLD:
            self._broken("I4", at, f"heat in state {state}")
        if self._needs or not self._started:
            self._broken("I7", at, f"heat, and these orders were not accepted: {self._needs or ['start']}")

    def _stranger(self, at: float, payload: bytes, retained: bool) -> None:
        """Own echo, or another's command? One of a higher epoch ends an ownership; a daemon that still checks takes a
        number above every one that it hears."""
        try:
            said = json.loads(payload)
            epoch, seq, duty = int(said.get("epoch", -1)), int(said.get("seq", -1)), float(said["duty"])
        except (ValueError, KeyError, TypeError, AttributeError):
            return
        ours = (epoch, seq) <= (self._epoch, self._seq) and said.get("owner") != "stranger"
        if retained or ours or self._lost_at is not None:
            return
        if duty <= 0.0 and epoch <= self._epoch:
            return  # any plain button may send OFF
        if duty <= 0.0 and self._status.get("state", "checking") == "checking":
            self._claimed = max(self._claimed, epoch)  # it owns nothing yet
        else:
            self._lost_at = at

    # ------------------------------------------------------------ status

    def _hear_status(self, at: float, said: dict[str, Any]) -> None:
        if self._status_at is not None:
            self._look_for_gaps(at)
        state = said["state"]
        if state in ENDS and self._status.get("state") not in ENDS:
            self._needs, self._started = ["reset", "start"], False
        latched = [trip["id"] for trip in said["trips"] if trip["latched"]]
        if latched and not self._needs:
            self._needs = ["clear", "restart"] if state not in ("idle", "checking") else ["clear", "start"]
        self._steps.status(at, said, self._status_at or 0.0)
        for name in LOWERS:
            first = self._limits.setdefault(name, said["limits"][name])
            if said["limits"][name] > first:
                self._broken("I12", at, f"{name} rose from {first:g} to {said['limits'][name]:g}")
        if abs(said["duty"] - self._duty) > 1e-3 and self._lost_at is None:
            self._broken("I23", at, f"status says duty {said['duty']:g}, commanded was {self._duty:g}")
        age = said["reading_age_s"]
        if said["temperature_c"] is not None and (age is None or age > FRESH_S):
            self._broken("I23", at, f"a temperature is shown that is {age} s old")
        self._status, self._status_at = said, at
        self._unanswered(at)

    def _unanswered(self, at: float) -> None:
        """Orders that got no reply at all."""
        for name, waiting in self._orders.items():
            if waiting and at - waiting[0][1] > 2 * ANSWER_S and self._gap_until < waiting[0][1]:
                self._broken("I22", at, f"{waiting[0][0]} {name} got no answer within {at - waiting[0][1]:.1f} s")
        self._orders = {name: waiting for name, waiting in self._orders.items() if waiting and at - waiting[0][1] < 4.0}

    def _look_for_gaps(self, at: float) -> None:
        since = self._status_at if self._status_at is not None else at
        if at - since > STATUS_GAP_S + SLACK_S and self._gap_until < since:
            self._broken("I19", at, f"no status for {at - since:.1f} s")

    # ------------------------------------------------------------ events, orders, replies

    def _event(self, at: float, said: dict[str, Any]) -> None:
        if said["seq"] < self._event_seq:
            self._broken("I13", at, f"event {said['seq']} after {self._event_seq}")
        self._event_seq = said["seq"]
        if said["kind"] == "step done":
            self._steps.moves += 1
            self._steps.rest_done(at, said, bool(self._accepted & {"advance", "answer", "adjust"}))
        if said["kind"] != "trip":
            return
        name = said["id"]
        if said["class"] == "physics":
            if at - self._physics_at.get(name, -math.inf) < CHATTER_S:
                self._broken("I21", at, f"{name} was announced {at - self._physics_at[name]:.0f} s ago")
            self._physics_at[name] = self._any_trip_at = at
        self._trip_before[name] = self._trip_at.get(name, -math.inf)
        self._trip_at[name] = at

    def _order(self, at: float, payload: bytes, retained: bool) -> None:
        try:
            said = json.loads(payload)
        except ValueError:
            return
        if isinstance(said, dict) and isinstance(said.get("id"), str):
            self._orders.setdefault(said["id"], []).append((str(said.get("order")), at, retained))

    def _reply(self, at: float, said: dict[str, Any]) -> None:
        name = said["id"]
        waiting = self._orders.get(name) or []
        order = waiting.pop(0) if waiting else None
        if order is not None and at - order[1] > ANSWER_S and self._gap_until < order[1]:
            self._broken("I22", at, f"{order[0]} was answered after {at - order[1]:.1f} s")
        if not said["accepted"]:
            return
        if order is not None and order[2]:
            self._broken("I10", at, f"{order[0]} {name} was retained and was obeyed")
        what = said["order"]
        if name is not None and name in self._accepted and what not in PLAIN:
            self._broken("I10", at, f"order {name} was done twice")
        self._accepted |= {what, name} - {None}
        self._steps.moves += 1
        if what == "clear":
            self._cleared(at, said["reason"].split(" ", 1)[0])
        if self._needs and what == self._needs[0]:
            self._needs.pop(0)
        if what == "start":
            self._started, self._needs = True, []

    def _cleared(self, at: float, name: str) -> None:
        came = self._trip_at.get(name, -math.inf)
        if came == at:  # cleared, and there again in the same tick
            came = self._trip_before[name]
        since = at - came
        if since < AFTER_TRIP_S - SLACK_S:
            self._broken("I9", at, f"{name} was cleared {since:.0f} s after it came")
        if name == "G07":
            self._hot_at, self._pairs = None, 0
