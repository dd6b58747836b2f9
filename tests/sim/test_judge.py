"""Does the judge see each promise broken, and say nothing where none is?

A short sound history is made; each test breaks one thing in it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from controller.plan.plan import Plan
from controller.settings.service import Settings
from sim import dryrun
from sim.judge import Judge
from sim.people.manner import Manner
from sim.world.faults import parse

Pair = tuple[Settings, Plan]
LIMITS = {
    "hard_limit_c": 80.0, "above_program_k": 3.0, "outlet_limit_c": 85.0, "reading_gone_s": 10.0, "duty_cap": 1.0,
    "lease_s": 10.0,
}  # fmt: skip


class History:
    """A run as it passes the broker, second by second, heated at 0.5, with whatever a test changes."""

    def __init__(self, settings: Settings) -> None:
        self.judge = Judge(settings)
        self.at = 0.25
        self.seq = 0
        self.state, self.duty, self.valid_s = "idle", 0.0, 5.0
        self.trips: list[dict[str, Any]] = []
        self.step = {"index": 1, "phase": "ramping", "credited_s": 0.0}
        self.limits = dict(LIMITS)
        self.c = 60.0
        self.reads = True
        self.epoch = 1

    def say(self, topic: str, ours: bool = True, retained: bool = False, **said: Any) -> None:
        name = f"underback/gannet/{topic}"
        self.judge.hear(self.at, name, json.dumps(said).encode(), retained, ours)

    def reading(self, value: Any) -> None:
        self.say("probe/mash", False, temperature=value, seq=self.seq)

    def order(self, name: str, key: str, accepted: bool = True, retained: bool = False, reason: str = "") -> None:
        self.say("order", False, retained, id=key, order=name)
        self.say("reply", id=key, order=name, accepted=accepted, reason=reason, state=self.state)

    def event(self, kind: str, name: str, seq: int, **more: Any) -> None:
        self.say("event", seq=seq, kind=kind, id=name, text="", **{"class": "physics", **more})

    def status(self, **more: Any) -> None:
        said = {
            "state": self.state, "run": "r1", "step": self.step, "trips": self.trips, "limits": self.limits,
            "duty": self.duty, "temperature_c": self.c, "reading_age_s": 0.5,
        }  # fmt: skip
        self.say("status", **{**said, **more})

    def command(self, **more: Any) -> None:
        said = {"epoch": self.epoch, "seq": self.seq, "duty": self.duty, "valid_s": self.valid_s}
        self.say("heater/command", **{**said, "reading_seq": self.seq, **more})

    def second(self, status: bool = True, **command: Any) -> None:
        self.seq += 1
        if self.reads:
            self.reading(self.c)
        self.command(**command)
        if status:
            self.status()
        self.at += 1.0

    def run(self, seconds: int) -> History:
        for _ in range(seconds):
            self.second()
        return self

    def broken(self) -> set[str]:
        self.judge.end(self.at, True)
        return {breach.promise for breach in self.judge.breaches}


@pytest.fixture
def history(gannet: Pair) -> History:
    """Connected, idle for a while, started, heating."""
    made = History(gannet[0])
    made.say("online", there=True)
    made.run(20)
    made.order("start", "o1")
    made.state, made.duty = "running", 0.5
    return made.run(100)


def nonsense(history: History) -> None:
    history.reads = False
    for _ in range(5):
        history.reading(None)
        history.second()


def blind_lease(history: History) -> None:
    history.reads = False
    history.run(5)
    history.valid_s = 8.0


def after_a_latched_trip(history: History, *orders: tuple[str, str]) -> None:
    """Held for over a minute by G09, which is gone then; these orders; heat again."""
    history.trips = [{"id": "G09", "latched": True}]
    history.state, history.duty = "held", 0.0
    history.run(70)
    history.trips = []
    for at, (name, reason) in enumerate(orders):
        history.order(name, f"o{2 + at}", reason=reason)
    history.state, history.duty = "running", 0.5


def cleared_too_soon(history: History) -> None:
    history.duty = 0.0
    history.event("trip", "G02", 1)
    history.run(10)
    history.order("clear", "o2", reason="G02 cleared by somebody")


def order_again(history: History) -> None:
    history.order("pause", "o1")
    history.order("pause", "o9", retained=True)


def limit_raised(history: History) -> None:
    history.limits["hard_limit_c"] = 79.0
    history.run(1)
    history.limits["hard_limit_c"] = 80.5


def counted_back(history: History) -> None:
    history.event("note", "x", 4)
    history.event("note", "x", 3)


def steps_out_of_order(history: History) -> None:
    for changes in ({"index": 3}, {"index": 2, "credited_s": 0.0}, {"credited_s": -5.0}):
        history.step = {**history.step, **changes}
        history.run(1)
    history.event("step done", "rest", 1, data={"kind": "rest", "credited_s": 10.0, "planned_s": 600.0})


def silent_status(history: History) -> None:
    for _ in range(7):
        history.second(status=False)


def slept(history: History) -> None:
    history.judge.stood_still(history.at + 60.0)
    history.duty, history.at = 0.0, history.at + 60.0


def link_gone(history: History) -> None:
    history.event("trip", "G02", history.seq, **{"class": "link"})


def link_gone_twice(history: History) -> None:
    link_gone(history)
    link_gone(history)


def chatter(history: History) -> None:
    history.duty = 0.0
    history.event("trip", "G02", 1)
    history.run(30)
    history.event("trip", "G02", 2)


def lying_status(history: History) -> None:
    history.second(status=False)
    history.at -= 1.0
    history.status(duty=0.1)
    history.status(reading_age_s=11.0)


Tale = Callable[[History], object]
TALES: dict[str, tuple[Tale, int, set[str], int | None]] = {  # what happens, so many seconds, what it breaks, how often
    "two minutes of a healthy run": (lambda h: None, 20, set(), 0),
    "eleven seconds without a reading are one too many": (lambda h: setattr(h, "reads", False), 11, {"I1", "I6"}, None),
    "heat a second after the third NaN, the last good reading still young": (nonsense, 0, {"I2"}, None),
    "paused keeps its temperature, heat begins with its status": (lambda h: setattr(h, "state", "paused"), 5, set(), 0),
    "a lease of 8 s on a reading that is 5 s old: 13 s of blind heat": (blind_lease, 1, {"I6"}, None),
    "restart alone after a latched trip": (lambda h: after_a_latched_trip(h, ("restart", "")), 3, {"I7"}, None),
    "clear and restart, two distinct orders": (
        lambda h: after_a_latched_trip(h, ("clear", "G09 cleared"), ("restart", "")), 3, set(), 0,
    ),
    "heat within a minute of a trip": (lambda h: h.event("trip", "G02", 1), 1, {"I8"}, None),
    "heat within a minute of a link's trip": (link_gone, 1, set(), 0),
    "heat before the third reading after a new connection": (lambda h: h.say("online", there=True), 2, {"I8"}, 2),
    "heat within ten seconds of a new epoch": (lambda h: setattr(h, "epoch", 2), 1, {"I8"}, None),
    "a clear ten seconds after its trip: nobody can have looked": (cleared_too_soon, 1, {"I9"}, None),
    "the same id accepted again, a retained order accepted at all": (order_again, 1, {"I10"}, 2),
    "heat beside a higher epoch": (
        lambda h: h.say("heater/command", False, duty=0.0, epoch=2, seq=1, owner="stranger"), 4, {"I11"}, None,
    ),
    "heat beside a stranger's": (
        lambda h: h.say("heater/command", False, duty=1.0, epoch=1, seq=99999, owner="stranger"), 4, {"I11"}, None,
    ),
    "any plain button may send OFF": (lambda h: h.say("heater/command", False, duty=0), 4, set(), 0),
    "a limit goes down and then up": (limit_raised, 1, {"I12"}, None),
    "event 3 after event 4": (counted_back, 0, {"I13"}, None),
    "a step left out, one back, credit that falls, a rest that ends early": (steps_out_of_order, 0, {"I15"}, 4),
    "six seconds without a status": (silent_status, 1, {"I19"}, None),
    "a machine that stood still does not lie": (slept, 1, set(), 0),
    "the same trip again within a minute": (chatter, 0, {"I21"}, None),
    "the same link's trip again within a minute": (link_gone_twice, 0, set(), 0),
    "an order that is never answered": (lambda h: h.say("order", False, id="o7", order="pause"), 5, {"I22"}, None),
    "another duty than commanded, a temperature too old to be shown": (lying_status, 0, {"I23"}, 2),
}  # fmt: skip


@pytest.mark.parametrize("name", TALES)
def test_each_promise_broken_is_seen_and_no_other(history: History, name: str) -> None:
    """What its name says happens to a sound history; exactly this is broken, where that is said so often."""
    happens, seconds, broken, often = TALES[name]
    happens(history)
    assert history.run(seconds).broken() == broken
    assert often is None or len(history.judge.breaches) == often


@pytest.mark.parametrize(
    "more",
    [
        *({"duty": 1.01}, {"duty": -0.1}, {"duty": True}, {"duty": "0.5"}),
        *({"valid_s": 10.1}, {"valid_s": 0}, {"seq": 3}, {"epoch": 0}),
    ],
)
def test_i3_malformed_commands(history: History, more: dict[str, Any]) -> None:
    """Duty, validity, sequence and epoch are each looked at."""
    history.second(status=False, **more)
    assert "I3" in history.broken()


@pytest.mark.parametrize("state", ["idle", "held", "holding", "stopped", "aborted", "complete", "checking"])
def test_i4_heat_in_a_state_without_heat(history: History, state: str) -> None:
    """The status of the same tick counts."""
    history.state = state
    history.run(1)
    assert "I4" in history.broken()


def test_i5_heat_after_two_readings_at_the_hard_limit(history: History) -> None:
    """Two seconds of grace, then none."""
    history.c = 80.0
    history.run(2)
    assert history.judge.breaches == []
    assert "I5" in history.run(4).broken()


@pytest.mark.parametrize(("phase", "c"), [("adding", 81.0), ("ramping", 85.0)])
def test_i5_knows_its_exceptions(history: History, phase: str, c: float) -> None:
    """Boiling liquor poured on, and a sensor's power-on value, latch nothing."""
    history.step["phase"] = phase
    history.run(1)
    history.c = c
    history.run(3)
    history.c = 60.0
    assert history.run(5).broken() == set()


@pytest.mark.parametrize(
    ("theirs", "epoch", "broken"), [(2, 3, set()), (2, 2, {"I11"}), (2, 1, {"I11"}), (1, 1, set()), (0, 1, set())]
)
def test_i11_an_owner_heard_while_checking(gannet: Pair, theirs: int, epoch: int, broken: set[str]) -> None:
    """A daemon that still checks takes a number above the stranger's; heat under any other is heat beside an owner; an
    OFF of no higher epoch claims nothing."""
    made = History(gannet[0])
    made.state = "checking"
    made.say("online", there=True)
    made.run(5)
    made.say("heater/command", False, duty=0.0, epoch=theirs, seq=1, owner="stranger")
    made.state, made.epoch = "idle", epoch
    made.run(15)
    made.order("start", "o1")
    made.state, made.duty = "running", 0.5
    assert made.run(4).broken() == broken


def test_i16_rest_time_that_is_not_real_time(history: History) -> None:
    """The first minute in band may come at once, and no more than that; later a second is a second."""
    history.step = {**history.step, "credited_s": 61.0}
    history.run(1)
    assert history.judge.breaches == []
    history.step = {**history.step, "credited_s": 65.0}
    assert history.run(1).broken() == {"I16"}


def test_a_real_dry_run_with_faults_breaks_nothing(gannet: Pair) -> None:
    """The daemon's core under an outage, nonsense, traps and a stall: forty minutes and no breach."""
    judge = Judge(gannet[0])
    faults = [parse(s) for s in ("broker_gone@300+60", "probe_text@600+20", "retained_replay@800", "replay@850",
                                 "loop_stall@1000=4", "lost@1200+60=0.5", "duplicate@1400+60")]  # fmt: skip
    ran = dryrun.DryRun(*gannet, 1, faults, manner=Manner(clears=True), listen=judge.hear)
    ran.stood_still = judge.stood_still
    done = ran.go(2400.0)
    assert {trip["id"] for trip in done.trace.trips} >= {"G02", "G14"}
    assert judge.breaches == []
    assert judge.commands > 2200
