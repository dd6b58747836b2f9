"""What does the brewer do?

A person who reads the status, starts the program with a hand thermometer in the tun, answers what is asked after the
time it takes to walk there, and does at the tun what was asked for. No question and no permissive is skipped. Told to,
the person also looks after trips: finds the cause gone, presses the node's button, clears, restarts.
"""

import json
from collections.abc import Iterator, Mapping
from typing import Any

from sim.people.deeds import Deeds
from sim.people.manner import PATIENT, Manner
from sim.world.world import World

ANSWER_WITHIN_S = 6.0  # no reply for so long: sent again, as a new order
SOON_S = 4.0  # after an accepted order the next status is waited for
AGAIN_S = 30.0  # a refused order is tried again after so long
PUMP_S = 180.0  # the pump's own switch, before a look at the thermometers
TOO_WARM_K = 1.0  # over the step's target
COOLS_AFTER_S, COOLS_S_PER_K = 300.0, 20.0  # cold liquor in a mash too warm for so long, so slowly
GIVES_UP_S = 1200.0  # too warm for so long in a full tun: on to the next step
HAND_K = 3.0  # probe and hand thermometer agree this closely


class Person:
    """Reads `status` and `reply`, sends `order`, acts on the world."""

    def __init__(self, world: World, manner: Manner = PATIENT, away_s: Mapping[int, float] | None = None) -> None:
        """`away_s`: how long the program lets the decoction of a step be away."""
        self.world, self.manner = world, manner
        self.deeds = Deeds(world, manner, away_s or {})
        self.refusals: list[str] = []
        self.answered: list[str] = []
        self.finished = False
        self._status: dict[str, Any] = {}
        self._paper = b""  # the newest status, not yet read
        self._glanced, self._quiet = b"", False  # the last one looked at, and whether nothing was new in it
        self._count = 0
        self._open: dict[str, tuple[str, float]] = {}  # id of an order not yet answered: name, given up at
        self._not_before: dict[str, float] = {}  # what is not tried again until then
        self._starts = 0
        self._started = False
        self._asked: tuple[str, int] | None = None
        self._deed: Iterator[float] | None = None
        self._deed_due = 0.0
        self._told = False  # the question has been answered
        self._erred: tuple[str, int] | None = None  # the question to which a wrong word was said
        self._iodine = 0
        self._heard_trips: set[tuple[str, float]] = set()
        self._seen_trips: dict[str, float] = {}
        self._cleared: dict[str, int] = {}
        self._pumped_at = -1e9
        self._warm_since: float | None = None
        self._gives_up = False  # this rest, for it stays too warm

    # ------------------------------------------------------------ ears

    def hear(self, topic: str, payload: bytes) -> None:
        """A message from the daemon."""
        topics = self.world.topics
        if topic == topics.status and payload[:1] == b"{" and b'"state"' in payload and b'"trips"' in payload:
            self._paper = payload  # what else may stand there is no status
        elif topic == topics.reply:
            self._reply(json.loads(payload))

    def _reply(self, said: dict[str, Any]) -> None:
        order = self._open.pop(said["id"], None)
        if order is None:
            return
        if said["accepted"]:
            self._started = self._started or order[0] == "start"
            self._not_before[order[0]] = self.world.now + SOON_S
        else:
            self.refusals.append(f"{order[0]}: {said['reason']}")
            self._not_before[order[0]] = self.world.now + AGAIN_S

    def heard_state(self) -> str:
        """In which state did the daemon say that it was? Empty where nothing was heard."""
        return str(json.loads(self._paper)["state"]) if self._paper else ""

    # ------------------------------------------------------------ hands and mouth

    def act(self, now: float) -> list[bytes]:
        """What does the person do at this half second? Returns the orders to send."""
        if now % 1.0 or not self._paper or "person_away" in self.world.live or self._nothing_new():
            return []
        status = self._status = json.loads(self._paper)
        self._open = {key: order for key, order in self._open.items() if now < order[1]}
        state = status["state"]
        if state in ("complete", "stopped", "aborted"):
            self.finished = True
            return []
        if self._open:
            return []
        if state == "idle" and not self._started:
            troubled = status["trips"] and self.manner.clears  # seen to before a start is asked for again
            return self._trips(now, status) if troubled else self._start(now)
        said = self._trips(now, status) if status["trips"] or state == "held" else []
        return said or self._prompt(now, status) or self._goes_on(now)

    def _nothing_new(self) -> bool:
        """One look is enough where a run goes on, nothing is asked and nothing is wrong."""
        if self._paper is not self._glanced:
            self._glanced = self._paper
            quiet = b'"state":"running"', b'"prompt":null', b'"trips":[]'
            self._quiet = all(word in self._paper for word in quiet)
            if self.manner.cools:
                self._cool(json.loads(self._paper))
        return self._quiet and self._asked is None and not self._gives_up

    def _order(self, name: str, args: dict[str, Any], now: float, **more: str) -> list[bytes]:
        if not self.manner.speaks or now < self._not_before.get(name, 0.0):
            return []
        self._count += 1
        key = f"person-{self.world.seed}-{self._count}"
        self._open[key] = (name, now + ANSWER_WITHIN_S)
        said = {
            "id": key,
            "order": name,
            "args": args,
            "by": "simulated brewer",
            "at": self.world.wall_s,
            "valid_s": 30.0,
            "nonce": self._status.get("nonce"),
            **more,
        }
        return [json.dumps(said).encode()]

    def _start(self, now: float) -> list[bytes]:
        if now < self.manner.start_at_s or self._starts >= self.manner.starts:
            return []
        looked = {"hand_c": self.world.hand_c(), "here": True, "attended": self.manner.attended}
        said = self._order("start", {"program": self.world.course.program, **looked}, now)
        self._starts += len(said)
        return said

    # ------------------------------------------------------------ questions

    def _prompt(self, now: float, status: dict[str, Any]) -> list[bytes]:
        """Walk there, do it, answer."""
        prompt = status["prompt"]
        if prompt is None:
            self._asked, self._deed = None, None
            return []
        key = (str(prompt["id"]), int(status["step"]["index"]))
        if key != self._asked:
            self._asked, self._told = key, False
            self._deed, self._deed_due = self.deeds.asked(prompt, status), now + self.manner.delay_s
        if now < self._deed_due:
            return []
        if self._deed is not None:
            wait = next(self._deed, None)
            if wait is not None:
                self._deed_due = now + wait
                return []
            self._deed = None
        return self._answer(now, prompt, status)

    def _answer(self, now: float, prompt: dict[str, Any], status: dict[str, Any]) -> list[bytes]:
        which = str(prompt["id"])
        if status["state"] != "running" and which != "resume":
            return []
        if which == "take_over" and not self.manner.take_over:
            return []
        answer = prompt["answers"][0]
        if which in ("iodine", "iodine_series"):
            answer = self.manner.iodine[min(self._iodine - self._told, len(self.manner.iodine) - 1)]
        if which == "iodine_series":
            answer = "no colour" if answer == "no starch" else "colour"
        if which == "resume" and self.manner.resume in prompt["answers"]:
            answer = self.manner.resume
        more = {"run": str(status.get("run"))} if which == "resume" else {}
        if self.manner.wrong_first and self._erred != self._asked:
            self._erred = self._asked
            return self._order("answer", {"prompt": which, "answer": "well"}, now, **more)
        said = self._order("answer", {"prompt": which, "answer": answer}, now, **more)
        if said and self.manner.says_twice:
            said += self._order("answer", {"prompt": which, "answer": answer}, now, **more)
        if said and not self._told:
            self.answered.append(which)
            self._iodine += which in ("iodine", "iodine_series")
        if said:  # still asked then: said again, but nothing is poured twice
            self._told, self._deed_due = True, now + AGAIN_S
        return said

    # ------------------------------------------------------------ trips

    def _trips(self, now: float, status: dict[str, Any]) -> list[bytes]:
        """Acknowledge, look, clear, restart; nothing of it in one breath."""
        active = {trip["id"]: trip for trip in status["trips"]}
        self._seen_trips = {name: self._seen_trips.get(name, now) for name in active}
        for name in active:
            if (name, self._seen_trips[name]) not in self._heard_trips and now >= self._seen_trips[name] + 5.0:
                self._heard_trips.add((name, self._seen_trips[name]))
                return self._order("acknowledge", {}, now, trip=name)
        if not self.manner.clears or now < self._deed_due:
            return []
        for name, trip in active.items():
            if trip["latched"] and now >= self._seen_trips[name] + self.manner.look_s:
                return [] if self._mends(now, status) else self._clear(name, now, status)
        asked_to_choose = status["prompt"] is not None and status["prompt"]["id"] == "resume"
        waits = status["state"] == "held" and status["held_by"] in ("latched", "person", "resume")
        if waits and not active and not asked_to_choose:
            return [] if self._mends(now, status) else self._order("restart", {"hand_c": self.world.hand_c()}, now)
        return []

    def _mends(self, now: float, status: dict[str, Any]) -> bool:
        """What hands do first: wort that stands in the line is pumped on, a mash too warm gets cold liquor."""
        world, step = self.world, status["step"]
        if world.tun.spec.flow_kg_per_s > 0 and now > self._pumped_at + 3 * PUMP_S:
            world.hand_pump(PUMP_S)  # in standing wort neither probe tells anything of the mash
            self._pumped_at, self._deed_due = now, now + PUMP_S
            return True
        if step is None or (world.tun.grist_kg <= 0 and not self.manner.cools) or not self._room():
            return False
        if world.tun.mash_mean_c > float(step["target_c"]) + TOO_WARM_K:
            world.temper(float(step["target_c"]))
            self._deed_due = now + 90.0
            return True
        return False

    def _room(self) -> bool:
        return self.world.tun.level_l <= 0.95 * self.world.tun.spec.volume_l

    def _cool(self, status: dict[str, Any]) -> None:
        """Too warm for five minutes at a step: cold liquor, slowly, stirred in; then he looks again."""
        step, shown, now = status["step"], status["temperature_c"], self.world.now
        over = step is not None and shown is not None and step["phase"] in ("ramping", "resting")
        if not over or status["state"] != "running" or shown <= step["target_c"] + TOO_WARM_K:
            self._warm_since = None
        elif self._warm_since is None:
            self._warm_since = now
        elif self._room() and now - self._warm_since > COOLS_AFTER_S:
            self.world.temper(float(step["target_c"]), COOLS_S_PER_K * (shown - step["target_c"]))
            self._warm_since = now
        elif now - self._warm_since > GIVES_UP_S:
            self._gives_up = True

    def _goes_on(self, now: float) -> list[bytes]:
        """A rest that stays too warm in a tun too full to cool it is left for the next step."""
        if not self._gives_up:
            return []
        self._gives_up, self._warm_since = False, None
        return self._order("advance", {}, now)

    def _clear(self, name: str, now: float, status: dict[str, Any]) -> list[bytes]:
        """Hand thermometer first: with a probe that disagrees nothing is cleared. After a third time the run ends."""
        shown = status["temperature_c"]
        patient = now <= self._seen_trips[name] + self.manner.patience_s
        if shown is None or abs(self.world.hand_c() - float(shown)) > HAND_K:
            return [] if patient else self._order("stop", {}, now)
        if name == "G13" and patient and not self.world.wet_and_flowing():
            return []  # he looks at level, pump and switches first
        if self._cleared.get(name, 0) >= self.manner.tries:
            return self._order("stop", {}, now)
        self.world.heater.reset()
        word: dict[str, Any] = {"reason": "looked at it"} if name == "G20" else {"inspected": True}
        said = self._order("clear", word, now, trip=name)
        self._cleared[name] = self._cleared.get(name, 0) + len(said)
        return said
