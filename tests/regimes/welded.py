"""How soon is a person told of a relay that is welded closed, where the probe shows it in steps of 0.5 K?

    python -m tests.regimes.welded [--seeds 1..3] [--step 0.5] [--jobs 2] [--where held] [--tun gannet] [--wide]

A welded relay that gives just so much power that the mash gains so many kelvins a minute, in a rest, in the same rest
while held, and with nothing running; in a shipped tun, or with `--wide` in a tun of every seed (wide.py). A line says
after how many seconds the first trip, or the first note that somebody must act on, was told, seed by seed; `-` where
none was within half an hour, `n/a` where it takes more than half of the plate's power. Wanted: 480 s and a bath's time;
where it was later the tun is named, but for those whose heat a stopped pump leaves in the bath. Ends with 1 where one
was late in a hold or with nothing running.
"""

from __future__ import annotations

import sys
from itertools import product
from random import Random
from typing import NamedTuple

from controller.core.guard import plate
from controller.core.nouns import Phase, RunState
from controller.edge.files import config_files
from controller.plan import plan
from controller.plan.plan import Plan
from controller.plan.recipe import Step
from controller.settings.service import Settings
from sim.dryrun import DryRun
from sim.people.manner import PATIENT
from sim.world.faults import FOREVER_S, Fault, Faults
from sim.world.true_values import TrueValues, of_tun
from tests.places import CONFIG
from tests.regimes import wide
from tests.stories.tale import program

TOLD_S, WATCH_S, SETTLED_S, IDLE_S, PRESSED_S = 480.0, 1800.0, 300.0, 300.0, 20.0
CAME_SHARE = 0.5  # of the heat must be in the mash: else it warms where no probe hangs
MOST_SHARE = 0.5  # of the plate's power: a relay of a three-phase element, or one of two
GIVES_UP_S = 6 * 3600.0
NETS_K_PER_MIN = (0.2, 0.3, 0.5)
PLACES = ("in a rest", "held", "nothing running")
STEPS = (Step(name="rest", temperature_c=63.0, time_s=4 * 3600.0), Step(name="keep", kind="keep", time_s=600.0))


class Weld(NamedTuple):
    """One relay that welds."""

    tun: str  # empty: a wide one
    seed: int
    step_k: float
    where: str
    net_k_per_min: float


class Told(NamedTuple):
    """When it was told, and of what tun."""

    after_s: float | None
    bath_s: float
    share: float  # of the plate's power: over a half it is not played
    what: str
    tun: str
    came: bool = True  # to the mash: where nothing moves only the bath warms

    @property
    def late(self) -> bool:
        """Was it told too late?"""
        return self.share <= MOST_SHARE and self.came and (self.after_s or WATCH_S) > TOLD_S + self.bath_s

    def __str__(self) -> str:
        if self.share > MOST_SHARE:
            return "n/a"
        return "-" if self.after_s is None else f"{self.after_s:.0f}"


def site(weld: Weld) -> tuple[Settings, Plan, TrueValues]:
    """Which tun, in which rest?"""
    if not weld.tun:
        found = wide.brewery("welded", weld.seed)
        warm = found.plan.program.liquor.model_copy(update={"temperature_c": 58.0})
        made = plan.make(found.plan.program.model_copy(update={"step": STEPS, "liquor": warm}), found.settings.tun)
        return found.settings, made, found.truth._replace(liquor_c=58.0)
    settings = config_files.settings(CONFIG, weld.tun)
    tale = program(40.0 if weld.tun == "gannet" else 18.0)
    made = plan.make(tale.model_copy(update={"step": STEPS}), settings.tun)
    return settings, made, of_tun(settings.tun, Random(weld.seed), made.program.liquor.temperature_c)


def told(weld: Weld) -> Told:
    """After how many seconds is it told?"""
    settings, made, truth = site(weld)
    assert not made.problems, made.problems
    senses = tuple((role, sense._replace(resolution_k=weld.step_k)) for role, sense in truth.senses)
    manner = PATIENT if weld.where != "nothing running" else PATIENT._replace(start_at_s=1e9)
    machine = DryRun(settings, made, weld.seed, manner=manner, truth=truth._replace(senses=senses))
    _until_there(machine, weld.where)
    began, was_c = machine._now, machine.world.tun.mash_mean_c
    share = _welded(machine, truth, weld.net_k_per_min)
    figures = plate.of(settings.tun)
    tun, bath_s = settings.tun.title, figures.dead_s - settings.tun.guard.dead_time_s
    while share <= MOST_SHARE and machine._now < began + WATCH_S:
        for event in machine.second().events:
            if event.kind in ("trip", "note") and (event.priority or 3) <= 2:
                after_s, rose_k = machine._now - began, machine.world.tun.mash_mean_c - was_c
                came = rose_k >= CAME_SHARE * weld.net_k_per_min * after_s / 60.0
                return Told(after_s, bath_s, share, f"{event.kind} {event.id}", tun, came)
    return Told(None, bath_s, share, "-", tun)


def _until_there(machine: DryRun, where: str) -> None:
    """On to the moment at which it welds."""
    rested_s = 0.0
    while machine._now < IDLE_S if where == "nothing running" else rested_s < SETTLED_S:
        machine.second()
        rested_s += machine.state.run.phase is Phase.RESTING
        assert machine._now < GIVES_UP_S, f"no rest: {machine.state.run.state}, {machine.person.refusals}"
    if where == "held":
        machine.world.faults = Faults([Fault("stop_button", machine._now + 0.5, 0.5, 2.0)])
        for _ in range(round(PRESSED_S)):
            machine.second()
        assert machine.state.run.state is RunState.HELD, machine.state.run.state


def _welded(machine: DryRun, truth: TrueValues, net_k_per_min: float) -> float:
    """The relay welds: which share of the plate's power does it give?"""
    mash, spec = machine.world.tun, truth.spec
    loss_w = spec.loss_w_per_k * (mash.mash_mean_c - truth.room_c)
    share = (net_k_per_min / 60.0 * mash.capacity_j_per_k + loss_w) / spec.power_w
    machine.world.faults = Faults([Fault("heater_welded", machine._now + 0.5, FOREVER_S, share)])
    return share


def main() -> int:
    """0 when each that was held or had nothing running was told in time."""
    args, seeds = wide.regime(__doc__, None, seeds="1..3", tun="gannet", step=0.5, wide=False, where=list(PLACES))
    late = 0
    for where, net in product(args.where, NETS_K_PER_MIN):
        welds = [Weld("" if args.wide else args.tun, seed, args.step, where, net) for seed in seeds]
        found = list(wide.shared(args.jobs, told, welds))
        shown = " ".join(str(one) for one in found)
        print(f"{where:<16} {net:.1f} K/min, steps of {args.step:g} K: told after s {shown}", flush=True)
        for weld, one in zip(welds, found, strict=True):
            if one.late:
                late += where != "in a rest"
                about = f"{one.tun}, bath {one.bath_s:.0f} s, {one.share:.2f} of its power, {one.what}"
                print(f"    late: seed {weld.seed}, {about}")
    print(f"{late} later than {TOLD_S:g} s and a bath's time, held or with nothing running")
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
