"""How soon is a person told of a relay that is welded closed, where the probe shows it in steps of 0.5 K?

    python -m tests.regimes.welded [--tun gannet] [--seeds 1..3] [--step 0.5]

A welded relay that gives just so much power that the mash gains so many kelvins a minute (at most half of the plate's),
in a rest, in the same rest while held, and with nothing running. A line says after how many seconds the first trip, or
the first note that somebody must act on, was told, seed by seed; `-` where none was within half an hour. Wanted: 480 s
and a bath's time where it nets 0.2 K/min.
"""

from __future__ import annotations

import sys
from random import Random

from controller.core.nouns import RunState
from controller.edge.files import config_files
from controller.plan import plan
from sim.dryrun import DryRun
from sim.people.manner import PATIENT
from sim.world.faults import FOREVER_S, Fault, Faults
from sim.world.true_values import of_tun
from tests.places import CONFIG
from tests.regimes.command import options
from tests.stories.tale import REST, program

TOLD_S, WATCH_S = 480.0, 1800.0
NETS_K_PER_MIN = (0.2, 0.3, 0.5)
PLACES = {"in a rest": REST + 60.0, "held": REST + 60.0, "nothing running": 300.0}


def told_s(tun: str, where: str, net_k_per_min: float, seed: int, step_k: float) -> float | None:
    """After how many seconds is it told? None when it is not within half an hour."""
    settings = config_files.settings(CONFIG, tun)
    made = plan.make(program(40.0 if tun == "gannet" else 18.0), settings.tun)
    truth = of_tun(settings.tun, Random(seed), made.program.liquor.temperature_c)
    senses = tuple((role, sense._replace(resolution_k=step_k)) for role, sense in truth.senses)
    manner = PATIENT if where != "nothing running" else PATIENT._replace(start_at_s=1e9)
    faults = [Fault("stop_button", PLACES[where] - 20.0, 0.5, 2.0)] if where == "held" else []
    machine = DryRun(settings, made, seed, faults, manner=manner, truth=truth._replace(senses=senses))
    while machine._now < PLACES[where]:
        machine.second()
    assert (machine.state.run.state is RunState.HELD) == (where == "held"), machine.state.run.state
    mash, spec, began = machine.world.tun, truth.spec, machine._now
    loss_w = spec.loss_w_per_k * (mash.mash_mean_c - truth.room_c)
    share = min(0.5, (net_k_per_min / 60.0 * mash.capacity_j_per_k + loss_w) / spec.power_w)
    machine.world.faults = Faults([Fault("heater_welded", began + 0.5, FOREVER_S, share)])
    while machine._now < began + WATCH_S:
        events = machine.second().events
        if any(event.kind in ("trip", "note") and (event.priority or 3) <= 2 for event in events):
            return machine._now - began
    return None


def main() -> int:
    """0 when each was told in time."""
    args = options(__doc__, tun="gannet", seeds="1..3", step=0.5)
    first, _, last = args.seeds.partition("..")
    late = 0
    for where in PLACES:
        for net in NETS_K_PER_MIN:
            seeds = range(int(first), int(last or first) + 1)
            found = [told_s(args.tun, where, net, seed, args.step) for seed in seeds]
            late += sum(at is None or at > TOLD_S for at in found)
            shown = " ".join("-" if at is None else f"{at:.0f}" for at in found)
            print(f"{args.tun} {where:<16} {net:.1f} K/min, steps of {args.step:g} K: told after s {shown}", flush=True)
    print(f"{late} later than {TOLD_S:g} s")
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
