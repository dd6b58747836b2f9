"""G06: a mash above anything that the program still asks for."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g06_above_program import BEHIND as TELLS
from controller.core.guard.interlocks.g06_above_program import AboveProgram
from controller.core.guard.readings import NOT_OVER, Over
from controller.core.nouns import Bad, RunState, Trip
from controller.settings.tun import Probe
from tests.core.guard.looks import (
    BLOCKED,
    HEATING,
    NOW,
    OFF,
    PROBES,
    SEEN,
    TUN,
    check,
    found,
    having,
    ids,
    known,
    memory,
    read,
    senses,
    trips_in,
    watch,
)

ARMED, ROW = AboveProgram(armed=True), AboveProgram.ROW
LOW = TUN.model_copy(update={"probes": PROBES.model_copy(update={"mash": Probe(topic="a", raw_boil_c=98.0)})})

BEHIND = TUN.model_copy(update={"probes": PROBES.model_copy(update={"mash": Probe(topic="a", behind_heater=True)})})


def cut(value_c: float) -> Finding:
    """OFF in this tick, and no trip."""
    return Finding(ROW, value_c, 75.0, cut_only=True)


ONE_TICK: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "one": ({"raw": read(75.1)}, cut(75.1)),
    "two": ({"raw": read(75.1, 75.2)}, Finding(ROW, 75.2, 75.0)),
    "three at the limit": ({"raw": read(75.0, 75.0, 75.0)}, None),
    "one below between": ({"raw": read(75.1, 75.1, 75.0, 75.1)}, cut(75.1)),
    "blocked": ({"raw": read(75.1, 75.2, 75.3), "target": BLOCKED}, None),
    "nothing asked for": ({"raw": read(75.1, 75.2, 75.3), "highest_c": None}, None),
    "a failed sensor's value": ({"raw": read(85.0, 85.0, 85.0)}, None),
    "out of range": ({"raw": read(106.0, 106.0, 106.0)}, None),
    "under the hard limit": ({"raw": read(79.9, 79.9)}, Finding(ROW, 79.9, 75.0)),
    "at it, which is G07's": ({"raw": read(80.0, 80.0)}, None),
    "as corrected": ({"raw": read(73.6, 73.6, 73.6), "tun": LOW}, Finding(ROW, 73.6 / 0.98, 75.0)),
    "under as corrected": ({"raw": read(73.4, 73.4, 73.4), "tun": LOW}, None),
}


@pytest.mark.parametrize(("changes", "expected"), ONE_TICK.values(), ids=ONE_TICK)
def test_two_readings_in_a_row(changes: dict[str, Any], expected: Finding | None) -> None:
    """Over the highest target and its margin two in a row that could be true; one cuts; one below starts anew; at the
    hard limit it is another's matter."""
    assert found(ARMED, **changes) == expected


def test_it_goes_on_from_tick_to_tick() -> None:
    """Two ticks with one reading each are two in a row; messages that are no readings change nothing."""
    after = ARMED
    for n, (value_c, expected) in enumerate(((75.1, cut(75.1)), (75.2, Finding(ROW, 75.2, 75.0)))):
        after, finding = watch(after, raw=read(value_c, later_s=n))
        assert finding == expected
        assert watch(after, raw=(Bad("text", NOW),))[0] == after
    seen = AboveProgram(armed=True, highest_c=72.0)
    assert watch(seen, raw=(Bad("text", NOW),)) == (seen, None)


@pytest.mark.parametrize(
    ("raw", "after_s", "expected"),
    [((), 2.0, cut(75.1)), ((75.2,), 0.9, cut(75.2)), ((75.2,), 1.0, Finding(ROW, 75.2, 75.0)),
     ((75.0, 75.2), 2.0, cut(75.2)), ((75.0,), 2.0, None)],
)  # fmt: skip
def test_two_readings_in_a_second(raw: tuple[float, ...], after_s: float, expected: Finding | None) -> None:
    """One goes on cutting until the next is heard; two within 0.9 s do not do, nor does one after one below."""
    first, _ = watch(ARMED, raw=read(75.1))
    assert found(first, raw=read(*raw, later_s=after_s), now=NOW + after_s) == expected


def test_a_falling_program_disarms() -> None:
    """A fall of the target, however small, disarms until the mash is half the margin under the limit."""
    before, _ = watch(ARMED, raw=read(72.0))
    for highest_c, over_c, noisy_c, below_c in ((63.0, 72.0, 64.6, 64.5), (69.0, 72.1, 70.6, 70.5)):
        fallen, finding = watch(before, raw=read(over_c, over_c, over_c), highest_c=highest_c)
        assert (finding, fallen.armed, fallen.highest_c) == (None, False, highest_c)
        noisy, _ = watch(fallen, raw=read(noisy_c), highest_c=highest_c)
        assert found(noisy, raw=read(over_c, over_c, over_c), highest_c=highest_c) is None
        below, _ = watch(fallen, raw=read(below_c), highest_c=highest_c)
        assert below.armed
        limit_c = highest_c + 3.0
        over = found(below, raw=read(over_c, over_c, over_c), highest_c=highest_c)
        assert over == Finding(ROW, over_c, limit_c)


@pytest.mark.parametrize(("highest_c", "armed"), [(72.0, True), (78.0, True), (71.875, False)])
def test_a_program_that_falls_with_no_reading(highest_c: float, armed: bool) -> None:
    """It disarms in the tick in which it falls, reading or not; what rises or stays does not, and is remembered."""
    after, _ = watch(AboveProgram(armed=True, highest_c=72.0), raw=(), highest_c=highest_c)
    assert (after.armed, after.highest_c) == (armed, highest_c)


def test_a_process_that_has_just_started_is_not_armed() -> None:
    """In the midst of a run nobody knows what was asked before: the mash must have been well below."""
    assert found(AboveProgram(), raw=read(75.1, 75.2, 75.3)) is None
    below, _ = watch(AboveProgram(), raw=read(73.5))
    assert found(below, raw=read(75.1, 75.2, 75.3)) == Finding(ROW, 75.3, 75.0)


def test_what_is_kept() -> None:
    """The row ends with one reading below; the last value above is told also in a tick without one."""
    row = AboveProgram(row=Over(NOW - 2.0, NOW - 1.0), armed=True, worst_c=75.2, highest_c=72.0)
    assert watch(row, raw=read(70.0))[0].row is NOT_OVER
    assert found(watch(ARMED, raw=read(75.1, 75.2, 75.3))[0], raw=()) == Finding(ROW, 75.3, 75.0)


def test_held_the_count_begins_anew() -> None:
    """The highest target is kept; where nothing was counted nothing changes; the same with nothing asked for."""
    counted = AboveProgram(row=Over(NOW - 1.0, NOW), armed=True, highest_c=72.0)
    left = AboveProgram(armed=True, highest_c=72.0)
    assert memory(check(having(counted), state=RunState.HELD), AboveProgram) == left
    assert watch(counted, highest_c=None) == (left, None)
    assert left.asleep(senses()) == left


@pytest.mark.parametrize("state", [s for s in RunState if s.name in ("IDLE", "STOPPED", "ABORTED", "COMPLETE")])
def test_each_run_begins_armed(state: RunState) -> None:
    """With none on, the next program is another one, armed or not before."""
    for before in (AboveProgram(armed=True, highest_c=72.0), AboveProgram(highest_c=72.0), AboveProgram()):
        assert memory(check(having(before), state=state), AboveProgram) == ARMED
    assert ARMED.next_run() == ARMED


def test_where_heat_may_flow_alone() -> None:
    """Without heat it is no trip; with it a latched one with value and limit."""
    hot = {"raw": read(75.1, 75.2, 75.3)}
    assert trips_in("G06", having(ARMED), **hot) == HEATING
    trip = check(having(ARMED), **hot).state.trips[0]
    assert (trip.latched, trip.value, trip.limit) == (True, 75.3, 75.0)
    assert trip.text.startswith("The mash is 75.3 °C; with its margin the program allows 75.0 °C. Heat is off. Stir")


@pytest.mark.parametrize(
    ("value_c", "limit", "there"), [(66.0, 66.0, True), (65.99, 66.0, False), (None, 66.0, False), (70.0, None, False)]
)
def test_it_keeps_its_trip(value_c: float | None, limit: float | None, there: bool) -> None:
    """At the limit that it passed, in a hold, where nobody asks for anything."""
    trip = Trip("G06", NOW, "hot", 67.0, limit, "°C", 1, True, True)
    held = senses(state=RunState.HELD, seen=SEEN._replace(value_c=value_c))
    finding = ARMED.still_there(trip, held, known())
    assert finding == (Finding(ROW, value_c, limit) if there and value_c is not None and limit is not None else None)


def test_a_cool_mash_trips_nothing() -> None:
    """In a tick with everything in order nothing is counted, for long as well."""
    gate = check(having(AboveProgram(armed=True, highest_c=72.0)))
    assert (ids(gate), memory(gate, AboveProgram).row) == ([], NOT_OVER)


@pytest.mark.parametrize(
    ("duty", "limit_c"), [(0.0, 75.0), (0.25, 75.0 + 0.25 * TUN.plate_rise_k / 0.7), (0.5, 79.5), (1.0, 79.5)]
)
def test_a_probe_behind_the_heater_reads_what_it_must(duty: float, limit_c: float) -> None:
    """The highest target, the margin and what the heater adds at seven tenths of the plate's flow, but never more than
    half a kelvin under the hard limit; in the mash nothing is added; the sentence says what was read."""
    what = known(line=OFF._replace(duty=duty))
    over = read(*[limit_c + 0.1] * 3)
    assert found(ARMED, what, tun=BEHIND, raw=over) == Finding(ROW, limit_c + 0.1, limit_c, says=TELLS)
    assert found(ARMED, what, tun=BEHIND, raw=read(*[limit_c] * 3)) is None
    assert found(ARMED, what, raw=read(75.1, 75.1, 75.1)) == Finding(ROW, 75.1, 75.0)
