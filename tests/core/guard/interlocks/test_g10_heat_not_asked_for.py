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
    _most_k,
    _unasked_k,
)
from controller.core.guard.plate import Plate
from controller.core.guard.senses import EVERY, NO_RUN
from controller.core.nouns import Trip
from controller.settings.tun import Tun
from tests.core.guard.looks import S, known, senses
from tests.core.guard.story import (
    BEHIND,
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
    (JACKET, 0.161, 310.0), (JACKET, 0.159, None), (COIL, 0.161, 310.0), (BEHIND, 0.161, 520.0),
    (limited(unasked_rise_k=2.0), 0.42, 310.0), (limited(unasked_rise_k=2.0), 0.39, None),
])  # fmt: skip
def test_unasked_rise_with_the_heater_off(which: Tun, k_per_min: float, found: float | None) -> None:
    """0.8 K in the first five minutes that are known; behind the heater not before 510 s without heat."""
    off = story(which, setpoint_c=None)
    assert off.go(rising(50.0, k_per_min), 0.0, 1500.0) == found
    if found is not None and off.finding is not None:
        limit_k = which.guard.unasked_rise_k
        assert off.found == (pytest.approx(5.0 * k_per_min), limit_k)
        assert off.finding.latches and off.finding.words == (
            f"The mash warmed by {5.0 * k_per_min:.1f} K with the heater told to be off (limit {limit_k:g} K). "
            "The switch may be stuck closed: cut the mains now, then look."
        )


STEP = 25.0 / 1024.0  # K a line: 0.73 K in five minutes


@pytest.mark.parametrize(("limit_k", "trips"), [(30 * STEP, True), (30 * STEP + 0.001, False)])
def test_unasked_rise_at_its_limit(limit_k: float, trips: bool) -> None:
    """Just the limit is too much; a little less is not."""
    past = told(steady(STEP), [0.0] * 60, off_since=0.0)
    assert judged(G10, past, limited(vessel(), unasked_rise_k=limit_k))[1] == (
        Finding(G10.ROW, 30 * STEP, limit_k) if trips else None
    )


@pytest.mark.parametrize(("k_per_min", "step_c", "within_s"), [(0.2, 0.5, 480.0), (0.3, 0.5, 400.0), (0.2, 0.1, 400.0)])
def test_a_probe_in_steps_sees_a_slow_rise_in_time(k_per_min: float, step_c: float, within_s: float) -> None:
    """Wherever between two steps it begins: 0.2 K/min are told within eight minutes; one step alone is none."""
    for start in range(10):
        coarse = story(setpoint_c=None, state=S.RUNNING)
        even = rising(60.0 + step_c * start / 10.0, k_per_min)
        assert coarse.go(flat(60.0), 0.0, 600.0) is None
        found = coarse.go(lambda at, even=even: step_c * round(even(at) / step_c), 0.0)  # type: ignore[misc]
        assert found is not None and found <= within_s
        single = story(setpoint_c=None)
        assert single.go(lambda at: 60.0 if at < 600.0 else 60.0 + step_c, 0.0, 1500.0) is None


@pytest.mark.parametrize(("slow", "quick", "found"), [(21, 61, True), (20, 61, False), (0, 103, False)])
def test_a_rise_takes_its_time(slow: int, quick: int, found: bool) -> None:
    """Of a rise of 1 K the middle 100 s may bring 0.59, not 0.604, and not all of it, as poured liquor does."""
    steps = [slow] * 10 + [quick] * 10 + [slow] * 10
    past = told([sum(steps[:at]) / 1024.0 for at in range(31)], [0.0] * 31, off_since=-1000.0)
    assert (judged(G10, past)[1] is not None) is found


@pytest.mark.parametrize(("lines", "found"), [(31, True), (30, False)])
def test_five_minutes_must_be_known(lines: int, found: bool) -> None:
    """With a line less of history than five minutes nothing is said."""
    past = told(steady(0.5)[:lines], [0.0] * lines, off_since=-1000.0)
    assert (judged(G10, past)[1] is not None) is found


@pytest.mark.parametrize(
    ("given_j", "loss_w_per_k", "found"), [(0.5, 0.0, True), (0.6, 0.0, False), (0.6, 0.02, True), (0.6, 0.0001, False)]
)
def test_what_the_heat_given_may_still_do_is_no_wonder(given_j: float, loss_w_per_k: float, found: bool) -> None:
    """Of a rise of 1.5 K 1.3 times the heat of the hottest five minutes within dead time and lags is taken off; half of
    the plate's loss in that time makes it less."""
    which = limited(vessel(loss_w_per_k=loss_w_per_k), dead_time_s=60.0)
    past = told(steady(0.05), [0.0] * 24 + [given_j] * 36, off_since=240.0)
    assert (judged(G10, past, which, watt(which))[1] is not None) is found
    later = told(steady(0.05), [0.0] * 23 + [given_j] * 37, off_since=230.0)
    assert judged(G10, later, which, watt(which))[1] is not None


# ---------------------------------------------------------------- in a run: far over the setpoint


@pytest.mark.parametrize(("setpoint_c", "k_per_min", "duty", "found"), [
    (60.0, 0.2, 0.0, 180.0), (60.0, 0.11, 0.0, 180.0), (60.0, 0.09, 0.0, None), (70.0, 0.15, 0.0, None),
    (None, 0.15, 0.0, None), (60.0, 0.2, 0.1, None),
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
    assert added.go(rising(from_c, 0.14), 0.0, 600.0) == found
    if found is not None:
        assert added.found[1] == 6.0
    else:
        assert added.interlock.in_a_row == 0
        assert added.go(rising(64.91, 0.14), 0.0) == then
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


@pytest.mark.parametrize(("added_ago_s", "found"), [(600.0, False), (600.1, True)])
def test_hot_liquor_that_still_mixes_may_rise_twice_as_far(added_ago_s: float, found: bool) -> None:
    """1.5 K in five minutes are told of ten minutes after an addition, and not before."""
    past = told(steady(0.05), [0.0] * 60, off_since=0.0, added_at=590.0 - added_ago_s)
    assert (judged(G10, past)[1] is not None) is found


# ---------------------------------------------------------------- with nothing running


@pytest.mark.parametrize(("k_per_min", "alarm", "latches"), [
    (1.4 * OWN, True, True), (1.6 * OWN, True, False), (0.9 * OWN, True, True), (0.159, False, False),
    (0.0, False, False),
])  # fmt: skip
def test_idle_alarm_and_latch(k_per_min: float, alarm: bool, latches: bool) -> None:
    """With nothing running an even rise at the heater's own rate latches; one too fast only alarms, and under 0.8 K in
    five minutes it is none."""
    idle = story(state=S.IDLE)
    assert (idle.go(rising(20.0, k_per_min), 0.0, 900.0) is not None) is latches
    assert idle.interlock.alarm is alarm
    notes = idle.interlock.notes(idle.base, known())
    assert notes == ((Note("G10", ALARM, 2),) if alarm else ())
    if latches:
        assert idle.found == (pytest.approx(5.0 * k_per_min), 0.8)


@pytest.mark.parametrize(("bath_l", "share", "latches"), [
    (0.0, 0.48, False), (0.0, 0.52, True), (0.0, 0.45, False), (100.0, 0.45, True),
])  # fmt: skip
def test_idle_latches_nothing_slower_than_a_full_tun(bath_l: float, share: float, latches: bool) -> None:
    """Half the rate of the fullest tun, its bath included, still counts as the heater's; a slower rise only alarms."""
    strong = heated(bathed(bath_l, "jacket"), power_w=10_000.0)
    idle = story(strong, state=S.IDLE, setpoint_c=None)
    assert (idle.go(rising(40.0, share * 5.0 * LEAST), 0.0, 4000.0) is not None) is latches
    assert idle.interlock.alarm


@pytest.mark.parametrize(("state", "value"), [
    (S.CHECKING, rising(20.0, 1.0)), (S.IDLE, lambda at: 20.0 if at < 500.0 else 50.0), (S.IDLE, flat(20.0)),
])  # fmt: skip
def test_idle_is_quiet_for_what_is_no_rise(state: S, value: Course) -> None:
    """While checking, at a step, or with no rise: no alarm."""
    idle = story(state=state)
    assert idle.go(value, 0.0, 900.0) is None
    assert not idle.interlock.alarm


@pytest.mark.parametrize("state", sorted(EVERY - {S.RUNNING, S.PAUSING, S.PAUSED, S.CHECKING}))
def test_it_is_watched_in_every_state(state: S) -> None:
    """Five minutes, in any state without heat, the alarm and the trip in the same second; without a run, where nobody
    has counted the heat before, once it was off for 390 s and two minutes."""
    assert EVERY - {S.CHECKING} == HeatNotAskedFor.STATES
    idle, within_s = story(state=state), 510.0 if state in NO_RUN else 300.0
    assert idle.go(rising(20.0, 1.0), 0.0, within_s) is None
    assert not idle.interlock.alarm
    assert idle.go(rising(20.0 + within_s / 60.0, 1.0), 0.0, 10.0) == 10.0
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
        (2.0, 8192.0, False),  # a hose, 1.6 times as fast as a strong heater
    ],
)  # fmt: skip
def test_idle_rates_at_their_limits(per_line: float, power_w: float, latches: bool) -> None:
    """From half to one and a half times the heater's own rate latches, both ends included."""
    assert idled(steady(per_line), power_w) == (True, latches)


def test_idle_latches_an_even_rise_alone() -> None:
    """Each fifth must be warmer than the one before by a twentieth of it all; liquor that is poured in only alarms."""
    assert idled(steady(0.5), 65_536.0 / 20.0) == (True, True)
    poured = [0.0 if at < 45 else 9.0 for at in range(60)]
    assert idled(poured, 65_536.0 / 20.0) == (True, False)
    slower = [0.25 * min(at, 40) + 0.75 * max(0, at - 40) for at in range(60)]
    assert idled(slower, 65_536.0 / 20.0) == (True, True)
    assert idled([value if at < 50 else slower[49] for at, value in enumerate(slower)], 65_536.0 / 20.0)[0]


def test_idle_alarm_at_its_limits() -> None:
    """A rise of just the limit alarms, one a little under it does not."""
    even = steady(10.0 / 128)
    assert idled(even, 1024.0, 300.0 / 128)[0]
    assert not idled(even, 1024.0, 300.0 / 128 + 0.001)[0]


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
    assert judged(on, past._replace(off_since=None), state=S.IDLE)[0] == G10


# ---------------------------------------------------------------- clearing


@pytest.mark.parametrize(("lines", "per_line", "there"), [
    (31, 0.027, True), (31, 0.026, False), (30, 0.0, True), (1, 0.0, True),
])  # fmt: skip
def test_five_minutes_without_a_rise_end_it(lines: int, per_line: float, there: bool) -> None:
    """As long as it has warmed by 0.8 K in five minutes, or they are not yet known, the cause is there."""
    trip = Trip("G10", 0.0, "hot", 1.0, 0.8, "K", 1, True, True)
    past = told(steady(per_line)[:lines], [0.0] * lines)
    finding = G10.still_there(trip, senses(), known(past=past))
    assert (finding is not None) is there
    if finding is not None:
        assert (finding.row.id, finding.limit) == ("G10", 0.8)
        assert finding.value == pytest.approx(30 * per_line) or lines < 31
    assert G10.LATE == " To be sure that the mash has stopped warming takes 300 s."


# ---------------------------------------------------------------- by how much, beyond what the heat given may do


LOSSLESS = watt()._replace(loss_w_per_k=0.0)


def unasked_k(
    off_s: float = 600.0, given_j: float = 0.0, at_c: float = 0.0, misfit: bool = False, figures: Plate = LOSSLESS
) -> float:
    """Of a rise of 1.5 K in five minutes, in the tun of one watt and two joules a kelvin."""
    energies = [0.0] * 40 + [given_j] * 20
    past = told([at_c + degrees for degrees in steady(0.05)], energies, off_since=590.0 - off_s)
    what = known(past=past, plate=figures)._replace(misfit=misfit)
    return _unasked_k(senses(tun=vessel(), now=590.0, capacity_j_per_k=2.0, state=S.RUNNING), what)


def test_how_much_of_a_rise_is_nobodys() -> None:
    """All of it, less 1.3 times the heat given by what is in the tun, that less half of the loss over the room; none
    where the heater has not been off for long, and longer where the masses are known to be wrong."""
    assert [unasked_k(), unasked_k(given_j=1.0)] == pytest.approx([1.5, 1.5 - 1.3 / 2.0])
    assert [unasked_k(off_s) > 0.0 for off_s in (30.0, 29.5)] == [True, False]
    long_s = watt().quiet_s + 300.0
    assert [unasked_k(off_s, misfit=True) > 0.0 for off_s in (long_s, long_s - 0.5)] == [True, False]
    lossy = LOSSLESS._replace(loss_w_per_k=1.0 / 1500.0, room_c=20.0)
    over_c = steady(0.05)[-1]  # over the room by then
    left_k = 1.5 - (1.3 - 0.5 * over_c * 300.0 / 1500.0) / 2.0
    assert unasked_k(given_j=1.0, at_c=20.0, figures=lossy) == pytest.approx(left_k)
    warm_room = lossy._replace(room_c=50.0)
    assert unasked_k(given_j=1.0, at_c=20.0, figures=warm_room) == pytest.approx(1.5 - 1.3 / 2.0)


def test_heat_within_dead_time_and_lag_counts() -> None:
    """What went out just before the five minutes may still show."""
    early = [0.0] * 25 + [1.0] * 35  # 340 s ago
    past = told(steady(0.05), early, off_since=0.0)
    seen = senses(tun=vessel(), now=590.0, capacity_j_per_k=2.0, state=S.RUNNING)
    found = [
        _unasked_k(seen, known(past=past, plate=LOSSLESS._replace(dead_s=dead_s, lag_s=lag_s)))
        for dead_s, lag_s in ((0.0, 0.0), (60.0, 0.0), (0.0, 60.0), (30.0, 30.0))
    ]
    assert found == pytest.approx([1.5] + [1.5 - 1.3 / 2.0] * 3)


def test_how_much_a_line_may_rise() -> None:
    """A step of a coarse probe, or what one and a half times the fastest heater makes in ten seconds."""
    assert [_most_k(known(plate=watt()._replace(fastest_k_per_s=rate))) for rate in (0.01, 0.125)] == [0.5, 1.875]


def test_it_stops_warming_under_its_limit() -> None:
    """Just the limit is still there; with nothing said it is no alarm."""
    past, which = told(steady(STEP), [0.0] * 60), limited(vessel(), unasked_rise_k=30 * STEP)
    still = G10.still_there(
        Trip("G10", 0.0, "", 1.0, 1.0, "K", 1, True, True), senses(tun=which), known(past=past, plate=watt())
    )
    assert still == Finding(G10.ROW, 30 * STEP, 30 * STEP) and not HeatNotAskedFor().alarm
