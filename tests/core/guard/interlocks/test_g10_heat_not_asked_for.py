"""G10: heat that is not asked for must not show."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from controller.core.guard import plate
from controller.core.guard.interlock import Finding, Note
from controller.core.guard.interlocks.g10_heat_not_asked_for import (
    ABOVE,
    ALARM,
    RISING_K_PER_S,
    HeatNotAskedFor,
)
from controller.core.guard.senses import EVERY
from controller.core.nouns import Trip
from controller.settings.tun import Tun
from tests.core.guard.looks import S, known, senses
from tests.core.guard.story import (
    BLOCKED,
    COIL,
    JACKET,
    POWER,
    Course,
    Story,
    bathed,
    flat,
    heated,
    judged,
    limited,
    rising,
    straight,
    told,
    vessel,
    watt,
)

G10 = HeatNotAskedFor()
LEAST = POWER / (JACKET.volume_l * 4190.0 + JACKET.metal_j_per_k) * 60.0  # K/min in a full tun
OWN = POWER / (JACKET.min_liquor_l * 4190.0 + JACKET.metal_j_per_k) * 60.0  # and with the least liquor


def story(which: Tun = JACKET, **changes: Any) -> Story[HeatNotAskedFor]:
    return Story(G10, which, **changes)


# ---------------------------------------------------------------- in a run: a rise with the heater long off


@pytest.mark.parametrize(("which", "k_per_min", "found"), [
    (JACKET, 0.8 / 3.0 + 1e-6, 400.0), (JACKET, 0.7 / 3.0, None), (COIL, 0.5, 1000.0),
    (limited(unasked_rise_k=2.0), 0.7, 400.0), (limited(unasked_rise_k=2.0), 0.6, None),
])  # fmt: skip
def test_unasked_rise_after_a_long_off(which: Tun, k_per_min: float, found: float | None) -> None:
    """Off for 330 s and the dead time, and twice a coil's 300 s, then 0.8 K in three minutes; 0.7 K is nothing."""
    off = story(which, setpoint_c=None)
    assert off.go(rising(50.0, k_per_min), 0.0, 1500.0) == found
    if found is not None and off.finding is not None:
        limit_k = which.guard.unasked_rise_k
        assert off.found == (pytest.approx(3.0 * k_per_min), limit_k)
        assert off.finding.latches and off.finding.words == (
            f"The mash warmed by {3.0 * k_per_min:.1f} K with the heater told to be off (limit {limit_k:g} K). "
            "The switch may be stuck closed: cut the mains now, then look."
        )


@pytest.mark.parametrize(("rise", "trips"), [(0.8, True), (0.75, False)])
def test_unasked_rise_at_its_limit(rise: float, trips: bool) -> None:
    """0.8 K in three minutes is too much; a little less is not."""
    past = straight(60, rise, 0.0, 59, off_since=0.0)
    assert judged(G10, past)[1] == (Finding(G10.ROW, 0.8, 0.8) if trips else None)


@pytest.mark.parametrize(("lines", "found"), [(19, True), (18, False)])
def test_three_minutes_must_be_known(lines: int, found: bool) -> None:
    """With a line less of history than three minutes nothing is said."""
    past = straight(lines, 2.0, 0.0, 59, off_since=-1000.0)
    assert (judged(G10, past)[1] is not None) is found


def test_heat_begins_the_quiet_anew() -> None:
    """One line of heat and the wait starts again."""
    assert story(setpoint_c=None).go(rising(50.0, 0.5), lambda at: 0.01 if at == 300.0 else 0.0) == 700.0


# ---------------------------------------------------------------- in a run: far over the setpoint


@pytest.mark.parametrize(("setpoint_c", "k_per_min", "duty", "found"), [
    (60.0, 0.2, 0.0, 180.0), (60.0, 0.11, 0.0, 180.0), (60.0, 0.09, 0.0, None), (70.0, 0.2, 0.0, None),
    (None, 0.2, 0.0, None), (60.0, 0.2, 0.1, None),
])  # fmt: skip
def test_far_over_the_setpoint_and_rising(
    setpoint_c: float | None, k_per_min: float, duty: float, found: float | None
) -> None:
    """3 K over for 90 s, rising faster than 0.1 K a minute, off for 90 s; less of any of these does nothing."""
    over = story(setpoint_c=setpoint_c)
    assert over.go(rising(63.05, k_per_min), duty, 1500.0) == found
    if found is not None and over.finding is not None:
        apart_k = 3.05 + 3.0 * k_per_min
        assert over.found == (pytest.approx(apart_k), 3.0)
        assert over.finding.words.startswith(
            f"The mash is {apart_k:.1f} K over the setpoint and rises, with the heater told to be off (limit 3 K)."
        )


RATE = RISING_K_PER_S * 30.0


@pytest.mark.parametrize(("rise", "setpoint_c", "off_since", "in_a_row"), [
    (3.125, 0.0, 0.0, 3), (3.0, 0.0, 0.0, 0), (RATE, -4.0, 0.0, 0), (1.1 * RATE, -4.0, 0.0, 3), (5.0, None, 0.0, 0),
    (5.0, 0.0, None, 0), (5.0, 0.0, 100.0, 3), (5.0, 0.0, 101.0, 0),
])  # fmt: skip
def test_over_the_setpoint_at_its_limits(
    rise: float, setpoint_c: float | None, off_since: float | None, in_a_row: int
) -> None:
    """Just 3 K over is not over, a rise of just 0.1 K a minute is none; without a setpoint, or with the heater off for
    less than 30 s and the dead time (here 60), the count is gone."""
    past = straight(20, rise, 0.0, 19, off_since=off_since)
    after, found = judged(HeatNotAskedFor(in_a_row=2), past, limited(vessel(), dead_time_s=60.0), setpoint_c=setpoint_c)
    assert (after.in_a_row, found) == (in_a_row, None)
    short = past._replace(lines=past.lines[-3:])
    assert judged(HeatNotAskedFor(in_a_row=2), short, setpoint_c=setpoint_c)[0].in_a_row == 0
    assert judged(G10, short, setpoint_c=setpoint_c) == (G10, None)


@pytest.mark.parametrize(("had", "found"), [(8, True), (7, False)])
def test_a_verdict_lasts_as_long_as_heat_may(had: int, found: bool) -> None:
    """Nine lines in a row are 30 s and the dead time of 60; eight are not; a verdict of another history does not
    count."""
    past = straight(20, 4.0, 0.0, 19, off_since=0.0, era=3)
    which = limited(vessel(), dead_time_s=60.0)
    told_of = judged(HeatNotAskedFor(era=3, in_a_row=had), past, which, setpoint_c=0.0)[1]
    assert told_of == (Finding(G10.ROW, 4.0, 3.0, says=ABOVE) if found else None)
    assert judged(HeatNotAskedFor(era=2, in_a_row=had), past, which, setpoint_c=0.0)[0].in_a_row == 1


@pytest.mark.parametrize(("from_c", "found", "then"), [(63.5, None, 90.0), (66.2, 170.0, None)])
def test_hot_liquor_that_still_mixes_may_lie_twice_as_far_over(
    from_c: float, found: float | None, then: float | None
) -> None:
    """Within 600 s of an addition 6 K are the limit; after them it is 3 K again, and what rises then is found."""
    added = story(setpoint_c=60.0)
    added.line(60.0, 0.0, target=BLOCKED)
    assert added.go(rising(from_c, 0.2), 0.0, 600.0) == found
    if found is not None:
        assert added.found[1] == 6.0
    else:
        assert added.interlock.in_a_row == 0
        assert added.go(rising(65.55, 0.2), 0.0) == then
        assert added.found[1] == 3.0


def test_over_the_setpoint_starts_anew() -> None:
    """A line that does not rise starts the count again."""
    over = story(setpoint_c=60.0)
    for at in range(15):
        over.line(63.05 + 0.05 * at, 0.0)
    assert over.interlock.in_a_row == 6
    over.line(63.4, 0.0)
    assert over.interlock.in_a_row == 0


def test_between_two_lines_nothing_is_judged() -> None:
    """A tick without a new line says nothing, however much it has warmed."""
    past = straight(60, 2.0, 0.0, 59, off_since=0.0, fresh=False)
    assert judged(G10, past) == (G10, None)
    assert judged(HeatNotAskedFor(era=2, in_a_row=4, alarm=True), past)[0] == G10


# ---------------------------------------------------------------- with nothing running


@pytest.mark.parametrize(("k_per_min", "alarm", "latches"), [
    (1.4 * OWN, True, True), (1.6 * OWN, True, False), (0.9 * OWN, True, True), (0.52 * LEAST, False, False),
    (0.79 / 3.0, False, False), (0.0, False, False),
])  # fmt: skip
def test_idle_alarm_and_latch(k_per_min: float, alarm: bool, latches: bool) -> None:
    """With nothing running a steady rise at the heater's own rate latches; one too fast or too slow only alarms, and
    under 0.8 K in three minutes, as a mean of five, it is none."""
    idle = story(state=S.IDLE)
    assert (idle.go(rising(20.0, k_per_min), 0.0, 900.0) is not None) is latches
    assert idle.interlock.alarm is alarm
    notes = idle.interlock.notes(idle.base, known())
    assert notes == ((Note("G10", ALARM, 3),) if alarm else ())
    if latches:
        assert idle.found == (pytest.approx(3.0 * k_per_min), 0.8)


@pytest.mark.parametrize(("bath_l", "share", "latches"), [
    (0.0, 0.48, False), (0.0, 0.52, True), (0.0, 0.45, False), (100.0, 0.45, True),
])  # fmt: skip
def test_idle_latches_nothing_slower_than_a_full_tun(bath_l: float, share: float, latches: bool) -> None:
    """Half the rate of the fullest tun, its bath included, still counts as the heater's; a slower rise only alarms."""
    strong = heated(bathed(bath_l, "jacket"), power_w=10_000.0)
    idle = story(strong, state=S.IDLE, setpoint_c=None)
    assert (idle.go(rising(40.0, share * 5.0 * LEAST), 0.0, 4000.0) is not None) is latches
    assert idle.interlock.alarm


@pytest.mark.parametrize(("k_per_min", "latches"), [(3.9, True), (4.1, False)])
def test_idle_latches_no_steep_rise(k_per_min: float, latches: bool) -> None:
    """More than 2 K in thirty seconds is a hose, not a heater, however strong the plate says that it is."""
    strong = heated(power_w=10_000.0).model_copy(update={"min_liquor_l": 1.0, "metal_j_per_k": 10.0})
    idle = story(strong, state=S.IDLE)
    assert (idle.go(rising(0.0, k_per_min), 0.0, 600.0) is not None) is latches
    assert idle.interlock.alarm


SHAKY: Course = lambda at: 20.0 + at / 60.0 - (2.0 if at % 100.0 == 0.0 else 0.0)  # noqa: E731


@pytest.mark.parametrize(("state", "value"), [
    (S.CHECKING, rising(20.0, 1.0)), (S.IDLE, lambda at: 20.0 if at < 500.0 else 50.0), (S.IDLE, SHAKY),
    (S.IDLE, flat(20.0)),
])  # fmt: skip
def test_idle_is_quiet_for_what_is_no_steady_rise(state: S, value: Course) -> None:
    """While checking, at a step, with a fall in between, or with no rise: no alarm."""
    idle = story(state=state)
    assert idle.go(value, 0.0, 900.0) is None
    assert not idle.interlock.alarm


@pytest.mark.parametrize("state", sorted(EVERY - {S.RUNNING, S.PAUSING, S.PAUSED, S.CHECKING}))
def test_it_is_watched_in_every_state(state: S) -> None:
    """Off for 330 s and the dead time, in any state without heat: the alarm and the trip come at the same second."""
    assert EVERY - {S.CHECKING} == HeatNotAskedFor.STATES
    idle = story(state=state)
    assert idle.go(rising(20.0, 1.0), 0.0, 390.0) is None
    assert not idle.interlock.alarm
    assert idle.go(rising(20.0 + 390.0 / 60.0, 1.0), 0.0, 10.0) == 10.0
    assert idle.interlock.alarm


def idled(temperatures: Sequence[float], power_w: float, limit_k: float = 0.5) -> tuple[bool, bool]:
    """Alarm and latch with nothing running, in a tun of 65,536 J/K, full or not."""
    tun = limited(vessel(volume_l=10.0, min_liquor_l=10.0, metal_j_per_k=65_536.0 - 41_900.0), unasked_rise_k=limit_k)
    figures = plate.of(heated(tun, power_w=power_w))
    past = told(temperatures, [0.0] * len(temperatures), off_since=0.0)
    after, found = judged(G10, past, tun, figures, state=S.IDLE)
    return after.alarm, found is not None


def steady(per_line: float) -> list[float]:
    return [per_line * at for at in range(60)]


@pytest.mark.parametrize(
    ("per_line", "power_w", "latches"),
    [
        (10.0 / 128, 1024.0, True), (10.0 / 128, 1025.0, False),  # half the heater's rate, just under
        (15.0 / 256, 256.0, True), (15.0 / 256, 255.0, False),  # 1.5 times the heater's rate, just over
    ],
)  # fmt: skip
def test_idle_rates_at_their_limits(per_line: float, power_w: float, latches: bool) -> None:
    """From half to one and a half times the heater's own rate latches, both ends included."""
    assert idled(steady(per_line), power_w) == (True, latches)


def test_idle_steepness_at_its_limit() -> None:
    """Just 2 K in any thirty seconds latches; one stretch that is steeper does not, whatever the others are."""
    wave = [0.0]
    for at in range(59):
        wave.append(wave[-1] + (0.75 if at % 3 == 1 else 0.625))
    assert idled(wave, 65_536.0 / 15.0) == (True, True)
    hose = [value + (1.0 if at >= 45 else 0.0) for at, value in enumerate(steady(0.5))]
    assert idled(hose, 65_536.0 / 20.0) == (True, False)
    assert idled(steady(0.5), 65_536.0 / 20.0) == (True, True)


def test_idle_alarm_at_its_limits() -> None:
    """A rise of just the limit alarms; a stretch of thirty seconds without any rise ends the alarm."""
    limit_k = 10.0 * 30.0 / 128 / 300.0 * 180.0
    even = steady(10.0 / 128)
    assert idled(even, 1024.0, limit_k)[0]
    assert not idled(even, 1024.0, limit_k + 0.001)[0]
    level = [value if at < 45 else max(value - 0.25, even[44]) for at, value in enumerate(even)]
    assert level[47] == level[44]
    assert not idled(level, 1024.0)[0]


@pytest.mark.parametrize(("lines", "changes"), [(20, {}), (30, {}), (60, {})])
def test_an_idle_alarm_ends(lines: int, changes: dict[str, Any]) -> None:
    """With too little history, or with no rise, an alarm that was on is off; no object is made anew for nothing."""
    past = told([0.0] * lines, [0.0] * lines, off_since=0.0)
    on, values = HeatNotAskedFor(alarm=True), {"state": S.IDLE, **changes}
    assert not judged(on, past, **values)[0].alarm
    assert judged(G10, past, **values)[0] is G10


def test_an_idle_alarm_that_stands() -> None:
    """It goes on as the same object as long as the rise does."""
    past = told(steady(0.5), [0.0] * 60, off_since=0.0)
    on = HeatNotAskedFor(alarm=True)
    assert judged(on, past, state=S.IDLE)[0] is on
    assert judged(on, past._replace(off_since=past.lines[-1].at - 329.0), state=S.IDLE)[0] == G10


# ---------------------------------------------------------------- clearing


@pytest.mark.parametrize(("lines", "rise", "there"), [
    (19, 0.8, True), (19, 0.75, False), (18, 0.0, True), (1, 0.0, True),
])  # fmt: skip
def test_three_minutes_without_a_rise_end_it(lines: int, rise: float, there: bool) -> None:
    """As long as it has warmed by 0.8 K in three minutes, or they are not yet known, the cause is there."""
    trip = Trip("G10", 0.0, "hot", 1.0, 0.8, "K", 1, True, True)
    finding = G10.still_there(trip, senses(), known(past=straight(lines, rise, 0.0, 19)))
    assert (finding is not None) is there
    if finding is not None:
        assert (finding.row.id, finding.limit) == ("G10", 0.8)
        assert finding.value == rise or lines < 19
    assert G10.LATE == " To be sure that the mash has stopped warming takes 180 s."
    assert watt().quiet_s == 330.0
