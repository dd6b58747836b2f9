"""A tun to which anything may happen: faults, orders and waits in any sequence, and what holds after every tick."""

from __future__ import annotations

import math
from typing import Any

from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule, run_state_machine_as_test

from controller.core.inputs import Presences
from controller.core.nouns import Foreign, Link, Presence, RunState
from controller.core.procedure.orders import envelope as orders
from controller.core.state import Outcome
from tests.core import bench as parts

HEAT_STATES = {RunState.RUNNING, RunState.PAUSED, RunState.PAUSING}
PLAN = parts.course(
    parts.leg("low", 50.0, 120.0),
    parts.leg("beta", 63.0, 180.0, ends="iodine", after_s=90.0),
    parts.leg("more", 64.0, 60.0, kind="infusion", kg=2.0, hot_c=95.0),
    parts.leg("alpha", 72.0, 120.0, ends="person"),
    parts.leg("keep", 76.0, 600.0, kind="keep"),
)
ODD = [math.nan, math.inf, -127.0, 85.0, 0.0, 32.0, 79.9, 80.0, 81.0, 105.0, 150.0, 20.0]


class Anything(RuleBasedStateMachine):
    """A tun to which anything may happen."""

    def __init__(self) -> None:
        super().__init__()
        self.bench = parts.Bench(parts.settings(), mash_c=50.0)
        self.trip_at = -math.inf
        self.known: set[str] = set()
        self.cleared = True
        self.before: Outcome | None = None

    def go(self, ticks: int) -> None:
        for _ in range(ticks):
            self.holds(self.bench.step())

    def holds(self, out: Outcome) -> None:
        """The invariants of one tick, seen from outside the guard."""
        command, state, bench = out.command, out.state.run.state, self.bench
        new = {t.id for t in out.state.guard.trips if not t.link}  # after a gap of a link heat waits for evidence alone
        if new - self.known:
            self.trip_at = bench.now
        self.known = new
        if command is not None:
            assert math.isfinite(command.duty)
            assert 0.0 <= command.duty <= 1.0
            assert 0.0 < command.valid_s <= 10.0
            if command.duty > 0.0:
                self.heat_has_evidence(out, command.valid_s)
                assert state in HEAT_STATES
        if self.before is not None:
            self.nothing_is_skipped(self.before, out)
            if command is not None and self.before.command is not None:
                assert command.seq > self.before.command.seq
                assert command.epoch >= self.before.command.epoch
        self.before = out

    def heat_has_evidence(self, out: Outcome, valid_s: float) -> None:
        bench = self.bench
        assert out.seen.age_s <= 10.0
        assert valid_s <= 12.0 - out.seen.age_s + 1e-9
        assert not out.state.guard.trips
        assert bench.level
        assert bench.link
        assert bench.durable
        assert bench.now - self.trip_at >= 60.0
        assert bench.now - 0.25 >= 10.0
        reading = bench.reading_c if bench.reading_c is not None else bench.mash_c + bench.offset_k
        assert not bench.probe or reading < 80.0

    def nothing_is_skipped(self, before: Outcome, out: Outcome) -> None:
        a, b = before.state.run, out.state.run
        if a.begun.id == b.begun.id and a.course is not None and b.course is not None:
            assert a.leg <= b.leg <= a.leg + 1
            if a.leg == b.leg:
                had, has = a.progress, b.progress
                assert has.credited_s >= had.credited_s
                assert has.credited_s - had.credited_s <= (62.0 if had.credited_s == 0.0 or not had.counting else 1.01)

    @initialize(strike=st.booleans())
    def begin(self, strike: bool) -> None:
        self.go(12)
        self.bench.start(PLAN if strike else PLAN._replace(legs=PLAN.legs[1:]))
        self.go(2)

    @rule(ticks=st.integers(1, 40))
    def wait(self, ticks: int) -> None:
        self.go(ticks)

    @rule()
    def wait_long(self) -> None:
        self.go(150)

    @rule(what=st.sampled_from(["probe", "heater", "link", "level", "durable"]), on=st.booleans())
    def switch(self, what: str, on: bool) -> None:
        setattr(self.bench, what, on)
        self.go(1)

    @rule(value=st.one_of(st.none(), st.sampled_from(ODD), st.floats(-10, 110)))
    def reading(self, value: float | None) -> None:
        self.bench.reading_c = value
        self.go(1)

    @rule(offset=st.sampled_from([0.0, 0.0, 2.5, 8.0, -8.0]))
    def offset(self, offset: float) -> None:
        self.bench.offset_k = offset
        self.go(2)

    @rule(share=st.sampled_from([0.0, 0.5, 1.0, 1.0]), stuck=st.sampled_from([0.0, 0.0, 5000.0]))
    def plant(self, share: float, stuck: float) -> None:
        self.bench.works, self.bench.stuck_w = share, stuck
        self.go(1)

    @rule(mash=st.floats(10.0, 95.0))
    def poured(self, mash: float) -> None:
        self.bench.mash_c = mash
        self.go(1)

    @rule(lie=st.sampled_from([None, None, 0.0, 1.0]))
    def heater_lies(self, lie: float | None) -> None:
        self.bench.lie = lie
        self.go(3)

    @rule(
        extra=st.sampled_from(
            [
                {"late_s": 3.0},
                {"gap_s": 100.0},
                {"there": Presences(heater=Presence(False, math.inf))},
                {"link": Link(True, 0.0, delay_s=4.0)},
                {"link": Link(True, 0.0, delay_s=20.0)},
                {"link": Link(True, 0.0, foreign=Foreign(0.0, None, 0.0))},
                {"orders": ()},
            ]
        )
    )
    def oddity(self, extra: dict[str, Any]) -> None:
        self.bench.extra = extra
        self.go(1)
        self.bench.extra = {}

    @rule(
        name=st.sampled_from(sorted(orders.ALLOWED)), trip=st.sampled_from(["G02", "G04", "G06", "G07", "G10", "G24"])
    )
    def any_order(self, name: str, trip: str) -> None:
        args = {"by_s": 60.0, "inspected": True, "prove": True}
        known = orders.ARGS.get(name, ())
        self.bench.order(name, trip=trip, **{key: value for key, value in args.items() if key in known})
        self.go(1)

    @precondition(lambda self: self.bench.state.run.prompt is not None)
    @rule(which=st.integers(0, 3))
    def answer(self, which: int) -> None:
        prompt = self.bench.state.run.prompt
        assert prompt is not None
        run = self.bench.state.run.begun.id or None
        self.bench.order("answer", run=run, answer=prompt.answers[which % len(prompt.answers)])
        self.go(1)

    @rule()
    def mend_and_go_on(self) -> None:
        """All faults end, every latched trip is cleared, the run restarted or begun anew."""
        bench = self.bench
        bench.probe = bench.heater = bench.link = bench.level = bench.durable = True
        bench.reading_c, bench.offset_k, bench.works, bench.stuck_w, bench.lie = None, 0.0, 1.0, 0.0, None
        bench.mash_c = min(bench.mash_c, 60.0)
        self.go(70)
        for trip in bench.state.guard.trips:
            bench.order("clear", trip=trip.id, inspected=True, reason="mended")
        for name in ("restart", "resume", "reset"):
            bench.order(name)
        self.go(2)
        if bench.state.run.state is RunState.IDLE:
            bench.start(PLAN._replace(legs=PLAN.legs[1:]))
        self.go(20)


def run(examples: int, steps: int, *phases: Phase, same: bool = True) -> None:
    """Do the invariants hold? `same`: the same sequences every time, so that a run of all tests says the same twice."""
    chosen = settings(max_examples=examples, stateful_step_count=steps, derandomize=same, phases=phases or tuple(Phase))
    run_state_machine_as_test(Anything, settings=chosen)
