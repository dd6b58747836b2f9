"""G09: heat that is asked for must show as a rise."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.history import EVEN_SHARE, History
from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g09_no_heat_seen import DRAWS, NoHeatSeen
from controller.core.guard.senses import HEATED
from controller.core.nouns import HeaterReport
from controller.settings.tun import Tun
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import HOT, NOW, OFF, SEEN, S, known, watch
from tests.core.guard.story import (
    BEHIND,
    CAPACITY,
    COIL,
    JACKET,
    STEP_K,
    Course,
    Story,
    bathed,
    flat,
    hold,
    judged,
    limited,
    rising,
    straight,
    told,
    vessel,
    watt,
)

G09 = NoHeatSeen()
QUICK = limited(no_heat_window_s=180.0, dead_time_s=0.0)


def story(which: Tun = JACKET, **changes: Any) -> Story[NoHeatSeen]:
    return Story(G09, which, **changes)


# ---------------------------------------------------------------- the rise that is due


@pytest.mark.parametrize(("which", "found"), [
    (JACKET, 340.0), (QUICK, 220.0), (COIL, 640.0), (bathed(2.0), 640.0), (bathed(10.0), 760.0),
    (bathed(10.0, "jacket"), 760.0), (bathed(29.0), 1540.0), (bathed(90.0), 1540.0),
])  # fmt: skip
def test_no_heat_is_seen_after_window_dead_time_and_persistence(which: Tun, found: float) -> None:
    """Full heat and a flat reading: 10 s to the first line, 240 s of window, 60 s of dead time, the fourth verdict in a
    row; a coil has 300 s at least, liquor that the file names as long as 20 K over the wort store at full power (419 s
    for ten litres), 1,200 s at the most."""
    flat_one = story(which)
    assert flat_one.go(flat(60.0), 1.0) == found
    windows = which.guard.no_heat_window_s / 10.0
    assert flat_one.found == (0.0, pytest.approx(0.25 * windows * STEP_K))
    assert (
        flat_one.finding is not None
        and flat_one.finding.latches
        and flat_one.finding.words
        == (
            f"Heat was asked for but the mash rose by 0.0 K where at least {flat_one.finding.limit:.1f} K was due. "
            "Heat is off. Check element, cut-out and mains, and whether the probe is in the mash."
        )
    )


@pytest.mark.parametrize(("share", "due_k", "found"), [
    (0.24, 4.8, 340.0), (0.26, 4.8, None), (0.24, 1.5, 580.0), (0.26, 1.5, None),
])  # fmt: skip
def test_a_quarter_of_the_rise_is_enough(share: float, due_k: float, found: float | None) -> None:
    """Just under a quarter of what is due trips, just over does not; of a weak heater's as well."""
    assert story().go(rising(50.0, share * due_k / 4.0), due_k / 4.8, 1500.0) == found


@pytest.mark.parametrize(
    ("due_k", "found"),
    [(2.05, 340.0), (1.95, 580.0), (1.03, 580.0), (0.97, 820.0), (0.68, 820.0), (0.65, 940.0), (0.49, None)],
)
def test_judged_by_the_first_window_in_which_two_kelvin_are_due(due_k: float, found: float | None) -> None:
    """Due in 240 s; what is too little for that is judged by 480 s, 720 and 840, dead time and persistence on top."""
    assert story().go(flat(60.0), due_k / 4.8) == found


@pytest.mark.parametrize(("due", "rise", "counted"), [(2.0, 0.0, 1), (1.875, 0.0, 0), (8.0, 2.0, 0), (8.0, 1.875, 1)])
def test_missing_heat_at_its_limits(due: float, rise: float, counted: int) -> None:
    """2 K due is judged, a quarter of it seen is enough; a little less of either is not."""
    assert judged(G09, straight(25, rise, due, 24))[0].in_a_row == counted


@pytest.mark.parametrize(
    ("lines", "due", "rise", "counted"),
    [(49, 1.0, 0.0, 1), (49, 0.96875, 0.0, 0), (48, 1.0, 0.0, 0), (49, 1.0, 0.5, 0), (49, 1.0, 0.484375, 1)],
)
def test_a_weak_heater_is_judged_by_twice_the_window(lines: int, due: float, rise: float, counted: int) -> None:
    """1 K due in 240 s is too little, 2 K in 480 s is enough; a quarter of that seen is enough as well."""
    assert judged(G09, straight(lines, rise, due, 24))[0].in_a_row == counted


def test_what_is_due_is_the_least_energy_of_any_window_up_to_the_dead_time_ago() -> None:
    """8 J in the first minute: of the windows that end in the last minute the newest holds none of them."""
    past = told([0.0] * 31, [at * 8.0 / 6.0 for at in range(6)] + [8.0] * 25)
    which = limited(vessel(), dead_time_s=60.0)
    assert judged(G09, past, which, watt(which))[0].in_a_row == 0
    assert judged(G09, past._replace(lines=past.lines[:25]))[0].in_a_row == 1


def test_a_strong_heater_is_judged_by_the_window_alone() -> None:
    """What was due in 240 s came: that nothing had come in the 240 s before is no matter."""
    came = told([0.0] * 25 + [at / 12.0 for at in range(1, 25)], [at / 12.0 for at in range(49)])
    assert judged(G09, came)[0].in_a_row == 0


@pytest.mark.parametrize(("loss_w_per_k", "an_hour"), [(0.0, 0.15), (2.0, 0.15), (4.0, 0.2448), (50.0, 0.35)])
def test_loss_is_taken_pessimistically(loss_w_per_k: float, an_hour: float) -> None:
    """1.7 times the plate's loss is taken off what is due, but 15 to 35 % an hour of the difference to the room."""
    lossy = JACKET.model_copy(update={"room_c": 0.0, "loss_w_per_k": loss_w_per_k})
    loss_k = an_hour / 3600.0 * 60.0 * 240.0
    for spare, trips in ((0.02, True), (-0.02, False)):
        found = story(lossy).go(flat(60.0), (2.0 + loss_k + spare) / 4.8, 570.0)
        assert (found is not None) is trips


@pytest.mark.parametrize(("due_k", "trips"), [(2.05, True), (1.95, False)])
def test_no_loss_to_a_warmer_room(due_k: float, trips: bool) -> None:
    """A room warmer than the mash gives it nothing."""
    warm = JACKET.model_copy(update={"room_c": 80.0})
    assert (story(warm).go(flat(60.0), due_k / 4.8, 570.0) is not None) is trips


@pytest.mark.parametrize(
    ("target_c", "duty", "found"),
    [(61.0, 0.70, 340.0), (60.9, 0.73, 340.0), (60.9, 0.69, None), (60.9, 0.96, 340.0), (None, 0.69, None)],
)
def test_a_mash_kept_at_its_target_is_judged_mildly(target_c: float | None, duty: float, found: float | None) -> None:
    """Within 1 K of its target and by less than full heat a mash is kept: 35 % an hour may be lost, lid off, and only
    the window itself judges. 60 K over the room 1.4 K of 240 s are lost then, 0.6 K otherwise."""
    lossless = JACKET.model_copy(update={"room_c": 0.0})
    assert story(lossless, target=hold(target_c)).go(flat(60.0), duty, 1500.0) == found


def test_a_mash_at_its_target_with_full_heat_is_no_kept_one() -> None:
    """0.5 K short at full heat of a weak heater, 0.8 K due in 240 s: seen by three windows."""
    weak = story(target=hold(60.5), capacity_j_per_k=6.0 * CAPACITY)
    assert weak.go(flat(60.0), 1.0, 1500.0) == 820.0


@pytest.mark.parametrize("doubt_every", [1, 3, 20])
def test_a_doubtful_reading_forgets_nothing(doubt_every: int) -> None:
    """One refused or lost sample now and then, or always: missing heat is seen as soon as without it."""
    doubted, found = story(), None
    while found is None and doubted.now < 1000.0:
        doubtful = round(doubted.now / 10.0) % doubt_every == 0
        found = doubted.line(60.0, 1.0, seen=SEEN._replace(value_c=60.0, doubtful=doubtful))
    assert doubted.now == 340.0


def test_what_was_before_the_first_heat_says_nothing() -> None:
    """Filled with cold liquor, 12 K in a minute, just before the start: the fall is not held against the heat."""
    filled = story()
    filled.go(lambda at: 60.0 - max(at - 240.0, 0.0) / 5.0, 0.0, 300.0)
    assert len(filled.past.lines) == 30
    assert filled.go(rising(48.0, 1.0), 1.0, 1000.0) is None


@pytest.mark.parametrize("late_s", [0.0, 30.0, 60.0])
def test_heat_may_come_at_once_or_late(late_s: float) -> None:
    """A rise of three minutes shows at once or a minute late: neither is taken for missing heat afterwards."""
    rise = 180.0 * 1.2 / 60.0
    value: Course = lambda at: 60.0 + min(rise, max(0.0, at - 600.0 - late_s) * 0.02)  # noqa: E731
    assert story().go(value, lambda at: 1.0 if 600.0 < at <= 780.0 else 0.0, 1500.0) is None


# ---------------------------------------------------------------- in a row


@pytest.mark.parametrize(("value_c", "changes", "counted"), [
    (62.0, {}, 0), (60.0, {"state": S.HELD}, 0), (60.0, {"state": S.IDLE}, 0), (60.0, {"state": S.PAUSED}, 4),
])  # fmt: skip
def test_persistence_begins_anew(value_c: float, changes: dict[str, Any], counted: int) -> None:
    """A single line with a rise in between, or a hold, and the count of verdicts starts again."""
    counting = story()
    assert counting.go(flat(60.0), 1.0, 330.0) is None
    assert counting.interlock.in_a_row == 3
    counting.line(value_c, 1.0, **changes)
    assert counting.interlock.in_a_row == counted


def test_between_two_lines_nothing_is_judged() -> None:
    """A tick without a new line changes no count, though it would be the fourth."""
    past = straight(25, 0.0, 8.0, 24)
    counted = NoHeatSeen(in_a_row=3)
    assert judged(counted, past._replace(fresh=False)) == (counted, None)
    assert judged(counted, past)[1] is not None


def test_another_history_counts_from_one() -> None:
    """Verdicts in a row are of one history: after an addition or a trip the count is 1 again."""
    past = straight(25, 0.0, 8.0, 24)
    assert judged(NoHeatSeen(era=4, in_a_row=3), past._replace(era=5))[0] == NoHeatSeen(era=5, in_a_row=1)
    after, finding = judged(NoHeatSeen(era=5, in_a_row=3), past._replace(era=5))
    assert (after.in_a_row, finding is not None) == (4, True)


def test_it_is_for_runs_only() -> None:
    """Where no heat may flow it is not asked; with nothing counted it stays the same object."""
    assert HEATED == NoHeatSeen.STATES
    assert G09.asleep(story().base) is G09
    assert story(state=S.HELD).go(flat(60.0), 1.0, 800.0) is None


# ---------------------------------------------------------------- behind the heater


def falling(last: float) -> History:
    """0.1 J/s for 300 s without a rise, then `last` J less than that over the last 20 s."""
    return told([0.0] * 31, [float(at) for at in range(29)] + [29.0 - last / 2, 30.0 - last])


def test_missing_heat_is_not_judged_behind_the_heater_once_heat_is_less() -> None:
    """The probe falls with the heat: a tenth of full power less over 20 s is judged, more than that is not; one in the
    mash is judged either way."""
    tenth = EVEN_SHARE * 20.0
    for less, which, counted in (
        (0.0, vessel(BEHIND), 1), (tenth, vessel(BEHIND), 1), (tenth + 0.001, vessel(BEHIND), 0),
        (tenth + 0.001, vessel(), 1), (-tenth - 0.001, vessel(BEHIND), 1),
    ):  # fmt: skip
        assert judged(G09, falling(less), which)[0].in_a_row == counted


# ---------------------------------------------------------------- at once


def fall(k: float, over_s: float = 60.0) -> Course:
    """At 60 °C for 200 s, then so many kelvins down at an even rate."""
    return lambda at: 60.0 - k * min(max(at - 200.0, 0.0) / over_s, 1.0)


@pytest.mark.parametrize(
    ("which", "course", "duty", "found"),
    [
        (JACKET, fall(5.125), 0.3, 260.0),
        (JACKET, fall(4.875), 0.3, None),
        (JACKET, fall(5.125, 80.0), 0.3, None),  # too slow: 3.8 K in a minute
        (JACKET, fall(30.0), 0.3, 220.0),  # 5 K a line: history moves with it, and the moves count
        (JACKET, fall(4.0, 10.0), 0.3, None),  # liquor poured in without a word
        (JACKET, fall(12.0), 0.0, None),  # with the heater off: G04 and the evidence look at that
        (JACKET, fall(12.0), lambda at: 0.3 if at <= 50.0 or 220.0 < at <= 230.0 else 0.0, 260.0),
        (JACKET, fall(12.0), lambda at: 0.0 if at <= 250.0 else 0.3, None),  # heat began while it fell
        (BEHIND, fall(9.5), 0.3, None),  # behind the heater 5 K more come from the heat
        (BEHIND, fall(10.5), 0.3, 260.0),
    ],
)
def test_a_probe_that_slips_out(which: Tun, course: Course, duty: Course | float, found: float | None) -> None:
    """More than 5 K down in a minute with heat on all the while is no mash: seen at once."""
    slipping = story(which)
    assert slipping.go(course, duty, 320.0) == found
    if found is not None:
        assert slipping.finding is not None and slipping.finding.words.startswith("The reading fell by ")
        assert f"in a minute with the heater on (limit {slipping.found[1]:g} K)" in slipping.finding.words


@pytest.mark.parametrize(("fell_k", "found"), [(5.0, False), (5.25, True)])
def test_five_kelvin_are_borne(fell_k: float, found: bool) -> None:
    """Just 5 K down in the minute are no finding; a little more is."""
    for lines, in_the_minute in ((2, True), (1, False)):
        steep = told([fell_k] * lines + [0.0] * (8 - lines), [float(at) for at in range(8)])
        assert (judged(G09, steep)[1] is not None) is (found and in_the_minute)


@pytest.mark.parametrize(("apart_s", "found"), [(60.0, None), (50.0, 260.0)])
def test_moves_older_than_a_minute_do_not_count(apart_s: float, found: float | None) -> None:
    """4 K down at once, and 4 K more 60 s later, is not 8 K in a minute; 50 s later it is."""
    steps: Course = lambda at: 60.0 - 4.0 * (at > 200.0) - 4.0 * (at > 200.0 + apart_s)  # noqa: E731
    assert story().go(steps, 0.3, 320.0) == found


@pytest.mark.parametrize("state", [S.HELD, S.RESTARTING])
def test_a_fall_is_nothing_without_a_run(state: S) -> None:
    """Held or restarting the line may cool."""
    assert story(state=state).go(fall(30.0), 0.3, 320.0) is None


# ---------------------------------------------------------------- the power that the node measures


def draws(*reports: tuple[float, float | None], hot: bool = True) -> tuple[NoHeatSeen, list[Finding | None]]:
    """A report a second: the output and the power measured. The plate says 5,000 W."""
    interlock, all_found = G09, []
    for duty, power_w in reports:
        report = HeaterReport(NOW - 0.5, "b", 1, 50, duty, 9.0, power_w=power_w)
        interlock, finding = watch(interlock, known(line=HOT if hot else OFF), report=report)
        all_found.append(finding)
    return interlock, all_found


def test_no_power_with_the_output_on() -> None:
    """Under 5 % of what should flow for 5 s in all is found at once; at 5 % it is power."""
    after, seen = draws(*[(1.0, 249.9)] * 5)
    assert seen == [None] * 4 + [Finding(G09.ROW, 249.9, 250.0, says=DRAWS, unit="W")]
    assert seen[-1] is not None and seen[-1].words.startswith(
        "With its output on, the heater draws 250 W (at least 250 W is due). Heat is off."
    )
    assert after.no_power_s == 0.0
    for report, found in (
        ((1.0, 250.0), False), ((0.5, 125.0), False), ((0.5, 124.9), True), ((0.2, 0.0), False), ((0.21, 0.0), True),
        ((1.0, None), False),
    ):  # fmt: skip
        assert (draws(*[report] * 5)[1][-1] is not None) is found, report
    assert draws(*[(1.0, 0.0)] * 20, hot=False)[1] == [None] * 20
    assert watch(G09, known(line=HOT), report=None) == (G09, None)


def test_power_within_an_on_off_window() -> None:
    """The off part of a window counts neither way: only time with the output on does; a meter that is late shows power
    in the off part; that is power too."""
    on, off = (1.0, 0.0), (0.0, 0.0)
    _, dead = draws(*[on, off, off] * 5)
    assert [n for n, finding in enumerate(dead) if finding is not None] == [12]
    assert draws(*[(1.0, 5000.0), off, off] * 50)[1] == [None] * 150
    assert draws(*[on, (0.0, 5000.0)] * 50)[1] == [None] * 100
    assert draws(*[on, on, on, on, (1.0, 5000.0)] * 20)[1] == [None] * 100
    assert draws(*[on, on, (1.0, 250.0), on, on, on])[1][-1] is not None  # 5 % are no proof of power, and no lack of it


def test_what_is_missing_at_once_is_told_before_what_is_missing_in_the_line() -> None:
    """In one tick both show: no power, and a fall of 8 K. The first is told."""
    past = told([8.0] * 2 + [0.0] * 6, [float(at) for at in range(8)])
    report = HeaterReport(NOW - 0.5, "b", 1, 50, 1.0, 9.0, power_w=0.0)
    _, finding = watch(NoHeatSeen(no_power_s=4.0), known(line=HOT, past=past), report=report)
    assert finding is not None and finding.says == DRAWS


def test_a_dead_element_is_seen_in_seconds() -> None:
    """The whole core: the cut-out opens in a ramp; five seconds later heat is off, with the power in the sentence."""
    bench = Bench(settings(), mash_c=58.0)
    bench.until("idle")
    bench.start(course(leg("beta", 66.0, 3600.0), grist_kg=0))
    for n in range(100):
        power_w = bench.duty * 5000.0 if bench.last is not None and n < 60 else 0.0
        seq, duty = bench.state.guard.line.seq, bench.duty
        bench.extra = {"heater": HeaterReport(bench.now + 0.9, "b1", 1, seq, duty, 9.0, power_w=power_w)}
        bench.step()
        if bench.state.guard.trips:
            break
    assert n == 64
    trip = bench.state.guard.trips[0]
    assert (trip.id, trip.latched, trip.unit) == ("G09", True, "W")
    assert trip.text.startswith("With its output on, the heater draws 0 W (at least")
