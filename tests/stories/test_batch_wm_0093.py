"""Batch WM-0093, Sandpiper on Gannet, told from its log: the same decisions in the same order.

A delayed start, grain from a cold store, a correction, mains gone for 38 min in the 63 °C rest, the gap rule, a reddish
iodine test, and a neighbour on the same supply. What goes wrong is data; what is decided comes from the core. One
process ends with the mains and another takes up its record, as after a power cut.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from random import Random
from typing import Any

import pytest

from controller.brewing import wort
from controller.core import checkpoint, supply
from controller.core.nouns import Event, Phase, RunState
from controller.core.procedure.resume import Pending
from controller.core.state import Outcome, start
from controller.edge.files import config_files
from controller.messages.inbox import Inbox
from controller.plan import plan
from controller.plan.other_liquor import HotLiquor
from sim.dryrun import DryRun
from sim.people.manner import Manner
from sim.world import true_values
from sim.world.faults import parse
from tests.places import CONFIG

SEED = 93
LIMIT_W, PLOVER_W = 6500.0, 2400.0
CUT_S = 38 * 60.0
READY_S = 3600.0  # wanted an hour after arming
STORE_C = 9.0  # the malt store, where the program says 18 °C
ROOM_C = 18.0


class Batch:
    """The run, the people, and the neighbour on the supply."""

    def __init__(self) -> None:
        settings = config_files.settings(CONFIG, "gannet")
        recipe = config_files.load_program(CONFIG, "sandpiper")
        made = plan.make(recipe.model_copy(update={"hot_liquor": HotLiquor(takes_s=1500.0)}), settings.tun)
        real = true_values.of_tun(settings.tun, Random(f"world {SEED}"))._replace(grist_c=STORE_C, room_c=ROOM_C)
        manner = Manner(speaks=False, pour_s=540.0, delay_s=120.0)
        faults = [parse("probe_value@3700+20=41.7"), parse("lid_open@3660+900")]
        self.dry = DryRun(settings, made, SEED, faults, manner=manner, truth=real)
        self.dry.state = self.dry.state._replace(proof_days=3.0)
        self.events: list[tuple[float, Event]] = []
        self.answers = 0
        self.desks = {"gannet": supply.Group("gannet", 0.0), "plover": supply.Group("plover", 0.0)}
        self.allowed: list[tuple[float, float, float]] = []  # when, W for Plover and for Gannet
        self.plover_wish_w = 0.0
        self.back_c = 0.0

    @property
    def now(self) -> float:
        return self.dry.state.now

    def second(self) -> Outcome:
        outcome = self.dry.second()
        self.events.extend((outcome.state.now, event) for event in outcome.events)
        self._share(outcome)
        return outcome

    def _share(self, outcome: Outcome) -> None:
        """Both tuns of the supply speak; Gannet's words come from its real state."""
        run, tun = outcome.state.run, self.dry.settings.tun
        wish_w, rank = supply.wish(tun, outcome.target, run.phase, outcome.seen.value_c)
        drawn = supply.drawn_w(tun, outcome.state.guard.line.duty, None)
        spoken = []
        for name, what in (("gannet", (wish_w, rank, drawn)), ("plover", (self.plover_wish_w, supply.URGENT, 0.0))):
            power, level, draws = what
            self.desks[name], word = supply.beat(self.desks[name], LIMIT_W, power, level, draws, True, self.now)
            spoken.append(word)
        for name in self.desks:
            for word in spoken:
                self.desks[name] = supply.hear(self.desks[name], word, self.now)
        self.allowed.append((self.now, self.desks["plover"].cap_w, self.desks["gannet"].cap_w))

    def until(self, true: Callable[[Outcome], bool], most_s: int = 9000) -> Outcome:
        for _ in range(most_s):
            outcome = self.second()
            if true(outcome):
                return outcome
        raise AssertionError(f"waited {most_s} s in vain: {self.dry.state.run}")

    def until_asked(self, which: str) -> Outcome:
        return self.until(lambda o: o.state.run.prompt is not None and o.state.run.prompt.id == which)

    def order(self, name: str, by: str, **args: Any) -> None:
        """Said, and accepted within a second."""
        self.answers += 1
        key, world = f"order-{self.answers}", self.dry.world
        said = {"id": key, "order": name, "args": args, "by": by, "at": world.wall_s, "valid_s": 30.0}
        said |= {"nonce": self.dry.state.orders.nonce, "run": self.dry.state.run.begun.id or None}
        self.dry.inbox.put(world.topics.order, json.dumps(said).encode(), self.now)
        replies = [reply for _ in range(2) for reply in self.second().replies if reply.id == key]
        assert [reply.accepted for reply in replies] == [True], replies

    def mains_fail(self) -> None:
        """Heater, stirrer, nodes and daemon are dead; afterwards another process finds the record."""
        kept = json.loads(json.dumps(checkpoint.keep(self.dry.state)))
        gone, dry = self.now, self.dry
        dry.world.faults = type(dry.world.faults)([parse(f"mains_cut@{gone + 0.25:g}+{CUT_S:g}")])
        dry.site.until(gone + CUT_S)
        self.back_c = dry.world.tun.mash_mean_c
        told = checkpoint.recall(kept, gone + CUT_S)
        assert told is not None
        limit_s = 60.0 * dry.settings.service.resume_minutes
        pending = Pending(told.run, told.last_c, CUT_S, True, 1, limit_s)
        dry._now = gone + CUT_S
        guard = told.guard._replace(epoch=told.guard.epoch + 1)
        dry.state = start(dry.settings, dry._now, "second", guard, pending, 3.0)
        dry.inbox = Inbox(dry.settings, "second")
        dry.inbox.prepare = dry._prepare
        dry._up = False


def leg(name: str) -> Callable[[Outcome], bool]:
    def there(outcome: Outcome) -> bool:
        run = outcome.state.run
        return run.course is not None and run.leg < len(run.course.legs) and run.course.legs[run.leg].name == name

    return there


@pytest.fixture(scope="module")
def batch() -> Batch:
    told = Batch()
    told.until(lambda o: o.state.run.state is RunState.IDLE)
    ready = told.dry.world.wall_s + READY_S
    told.order("start", "brewer", program="sandpiper", here=True, hand_c=told.dry.world.hand_c(), ready_at=ready)
    told.until_asked("dough_in")
    while told.now < READY_S + 60.0:
        told.second()
    told.order("answer", "brewer", prompt="dough_in", answer="begin")
    began = told.now
    told.until_asked("grain_in")
    while told.now < began + 760.0:
        told.second()
    told.order("answer", "brewer", prompt="grain_in", answer="yes")
    told.until(lambda o: o.state.run.offer is not None)
    told.order("answer", "brewer", prompt="settled", answer="heat")
    told.until(lambda o: o.state.run.progress.counting)
    told.order("answer", "student", ph=5.46)
    told.until(leg("maltose rest"))
    told.until(lambda o: o.state.run.progress.counting and o.state.run.progress.credited_s >= 120.0)
    told.mains_fail()
    told.until_asked("resume")
    told.order("answer", "technician", prompt="resume", answer="go on here")
    told.until(lambda o: o.state.run.state is RunState.RUNNING)
    told.order("extend", "technician", by_s=600.0)
    told.until(leg("saccharification"))
    for result in ("reddish", "no starch"):
        told.until_asked("iodine")
        told.order("answer", "student", prompt="iodine", answer=result)
    told.until(leg("mash-out"))
    told.plover_wish_w = PLOVER_W
    told.until_asked("take_over")
    told.order("answer", "student", gravity_p=19.3)
    told.order("answer", "brewer", remark="run-off begun, signed")
    told.order("answer", "brewer", prompt="take_over", answer="taken over")
    told.until(lambda o: o.state.run.state is RunState.COMPLETE)
    return told


def when(batch: Batch, kind: str, name: str, nth: int = 0) -> float:
    return [at for at, event in batch.events if event.kind == kind and event.id == name][nth]


def only(batch: Batch, kind: str, name: str) -> Event:
    found = [event for _, event in batch.events if event.kind == kind and event.id == name]
    assert len(found) == 1, found
    return found[0]


def test_the_decisions_stand_in_the_record_in_the_order_of_the_log(batch: Batch) -> None:
    """From the delayed start to the hand-over: each line of the log has its event, and they come in its order."""
    wanted = [
        *(("phase", "heating"), ("note", "ready for grain"), ("answer", "dough_in"), ("answer", "grain_in")),
        *(("settled", "protein rest"), ("answer", "settled"), ("entry", "ph"), ("step done", "protein rest")),
        *(("resume", "ask"), ("answer", "resume"), ("resume", "gap rule"), ("order", "extend")),
        *(("step done", "maltose rest"), ("note", "hot liquor")),
        *(("answer", "iodine"), ("note", "iodine"), ("answer", "iodine")),
        *(("step done", "saccharification"), ("step done", "mash-out")),
        *(("entry", "gravity_p"), ("entry", "remark"), ("answer", "take_over")),
    ]
    there = set(wanted)
    found = [(event.kind, event.id) for _, event in batch.events if (event.kind, event.id) in there]
    assert found == wanted


def test_heating_begins_53_minutes_before_the_wanted_time(batch: Batch) -> None:
    """36 min at 5 kW to 52.8 °C (wetting heat is in the strike), two until it shows and has stood a minute, and a
    quarter of an hour of margin; ready before the wanted time and kept."""
    assert READY_S - when(batch, "phase", "heating") == pytest.approx(53 * 60.0, abs=45.0)
    assert when(batch, "note", "ready for grain") < READY_S


def test_the_dry_pocket_trips_nothing(batch: Batch) -> None:
    """41.7 °C for twenty seconds while grain goes in: no interlock, and no trip in the whole batch."""
    assert [event for _, event in batch.events if event.kind == "trip"] == []


def test_cold_grain_lands_short_and_the_correction_is_offered(batch: Batch) -> None:
    """Grain at 9 instead of 18 °C costs 1.0 K and the open lid some 0.9 K: short, and offered in figures."""
    said = only(batch, "settled", "protein rest")
    assert said.limit == 50.0
    assert said.value is not None
    assert 50.0 - said.value == pytest.approx(1.9, abs=0.5)
    assert said.data is not None
    kg = (50.0 - said.value) * 297.42 / (4.19 * (98.9 - 5.0 - 50.0))  # 5 K under its boiling point at 310 m
    assert said.data["liquor_kg"] == pytest.approx(kg, abs=0.02)


def test_the_rise_to_63_is_limited_by_the_heater(batch: Batch) -> None:
    """50 to 63 °C takes 13.3 min by the plan; measured within 2 min of it."""
    begun = when(batch, "step done", "protein rest")
    in_band = next(row.t_s for row in batch.dry.trace.rows if row.t_s > begun and row.phase == "resting")
    assert (in_band - begun) / 60 == pytest.approx(13.3, abs=2.0)


def test_after_38_minutes_a_person_is_asked_and_the_gap_counts_in_full(batch: Batch) -> None:
    """Over the 30 min of the setting: held; still above 60 °C: the rest stands at 40 of 40 min."""
    asked = only(batch, "resume", "ask")
    assert "38.0 min" in asked.text and "longer than the 30 min" in asked.text
    assert batch.back_c == pytest.approx(61.64, abs=0.5)
    gap = only(batch, "resume", "gap rule")
    assert "counts in full" in gap.text
    assert gap.value == pytest.approx(2400.0 - 120.0, abs=3.0)
    done = only(batch, "step done", "maltose rest")
    assert done.data is not None
    assert (done.data["planned_s"], done.data["credited_s"]) == (3000.0, pytest.approx(3000.0, abs=2.0))


def test_no_heat_between_the_cut_and_the_technicians_answer(batch: Batch) -> None:
    """From the return of the mains to the one answer that leads on, every row has the heater off."""
    asked, gone_on = when(batch, "resume", "ask"), when(batch, "answer", "resume")
    rows = [row for row in batch.dry.trace.rows if asked - 15.0 <= row.t_s <= gone_on]
    assert len(rows) > 1
    assert all(row.duty == 0.0 for row in rows)
    assert batch.dry.evidence.without == 0


def test_a_reddish_test_lengthens_the_rest_by_ten_minutes(batch: Batch) -> None:
    """Asked at minute 15; the second test comes ten minutes of rest later; the rest of 20 min has become one of 30."""
    first, second = when(batch, "answer", "iodine"), when(batch, "answer", "iodine", 1)
    assert second - first == pytest.approx(600.0, abs=5.0)
    done = only(batch, "step done", "saccharification")
    assert done.data is not None
    assert done.data["planned_s"] == 1800.0


def test_the_neighbour_waits_for_its_share_and_gets_it(batch: Batch) -> None:
    """Plover's 2.4 kW wait while Gannet rises to 78 °C with its 5; never both; Plover has them in the end."""
    begun = when(batch, "step done", "saccharification")
    rise = [watts for at, watts, _ in batch.allowed if begun + 10.0 <= at <= begun + 240.0]
    assert rise and max(rise) == 0.0
    assert max(watts for at, watts, _ in batch.allowed if at > begun) == PLOVER_W
    assert max(plover_w + gannet_w for _, plover_w, gannet_w in batch.allowed) <= LIMIT_W


def test_first_wort_and_conversion(batch: Batch) -> None:
    """19.3 °P of the entry against the most that 3 L/kg can give: 93.5 % (worked example W29)."""
    entry = only(batch, "entry", "gravity_p")
    assert entry.data is not None
    share = wort.conversion_share(entry.data["gravity_p"], 3.0, 0.048, 0.78)
    assert share == pytest.approx(0.935, abs=0.001)


def test_the_run_ends_with_the_heater_off(batch: Batch) -> None:
    """Taken over: complete, nothing asked, no heat."""
    run = batch.dry.state.run
    assert (run.state, run.prompt, batch.dry.state.guard.line.duty) == (RunState.COMPLETE, None, 0.0)
    assert Phase.ARMED in {Phase(row.phase) for row in batch.dry.trace.rows}
