"""Does the judge see each promise broken, and say nothing where none is?

A short sound history is made; each test breaks one thing in it.
"""

from __future__ import annotations

import json
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
        self.say("event", seq=seq, kind=kind, id=name, text="", **more)

    def status(self, **more: Any) -> None:
        said = {
            "state": self.state, "run": "r1", "step": self.step, "trips": self.trips, "limits": self.limits,
            "duty": self.duty, "temperature_c": self.c, "reading_age_s": 0.5,
        }  # fmt: skip
        self.say("status", **{**said, **more})

    def command(self, **more: Any) -> None:
        said = {
            "epoch": self.epoch,
            "seq": self.seq,
            "duty": self.duty,
            "valid_s": self.valid_s,
            "reading_seq": self.seq,
        }
        self.say("heater/command", **{**said, **more})

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


def test_a_sound_history_breaks_nothing(history: History) -> None:
    """Two minutes of a healthy run."""
    assert history.run(20).broken() == set()


def test_i1_heat_on_an_old_reading(history: History) -> None:
    """Eleven seconds without a reading are one too many."""
    history.reads = False
    assert history.run(11).broken() == {"I1", "I6"}


def test_i2_heat_after_three_invalid_readings(history: History) -> None:
    """A second after the third NaN, heat is a breach, though the last good reading is young."""
    history.reads = False
    for _ in range(5):
        history.reading(None)
        history.second()
    assert history.broken() == {"I2"}


@pytest.mark.parametrize(
    "more",
    [
        {"duty": 1.01},
        {"duty": -0.1},
        {"duty": True},
        {"duty": "0.5"},
        {"valid_s": 10.1},
        {"valid_s": 0},
        {"seq": 3},
        {"epoch": 0},
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


def test_i4_lets_heat_begin_with_its_own_status(history: History) -> None:
    """Paused keeps its temperature; and the command of the tick that leaves a cold state is no breach."""
    history.state = "paused"
    assert history.run(5).broken() == set()


def test_i5_heat_after_two_readings_at_the_hard_limit(history: History) -> None:
    """Two seconds of grace, then none; 85.0 twice is a sensor's power-on value and no reading; nor is an addition."""
    history.c = 80.0
    history.run(2)
    assert history.judge.breaches == []
    assert "I5" in history.run(4).broken()


@pytest.mark.parametrize("phase", ["adding", "ramping"])
def test_i5_knows_its_exceptions(history: History, phase: str) -> None:
    """Boiling liquor poured on, and the power-on value, latch nothing."""
    history.step["phase"] = phase
    history.run(1)
    history.c = 81.0 if phase == "adding" else 85.0
    history.run(3)
    history.c = 60.0
    assert history.run(5).broken() == set()


def test_i6_a_lease_that_outlives_its_evidence(history: History) -> None:
    """Valid for 8 s on a reading that is 5 s old: 13 s of blind heat."""
    history.reads = False
    history.run(5)
    history.valid_s = 8.0
    assert history.run(1).broken() == {"I6"}


def test_i7_heat_without_the_orders_that_lead_to_it(history: History) -> None:
    """After a latched trip, restart alone is not enough; clear and restart are; before any start nothing is."""
    history.trips = [{"id": "G09", "latched": True}]
    history.state, history.duty = "held", 0.0
    history.run(70)
    history.trips = []
    history.order("restart", "o2")
    history.state, history.duty = "running", 0.5
    assert history.run(3).broken() == {"I7"}


def test_i7_is_kept_by_clear_and_restart(history: History) -> None:
    """Two distinct orders."""
    history.trips = [{"id": "G09", "latched": True}]
    history.state, history.duty = "held", 0.0
    history.run(70)
    history.order("clear", "o2", reason="G09 cleared")
    history.trips = []
    history.order("restart", "o3")
    history.state, history.duty = "running", 0.5
    assert history.run(3).broken() == set()


@pytest.mark.parametrize("what", ["trip", "link"])
def test_i8_heat_too_soon(history: History, what: str) -> None:
    """Within a minute of a trip, within ten seconds of a new connection."""
    if what == "trip":
        history.event("trip", "G02", 1)
    else:
        history.say("online", there=True)
    assert history.run(1).broken() == {"I8"}


def test_i9_a_clear_too_soon(history: History) -> None:
    """Ten seconds after its trip nobody can have looked."""
    history.duty = 0.0
    history.event("trip", "G02", 1)
    history.run(10)
    history.order("clear", "o2", reason="G02 cleared by somebody")
    assert history.run(1).broken() == {"I9"}


def test_i10_an_order_done_twice_or_retained(history: History) -> None:
    """The same id accepted again; a retained one accepted at all."""
    history.order("pause", "o1")
    history.order("pause", "o9", retained=True)
    assert history.run(1).broken() == {"I10"}
    assert len(history.judge.breaches) == 2


@pytest.mark.parametrize("said", [{"duty": 0.0, "epoch": 2, "seq": 1}, {"duty": 1.0, "epoch": 1, "seq": 99999}])
def test_i11_heat_beside_another_owner(history: History, said: dict[str, Any]) -> None:
    """A higher epoch, or a stranger's heat; a foreign OFF of our own epoch is nobody's claim."""
    history.say("heater/command", False, **said, owner="stranger")
    assert history.run(4).broken() == {"I11"}


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


def test_i11_lets_a_foreign_off_pass(history: History) -> None:
    """Any plain button may send OFF."""
    history.say("heater/command", False, duty=0)
    assert history.run(4).broken() == set()


def test_i12_a_limit_that_rises(history: History) -> None:
    """Down is allowed, up is not."""
    history.limits["hard_limit_c"] = 79.0
    history.run(1)
    history.limits["hard_limit_c"] = 80.5
    assert history.run(1).broken() == {"I12"}


def test_i13_the_record_counts_back(history: History) -> None:
    """Event 3 after event 4."""
    history.event("note", "x", 4)
    history.event("note", "x", 3)
    assert history.broken() == {"I13"}


def test_i15_steps_and_credit(history: History) -> None:
    """A step left out, a step back, credit that falls, and a rest that ends too early."""
    history.step = {**history.step, "index": 3}
    history.run(1)
    history.step = {**history.step, "index": 2, "credited_s": 0.0}
    history.run(1)
    history.step = {**history.step, "credited_s": -5.0}
    history.run(1)
    history.event("step done", "rest", 1, data={"kind": "rest", "credited_s": 10.0, "planned_s": 600.0})
    assert history.broken() == {"I15"}
    assert len(history.judge.breaches) == 4


def test_i16_rest_time_that_is_not_real_time(history: History) -> None:
    """The first minute in band may come at once, and no more than that; later a second is a second."""
    history.step = {**history.step, "credited_s": 61.0}
    history.run(1)
    assert history.judge.breaches == []
    history.step = {**history.step, "credited_s": 65.0}
    assert history.run(1).broken() == {"I16"}


def test_i19_a_silent_status(history: History) -> None:
    """Six seconds without one, and not while the machine stood still."""
    for _ in range(7):
        history.second(status=False)
    assert history.run(1).broken() == {"I19"}


def test_i19_forgives_a_machine_that_slept(history: History) -> None:
    """A stall is not a lie."""
    history.judge.stood_still(history.at + 60.0)
    history.duty, history.at = 0.0, history.at + 60.0
    assert history.run(1).broken() == set()


def test_i21_the_same_trip_again_within_a_minute(history: History) -> None:
    """Chatter."""
    history.duty = 0.0
    history.event("trip", "G02", 1)
    history.run(30)
    history.event("trip", "G02", 2)
    assert history.broken() == {"I21"}


def test_i22_orders_without_an_answer_in_time(history: History) -> None:
    """Never answered; answered after three seconds."""
    history.say("order", False, id="o7", order="pause")
    assert history.run(5).broken() == {"I22"}


def test_i23_a_status_that_lies(history: History) -> None:
    """Another duty than commanded; a temperature that is too old to be shown."""
    history.second(status=False)
    history.at -= 1.0
    history.status(duty=0.1)
    history.status(reading_age_s=11.0)
    assert history.broken() == {"I23"}
    assert len(history.judge.breaches) == 2


def test_a_real_dry_run_with_faults_breaks_nothing(gannet: Pair) -> None:
    """The daemon's core under an outage, nonsense, traps and a stall: forty minutes and no breach."""
    judge = Judge(gannet[0])
    faults = [parse(s) for s in ("broker_gone@300+60", "probe_text@600+20", "retained_replay@800", "replay@850",
                                 "loop_stall@1000=4", "lost@1200+60=0.5", "duplicate@1400+60")]  # fmt: skip
    ran = dryrun.DryRun(*gannet, 1, faults, manner=Manner(clears=True), listen=judge.hear)
    ran.stood_still = judge.stood_still
    done = ran.go(2400.0)
    assert {trip["id"] for trip in done.trace.trips} >= {"G16", "G03", "G17", "G24"}
    assert judge.breaches == []
    assert judge.commands > 2200
