"""In which states of a run is each interlock asked? A table that the code obeys and the documentation prints."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.history import History, Line
from controller.core.guard.interlocks.g05_probes_differ import ProbesDiffer
from controller.core.guard.interlocks.g06_above_program import AboveProgram
from controller.core.guard.interlocks.g09_no_heat_seen import NoHeatSeen
from controller.core.guard.interlocks.g12_heat_ledger import HeatLedger
from controller.core.guard.registry import ALL, BY_ID
from controller.core.guard.state import GuardState
from controller.core.nouns import RunState, Switch
from tests.core.guard.looks import (
    BASE,
    HEATING,
    HOT,
    NOW,
    OPEN,
    SEEN,
    S,
    check,
    duty,
    for_long,
    having,
    ids,
    line,
    memory,
    read,
    report,
    trips_in,
)
from tests.house.tables import in_states

EVERY = set(RunState)


def past(rise_k: float = 0.0, energy_j: float = 0.0, **changes: Any) -> GuardState:
    """A history up to ten seconds ago that ends at 63 °C, with so much rise and energy a line; measured with water."""
    lines = tuple(Line(NOW - 10.0 * n, 63.0 - rise_k * n, energy_j * (150 - n)) for n in range(150, 0, -1))
    history = History(lines=lines, energy_j=energy_j * 150, heat_since=0.0)._replace(**changes)
    return OPEN._replace(past=history, plate=OPEN.plate._replace(measured=True))


CAUSES: dict[str, tuple[GuardState, dict[str, Any], set[RunState]]] = {
    "G02": (OPEN, {"seen": SEEN._replace(age_s=11.0, refused_run=3, refused_since=NOW)}, HEATING),
    "G04": (OPEN, {"seen": SEEN._replace(age_s=9.0, jump_since=NOW - 8.0, jump_c=70.0)}, HEATING),
    "G05": (having(ProbesDiffer(since=0.0)), {"second": SEEN._replace(value_c=70.0)}, HEATING),
    "G06": (having(AboveProgram(armed=True, highest_c=72.0)), {"raw": read(75.1, 75.2, 75.3)}, HEATING),
    "G07": (OPEN, {"raw": read(80.0, 80.5)}, EVERY),
    "G08": (OPEN, {"raw_outlet": read(86.0)}, EVERY),
    "G09": (
        having(NoHeatSeen(no_power_s=4.0), OPEN._replace(line=HOT)), {"report": report(duty=0.5, power_w=0.0)}, HEATING,
    ),
    "G10": (past(rise_k=0.1, off_since=0.0), {}, EVERY - {S.CHECKING}),
    "G11": (past(full_since=0.0, full_s=1000.0, full_c=63.0)._replace(line=HOT._replace(duty=1.0)),
            {"target": BASE.run.target._replace(target_c=75.0)}, HEATING),
    "G12": (having(HeatLedger(base=Line(0.0, 63.0, 0.0), in_a_row=5), past(energy_j=50_000.0)), {}, HEATING),
    "G13": (OPEN, {"flow": Switch(False, NOW, NOW - 1.0)}, HEATING | {S.RESTARTING}),
    "G14": (for_long("G14", state=line(acked_at=NOW - 11.0)), {"report": None}, HEATING),
    "G15": (line(off_seq=1, off_since=0.0), {"report": report(duty=0.5, n=9)}, EVERY),
    "G17": (OPEN, {"late_s": 21.0}, HEATING),
    "G19": (OPEN, {"epoch_seen": 2}, EVERY - {S.CHECKING}),
    "G20": (OPEN, {"disk_ok": False}, set()),
    "G23": (OPEN, {"run_s": 1e6}, HEATING),
    "G24": (OPEN, {"late_s": 3.0}, set()),
    "G25": (past(rise_k=0.4, energy_j=50_000.0)._replace(line=HOT), {}, HEATING),
}  # fmt: skip


@pytest.mark.parametrize(("name", "cause"), CAUSES.items(), ids=list(CAUSES))
def test_in_which_states_each_one_trips(name: str, cause: tuple[GuardState, dict[str, Any], set[RunState]]) -> None:
    """A cause that is there in every state trips in just those that the interlock names, which are those that the
    documentation prints."""
    state, changes, expected = cause
    if name == "G15":  # a cause that lasts: the second look is the one that finds
        before = {"report": report(duty=0.5, n=8)}
        state = state._replace(interlocks=check(state, 0.0, now=NOW - 3.0, **before).state.interlocks)
    assert trips_in(name, state, **changes) == expected
    named = next(interlock for interlock in ALL if name == interlock.ROW.id).STATES
    assert named == expected
    assert (
        in_states(frozenset(named))
        == {
            frozenset(): "-",
            frozenset(HEATING): "running, pausing, paused",
            frozenset(HEATING | {S.RESTARTING}): "running, pausing, paused, restarting",
            frozenset(EVERY): "always",
            frozenset(EVERY - {S.CHECKING}): "always but checking",
        }[frozenset(named)]
    )


def test_every_interlock_is_in_that_table() -> None:
    """None is left out."""
    assert set(CAUSES) == set(BY_ID)


def test_the_first_that_is_found_is_the_reason() -> None:
    """Of two in one tick the command names the one that is asked first; the more urgent one is the first trip."""
    out = check(late_s=21.0, level=Switch(False, NOW, NOW - 1.0))
    assert out.command is not None
    assert (out.command.reason, ids(out)) == ("G13 no liquid or no flow", ["G13", "G17"])
    cut = check(raw=read(80.0))
    assert (duty(cut), ids(cut)) == (0.0, [])


def test_with_no_run_on_its_memory_sleeps_and_begins_anew() -> None:
    """Held, the time that probes differ begins anew; idle, what belongs to one run does."""
    apart = having(ProbesDiffer(since=0.0), having(AboveProgram(armed=False, highest_c=72.0)))
    held = check(apart, state=S.HELD)
    assert memory(held, ProbesDiffer).since is None
    assert memory(held, AboveProgram).highest_c == 72.0
    assert memory(check(apart, state=S.IDLE), AboveProgram) == AboveProgram(armed=True)
