"""What if a slow fault and an interruption come together? Judged by the true mash.

    python -m tests.regimes.two_faults [--seeds 1..24] [--only frozen] [--with kill] [--jobs 2] [--out FILE]

Each slow fault of the catalogue together with each interruption at random times, on wide tuns of every heat path with
one probe and with two (wide.py). The mash is lived to a random moment; from there once with the slow fault alone and
once with each interruption as well, for an hour. A line says for each half of the seeds: by which trip or note a person
was told and after how many seconds (p50, p95), how far the true mash was over the hard limit within 30 min (p95 and
worst; stirred, then pumped and coils), seconds of full heat after the fault (p50, p95, most), and how many runs gave
more than 1.5 times the heat of the same fault alone and a minute. Runs beyond the bounds below are named with the line
that plays them again, and make the command end with 1.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import groupby
from pathlib import Path
from random import Random
from typing import NamedTuple

from controller.core.nouns import Event, Phase, RunState
from sim.people.manner import Manner
from sim.random_setup import RandomSetup
from sim.world.faults import FOREVER_S, Fault
from tests.regimes import wide
from tests.regimes.interruptions import INTERRUPTIONS, WATCH_S, Interrupt
from tests.regimes.mortal import Mortal

PEOPLE = Manner(starts=200, delay_s=20.0, pour_s=180.0, boil_s=300.0)
JUDGED_S = 1800.0
WORST_K = {"stirred": 4.5, "pumped": 8.0}  # over the hard limit within 30 min, by the ruling
USUAL_K = 2.5  # 95 % of the frozen and fallen probes, by the ruling
PROBES = frozenset({"frozen probe", "fallen probe"})
MORE, MORE_S = 1.5, 60.0  # heat with gaps: at most so many times that of a steady link, and s of full heat
DRAINED_S = {"rest": 90.0, "rise": 150.0}  # of full heat in a drained tun whose probe shows it
WELDED_S = 480.0  # until a welded relay is told (without a bath) ...
LESS, LESS_S = 0.5, 60.0  # ... from when it may show: with full heat asked for, over so long, none sees it
LINKS = frozenset({"G02", "G14", "G16", "G17"})  # what an interruption alone may be told as
ASKED = frozenset({"ready for grain", "strike", "liquor", "hot liquor", "iodine", "saccharification", "ph", "keep"})
# what the program itself tells on a good day
HEATED = (Phase.HEATING, Phase.RAMPING, Phase.RESTING, Phase.WAITING)


# ---------------------------------------------------------------- slow faults


class Slow(NamedTuple):
    """A fault that shows itself slowly, and the tuns that can have it."""

    faults: Callable[[Random, float], list[Fault]]
    fits: Callable[[RandomSetup], bool] = lambda setup: True
    two: bool = False  # it takes a second probe
    drains: bool = False


def _for_good(kind: str, low: float = 0.0, high: float = 0.0) -> Callable[[Random, float], list[Fault]]:
    return lambda rng, at: [Fault(kind, at, FOREVER_S, round(rng.uniform(low, high), 3))]


SLOW: dict[str, Slow] = {
    "frozen probe": Slow(_for_good("probe_frozen")),
    "fallen probe": Slow(_for_good("probe_fallen", 20.0, 120.0)),
    "drained tun": Slow(_for_good("probe_fallen", 60.0, 900.0), lambda s: s.settings.tun.pump is None, drains=True),
    "welded relay": Slow(_for_good("heater_welded", 1.0, 1.0)),
    "open element": Slow(_for_good("heater_open")),
    "half flow": Slow(_for_good("pump_slow", 0.5, 0.5), lambda setup: setup.settings.tun.pump is not None),
    "drift, second probe": Slow(_for_good("probe_drift", -0.1, -0.1), lambda s: s.drawn.kind != "behind", two=True),
}


# ---------------------------------------------------------------- one run


class Run(NamedTuple):
    """What came of one."""

    slow: str
    interruption: str
    seed: int
    path: str  # stirred, or pumped (coils too)
    probes: int
    phase: str  # rest or rise, when it began
    told: str  # by which trip or note a person was told; empty: by none
    told_s: float | None  # after the fault began, a welded relay after less than half of full heat was asked for
    over_k: float  # over the hard limit, within 30 min
    heat_s: float  # of full heat after the fault, within 30 min
    alone_s: float  # the same without the interruption
    bath: bool


Job = tuple[str, str, int]  # slow fault, interruption ("" = each), seed


def group(job: Job) -> list[Run]:
    """One tun, one slow fault, each interruption from the same moment."""
    slow_name, wanted, seed = job
    slow = SLOW[slow_name]
    setup = _fitting(slow_name, slow, seed)
    rng = Random(f"{slow_name} {seed}")
    machine = _lived(setup, seed, rng)
    if machine is None:
        return []
    runs: list[Run] = []
    for name, interrupt in INTERRUPTIONS.items():
        if name != "alone" and wanted and not name.startswith(wanted):
            continue
        alone_s = runs[0].heat_s if runs else None
        runs.append(_watched(machine.twin(), setup, (slow_name, name, seed), interrupt, alone_s))
    return runs


def _fitting(name: str, slow: Slow, seed: int) -> RandomSetup:
    for again in range(200):
        two = (slow.two or seed // 20 % 2 == 1) and wide.kind(seed) != "behind"  # there no two probes read alike
        setup = wide.brewery(f"two faults {name}" + "'" * again, seed, second=two)
        if slow.drains:  # a switch would show it at once
            tun = setup.settings.tun.model_copy(update={"level": None})
            setup = setup._replace(settings=setup.settings._replace(tun=tun))
        if slow.fits(setup) and setup.plan.duration_s > 3000.0:
            return setup
        seed += 2 if not slow.fits(setup) else 0  # another heat path, the same half
    raise RuntimeError(f"no tun fits {name}")


def _lived(setup: RandomSetup, seed: int, rng: Random) -> Mortal | None:
    """The mash, healthy until a random moment at which heat may flow; None where there is no such moment left."""
    machine = Mortal(setup, seed, PEOPLE)
    at = rng.choice((rng.uniform(0.1, 0.7), rng.uniform(0.7, 0.95))) * setup.plan.duration_s  # the end is hot: often
    while machine.now < 3.0 * setup.plan.duration_s:
        machine.second()
        run, idle = machine.state.run, machine.person._deed is None
        if machine.now >= at and idle and run.state is RunState.RUNNING and run.phase in HEATED:
            return machine
        if machine.state.guard.trips:
            return None
    return None


def _watched(
    machine: Mortal,
    setup: RandomSetup,
    names: tuple[str, str, int],
    interrupt: Interrupt,
    alone_s: float | None,
) -> Run:
    """An hour from here with the fault and the interruption."""
    slow, rng = SLOW[names[0]], Random(" ".join(map(str, names)))
    tun, began, spec = setup.settings.tun, machine.now, setup.truth.spec
    phase = "rise" if machine.state.run.phase in (Phase.HEATING, Phase.RAMPING) else "rest"
    faults, plan = slow.faults(Random(f"{names[0]} {names[2]} value"), began + 0.5), interrupt(rng, began)
    machine.inject(*faults, *plan.faults)
    if slow.drains:
        machine.world.tun.pull(1e9)
    deeds = sorted(plan.deeds, key=lambda deed: deed[0])
    first, told_from = len(machine.true_c), len(machine.told)
    shows, asked = None if names[0] == "welded relay" else began, 1.0
    while machine.now < began + WATCH_S and machine.state.run.state not in (RunState.COMPLETE, RunState.STOPPED):
        while deeds and machine.now >= deeds[0][0]:
            deeds.pop(0)[1](machine)
        machine.second()
        asked += (machine.state.guard.line.duty - asked) / LESS_S
        if shows is None and asked < LESS:
            shows = machine.now
    until = first + int(JUDGED_S)
    heat_s = (machine.heat_j[min(until, len(machine.heat_j)) - 1] - machine.heat_j[first - 1]) / spec.power_w
    shows = machine.now if shows is None else shows
    told = next(((max(0.0, at - shows), event.id) for at, event in machine.told[told_from:] if _tells(event)), None)
    return Run(
        *names,
        path="pumped" if tun.pump is not None else "stirred",
        probes=1 + (tun.probes.second is not None),
        phase=phase,
        told=told[1] if told else "",
        told_s=round(told[0], 1) if told else None,
        over_k=round(max(machine.true_c[first:until], default=0.0) - tun.guard.hard_limit_c, 2),
        heat_s=round(heat_s, 1),
        alone_s=round(heat_s if alone_s is None else alone_s, 1),
        bath=tun.heater.bath_l > 0.0,
    )


def _tells(event: Event) -> bool:
    """Is a person told that something physical is wrong?"""
    return event.id not in LINKS | ASKED and (
        event.kind == "trip" or (event.kind == "note" and (event.priority or 3) <= 2)
    )


# ---------------------------------------------------------------- bounds, and what is printed


def beyond(run: Run) -> str:
    """Which bound did it miss? Empty where it kept all."""
    probe = run.slow in PROBES
    if probe and run.over_k > WORST_K[run.path]:
        return f"{run.over_k:+.1f} K over the limit"
    if probe and run.interruption == "link gaps" and run.heat_s > MORE * run.alone_s + MORE_S:
        return f"{run.heat_s:.0f} s of full heat, {run.alone_s:.0f} s without the gaps"
    if run.slow == "drained tun" and run.heat_s > DRAINED_S[run.phase]:
        return f"{run.heat_s:.0f} s of full heat in a drained tun ({run.phase})"
    if run.slow == "welded relay" and not run.bath and (run.told_s is None or run.told_s > WELDED_S):
        return f"told after {run.told_s} s"
    if run.slow == "open element" and run.phase == "rise" and run.told_s is None:
        return "never told"
    return ""


def line(name: str, runs: list[Run]) -> str:
    """One slow fault with one interruption, in a line."""
    by = Counter(run.told for run in runs if run.told)
    told = [run.told_s for run in runs if run.told_s is not None]
    over = " ".join(_over([run.over_k for run in runs if run.path == path], path) for path in WORST_K)
    heat = [run.heat_s for run in runs]
    more = sum(run.heat_s > MORE * run.alone_s + MORE_S for run in runs)
    return (
        f"{name:<38} {len(runs):3} runs ({sum(run.probes == 2 for run in runs)} with two probes)  told {len(told):3}: "
        f"{' '.join(f'{key} x{count}' for key, count in by.most_common(4)) or '-'}  "
        f"{wide.at(told, 0.5):.0f}/{wide.at(told, 0.95):.0f} s  over{over}  "
        f"heat {wide.at(heat, 0.5):.0f}/{wide.at(heat, 0.95):.0f}/{wide.at(heat, 1.0):.0f} s  more heat {more}"
    )


def _over(values: list[float], path: str) -> str:
    return f" {path} {wide.at(values, 0.95):+.1f}/{wide.at(values, 1.0):+.1f} K" if values else ""


def said(name: str, runs: list[Run]) -> Iterator[str]:
    for half, bit in wide.HALVES.items():
        if some := [run for run in runs if run.seed & 1 == bit]:
            yield line(name if bit else f"  {half}", some)
    for run in runs:
        if why := beyond(run):
            words = f'--only "{run.slow}" --with "{run.interruption}" --seeds {run.seed}'
            yield f"    python -m tests.regimes.two_faults --jobs 1 {words}   # {run.path}, {run.phase}: {why}"


def main(words: list[str]) -> int:
    """0 when every run kept its bounds."""
    at = words.index("--with") if "--with" in words else len(words)
    wanted = words[at + 1] if at + 1 < len(words) else ""
    args, seeds = wide.regime(__doc__, [*words[:at], *words[at + 2 :]], only="")
    jobs = [(slow, wanted, seed) for slow in SLOW if slow.startswith(args.only) for seed in seeds]
    found = zip(jobs, wide.shared(args.jobs, group, jobs), strict=True)
    count = missed = 0
    over: list[float] = []
    for slow, some in groupby(found, key=lambda pair: pair[0][0]):
        runs = [run for _, group in some for run in group]
        for name in INTERRUPTIONS:
            if alike := [run for run in runs if run.interruption == name]:
                print("\n".join(said(f"{slow} + {name}", alike)), flush=True)
        if args.out:
            with Path(args.out).open("a", encoding="utf-8") as file:
                file.writelines(json.dumps(run._asdict()) + "\n" for run in runs)
        over += [run.over_k for run in runs if run.slow in PROBES]
        count, missed = count + len(runs), missed + sum(bool(beyond(run)) for run in runs)
    if wide.at(over, 0.95) > USUAL_K:
        missed += 1
        print(f"frozen and fallen probes: {wide.at(over, 0.95):+.1f} K over the limit (p95, wanted {USUAL_K:g} K)")
    print(f"{count} runs, {missed} beyond a bound")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
