"""One tick as the guard sees it, with everything in order; a test changes what it is about."""

from __future__ import annotations

from typing import Any, TypeVar

from controller.core.guard import gate, plate
from controller.core.guard.evidence import Evidence
from controller.core.guard.heater_line import HeaterLine
from controller.core.guard.interlock import Finding, Interlock, Known
from controller.core.guard.registry import ALL
from controller.core.guard.senses import AtHeater, Own, Probed, Run, Senses
from controller.core.guard.state import GuardState
from controller.core.nouns import (
    Demand,
    HeaterReport,
    Link,
    Measurement,
    Phase,
    Reading,
    RunState,
    Switch,
    Target,
    Trip,
)
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput
from tests.core.bench import tun

Kind = TypeVar("Kind", bound=Interlock)
NOW = 1000.0
S = RunState
SEEN = Measurement(63.0, 63.0, NOW - 0.5, 0.5, 9, True, False, good_run=9, good_since=NOW - 20.0)
RAW = (Reading(63.0, NOW - 0.5, 9),)
PROBES = Probes(mash=Probe(topic="a"), second=Probe(topic="b"), outlet=Probe(topic="c"))
TUN = tun(
    probes=PROBES,
    flow=SwitchInput(topic="f"),
    pump=Output(topic="u"),
    mixing="pump",
    flow_l_per_min=6.0,
    heater=Heater(kind="proportional", power_w=5000.0, place="line"),
    stirrer=None,
)
BASE = Senses(
    tun=TUN,
    now=NOW,
    dt=1.0,
    run=Run(
        state=S.RUNNING,
        phase=Phase.RESTING,
        target=Target("hold", 63.0, 0.017, 1, 297_420.0),
        setpoint_c=63.0,
        highest_c=72.0,
        capacity_j_per_k=297_420.0,
        run_s=600.0,
        planned_s=3600.0,
    ),
    mash=Probed(seen=SEEN, raw=RAW),
    second=Probed(seen=SEEN, raw=RAW),
    outlet=Probed(seen=SEEN, raw=RAW),
    heater=AtHeater(
        report=HeaterReport(NOW - 0.5, "b", 1, 50, 0.0, 9.0),
        online=True,
        movers=None,
        level=Switch(True, NOW - 0.5),
        flow=Switch(True, NOW - 0.5),
        pump_on_s=100.0,
        stirred=True,
    ),
    own=Own(
        link=Link(True, 0.0), late_s=0.0, gap_s=0.0, wall_set_s=0.0, epoch=1, epoch_seen=1, disk_ok=True, durable_seq=10
    ),
)
SENT = tuple((seq, NOW - 51.0 + seq) for seq in range(20, 51))  # a command a second
OFF = HeaterLine(seq=60, sent=SENT, acked_seq=49, acked_at=NOW - 1.0, acked_duty=0.0, off_seq=1)  # told to be off
HOT = OFF._replace(duty=0.5, off_seq=-1)  # heat is on
OPEN = GuardState(
    plate=plate.of(TUN), evidence=Evidence(qualified=True), link_up=True, line=OFF, interlocks=ALL
)  # open: with BASE every demand leaves
BLOCKED = BASE.run.target._replace(heat="blocked")  # something is being added
HEATING = {S.RUNNING, S.PAUSING, S.PAUSED}  # heat may flow
LATCHED = Trip("G07", 0.0, "words", 1.0, 1.0, "°C", 1, True, True)
_PROBED = {"seen": "mash", "second": "second", "outlet": "outlet"}
_RAW = {"raw": "mash", "raw_second": "second", "raw_outlet": "outlet"}


def senses(base: Senses = BASE, **changes: Any) -> Senses:
    """The tick with some of its values changed, each by its field's name; `seen`, `second`, `outlet` are measurements
    (None: not fitted), `raw`, `raw_second`, `raw_outlet` samples, `gone` names the probes that are gone, `report` is
    the heater's."""
    for name, value in changes.items():
        base = _changed(base, name, value)
    return base


def _changed(base: Senses, name: str, value: Any) -> Senses:
    if name in _PROBED:
        probed = getattr(base, _PROBED[name])
        changed: Any = None if value is None else probed._replace(seen=value)
        return base._replace(**{_PROBED[name]: changed})
    if name in _RAW:
        return base._replace(**{_RAW[name]: getattr(base, _RAW[name])._replace(raw=value)})
    if name == "gone":
        return base._replace(**{role: getattr(base, role)._replace(gone=True) for role in value})
    for part in ("run", "heater", "own"):
        if name in getattr(base, part)._fields:
            return base._replace(**{part: getattr(base, part)._replace(**{name: value})})
    return base._replace(**{name: value})


def line(state: GuardState = OPEN, **changes: Any) -> GuardState:
    """The guard with another heater line."""
    return state._replace(line=state.line._replace(**changes))


def known(state: GuardState = OPEN, **changes: Any) -> Known:
    """What the guard knows in `state`, some of it changed: line, past, plate, started_at."""
    return state.known._replace(**changes)


def watch(interlock: Kind, what: Known | None = None, /, **changes: Any) -> tuple[Kind, Finding | None]:
    """One tick of one interlock."""
    return interlock.watch(senses(**changes), known() if what is None else what)


def check(state: GuardState = OPEN, duty: float = 0.5, /, **changes: Any) -> gate.Gate:
    """One tick of the whole guard."""
    return gate.check(state, senses(**changes), Demand(duty, "test"))


def later(state: GuardState, after_s: float, /, **changes: Any) -> gate.Gate:
    """One tick of the whole guard so much later, with heater, level and flow just heard."""
    at = NOW + after_s
    line, wet = OFF._replace(sent=((60, at - 1.0),)), Switch(True, at - 0.5)
    heard = {"now": at, "report": report(60)._replace(at=at - 0.5), "level": wet, "flow": wet}
    return check(state._replace(line=line), **{**heard, **changes})


def duty(gate_: gate.Gate) -> float:
    """What left."""
    assert gate_.command is not None
    return gate_.command.duty


def ids(gate_: gate.Gate) -> list[str]:
    """Which trips are on?"""
    return [trip.id for trip in gate_.state.trips]


def read(*values_c: float, later_s: float = 0.0) -> tuple[Reading, ...]:
    """So many new readings, a second apart, the newest last."""
    first = NOW - 0.5 + later_s - (len(values_c) - 1)
    return tuple(Reading(value_c, first + n, 20 + n) for n, value_c in enumerate(values_c))


def report(seq: int = 50, duty: float = 0.0, **changes: Any) -> HeaterReport:
    """The heater node's report, just heard."""
    return HeaterReport(NOW - 0.5, "b", 1, seq, duty, 9.0)._replace(**changes)


def found(interlock: Interlock, what: Known | None = None, /, **changes: Any) -> Finding | None:
    """What one tick of one interlock finds."""
    return watch(interlock, what, **changes)[1]


def having(interlock: Interlock, state: GuardState = OPEN) -> GuardState:
    """The guard with this memory of one interlock."""
    return state._replace(interlocks=tuple(interlock if type(i) is type(interlock) else i for i in state.interlocks))


def for_long(*names: str, state: GuardState = OPEN, since_s: float = 20.0) -> GuardState:
    """The guard with gaps of a link that have been on for so long, and no evidence since."""
    gaps = tuple((name, NOW - since_s) for name in names)
    return state._replace(evidence=state.evidence._replace(gaps=gaps, qualified=False, in_gap=True, from_at=NOW - 1.0))


def memory_of(state: GuardState, kind: type[Kind]) -> Kind:
    """What does the interlock of this kind remember?"""
    return next(interlock for interlock in state.interlocks if isinstance(interlock, kind))


def memory(gate_: gate.Gate, kind: type[Kind]) -> Kind:
    """The same after a tick of the whole guard."""
    return memory_of(gate_.state, kind)


def trips_in(name: str, before: GuardState = OPEN, /, **changes: Any) -> set[RunState]:
    """In which states of a run does this tick trip the interlock?"""
    return {run for run in RunState if name in ids(check(before, state=run, **changes))}


def told(gate_: gate.Gate) -> list[tuple[str, int | None]]:
    """Which notes are said in this tick, and how urgent are they?"""
    return [(event.id, event.priority) for event in gate_.events if event.kind == "note"]
