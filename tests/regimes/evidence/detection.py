"""How soon does each interlock see its fault, and does a healthy mash ever trip? On random tuns.

    python -m tests.regimes.evidence.detection healthy --tuns 1..1200 --out healthy.jsonl
    python -m tests.regimes.evidence.detection quick --tuns 1..300 --out quick.jsonl
    python -m tests.regimes.evidence.detection slow --tuns 1..300 --out slow.jsonl
    python -m tests.regimes.evidence.detection table healthy.jsonl quick.jsonl slow.jsonl

Quick are the faults that show within two minutes, slow those that take up to an hour and a half.

One line a run goes into the file, so that nothing is lost when it is ended early; a tun found there is not run again.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

from controller.core.guard.plate import COIL_S
from controller.core.nouns import Phase, RunState
from sim.world.faults import FOREVER_S, Fault
from tests.regimes.evidence.lean import Case, Lean, Wish, case, full_heat

LOST_S = 1.6  # between two messages of a sender that speaks once a second, half a second late at times: one was lost
EPS_S = 0.5  # a deadline is kept with so much, as the invariants have it
Bath = tuple[float, float] | None
CALIBRATED = 4  # every so manyth healthy tun has been measured with water


class Play(NamedTuple):
    """One fault: when it begins, which interlock is meant to see it, how soon."""

    name: str
    hazard: str
    meant: frozenset[str]
    within_s: float | Callable[[Case], float] | None  # by the table of interlocks; None: no figure is promised
    when: Callable[[Lean], bool]
    faults: Faults
    fits: Callable[[Case], bool] = lambda case: True
    wait_s: float = 30.0  # how long it is watched
    wish: Wish = Wish()
    later_s: float = 0.0  # the delay counts from so long after the fault's beginning
    shown: str = ""  # on which topic a message shows the fault; silence shows on none and counts from the fault


Faults = Callable[[float, Random], tuple[Fault, ...]]


def one(kind: str, *values: float, for_s: float = FOREVER_S) -> Faults:
    """This fault with one of these values, or none."""
    return lambda at, rng: (Fault(kind, at, for_s, rng.choice(values or (0.0,))),)


def between(kind: str, low: float, high: float) -> Faults:
    return lambda at, rng: (Fault(kind, at, FOREVER_S, rng.uniform(low, high)),)


def resting(machine: Lean) -> bool:
    run = machine.state.run
    return run.phase is Phase.RESTING and run.leg == 0 and run.progress.credited_s > 90.0


def idle(machine: Lean) -> bool:
    return machine.state.run.state is RunState.IDLE


def begun(machine: Lean) -> bool:
    return machine.state.run.state is RunState.RUNNING


def _looped(case: Case) -> bool:
    return case.settings.tun.flow is not None


def _level(case: Case) -> bool:
    return case.settings.tun.level is not None


def _rate_k_per_min(case: Case) -> float:
    return 60.0 * case.settings.tun.heater.power_w / case.plan.course.legs[0].capacity_j_per_k


def _missing_s(case: Case) -> float:
    """How soon must missing heat be seen, s? 300 and the dead time where the heater can do 0.8 K/min and is at full
    heat, else as soon as G11 would, 900. What a coil's own liquor holds back comes on top; its loop does not ask for
    full heat while that is on its way."""
    coil = case.settings.tun.heater.place == "coil"
    strong = _rate_k_per_min(case) >= 0.8 and not coil
    return (300.0 if strong else 900.0) + case.settings.tun.guard.dead_time_s + (COIL_S if coil else 0.0)


def _three_stalls(at: float, rng: Random) -> tuple[Fault, ...]:
    return tuple(Fault("loop_stall", at + 200.0 * i, 1.0, 3.0) for i in range(3))


def ids(names: str) -> frozenset[str]:
    return frozenset(names.split())


RISE = Wish(start_c=40.0)  # room for a long rise
NONSENSE = (-127.0, 125.0, 127.94, 150.0, 999.0, 4095.0, 65535.0, -273.15, 85.0)
QUICK = (
    Play("probe gone", "P1", ids("G02"), 10.0, resting, one("probe_unplugged")),
    Play("probe gone in a rise", "P1", ids("G02"), 10.0, full_heat, one("probe_unplugged")),
    Play("same sample again and again", "P2", ids("G02"), 10.0, resting, one("probe_stale")),
    Play("impossible value", "P4-P6", ids("G03"), 5.0, full_heat, one("probe_value", *NONSENSE), shown="mash"),
    Play("NaN", "P7", ids("G03"), 5.0, resting, one("probe_nan"), shown="mash"),
    Play("no number", "P7", ids("G03"), 5.0, resting, one("probe_text"), shown="mash"),
    Play("jump up by 6 to 12 K", "P8", ids("G04"), 5.0, resting, between("probe_jump", 6.0, 12.0), shown="mash"),
    Play("reading 4 to 6 K over the program", "H8", ids("G06"), 3.0, resting, between("probe_jump", 4.0, 6.0),
         wish=Wish(top_c=None), shown="mash"),
    Play("reading over the hard limit", "H9", ids("G07"), 2.0, resting, between("probe_jump", 19.5, 30.0),
         shown="mash"),
    Play("outlet 35 K hotter", "H10", ids("G08"), 2.0, resting, one("outlet_hot", 35.0), fits=_looped,
         shown="outlet"),
    Play("other probe 6 to 9 K off", "P10", ids("G05"), 60.0, resting, between("second_offset", 6.0, 9.0),
         wait_s=120.0, wish=Wish(second=True), shown="second"),
    Play("no liquid", "H5", ids("G13"), 2.0, resting, one("level_lost"), fits=_level),
    Play("level switch silent", "H5", ids("G13"), 10.0, resting, one("level_silent"), fits=_level),
    Play("no flow", "H6", ids("G13"), 2.0, resting, one("flow_lost"), fits=_looped),
    Play("flow switch silent", "H6", ids("G13"), 10.0, resting, one("flow_silent"), fits=_looped),
    Play("pump stands still", "H6", ids("G13"), 2.0, resting, one("pump_stopped"), fits=_looped),
    Play("heater node reports nothing", "M16", ids("G14"), 10.0, resting, one("heater_silent")),
    Play("heater node hears nothing", "M15", ids("G14"), 10.0, resting, one("heater_deaf")),
    Play("heater node says it is on, idle", "M16", ids("G15"), 3.0, idle, one("heater_lies", 1.0),
         shown="heater_report"),
    Play("welded on, power measured, idle", "H1", ids("G15"), 3.0, idle, one("heater_welded", 1.0),
         fits=lambda case: case.truth.measures_power, shown="heater_report"),
    Play("broker gone", "M1", ids("G16"), 10.0, resting, one("broker_gone")),
    Play("loop stalls for 3 s (after its end)", "C5", ids("G17"), 1.0, resting, one("loop_stall", 3.0, for_s=1.0),
         later_s=3.0),
    Play("stranger with heat", "M11", ids("G19"), 2.0, resting, one("foreign_heat", 1.0, for_s=5.0)),
    Play("owner of a higher epoch", "C9", ids("G19"), 2.0, resting, one("foreign_epoch", 1.0, for_s=5.0)),
    Play("third stall in half an hour", "-", ids("G24"), 1.0, resting, _three_stalls, wait_s=900.0, later_s=403.0),
)  # fmt: skip
SLOW = (
    Play("heater open in a rise", "H2 H13", ids("G09 G11"), _missing_s, full_heat, one("heater_open"),
         wait_s=1800.0),
    Play("reading frozen in a rise", "P3", ids("G09 G11"), _missing_s, full_heat, one("probe_frozen"),
         wait_s=1800.0),
    Play("probe fallen out in a rise", "P11", ids("G09 G04 G11"), _missing_s, full_heat,
         between("probe_fallen", 20.0, 120.0), wait_s=2400.0),
    Play("welded on in a rest", "H1", ids("G10 G06 G07 G08 G15 G25"), None, resting, one("heater_welded", 1.0),
         wait_s=3600.0),
    Play("welded on, nothing running", "H1", ids("G10 G15 G07 G08 G25"), None, idle, one("heater_welded", 1.0),
         wait_s=3600.0),
    Play("a quarter of the power in a rise", "H3", ids("G11 G09 G25"), None, full_heat, one("heater_power", 0.25),
         wait_s=3600.0, wish=RISE),
    Play("half the power, tun measured", "H3", ids("G12 G25 G11"), None, full_heat, one("heater_power", 0.5),
         wait_s=3600.0, wish=RISE._replace(calibrated=True)),
    Play("45 % of the liquor", "U7", ids("G25"), None, begun, lambda at, rng: (), wait_s=2400.0,
         fits=lambda case: _rate_k_per_min(case) >= 0.6, wish=RISE._replace(liquor_share=0.45)),
    Play("reading drifts by -0.1 K/min, two probes", "P9", ids("G05"), None, resting, one("probe_drift", -0.1),
         wait_s=3600.0, wish=Wish(second=True)),
    Play("reading drifts by -0.1 K/min, one probe", "P9", ids("G07 G08 G09 G10 G11 G25"), None, resting,
         one("probe_drift", -0.1), wait_s=5400.0),
)  # fmt: skip
PLAYS = (*QUICK, *SLOW)


# ---------------------------------------------------------------- healthy mashes


def healthy(seed: int, bath: Bath = None) -> dict[str, Any]:
    """One whole mash without any fault."""
    one = case(seed, calibrated=seed % CALIBRATED == 0, bath=bath)
    machine = Lean(one)
    trips: list[tuple[str, float, str]] = []
    known: set[str] = set()
    most_s = 4.0 * one.plan.duration_s + 4 * 3600.0
    over = False
    while not over:
        outcome = machine.second()
        for trip in outcome.state.guard.trips:
            if trip.id not in known:
                trips.append((trip.id, machine.now, trip.text))
        known = {trip.id for trip in outcome.state.guard.trips}
        over = machine._over(outcome, most_s) or any(trip.latched for trip in outcome.state.guard.trips)
    return {
        "what": "healthy", "seed": seed, "class": one.drawn.kind, "place": one.drawn.spec.place,
        "litres": round(one.drawn.spec.volume_l), "calibrated": one.settings.learned is not None,
        "result": str(machine.state.run.state), "hours": round(machine.now / 3600.0, 4), "trips": trips,
        "additions": sum(leg.comes.kg > 0 for leg in one.plan.course.legs),
        "refusals": machine.person.refusals[-1:],
    }  # fmt: skip


# ---------------------------------------------------------------- faults


def played(plays: Iterable[Play], seed: int, bath: Bath = None) -> Iterator[dict[str, Any]]:
    """These faults on the tun of this seed, one after the other from the same moments of one mash."""
    by_wish: dict[Wish, list[Play]] = defaultdict(list)
    for play in plays:
        by_wish[play.wish].append(play)
    for wish, group in by_wish.items():
        one = case(seed, wish=wish, bath=bath)
        fitting = [play for play in group if play.fits(one)]
        try:
            machine = Lean(one)
        except ValueError as why:  # so little liquor that pipes and pump take it all
            yield from ({"what": play.name, "seed": seed, "missed": str(why)} for play in fitting)
            continue
        while fitting and machine.now < 4 * 3600.0 and not machine.state.guard.trips:
            for play in [play for play in fitting if play.when(machine)]:
                fitting.remove(play)
                within_s = play.within_s(one) if callable(play.within_s) else play.within_s
                head = {"what": play.name, "seed": seed, "class": one.drawn.kind, "within_s": within_s}
                yield head | _caught(machine.twin(), play)
            machine.second()
        for play in fitting:
            yield {"what": play.name, "seed": seed, "missed": f"the moment never came: {machine.state.guard.trips[:1]}"}


def _caught(machine: Lean, play: Play) -> dict[str, Any]:
    """The fault begins within the next second; who sees it, and when?"""
    rng = Random(f"{play.name} {machine.seed}")
    at = machine.now + rng.choice((0.25, 0.75))
    machine.inject(*play.faults(at, rng))
    machine.heard = {}
    since: float | None = None
    while machine.now < at + play.wait_s:
        outcome = machine.second()
        command = outcome.command
        caught = [trip.id for trip in outcome.state.guard.trips if trip.id in play.meant]
        if not (caught or (command is not None and command.reason[:3] in play.meant)):
            since = None
        elif since is None:
            since = machine.now  # the first OFF in its name: G07 cuts before it trips
        if caught and since is not None:
            off = command is None or command.duty <= 0.0
            delays = {"delay_s": round(since - at - play.later_s, 2)} | _after_message(machine, play, at, since)
            return {"by": caught[0], "off": off} | delays
    others = [trip.id for trip in machine.state.guard.trips]
    return {"by": None, "others": others, "hottest_c": round(machine.world.tun.hottest_c, 1)}


def _after_message(machine: Lean, play: Play, at: float, off_at: float) -> dict[str, Any]:
    """How long after the first message that could show it, s, and was a message lost in between?"""
    if not play.shown:
        return {}
    named: dict[str, str] = {"heater_report": machine.inbox.topics.heater_report, **dict(machine.inbox.topics.probes)}
    came = [t for t in (machine.heard or {}).get(named[play.shown], []) if t >= at]
    if not came:
        return {}
    lost = any(after - before > LOST_S for before, after in pairwise([*came, machine.now]))
    return {"shown_s": round(off_at - came[0], 2), "lost": lost}


# ---------------------------------------------------------------- the table


def table(lines: list[dict[str, Any]]) -> str:
    """What came of it, as Markdown."""
    whole = [line for line in lines if line["what"] == "healthy"]
    text = _healthy_text(whole) if whole else ""
    by_play: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for line in lines:
        by_play[line["what"]].append(line)
    rows = [
        "| fault | hazard | tuns | caught | in time | by | p50 s | p95 s | worst s | worst from its message s "
        "| deadline s |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    rows += [_row(play, by_play[play.name]) for play in PLAYS if by_play[play.name]]
    return text + "\n" + "\n".join(rows) + "\n"


def _row(play: Play, lines: list[dict[str, Any]]) -> str:
    ran = [line for line in lines if "missed" not in line]
    caught = [line for line in ran if line["by"]]
    delays = sorted(line["delay_s"] for line in caught)
    by = ", ".join(f"{name} {count}" for name, count in Counter(line["by"] for line in caught).most_common())
    wanted = sorted({line["within_s"] for line in ran if line.get("within_s") is not None})
    promised = "-" if not wanted else f"{wanted[0]:g}" if len(wanted) == 1 else f"{wanted[0]:g} to {wanted[-1]:g}"
    judged = [line for line in ran if not line.get("lost")]
    in_time = "-" if not wanted else f"{sum(_in_time(line) for line in judged)} of {len(judged)}"
    figures = [f"{at:.1f}" for at in (_at(delays, 0.5), _at(delays, 0.95), _at(delays, 1.0))] if delays else ["-"] * 3
    shown = max((line["shown_s"] for line in caught if "shown_s" in line and not line["lost"]), default=None)
    figures.append("-" if shown is None else f"{shown:.1f}")
    cells = [play.name, play.hazard, str(len(ran)), str(len(caught)), in_time, by or "-", *figures, promised]
    return "| " + " | ".join(cells) + " |"


def _in_time(line: dict[str, Any]) -> bool:
    """Within its deadline, counted from the first message that shows it, or from the fault where none does?"""
    return line["by"] is not None and bool(line.get("shown_s", line["delay_s"]) <= line["within_s"] + EPS_S)


def _at(values: list[float], share: float) -> float:
    return values[min(len(values) - 1, math.ceil(share * len(values)) - 1)]


def _healthy_text(lines: list[dict[str, Any]]) -> str:
    hours = sum(line["hours"] for line in lines)
    trips = Counter(name for line in lines for name, _, _ in line["trips"])
    tripped = sum(bool(line["trips"]) for line in lines)
    classes = Counter(line["class"] for line in lines)
    bound = f"under 1 in {hours / 3.0:.0f} h at 95 % (rule of three)" if not tripped else f"{tripped} in {hours:.0f} h"
    return (
        f"Healthy mashes: {len(lines)} tuns ({', '.join(f'{n} {c}' for n, c in classes.most_common())}), "
        f"{sum(line['calibrated'] for line in lines)} of them measured with water, "
        f"{sum(line['additions'] for line in lines)} announced additions, {hours:.0f} simulated hours, "
        f"{dict(Counter(line['result'] for line in lines))}. "
        f"False trips: {tripped} mashes {dict(trips) or ''}; rate {bound}.\n"
    )


# ---------------------------------------------------------------- command


def main(words: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("healthy", "quick", "slow", "table"))
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--tuns", default="1..20", help="seeds A..B")
    parser.add_argument("--only", action="append", help="faults whose name contains this; may be given again")
    parser.add_argument("--bath", type=_span, help="coils in liquor that their file names, share A..B of the mash")
    parser.add_argument("--out", type=Path)
    args = parser.parse_args(words)
    if args.what == "table":
        sys.stdout.write(table([line for path in args.files for line in _lines(path)]))
        return 0
    low, _, high = args.tuns.partition("..")
    done = {(line["what"], line["seed"]) for line in _lines(args.out)} if args.out is not None else set()
    found: list[dict[str, Any]] = []
    for line in _work(args.what, range(int(low), int(high or low) + 1), args.only or [""], done, args.bath):
        found.append(line)
        if args.out is not None:
            with args.out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")
        if line.get("trips"):
            sys.stderr.write(f"{line}\n")
    if args.out is None:
        sys.stdout.write(table(found))
    return 0


def _span(text: str) -> tuple[float, float]:
    low, _, high = text.partition("..")
    return float(low), float(high or low)


def _work(what: str, seeds: range, only: list[str], done: set[tuple[str, int]], bath: Bath) -> Iterator[dict[str, Any]]:
    if what == "healthy":
        yield from (healthy(seed, bath) for seed in seeds if ("healthy", seed) not in done)
        return
    for seed in seeds:
        group = QUICK if what == "quick" else SLOW
        wanted = [play for play in group if any(part in play.name for part in only)]
        todo = [play for play in wanted if (play.name, seed) not in done]
        yield from played(todo, seed, bath)


def _lines(path: Path | None) -> list[dict[str, Any]]:
    if path is None or not path.exists():
        return []
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
