"""A short mash in the simulator, told with faults: what tripped, when, and what the heater did.

Water in a tun at 55 °C, a rise to 63 °C (until about 500 s), a rest there (to about 1,400 s), a rise to 72 °C (to about
2,000 s), a rest, and the keep. The same core and guard as live; the person answers, clears nothing
unless told to. Until something goes wrong every tale is the same one, so it is told once and gone on from in a copy.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

from controller.core.nouns import Event, RunState
from controller.edge.files import config_files
from controller.plan import plan
from controller.plan.recipe import Liquor, Program, Step
from sim.dryrun import ENDED, DryRun
from sim.people.manner import PATIENT, Manner
from sim.world.faults import Fault, parse
from tests.places import CONFIG
from tests.sim.gone_on import copied

RAMP, REST, RAMP2 = 200, 900, 1500  # s: well inside each stretch


class Moment(NamedTuple):
    at: float
    duty: float
    state: RunState
    trips: tuple[str, ...]
    mash_c: float
    credited_s: float
    leg: int


@dataclass
class Tale:
    """What happened, second by second."""

    moments: list[Moment] = field(default_factory=list)
    events: list[tuple[float, Event]] = field(default_factory=list)
    result: RunState = RunState.CHECKING
    without_evidence: int = 0
    refusals: tuple[str, ...] = ()

    def first(self, trip: str) -> float | None:
        """When did this interlock first trip? None when it never did."""
        return next((m.at for m in self.moments if trip in m.trips), None)

    def trips(self) -> set[str]:
        return {trip for m in self.moments for trip in m.trips}

    def outcome(self) -> tuple[set[str], RunState, int]:
        """What has tripped, how the run ended, and how many commands with heat lacked evidence?"""
        return self.trips(), self.result, self.without_evidence

    def cold(self, since: float = 0.0) -> bool:
        """Was there no heat from then on?"""
        return all(m.duty == 0.0 for m in self.moments if m.at >= since)

    def off_from(self, at: float) -> float | None:
        """From when on after `at` was the heat off for at least a minute?"""
        since: float | None = None
        for m in self.moments:
            if m.at < at:
                continue
            since = (m.at if since is None else since) if m.duty == 0.0 else None
            if since is not None and m.at - since >= 55.0:
                return since
        return None

    def highest_c(self) -> float:
        return max(m.mash_c for m in self.moments)


def program(liquor_l: float = 40.0, start_c: float = 55.0) -> Program:
    return Program(
        name="tale",
        title="Tale",
        aim="balanced",
        liquor=Liquor(volume_l=liquor_l, temperature_c=start_c),
        step=(
            Step(name="beta", temperature_c=63.0, time_s=900.0),
            Step(name="alpha", temperature_c=72.0, time_s=600.0),
            Step(name="keep", kind="keep", time_s=600.0),
        ),
    )


def _second(dry: DryRun, tale: Tale) -> None:
    """One more second of this mash is told."""
    out = dry.second()
    run = out.state.run
    trips = tuple(t.id for t in out.state.guard.trips)
    duty = out.command.duty if out.command is not None else 0.0
    tale.moments.append(
        Moment(out.state.now, duty, run.state, trips, dry.world.tun.mash_mean_c, run.progress.credited_s, run.leg)
    )
    tale.events.extend((out.state.now, event) for event in out.events)


def _begun(tun: str, manner: Manner, start_c: float, faults: tuple[Fault, ...]) -> DryRun:
    settings = config_files.settings(CONFIG, tun)
    made = plan.make(program(40.0 if tun == "gannet" else 18.0, start_c), settings.tun)
    assert not made.problems, made.problems
    return DryRun(settings, made, 1, faults, manner=manner)


@cache
def _sound(tun: str, manner: Manner, start_c: float, until_s: int) -> tuple[DryRun, Tale]:
    """The mash without a fault, until then."""
    dry, tale = _begun(tun, manner, start_c, ()), Tale()
    while dry.state.now < until_s:
        _second(dry, tale)
    return dry, tale


def _reached(tun: str, manner: Manner, start_c: float, faults: tuple[Fault, ...]) -> tuple[DryRun, Tale]:
    """The mash shortly before the first of these faults, which are then still to come."""
    begins_s = min((fault.at_s for fault in faults), default=0.0)
    shared_s = max((moment for moment in (RAMP, REST) if moment <= begins_s), default=0)
    if not shared_s:
        return _begun(tun, manner, start_c, faults), Tale()
    sound, told = _sound(tun, manner, start_c, shared_s - 5)
    return copied(sound, faults), Tale(list(told.moments), list(told.events))


def tell(
    *specs: str, tun: str = "gannet", until_s: float = 4200.0, manner: Manner = PATIENT, start_c: float = 55.0
) -> Tale:
    """Run the short mash with these faults (`kind@at+for=value`). Ends with the run or after `until_s`."""
    dry, tale = _reached(tun, manner, start_c, tuple(map(parse, specs)))
    while dry.state.run.state not in ENDED and dry.state.now < until_s:
        _second(dry, tale)
    tale.result = dry.state.run.state
    tale.without_evidence = dry.evidence.without
    tale.refusals = tuple(dry.person.refusals)
    return tale
