"""Does a healthy mash ever trip? Hours of them, on wide tuns of every heat path.

    python -m tests.regimes.healthy --hours 3000 [--seeds 1..4000] [--jobs 2] [--out FILE]

Whole mashes without any fault, with announced additions, every fourth tun measured with water, masses written down
wrong by up to 15 %, the truth drawn wider than the plate (wide.py). Goes on through the seeds until so many hours have
been simulated; of a file given with `--out` the seeds that are in it are not run again. Prints both halves: tuns by
heat path, hours, results, trips by id (L: latched), notes that somebody must act on, mashes whose heat was held back
for 30 s or longer although the program wanted it. A mash that tripped or did not end is named with the line that
plays it again.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator
from itertools import takewhile
from pathlib import Path
from random import Random
from typing import NamedTuple

from controller.core.nouns import Phase, RunState
from tests.regimes import wide
from tests.regimes.evidence.lean import Case, Lean, case

BATCH = 8  # mashes handed out at a time and process
WAITS = frozenset({Phase.HEATING, Phase.RAMPING, Phase.RESTING, Phase.WAITING})
BACK_S = 30.0  # heat that is wanted and does not leave for so long was held back


class Mash(NamedTuple):
    """What came of one."""

    seed: int
    path: str
    place: str
    result: str
    hours: float
    trips: tuple[str, ...]
    notes: tuple[str, ...]  # to act on
    held_back_s: int
    additions: int
    measured: bool
    last: str


def one(seed: int) -> Mash:
    """The whole mash of this seed."""
    rng = Random(f"healthy {seed}")
    found = case(seed, calibrated=seed // 2 % 4 == 0)
    found = found._replace(truth=wide.widened(found.truth, rng))
    machine, trips, notes, back_s, text = Lean(found), list[str](), set[str](), 0, ""
    most_s = 4.0 * found.plan.duration_s + 4 * 3600.0
    over, off_s = False, 0
    while not over:
        outcome = machine.second()
        for event in outcome.events:
            if event.kind == "trip":
                trips.append(event.id + ("L" if event.latched else ""))
                text = event.text
            if event.kind == "note" and event.id.startswith("G") and (event.priority or 3) <= 2:
                notes.add(event.id)
        off_s = off_s + 1 if _held_back(machine) else 0
        back_s += off_s >= BACK_S
        over = machine._over(outcome, most_s) or any(trip.latched for trip in outcome.state.guard.trips)
    return _come_to(found, machine, (trips, sorted(notes), back_s, text))


def _held_back(machine: Lean) -> bool:
    """Does the program want heat that does not leave?"""
    state = machine.state
    asked = state.run.state is RunState.RUNNING and state.run.phase in WAITS and state.loop.saturated
    return asked and state.guard.line.duty <= 0.0


def _come_to(found: Case, machine: Lean, told: tuple[list[str], list[str], int, str]) -> Mash:
    trips, notes, back_s, text = told
    return Mash(
        seed=found.seed,
        path=found.drawn.kind,
        place=found.drawn.spec.place,
        result=str(machine.state.run.state),
        hours=round(machine.now / 3600.0, 4),
        trips=tuple(trips),
        notes=tuple(notes),
        held_back_s=back_s,
        additions=sum(leg.comes.kg > 0 for leg in found.plan.course.legs),
        measured=found.settings.learned is not None,
        last=text or (machine.person.refusals[-1] if machine.person.refusals else ""),
    )


def told(label: str, mashes: list[Mash]) -> str:
    """One half, in a line."""
    hours, tripped = sum(m.hours for m in mashes), [m for m in mashes if m.trips]
    trips, notes = (Counter(name for m in mashes for name in names) for names in (_trips(mashes), _notes(mashes)))
    paths = ", ".join(f"{count} {path}" for path, count in Counter(m.path for m in mashes).most_common())
    bound = f"under 1 in {hours / 3.0:.0f} h at 95 %" if not tripped else f"{len(tripped)} in {hours:.0f} h"
    return (
        f"{label}: {len(mashes)} tuns ({paths}; {sum(m.measured for m in mashes)} measured), "
        f"{sum(m.additions for m in mashes)} additions, {hours:.0f} h, {dict(Counter(m.result for m in mashes))}, "
        f"tripped {len(tripped)} ({bound}) {dict(trips) or ''}, notes {dict(notes) or 'none'}, "
        f"held back in {sum(m.held_back_s > 0 for m in mashes)}"
    )


def again(mash: Mash) -> str:
    """What went wrong, and the line that plays it again."""
    command = f"python -m tests.regimes.healthy --jobs 1 --seeds {mash.seed}"
    return f"    {mash.result} {' '.join(mash.trips)} ({mash.path}): {command}   # {mash.last[:150]}"


def _trips(mashes: list[Mash]) -> Iterator[str]:
    return (name for mash in mashes for name in mash.trips)


def _notes(mashes: list[Mash]) -> Iterator[str]:
    return (name for mash in mashes for name in mash.notes)


def _known(path: str) -> list[Mash]:
    """What is in the file already."""
    if not path or not Path(path).exists():
        return []
    return [Mash(**json.loads(raw)) for raw in Path(path).read_text("utf-8").splitlines()]


def main(words: list[str]) -> int:
    """0 when none tripped and all came to their end."""
    args, seeds = wide.regime(__doc__, words, hours=3000.0)
    mashes = _known(args.out)
    done = {mash.seed for mash in mashes}
    todo = [seed for seed in seeds if seed not in done]
    batches = [todo[at : at + BATCH * args.jobs] for at in range(0, len(todo), BATCH * args.jobs)]
    for batch in takewhile(lambda _: sum(mash.hours for mash in mashes) < args.hours, batches):
        for mash in wide.shared(args.jobs, one, batch):
            mashes.append(mash)
            if args.out:
                with Path(args.out).open("a", encoding="utf-8") as file:
                    file.write(json.dumps(mash._asdict()) + "\n")
            if mash.trips or mash.result != "complete":
                print(again(mash), flush=True)
    for half, bit in wide.HALVES.items():
        print(told(half, [mash for mash in mashes if mash.seed & 1 == bit]))
    return 1 if any(mash.trips or mash.result != "complete" for mash in mashes) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
