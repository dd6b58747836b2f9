"""What does a random mash with random faults come to, and was a promise broken?

One seed is one brewery: a random tun, its file, a program, faults, a brewer. First comes the time of faults, in which
only the promises count; then all faults are over and the run must come to its end (liveness).
"""

from random import Random
from typing import NamedTuple

from sim.dryrun import DryRun, Ran
from sim.judge import Breach, Judge
from sim.people.manner import Manner
from sim.random_setup import RandomSetup, random_brewery
from sim.world.faults import Fault, draw_faults

LATE_SHARE = 0.2  # of planned and fault time: what a run may take longer once all faults are over
PLATE_SHARE = 0.4  # of planned time: the plan is made from a plate that is 15 % off in power and 40 % in loss
PERSON_S, LOOK_S = 1800.0, 900.0  # what people take: walking, pouring, boiling; and looking after each trip
ENDS_BY_OWNER = frozenset({"foreign_heat", "foreign_epoch"})  # a second owner ends a run for good

PATIENT_FOR_LONG = Manner(boil_s=300.0, clears=True, tries=2000, starts=200, patience_s=4 * 3600.0, cools=True)


class Verdict(NamedTuple):
    """What came of one seed."""

    seed: int
    what: str  # tun and class
    faults: tuple[Fault, ...]
    result: str
    simulated_s: float
    trips: tuple[tuple[str, float], ...]
    breaches: tuple[Breach, ...]
    commands: int
    hottest_c: float
    given: bool = False  # the faults were named, not drawn

    @property
    def sound(self) -> bool:
        return not self.breaches

    def replay(self) -> str:
        """The one line that plays it again."""
        words = [f"underback swarm --seeds {self.seed}..{self.seed}"]
        if self.given:
            words += [f"--fault {fault}" for fault in self.faults]
        elif not self.faults:
            words.append("--healthy")
        return " ".join(words)


def one(seed: int, healthy: bool = False, faults: tuple[Fault, ...] | None = None) -> Verdict:
    """The mash of this seed. `healthy`: no faults, and then a trip counts as a breach too."""
    brewery = random_brewery(Random(f"brewery {seed}"))
    rng, given = Random(f"faults {seed}"), faults is not None
    if faults is None:  # one every 1 to 30 minutes, through the whole of the planned run
        within = brewery.plan.duration_s
        faults = () if healthy else draw_faults(rng, within, max(1, round(within / (60.0 * rng.uniform(1.0, 30.0)))))
    judge = Judge(brewery.settings)
    manner = PATIENT_FOR_LONG._replace(delay_s=rng.uniform(5.0, 60.0), pour_s=rng.uniform(60.0, 300.0))
    if healthy:
        manner = manner._replace(clears=False)
    machine = DryRun(
        brewery.settings, brewery.plan, seed, faults, manner=manner, truth=brewery.truth, listen=judge.hear
    )
    machine.stood_still = judge.stood_still
    ran = machine.go()
    judge.end(ran.ended_s, ran.world.network.up)
    breaches = (*judge.breaches, *_liveness(brewery, faults, ran), *(_false_trips(ran) if healthy else ()))
    return Verdict(
        seed=seed,
        what=f"{brewery.settings.tun.title}, {brewery.settings.tun.heater.kind}, {brewery.drawn.kind}",
        faults=faults,
        result=ran.result,
        simulated_s=ran.ended_s,
        trips=tuple((trip["id"], trip["at_s"]) for trip in ran.trace.trips),
        breaches=breaches,
        commands=judge.commands,
        hottest_c=max(row.mash_c for row in ran.trace.rows),
        given=given,
    )


def _liveness(brewery: RandomSetup, faults: tuple[Fault, ...], ran: Ran) -> tuple[Breach, ...]:
    """Once all faults are over and people do their part, the run completes within its time and a fifth more (I20)."""
    if ran.result == "complete":
        fault_s = sum(min(fault.for_s, 3600.0) for fault in faults)
        planned_s = brewery.plan.duration_s * (1.0 + PLATE_SHARE)
        most = (planned_s + fault_s) * (1.0 + LATE_SHARE) + PERSON_S + LOOK_S * len(ran.trace.trips)
        if ran.duration_s <= most:
            return ()
        return (Breach("I20", ran.ended_s, f"complete only after {ran.duration_s:.0f} s; {most:.0f} s were due"),)
    lost = any(trip["id"] == "G19" for trip in ran.trace.trips)
    if lost and ran.result in ("aborted", "idle") and any(fault.kind in ENDS_BY_OWNER for fault in faults):
        return ()  # ended for good, or never begun
    return (Breach("I20", ran.ended_s, f"ended {ran.result}; refused: {list(ran.refusals[-2:])}"),)


def _false_trips(ran: Ran) -> tuple[Breach, ...]:
    return tuple(Breach("I21", trip["at_s"], f"a healthy mash tripped: {trip['text']}") for trip in ran.trace.trips)
