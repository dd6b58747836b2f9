"""Does the simulated brewer do what a brewer does, and skip nothing?"""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.commands.dryrun.outcome import page
from controller.plan.plan import Plan
from controller.settings.service import Settings
from sim import dryrun
from sim.people.manner import Manner
from sim.people.person import Person
from sim.world.faults import parse
from sim.world.world import World
from tests.sim.conftest import ran as run_once
from tests.sim.conftest import shipped

Pair = tuple[Settings, Plan]


class Bench:
    """A person beside a world, with a status that the test writes."""

    def __init__(self, pair: Pair, manner: Manner, *faults: str) -> None:
        self.world = World(pair[0], pair[1].course, 1, [parse(spec) for spec in faults])
        self.person = Person(self.world, manner)
        self.said: list[dict[str, Any]] = []

    def status(self, **more: Any) -> None:
        said = {
            "state": "running", "prompt": None, "trips": [], "held_by": None, "nonce": "n", "temperature_c": 12.0,
            "step": {"index": 0, "target_c": 54.0}, "steps": [{"target_c": 54.0}, {"target_c": 50.0}],
        }  # fmt: skip
        self.person.hear(self.world.topics.status, json.dumps({**said, **more}, separators=(",", ":")).encode())

    def seconds(self, count: int) -> list[dict[str, Any]]:
        """What is said within so many seconds; each order is accepted."""
        new = []
        for _ in range(2 * count):
            self.world.step()
            for payload in self.person.act(self.world.now):
                order = json.loads(payload)
                new.append(order)
                reply = {"id": order["id"], "accepted": True, "reason": ""}
                self.person.hear(self.world.topics.reply, json.dumps(reply).encode())
        self.said += new
        return new


def prompt(name: str, text: str = "", answers: tuple[str, ...] = ("yes",)) -> dict[str, Any]:
    return {"id": name, "text": text, "answers": list(answers)}


def test_it_starts_once_with_a_hand_thermometer_in_the_tun(gannet: Pair) -> None:
    """Program, hand reading, both marks, nonce and validity; accepted, it is not sent again."""
    bench = Bench(gannet, Manner(start_at_s=5.0))
    bench.status(state="idle")
    said = bench.seconds(60)
    assert [order["order"] for order in said] == ["start"]
    args = said[0]["args"]
    assert args["program"] == "sandpiper" and args["here"] is True and args["attended"] is True
    assert args["hand_c"] == pytest.approx(12.0, abs=0.6)
    assert said[0]["nonce"] == "n" and said[0]["valid_s"] == 30.0 and said[0]["by"]


def test_it_sees_to_a_trip_before_it_asks_for_a_start(gannet: Pair) -> None:
    """Idle with a latched trip: acknowledged, looked at, cleared, and no start as long as it stands; a brewer who
    clears nothing asks for the start all the same."""
    trip = {"id": "G15", "latched": True}
    bench = Bench(gannet, Manner(clears=True, look_s=30.0))
    bench.status(state="idle", trips=[trip], temperature_c=bench.world.hand_c())
    bench.seconds(120)
    assert [order["order"] for order in bench.said][:2] == ["acknowledge", "clear"]
    assert "start" not in {order["order"] for order in bench.said}
    bench.status(state="idle", trips=[])
    assert [order["order"] for order in bench.seconds(60)] == ["start"]
    other = Bench(gannet, Manner())
    other.status(state="idle", trips=[trip])
    assert next(order["order"] for order in other.seconds(60)) == "start"


def test_it_answers_after_its_delay(gannet: Pair) -> None:
    """Asked at 0 s with a delay of 30 s: begins at 30 s, not before."""
    bench = Bench(gannet, Manner(delay_s=30.0))
    bench.status(prompt=prompt("dough_in", answers=("begin",)))
    assert bench.seconds(29) == []
    assert [order["args"] for order in bench.seconds(3)] == [{"prompt": "dough_in", "answer": "begin"}]


def test_grain_is_poured_stirred_and_tempered_before_it_says_so(gannet: Pair) -> None:
    """All the grist goes in within the pouring time, cold liquor brings the mash down to target, then the answer."""
    bench = Bench(gannet, Manner(delay_s=5.0, pour_s=120.0, stir_s=60.0))
    bench.world.tun.layers = [60.0] * 3
    bench.status(prompt=prompt("grain_in"))
    assert bench.seconds(180) == []
    assert bench.world.tun.grist_kg == pytest.approx(gannet[1].course.grist_kg)
    assert bench.world.tun.lid_open
    said = bench.seconds(120)
    assert {order["args"]["answer"] for order in said} == {"yes"}  # said again while still asked, but poured once
    assert bench.world.tun.mash_mean_c == pytest.approx(50.0, abs=1.0)
    assert bench.world.tun.liquor_kg > gannet[1].course.liquor_kg + 1.0
    assert not bench.world.tun.lid_open


def test_a_decoction_is_pulled_boiled_and_returned_until_warm_enough(gannet: Pair) -> None:
    """As much as was asked for comes out; back it goes in portions, and stops at the temperature that was said."""
    bench = Bench(gannet, Manner(delay_s=5.0, boil_s=100.0))
    bench.world.tun.layers = [52.0] * 3
    before = bench.world.tun.liquor_kg
    bench.status(prompt=prompt("pull", "Time to pull 20.0 kg of thick mash and boil it.", ("returning",)))
    bench.seconds(10)
    assert bench.world.tun.liquor_kg == pytest.approx(before - 20.0)
    assert [order["args"]["answer"] for order in bench.seconds(110)] == ["returning"]
    text = "Heat is off. Return the decoction slowly; stop at 60.0 °C. Is it all back and stirred?"
    bench.status(prompt=prompt("returned", text))
    bench.seconds(400)
    assert 58.5 < bench.world.tun.mash_mean_c < 61.5
    assert before - 20.0 < bench.world.tun.liquor_kg < before


def test_asked_again_after_an_outage_the_same_decoction_is_not_pulled_twice(gannet: Pair) -> None:
    """The power fails while the decoction boils: the question comes anew, nothing more is taken out."""
    bench = Bench(gannet, Manner(delay_s=5.0, boil_s=100.0))
    before = bench.world.tun.liquor_kg
    asked = prompt("pull", "Time to pull 20.0 kg of thick mash and boil it.", ("returning",))
    bench.status(prompt=asked)
    bench.seconds(10)
    bench.status(state="held", held_by="resume", prompt=prompt("resume", "How shall it go on?", ("go on here",)))
    bench.seconds(20)
    bench.status(prompt=asked)
    assert [order["args"]["answer"] for order in bench.seconds(10)] == ["returning"]
    assert bench.world.tun.liquor_kg == pytest.approx(before - 20.0)


def test_hot_liquor_is_added_as_told(gannet: Pair) -> None:
    """The amount and temperature of the question, poured after the answer, stopped at the temperature."""
    bench = Bench(gannet, Manner(delay_s=5.0))
    bench.world.tun.layers = [50.0] * 3
    bench.status(prompt=prompt("add", "Time to add 20.0 kg of liquor at 98 °C. Say when you begin.", ("adding",)))
    assert [order["args"]["answer"] for order in bench.seconds(40)] == ["adding"]
    bench.status(prompt=prompt("added", "Heat is off. Stop adding at 55.0 °C. Is it in and stirred?"))
    bench.seconds(400)
    assert 54.0 < bench.world.tun.mash_mean_c < 56.5


def test_iodine_tests_come_out_as_set(gannet: Pair) -> None:
    """First reddish, then no starch."""
    bench = Bench(gannet, Manner(delay_s=1.0, iodine=("reddish", "no starch")))
    answers = ("no starch", "reddish", "blue", "not tested")
    for index in (3, 4):
        bench.status(prompt=prompt("iodine", answers=answers), step={"index": index, "target_c": 72.0})
        bench.seconds(5)
        bench.status()
        bench.seconds(2)
    assert [order["args"]["answer"] for order in bench.said] == ["reddish", "no starch"]


def test_hands_alone_say_nothing(gannet: Pair) -> None:
    """With `speaks=False` the grain goes in and somebody else says so."""
    bench = Bench(gannet, Manner(delay_s=5.0, pour_s=60.0, speaks=False))
    bench.status(prompt=prompt("grain_in"))
    assert bench.seconds(300) == []
    assert bench.world.tun.grist_kg == pytest.approx(gannet[1].course.grist_kg)


def test_a_trip_is_heard_looked_at_cleared_and_restarted_one_after_the_other(gannet: Pair) -> None:
    """Acknowledge within seconds, clear after the look, restart only then: three orders, none in one breath."""
    bench = Bench(gannet, Manner(clears=True, look_s=90.0))
    bench.seconds(5)
    trip = {"id": "G09", "latched": True}
    bench.status(state="held", held_by="latched", trips=[trip])
    assert [order["order"] for order in bench.seconds(60)] == ["acknowledge"]
    assert [order["order"] for order in bench.seconds(34)] == ["clear"]
    assert bench.said[-1]["trip"] == "G09"
    bench.status(state="held", held_by="latched")
    assert [order["order"] for order in bench.seconds(2)] == ["restart"]


def test_a_probe_that_disagrees_with_the_hand_thermometer_is_never_cleared(gannet: Pair) -> None:
    """20 °C on the display, 12 by hand: no clear; after the patience is over the run is stopped."""
    bench = Bench(gannet, Manner(clears=True, look_s=10.0, patience_s=600.0))
    bench.status(state="held", held_by="latched", trips=[{"id": "G09", "latched": True}], temperature_c=20.0)
    assert [order["order"] for order in bench.seconds(613)][:2] == ["acknowledge", "stop"]


def test_the_same_trip_too_often_ends_the_run(gannet: Pair) -> None:
    """After three clears of one trip: stop."""
    bench = Bench(gannet, Manner(clears=True, look_s=10.0, tries=3))
    bench.status(state="held", held_by="latched", trips=[{"id": "G09", "latched": True}])
    assert [order["order"] for order in bench.seconds(40)][:5] == ["acknowledge", "clear", "clear", "clear", "stop"]


def test_nobody_acts_while_away(gannet: Pair) -> None:
    """Under `person_away` nothing is said and nothing is poured."""
    bench = Bench(gannet, Manner(delay_s=1.0, pour_s=10.0), "person_away@0+100")
    bench.status(prompt=prompt("grain_in"))
    assert bench.seconds(95) == [] and bench.world.tun.grist_kg == 0.0
    assert bench.seconds(100) and bench.world.tun.grist_kg > 0.0


def test_a_decoction_program_runs_with_its_brewer() -> None:
    """Every question of a whole run is answered in turn, by name."""
    plan, ran = shipped("gannet", "dotterel", 0.25)[1], run_once("gannet", "dotterel", 0.25)
    assert ran.result == "complete"
    assert ran.answered[:3] == ("liquor", "dough_in", "grain_in") and ran.answered[-1] == "take_over"
    # away = "45 min" is kept, with some minutes for answers, pouring and mixing; the row says that it came back
    answer = dryrun.document(plan, ran, [], None)
    boiled = next(step for step in answer["steps"] if step["kind"] == "decoction")
    assert 2700.0 <= boiled["ended_s"] - boiled["ramp_started_s"] <= 2700.0 + 900.0
    row = next(line for line in page(plan, answer) if line.strip().startswith("decoction"))
    assert "returned" in row and "not reached" not in row
