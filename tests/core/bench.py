"""A tun, a course and a very simple plant for tests of the core; sim/ has the real ones."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from controller.core import carry_out
from controller.core.inputs import Clocks, Inputs
from controller.core.nouns import ComesIn, Course, Disk, HeaterReport, Iodine, Leg, Link, Order, Reading, Reply, Switch
from controller.core.procedure.orders.permissives import Facts
from controller.core.procedure.run import Progress, Prompt, Run, leg_of
from controller.core.state import Outcome, State, start
from controller.core.tick import tick
from controller.settings.service import Service, Settings
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput, Tun

WALL = 1_700_000_000.0
RISE = 1.0 / 60.0  # K/s
MASH_J_PER_K = 297_420.0  # 20 kg grist at 1676 J/(kg K), 60 kg liquor at 4190, vessel 12500 (worked example R)
LIQUOR_J_PER_K = 263_900.0


def tun(**changes: Any) -> Tun:
    """A stirred tun with a level switch and a proportional heater."""
    values: dict[str, Any] = {
        "name": "testtun",
        "simulated": True,
        "volume_l": 100.0,
        "min_liquor_l": 20.0,
        "metal_j_per_k": 12_500.0,
        "loss_w_per_k": 4.0,
        "mixing": "stirrer",
        "heater": Heater(kind="proportional", power_w=5000.0, place="jacket"),
        "probes": Probes(mash=Probe(topic="p/mash")),
        "level": SwitchInput(topic="p/level"),
        "stirrer": Output(topic="p/stirrer"),
    }
    return Tun(**{**values, **changes})


def settings(**changes: Any) -> Settings:
    return Settings(tun(**changes), Service(), "digest")


def leg(name: str, target_c: float, hold_s: float, **changes: Any) -> Leg:
    return with_step(Leg(name, "rest", target_c, hold_s, RISE, 1.0, "time", MASH_J_PER_K, 600.0), **changes)


def with_step(step: Leg, **changes: Any) -> Leg:
    """The step with these changes, those of what comes in and of its iodine tests among them."""
    comes, iodine = (
        {name: changes.pop(name) for name in kind._fields if name in changes} for kind in (ComesIn, Iodine)
    )
    return step._replace(comes=step.comes._replace(**comes), iodine=step.iodine._replace(**iodine), **changes)


def course(*legs: Leg, grist_kg: float = 20.0) -> Course:
    strike = leg("dough-in", 54.0, 0.0, kind="dough_in", capacity_j_per_k=LIQUOR_J_PER_K)
    legs = (strike, *legs) if grist_kg else legs
    planned = sum(part.ramp_s + part.hold_s for part in legs)
    return Course("test", "Test mash", "testtun", legs, 60.0, grist_kg, LIQUOR_J_PER_K, 4.0, planned, "digest")


def changed(run: Run, **changes: Any) -> Run:
    """The run with these changes, those to its progress among them."""
    within = {key: changes.pop(key) for key in tuple(changes) if key in Progress._fields}
    return run._replace(progress=run.progress._replace(**within), **changes)


def given(inputs: Inputs, **changes: Any) -> Inputs:
    """These inputs with changes, those of the clocks among them."""
    within = {name: changes.pop(name) for name in Clocks._fields if name in changes}
    return inputs._replace(clocks=inputs.clocks._replace(**within), **changes)


@dataclass
class Bench:
    """The whole core against one lump of heat, a second at a time. Knobs are attributes; messages can be dropped."""

    settings: Settings
    mash_c: float = 20.0
    now: float = 0.25
    seq: int = 0
    number: int = 0
    probe: bool = True  # the probe speaks
    heater: bool = True  # the heater node speaks
    works: float = 1.0  # share of the power that really heats
    stuck_w: float = 0.0  # heat that nobody asked for
    offset_k: float = 0.0  # what the probe adds
    reading_c: float | None = None  # frozen reading
    level: bool = True
    link: bool = True
    durable: bool = True
    lie: float | None = None  # duty the heater reports
    orders: list[Order] = field(default_factory=list)
    log: list[Outcome] = field(default_factory=list)
    events: list[Any] = field(default_factory=list)
    replies: list[Reply] = field(default_factory=list)
    extra: dict[str, Any] = field(default_factory=dict)
    state: State = field(init=False)
    last: Outcome | None = None
    inputs: Inputs = field(default_factory=Inputs)
    dead: list[float] = field(default_factory=lambda: [0.0] * 20)  # s of heat on its way

    def __post_init__(self) -> None:
        self.state = start(self.settings, self.now, "boot")

    @property
    def run_leg(self) -> Leg:
        """The step that the run is in."""
        found = leg_of(self.state.run)
        assert found is not None
        return found

    @property
    def asked(self) -> Prompt:
        """The open question."""
        assert self.state.run.prompt is not None
        return self.state.run.prompt

    @property
    def outcome(self) -> Outcome:
        assert self.last is not None
        return self.last

    @property
    def facts(self) -> Facts:
        """What a start rests on, as of the last tick."""
        seen, view = self.outcome.seen, self.outcome.view
        return carry_out.facts(self.settings, self.state, self.now, self.inputs, seen, view)

    @property
    def duty(self) -> float:
        return self.outcome.command.duty if self.outcome.command is not None else 0.0

    def order(self, name: str, **args: Any) -> None:
        """An order with a good envelope for the next tick."""
        self.number += 1
        extra = {k: args.pop(k) for k in ("trip", "course", "run") if k in args}
        self.orders.append(
            Order(name, self.now, f"o-{self.number}", args, "brewer", WALL, 10.0, self.state.orders.nonce, **extra)
        )

    def start(self, plan: Course) -> None:
        self.order("start", course=plan, here=True, attended=True, hand_c=round(self.mash_c, 1))

    def clear(self, trip: str, **args: Any) -> Reply:
        """What is said to a clear of this trip, a second later?"""
        return self.obey("clear", trip=trip, **args)

    def step(self) -> Outcome:
        """One second."""
        self.now += 1.0
        self._heat()
        self.seq += 1
        value = self.reading_c if self.reading_c is not None else self.mash_c + self.offset_k
        samples = (Reading(value, self.now - 0.2, self.seq),) if self.probe and self.link else ()
        report = None
        if self.heater and self.last is not None and self.last.command is not None and self.link:
            duty = self.last.command.duty if self.lie is None else self.lie
            report = HeaterReport(
                self.now - 0.1, "b1", self.state.guard.epoch, self.last.command.seq, duty, 9.0, n=int(self.now)
            )
        inputs = Inputs(
            mash=samples,
            heater=report,
            level=Switch(self.level, self.now - 0.1),
            flow=Switch(True, self.now - 0.1),
            orders=tuple(self.orders),
            link=Link(self.link, 0.0 if self.link else self.now),
            disk=Disk(self.durable, 10 if self.durable else 0, 10),
            clocks=Clocks(WALL, wall_confirmed=True),
        )
        self.orders = []
        self.inputs = given(inputs, **self.extra)
        self.last = tick(self.settings, self.state, self.now, self.inputs)
        self.state = self.last.state
        self.log.append(self.last)
        self.events.extend(self.last.events)
        self.replies.extend(self.last.replies)
        return self.last

    def _heat(self) -> None:
        tun, run = self.settings.tun, self.state.run
        capacity = MASH_J_PER_K if run.grain_in else LIQUOR_J_PER_K
        duty = self.duty if self.last is not None else 0.0
        self.dead = [*self.dead[1:], duty * tun.heater.power_w * self.works]
        power = self.dead[0] + self.stuck_w - tun.loss_w_per_k * (self.mash_c - tun.room_c)
        self.mash_c += power / capacity

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.step()

    def until(self, what: str, most_s: int = 20_000) -> None:
        """Go on until state or phase is so, answering every question."""
        for _ in range(most_s):
            run = self.state.run
            if what in (run.state, run.phase, run.prompt.id if run.prompt else ""):
                return
            self.step()
        raise AssertionError(f"never {what}: {self.state.run}")

    def obey(self, name: str, **args: Any) -> Reply:
        """An order, a second later its reply."""
        self.order(name, **args)
        self.step()
        return self.replies[-1]

    def answer(self, **args: Any) -> Reply:
        return self.obey("answer", run=self.state.run.begun.id or None, **args)
