"""G07: a raw reading at or over the hard limit."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g07_hard_limit import HardLimit
from controller.core.guard.readings import NOT_OVER, Over
from controller.core.nouns import Bad, FaultCode, Phase, RunState
from controller.settings.tun import Probe, Probes, Tun
from tests.core.guard.looks import (
    BLOCKED,
    HEATING,
    HOT,
    NOW,
    PROBES,
    SEEN,
    TUN,
    check,
    duty,
    found,
    having,
    ids,
    known,
    later,
    read,
    report,
    told,
    trips_in,
    watch,
)

FRESH, ROW = HardLimit(), HardLimit.ROW
STIRRED = TUN.model_copy(update={"pump": None, "probes": Probes(mash=PROBES.mash)})
ONE = Over(NOW - 0.5, NOW - 0.5)  # one reading
ADDING: dict[str, Any] = {"target": BLOCKED, "phase": Phase.ADDING}


@pytest.mark.parametrize(("which", "code", "told_c", "expected_c"), [
    (STIRRED, "own_limit", 79.5, 79.5), (STIRRED, "own_limit", None, 80.0), (STIRRED, "no_power", 79.5, None),
    (TUN, "own_limit", 92.0, None),
])  # fmt: skip
def test_by_the_heater_nodes_own_thermometer(
    which: Tun, code: FaultCode, told_c: float | None, expected_c: float | None
) -> None:
    """Its own limit is this one where nothing is pumped past an outlet: it looks at the mash; a trip that the node
    latches, told in its words."""
    said = report(50, 0.7, fault="hot", fault_code=code, outlet_c=told_c)
    words = "The heater node's own fault: hot. Heat is off."
    expected = None if expected_c is None else Finding(ROW, expected_c, 80.0, latched=False, says=words)
    assert found(FRESH, known(line=HOT), tun=which, report=said) == expected
    assert found(FRESH, known(), tun=which, report=said) is None


def cut(value_c: float) -> Finding:
    """OFF in this tick, and no trip."""
    return Finding(ROW, value_c, 80.0, cut_only=True)


READINGS: dict[str, tuple[tuple[float, ...], Finding | None]] = {
    "under": ((79.99, 79.99), None),
    "one": ((80.0,), cut(80.0)),
    "two": ((80.0, 80.5), Finding(ROW, 80.5, 80.0)),
    "a cool one between": ((80.0, 63.0, 80.0), cut(80.0)),
    "two, and a cool one after": ((81.0, 82.0, 63.0), Finding(ROW, 82.0, 80.0)),
    "one, and a cool one after": ((81.0, 63.0), cut(81.0)),
    "the hottest that can be": ((105.0, 105.0), Finding(ROW, 105.0, 80.0)),
}


@pytest.mark.parametrize("name", ["raw", "raw_second"])
@pytest.mark.parametrize(("values", "expected"), READINGS.values(), ids=READINGS)
def test_by_either_probe(name: str, values: tuple[float, ...], expected: Finding | None) -> None:
    """One reading cuts, two in a row latch; by the second probe as well; under the limit nothing."""
    assert found(FRESH, **{name: read(*values)}) == expected


def test_the_hotter_word_of_two_probes() -> None:
    """Each probe has its own row: one of each is no pair; the second probe's is told where both are hot."""
    after, finding = watch(FRESH, raw=read(81.0), raw_second=read(82.0))
    assert (after, finding) == (HardLimit(ONE, ONE, 82.0), cut(82.0))
    assert found(after, raw=read(81.5, later_s=1.0), raw_second=read(63.0)) == Finding(ROW, 81.5, 80.0)
    assert found(after, raw=read(63.0), raw_second=read(82.5, later_s=1.0)) == Finding(ROW, 82.5, 80.0)


def test_the_one_before_is_remembered() -> None:
    """Hot in two ticks running latches, a second apart; a cool one between starts anew; nothing new keeps what was."""
    one, first = watch(FRESH, raw=read(80.0))
    assert (one, first) == (HardLimit(first=ONE, hot_c=80.0), cut(80.0))
    assert found(one, raw=read(81.0, later_s=0.9)) == cut(81.0)
    assert found(one, raw=read(81.0, later_s=1.0)) == Finding(ROW, 81.0, 80.0)
    assert watch(one, raw=()) == (one, None)
    assert watch(one, raw=read(63.0)) == (HardLimit(hot_c=80.0), None)
    two, _ = watch(one, raw=read(81.0, later_s=1.0))
    assert found(two, raw=()) == Finding(ROW, 81.0, 80.0)
    second, _ = watch(FRESH, raw_second=read(81.0, 82.0), raw=())
    assert second == HardLimit(second=Over(NOW - 1.5, NOW - 0.5), hot_c=82.0)
    assert found(second, raw=(), raw_second=()) == Finding(ROW, 82.0, 80.0)
    cool, _ = watch(second, raw=(), raw_second=read(63.0))
    assert cool.second is NOT_OVER


@pytest.mark.parametrize("name", ["raw", "raw_second"])
@pytest.mark.parametrize("value_c", [200.0, 105.1, nan, inf, 85.0])
def test_what_cannot_be_true_cuts(name: str, value_c: float) -> None:
    """200 °C, no number and the power-on value cut the tick and never latch."""
    after, finding = watch(HardLimit(hot_c=70.0), **{name: read(value_c, value_c, value_c)})
    assert (after, finding) == (HardLimit(hot_c=70.0), cut(70.0))


def test_a_message_that_is_no_reading_is_nothing() -> None:
    """It is G03's matter."""
    assert watch(FRESH, raw=(Bad("text", NOW),)) == (FRESH, None)


@pytest.mark.parametrize(("believed_c", "latches"), [(83.0, True), (87.0, True), (82.9, False), (None, False)])
def test_the_power_on_value_near_the_believed_one_is_true(believed_c: float | None, latches: bool) -> None:
    """85 °C with a believed 83 °C beside it latches; with 82.9 °C, or none, it only cuts; each probe by its own."""
    for values, seen in (("raw", "seen"), ("raw_second", "second")):
        finding = found(FRESH, **{values: read(85.0, 85.0), seen: SEEN._replace(value_c=believed_c)})
        assert finding == (Finding(ROW, 85.0, 80.0) if latches else cut(0.0))


def fitted(limit_c: float = 80.0, **boils_c: float) -> dict[str, Any]:
    """A tun whose probes read so much in boiling water, raw."""
    boiling = {role: Probe(topic="a", raw_boil_c=boil_c) for role, boil_c in boils_c.items()}
    guard = TUN.guard.model_copy(update={"hard_limit_c": limit_c})
    return {"tun": TUN.model_copy(update={"probes": PROBES.model_copy(update=boiling), "guard": guard})}


@pytest.mark.parametrize(
    ("role", "name", "boil_c", "raw_c", "expected"),
    [
        (role, name, boil_c, raw_c, expected if by == role else None)
        for by, name in (("mash", "raw"), ("second", "raw_second"))
        for role in ("mash", "second")
        for boil_c, raw_c, expected in ((98.0, 78.5, Finding(ROW, 78.5 / 0.98, 80.0)), (98.0, 78.3, None))
    ],
)
def test_each_probe_is_judged_by_its_own_correction(
    role: str, name: str, boil_c: float, raw_c: float, expected: Finding | None
) -> None:
    """78.5 of a probe that reads 2 % low is over the limit of 80, and no more where it is the other one that does."""
    assert found(FRESH, **fitted(**{role: boil_c}), **{name: read(raw_c, raw_c)}) == expected


def test_a_raw_reading_over_the_limit_cuts() -> None:
    """81.0 of a probe that reads 2 % high is 79.4: a cut and no trip."""
    assert found(FRESH, **fitted(mash=102.0), raw=read(81.0, 81.0)) == cut(0.0)
    assert found(FRESH, **fitted(second=102.0), raw_second=read(81.0, 81.0)) == cut(0.0)


def test_a_false_value_at_the_limit_cuts() -> None:
    """85.0 with a limit of 85 is no reading that could be true, but it is not under the limit either."""
    finding = found(FRESH, **fitted(85.0), raw=read(85.0, 85.0))
    assert finding == Finding(ROW, 0.0, 85.0, cut_only=True)


@pytest.mark.parametrize("value_c", [63.0, -5.0])
def test_a_cool_reading_ends_the_row_of_its_probe(value_c: float) -> None:
    """The lowest value that a thermometer may give is a reading as well; the other probe's row stays."""
    one = HardLimit(ONE, ONE)
    assert watch(one, raw=read(value_c), raw_second=())[0] == HardLimit(second=ONE)
    assert watch(one, raw=(), raw_second=read(value_c))[0] == HardLimit(first=ONE)


def test_one_that_is_not_fitted() -> None:
    """Without a second probe the mash probe alone is watched."""
    one = TUN.model_copy(update={"probes": PROBES.model_copy(update={"second": None})})
    assert found(FRESH, tun=one, second=None, raw=read(81.0, 82.0)) == Finding(ROW, 82.0, 80.0)
    assert found(FRESH, tun=one, second=None) is None


def test_an_addition_cuts_without_latching() -> None:
    """Boiling liquor returns: heat is blocked anyway, and the trip must not stay."""
    assert found(FRESH, raw=read(90.0, 90.0), target=BLOCKED) == cut(90.0)


def test_in_every_state() -> None:
    """Two in a row latch whatever the run does, checking included; one of them is OFF with its reason, and no trip."""
    assert trips_in("G07", raw=read(81.0, 82.0)) == set(RunState)
    one = check(raw=read(80.0))
    assert one.command is not None
    assert (duty(one), one.command.reason, ids(one)) == (0.0, "G07 hard limit", [])
    trip = check(raw=read(81.0, 82.0)).state.trips[0]
    assert (trip.latched, trip.value, trip.limit) == (True, 82.0, 80.0)
    assert trip.text == f"The mash is 82.0 °C; the limit is 80 °C. Heat is off. {ROW.do}"


# ---------------------------------------------------------------- notes


@pytest.mark.parametrize("which", ["raw", "raw_second"])
def test_hot_during_an_addition(which: str) -> None:
    """At 80.0 °C, by either probe, it is said what to look for; at 79.9 °C nothing is; G07 does not trip."""
    gate = check(**ADDING, **{which: read(80.0)})
    assert (told(gate), ids(gate)) == ([("G07", 1)], [])
    assert gate.state.noted.now[0].text == (
        "80.0 °C is read during an addition; the limit is 80 °C. If hot liquor or mash just went in, stir. "
        "If not, the heater may be stuck on: cut the mains, then look."
    )
    assert told(check(**ADDING, **{which: read(79.9)})) == []


def test_hot_outside_an_addition_is_no_note() -> None:
    """Two readings at the limit latch where heat is not blocked; without heat nothing is said of an addition."""
    gate = check(raw=read(80.0, 80.1))
    assert (ids(gate), told(gate)) == (["G07"], [])
    assert told(check(raw=read(80.0))) == []
    said = {
        run for run in RunState if told(check(having(HardLimit(first=ONE, hot_c=81.0)), state=run, raw=(), **ADDING))
    }
    assert said == HEATING


def test_the_note_stays_between_readings_and_ends_by_itself() -> None:
    """A tick without a reading does not end it, one under the limit does; it is said again a minute later at most."""
    first = check(**ADDING, raw=read(81.0))
    quiet = later(first.state, 1.0, **ADDING, raw=())
    assert ([note.key for note in quiet.state.noted.now], told(quiet)) == (["G07"], [])
    cool = later(quiet.state, 2.0, **ADDING, raw=read(79.9))
    assert cool.state.noted.now == ()
    assert told(later(cool.state, 59.9, **ADDING, raw=read(81.0))) == []
    assert told(later(cool.state, 60.0, **ADDING, raw=read(81.0))) == [("G07", 1)]


@pytest.mark.parametrize("value_c", [85.0, 105.1, nan])
def test_a_failed_sensor_is_not_hot(value_c: float) -> None:
    """A value that sensors give when they fail, or one beyond all that can be, sends nobody to the mains."""
    assert told(check(**ADDING, raw=read(value_c))) == []
