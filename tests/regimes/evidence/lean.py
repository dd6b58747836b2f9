"""A dry run with everything left out that only proves what a dry run is: digest, record, statuses nobody reads.

The core, its readers, the simulated tun, its heater node and the brewer are those of the dry run; messages are bytes.
What is put into the tun differs from what was written down by up to 15 % either way.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable
from random import Random
from typing import NamedTuple, Self

from controller.core.nouns import Phase, RunState
from controller.core.state import Outcome
from controller.plan.plan import Plan
from controller.plan.plan import make as make_plan
from controller.plan.recipe import DoughIn, Grist, Liquor, Program, Step
from controller.settings.service import Service, Settings
from controller.settings.tun import Learned, Probe
from sim.dryrun import DryRun
from sim.fresh_readings import FreshReadings
from sim.message_digest import MessageDigest
from sim.people.manner import Manner
from sim.plant.random_tun import Drawn, draw
from sim.plant.tun import Tun as Plant
from sim.random_setup import STEPS, tun_file
from sim.world.faults import Fault, Faults
from sim.world.true_values import TrueValues, of_drawn

WRONG = 1.15  # masses are written down wrong by up to this factor, as the plates' power is (sim.plant.random_tun)
LENGTHS = (1.0, 1.0, 1.5, 3.0)  # short rests make more tuns an hour, and tuns trip in rises


class Case(NamedTuple):
    """One random tun with its file, its program and the truth about all of it."""

    seed: int
    settings: Settings
    plan: Plan
    truth: TrueValues
    drawn: Drawn
    liquor_share: float  # of what is written down
    grist_share: float


class Deaf(FreshReadings):
    """Counts nothing: that heat has evidence is shown by the swarm's judge."""

    def reading(self, payload: bytes, at: float, retained: bool = False) -> bool:
        return False

    def command(self, payload: bytes, at: float) -> bool:
        return False


class Nothing(MessageDigest):
    """In place of a digest, which cannot be copied."""

    def __init__(self) -> None:
        self.messages = 0


class Lean(DryRun):
    """As the dry run, about twice as fast. Every tick, every message to the core and every fault is the same."""

    def __init__(self, case: Case, faults: Iterable[Fault] = (), manner: Manner | None = None) -> None:
        manner = manner or Manner(delay_s=20.0, pour_s=180.0, boil_s=300.0)
        super().__init__(case.settings, case.plan, case.seed, faults, manner=manner, truth=case.truth)
        self.evidence = Deaf("", "", "", "C")
        self.passed = Nothing()
        self._log = self._arrived
        self.heard: dict[str, list[float]] | None = None  # arrivals by topic, where somebody wants them
        course, truth = case.plan.course, case.truth
        self.world.tun = Plant(truth.spec, course.liquor_kg * case.liquor_share, truth.liquor_c, truth.room_c)
        self.world.tun.stir(False)
        self.world.tun.pump(0.0)
        self.world.course = course._replace(grist_kg=course.grist_kg * case.grist_share)

    @property
    def now(self) -> float:
        return self._now

    def twin(self) -> Self:
        """The same moment once more, to go another way from here. What never changes is shared."""
        fixed = (self.settings, self.plan, self.plan.course, self.state, self.world.truth, self.world.settings)
        return copy.deepcopy(self, {id(thing): thing for thing in fixed})

    def inject(self, *faults: Fault) -> None:
        """These faults from now on, instead of those that were."""
        self.world.faults = Faults(faults)
        self._machine = Faults(fault for fault in faults if fault.kind in ("loop_stall", "suspend"))

    def _arrived(self, at: float, topic: str, payload: bytes, retained: bool, ours: bool) -> None:
        """No digest; when it came, where somebody wants to know."""
        if self.heard is not None and not ours:
            self.heard.setdefault(topic, []).append(at)

    def _row(self, outcome: Outcome, now: float) -> None:
        """No trace."""

    def _tell(self, outcome: Outcome, now: float, wall_s: float) -> None:
        """A status only where the brewer would do anything on reading it."""
        run, quiet = outcome.state.run, not (outcome.events or outcome.replies or outcome.state.guard.trips)
        if quiet and run.state is RunState.RUNNING and run.prompt is None and self.person._asked is None:
            return
        super()._tell(outcome, now, wall_s)


class Wish(NamedTuple):
    """What a fault needs of the tun and its program."""

    start_c: float = 58.0
    hold_c: float = 62.0
    top_c: float | None = 78.0
    second: bool = False
    calibrated: bool = False
    liquor_share: float | None = None


def case(
    seed: int, *, calibrated: bool = False, wish: Wish | None = None, bath: tuple[float, float] | None = None
) -> Case:
    """The random tun of this seed, and a mash in it; with a `wish` liquor alone, a rise, a rest and a second rise; with
    `bath` a coil in so much liquor, as a share of the mash."""
    rng = Random(f"evidence {seed}")
    for _ in range(50):
        drawn = draw(rng) if bath is None else draw(rng, "coil", bath)
        tun = tun_file(drawn, rng)
        if wish is not None:
            probe = Probe(topic="underback/drawn/probe/second", pointer="/c", lag_s=15.0) if wish.second else None
            tun = tun.model_copy(update={"probes": tun.probes.model_copy(update={"second": probe})})
        program = _program(rng, drawn) if wish is None else _short(wish, drawn)
        plan = make_plan(program, tun)
        if plan.problems:
            continue
        truth = of_drawn(drawn, tun, rng)._replace(liquor_c=program.liquor.temperature_c)
        shares = [rng.uniform(1.0 / WRONG, WRONG), rng.uniform(1.0 / WRONG, WRONG)]
        if wish is not None and wish.liquor_share is not None:
            shares[0] = wish.liquor_share
        measured = calibrated or (wish is not None and wish.calibrated)
        learned = _learned(rng, drawn) if measured else None
        return Case(seed, Settings(tun, Service(), f"drawn-{drawn.kind}", learned), plan, truth, drawn, *shares)
    raise RuntimeError(f"no random program fitted tun {seed}")


def _learned(rng: Random, drawn: Drawn) -> Learned:
    power = drawn.spec.power_w * rng.uniform(0.9, 1.1)
    return Learned(power_w=power, lag_s=60.0, dead_s=20.0, on="2026-11-01")


def _program(rng: Random, drawn: Drawn) -> Program:
    """Dough-in, rests, and in four of ten an announced addition: a decoction or hot liquor."""
    chosen, length = rng.choice(STEPS), rng.choice(LENGTHS)
    extra = rng.random()
    steps: list[Step] = []
    for at, (c, minutes) in enumerate(chosen):
        if at == 1 and c < 75.0 and extra < 0.2:
            steps.append(Step(name="decoction", kind="decoction", temperature_c=c))
        if at == 1 and c < 75.0 and 0.2 <= extra < 0.4:
            steps.append(Step(name="infusion", kind="infusion", temperature_c=c - 4.0))
        kind = "mash_out" if c > 75.0 else "rest"
        steps.append(Step(name=f"rest {at + 1}", kind=kind, temperature_c=c, time_s=60.0 * minutes * length))
    steps.append(Step(name="keep", kind="keep", time_s=600.0))
    return Program(
        name="drawn",
        title="drawn program",
        grist=(Grist(name="malt", mass_kg=drawn.grist_kg, moisture=drawn.grist_moisture),),
        liquor=Liquor(mass_kg=drawn.liquor_kg, temperature_c=rng.uniform(12.0, 45.0)),
        dough_in=DoughIn(grist_temperature_c=round(drawn.grist_c), slaking_kj_per_kg=rng.choice((None, 15.0))),
        step=tuple(steps),
    )


def _short(wish: Wish, drawn: Drawn) -> Program:
    """Liquor as heavy as the mash would be, a rise to a rest, and a second rise."""
    steps = [Step(name="rest 1", temperature_c=wish.hold_c, time_s=3600.0)]
    if wish.top_c is not None:
        steps.append(Step(name="rest 2", temperature_c=wish.top_c, time_s=3600.0))
    return Program(
        name="drawn",
        title="drawn program",
        liquor=Liquor(mass_kg=drawn.liquor_kg + 0.4 * drawn.grist_kg, temperature_c=wish.start_c),
        step=(*steps, Step(name="keep", kind="keep", time_s=600.0)),
    )


def full_heat(machine: Lean) -> bool:
    """Has the heater been at work in a rise for half a minute?"""
    run, past = machine.state.run, machine.state.guard.past
    since = past.heat_since
    busy = run.phase in (Phase.RAMPING, Phase.HEATING) and machine.state.guard.line.duty > 0.3
    return busy and since is not None and machine.now - since > 30.0
