"""Does each value that the guard looks at come from where it belongs?

Two values of one type that change places pass every type check. Here each such pair in the building of the guard's
senses is exchanged in their source, in memory, and the direct checks below must object.
"""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator
from itertools import combinations
from types import NoneType
from typing import Any, NamedTuple, get_args, get_type_hints

import pytest

from controller.core import sensing, tick
from controller.core.guard import gate
from controller.core.guard.senses import AtHeater, Own, Probed, Run, Senses
from controller.core.guard.state import GuardState
from controller.core.inputs import Clocks, Inputs, Presences
from controller.core.nouns import Demand, Disk, HeaterReport, Link, Presence, Reading, Switch
from controller.core.procedure.run import Beginning
from controller.core.state import Outcome, State
from controller.settings.tun import Output, SwitchInput
from tests.core.bench import LIQUOR_J_PER_K, Bench, settings
from tests.core.guard.looks import PROBES, TUN, S
from tests.core.guard.rounds import RISING

BOTH = settings(
    probes=PROBES, flow=SwitchInput(topic="f"), pump=Output(topic="u"), mixing="pump", flow_l_per_min=6.0,
    heater=TUN.heater, stirrer=None,
)  # fmt: skip


class Saw(NamedTuple):
    """One tick: what the guard looked at, and what else came of it."""

    senses: Senses
    out: Outcome


def begun() -> Bench:
    """A ramp that heats, with three probes a kelvin or two apart."""
    bench = Bench(BOTH, mash_c=50.0)

    def step() -> None:
        at = bench.now + 0.8
        bench.extra = {"second": (Reading(bench.mash_c + 1.0, at, bench.seq),)}
        bench.extra["outlet"] = (Reading(bench.mash_c + 2.5, at, bench.seq),)
        bench.step()

    for _ in range(20):
        step()
    bench.start(RISING)
    for _ in range(60):
        step()
    assert bench.state.run.state is S.RUNNING and bench.duty > 0.0
    run = bench.state.run._replace(begun=Beginning("r", bench.now - 500.0, excluded_s=20.0))
    known = bench.state.guard._replace(epoch=4)
    bench.state = bench.state._replace(run=run, guard=known, pump_on_s=33.0, stir_on_s=44.0)
    return bench


BENCH = begun()
NOW = BENCH.now + 1.25
MASH, SECOND, OUTLET = (
    (Reading(BENCH.mash_c + over_k, NOW - ago_s, 900),) for over_k, ago_s in ((0.125, 0.5), (1.25, 0.2), (2.75, 0.1))
)
INPUTS = Inputs(
    mash=MASH, second=SECOND, outlet=OUTLET, heater=HeaterReport(NOW - 0.1, "b1", 4, 70, 0.5, 9.0),
    there=Presences(
        heater=Presence(False, NOW - 0.25), movers=Presence(True, NOW - 0.2), mash=Presence(False, NOW - 0.3)
    ),
    level=Switch(True, NOW - 0.6), flow=Switch(True, NOW - 0.7),
    link=Link(True, 0.0, 0.01), disk=Disk(ok=True, durable_seq=17, written_seq=18), epoch_seen=3,
    clocks=Clocks(wall_confirmed=True, wall_set_s=0.9, late_s=0.3, gap_s=0.4),
)  # fmt: skip
THERE = INPUTS.there._replace(heater=Presence(True, NOW - 0.25), mash=None)
TICKS: tuple[tuple[State, Inputs], ...] = (
    (BENCH.state, INPUTS),
    (
        BENCH.state,
        INPUTS._replace(
            there=THERE._replace(second=Presence(False, NOW - 0.15)),
            disk=Disk(ok=False, durable_seq=17, written_seq=18),
        ),
    ),
    (
        BENCH.state._replace(run=BENCH.state.run._replace(state=S.HELD)),
        INPUTS._replace(
            there=THERE._replace(outlet=Presence(False, NOW - 0.05)),
        ),
    ),
)  # fmt: skip
TRUTHS = (
    (True, False, False, True, False, True, True),
    (False, True, False, True, True, True, False),
    (False, False, True, False, True, True, True),
)


def saw(state: State, inputs: Inputs) -> Saw:
    """One tick; what reached the guard."""
    seen: list[Senses] = []

    class Watched:
        """The guard, looked at on its way in."""

        settle = staticmethod(gate.settle)

        @staticmethod
        def check(known: GuardState, senses: Senses, demand: Demand) -> gate.Gate:
            seen.append(senses)
            return gate.check(known, senses, demand)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tick, "guard", Watched)
        out = tick.tick(BOTH, state, NOW, inputs)
    return Saw(seen[0], out)


def objections() -> Iterator[str]:
    """Which direct checks fail? Each sense is held against a figure, or the outcome it came from."""
    for n, (state, inputs) in enumerate(TICKS):
        senses, out = saw(state, inputs)
        yield from (f"{n} {name}" for name, got, want in _pairs(senses, out, n) if got != want)


def _pairs(senses: Senses, out: Outcome, n: int) -> Iterator[tuple[str, Any, Any]]:
    run, heater, own, second, outlet = senses.run, senses.heater, senses.own, senses.second, senses.outlet
    assert second is not None and outlet is not None
    yield "tun", senses.tun, BOTH.tun
    yield "times", (senses.now, senses.dt), (NOW, 1.25)
    yield "run", (run.state, run.phase, run.target), (out.state.run.state, out.state.run.phase, out.target)
    yield "setpoint", run.setpoint_c, None if out.setpoint is None else out.setpoint.value_c
    yield "highest", run.highest_c, 72.0 if n < 2 else None
    yield "capacity", run.capacity_j_per_k, LIQUOR_J_PER_K
    yield "lengths", (run.run_s, run.planned_s), (481.25 if n < 2 else 480.0, RISING.planned_s)  # a hold does not count
    yield "raw", (senses.mash.raw, second.raw, outlet.raw), (MASH, SECOND, OUTLET)
    read_c = (senses.mash.seen.raw_c, second.seen.raw_c, outlet.seen.raw_c)
    yield "seen", read_c, (MASH[0].value_c, SECOND[0].value_c, OUTLET[0].value_c)
    gone = senses.mash.gone, second.gone, outlet.gone
    truths = (*gone, heater.stirred, heater.online, heater.movers, own.disk_ok)
    yield "truths", truths, TRUTHS[n]
    yield "report", heater.report, INPUTS.heater
    yield "switches", (heater.level, heater.flow), (INPUTS.level, INPUTS.flow)
    yield "pump", heater.pump_on_s, 34.25 if n < 2 else 0.0
    yield "link", own.link, INPUTS.link
    yield "clocks", (own.late_s, own.gap_s, own.wall_set_s), (0.3, 0.4, 0.9)
    yield "numbers", (own.epoch, own.epoch_seen, own.durable_seq), (4, 3, 17)


def test_each_sense_arrives_where_it_belongs() -> None:
    """Unchanged, nothing objects."""
    assert list(objections()) == []


# ---------------------------------------------------------------- every pair exchanged


RECORDS = {
    "_senses": Senses, "_run_sense": Run, "_probe_sense": Probed, "_heater": AtHeater, "_own": Own,
    "_read": sensing.Read,
}  # fmt: skip
HELPERS = {"_probed": sensing._probed, "_gone": sensing._gone}


def _kind(hint: Any) -> str:
    """The type's name, None apart: whether mypy would object to None is not asked."""
    kinds = [part for part in get_args(hint) if part is not NoneType] if NoneType in get_args(hint) else [hint]
    return " | ".join(getattr(kind, "__name__", str(kind)) if not get_args(kind) else str(kind) for kind in kinds)


def slots(tree: ast.Module) -> list[tuple[str, ast.AST, str | int]]:
    """Type, parent and place of each value in the calls that build the senses."""
    found: list[tuple[str, ast.AST, str | int]] = []
    for top in tree.body:
        if not isinstance(top, ast.FunctionDef):
            continue
        for call in (node for node in ast.walk(top) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
            name = call.func.id if isinstance(call.func, ast.Name) else ""
            if name in RECORDS:
                of = get_type_hints(RECORDS[name])
                found += [(_kind(of[word.arg or ""]), word, "value") for word in call.keywords]
            elif name in HELPERS:
                hints = list(get_type_hints(HELPERS[name]).values())[:-1]
                found += [(_kind(hint), call, at) for at, hint in enumerate(hints)]
    return found


def _get(parent: Any, place: str | int) -> ast.AST:
    value: ast.AST = parent.args[place] if isinstance(place, int) else getattr(parent, place)
    return value


def _put(parent: Any, place: str | int, value: ast.AST) -> None:
    if isinstance(place, int):
        parent.args[place] = value
    else:
        setattr(parent, place, value)


TREE = ast.parse(inspect.getsource(sensing))
SLOTS = slots(TREE)


def pairs() -> list[tuple[int, int]]:
    """Every two places of one type with different values, neither within the other."""
    found = []
    for a, b in combinations(range(len(SLOTS)), 2):
        one, other = (_get(*SLOTS[n][1:]) for n in (a, b))
        inside = other in ast.walk(one) or one in ast.walk(other)
        if SLOTS[a][0] == SLOTS[b][0] and not inside and ast.dump(one) != ast.dump(other):
            found.append((a, b))
    return found


def exchanged(a: int, b: int) -> None:
    """Both values in each other's place; a second time puts them back."""
    first, second = _get(*SLOTS[a][1:]), _get(*SLOTS[b][1:])
    _put(*SLOTS[a][1:], second)
    _put(*SLOTS[b][1:], first)
    functions: list[ast.stmt] = [top for top in TREE.body if isinstance(top, ast.FunctionDef)]
    exec(compile(ast.Module(functions, []), "exchanged", "exec"), vars(sensing))


def noticed(a: int, b: int) -> bool:
    """Does any check fail, or the tick itself? A name that is not known there is mypy's to find."""
    exchanged(a, b)
    try:
        return next(objections(), None) is not None
    except (AttributeError, TypeError, ValueError, NameError, AssertionError):
        return True
    finally:
        exchanged(a, b)


def test_any_two_senses_of_one_type_that_change_places_are_noticed() -> None:
    """Samples, measurements, switches, presence words, numbers, times and truths: no pair passes unseen."""
    every = pairs()
    kinds = {SLOTS[a][0] for a, _ in every}
    assert {"float", "int", "bool", "Measurement", "Switch", "Presence", "ProbeState"} <= kinds
    assert len(every) > 120
    words = [f"{SLOTS[a][0]}: {ast.unparse(_get(*SLOTS[a][1:]))} for {ast.unparse(_get(*SLOTS[b][1:]))}"
             for a, b in every if not noticed(a, b)]  # fmt: skip
    assert words == []
    assert list(objections()) == []  # all of them are back


@pytest.mark.parametrize("name", ["late_s", "second", "epoch"])
def test_the_places_are_found(name: str) -> None:
    """The senses, by keyword, are among what is exchanged."""
    assert name in {parent.arg for _, parent, _ in SLOTS if isinstance(parent, ast.keyword)}


@pytest.mark.parametrize(("gone_s", "there"), [(3.0, False), (30.0, True)])
def test_a_heater_node_that_answers_since_is_there(gone_s: float, there: bool) -> None:
    """It has said that it is gone, and then answered a command: one sent after that word settles it, an older one does
    not."""
    line = BENCH.state.guard.line._replace(acked_at=NOW - 10.0)
    state = BENCH.state._replace(guard=BENCH.state.guard._replace(line=line))
    said = INPUTS._replace(there=Presences(heater=Presence(False, NOW - gone_s, retained=True)))
    assert saw(state, said).senses.heater.online is there
