"""What has the mash done, and how much heat was put in: lines, levels, energy, windows."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from controller.core.guard import history, plate
from controller.core.guard.history import History, Line, apart_k
from controller.core.guard.interlocks.g25_does_not_fit import FIT_S
from controller.core.guard.senses import Senses
from controller.core.nouns import RunState
from controller.settings.tun import Tun
from tests.core.guard.looks import SEEN, senses
from tests.core.guard.story import (
    BEHIND,
    BLOCKED,
    CAPACITY,
    JACKET,
    POWER,
    heated,
    hold,
    told,
    vessel,
    watt,
)

PLATE = plate.of(JACKET)


def tick(value_c: float | None, now: float, dt: float = 10.0, which: Tun = JACKET, **changes: Any) -> Senses:
    figures = {"target": hold(90.0), **changes}
    return senses(tun=which, now=now, dt=dt, seen=SEEN._replace(value_c=value_c), **figures)


def told_on(past: History, values: list[float], duty: float, which: Tun = JACKET, from_s: float = 0.0) -> History:
    """A line every ten seconds."""
    for n, value_c in enumerate(values):
        past = past.follow(tick(value_c, from_s + 10.0 * (n + 1), which=which), duty, plate.of(which))
    return past


# ---------------------------------------------------------------- lines


def test_a_line_every_ten_seconds() -> None:
    """More readings than that are not kept, and no more lines than needed; `fresh` in the tick of a new one alone."""
    past = History().follow(tick(60.0, 10.0), 0.0, PLATE)
    assert (past.lines, past.fresh, past.next_at) == ((Line(10.0, 60.0, 0.0),), True, 20.0)
    early = past.follow(tick(61.0, 19.9), 0.0, PLATE)
    assert (early.lines, early.fresh) == (past.lines, False)
    assert len(early.follow(tick(61.0, 20.0), 0.0, PLATE).lines) == 2
    assert early.follow(tick(61.0, 19.95), 0.0, PLATE) is early
    long = told_on(History(), [60.0] * (history.KEEP + 10), 0.0)
    assert len(long.lines) == history.KEEP
    assert long.lines[-1].at - long.lines[0].at == 10.0 * (history.KEEP - 1)


def test_it_reaches_far_enough_and_no_further() -> None:
    """240 lines: 300 s of window, 180 s of dead time, a bath's 1,200 s, a bed's 300 s, three lags of 120 s."""
    needed = FIT_S + 180.0 + plate.BATH_MOST_S + plate.BED_MOST_S + 3.0 * 120.0
    assert needed / history.STEP_S + 1 <= history.KEEP == 240 < needed / history.STEP_S + 10


def test_before_anything_was_read() -> None:
    """No line, no heat, no move; the first reading makes a line."""
    assert tuple(History()) == ((), False, 0, 0.0, 0.0, None, None, None, 0.0, 0.0, None, (), 0.0)
    assert tuple(History().follow(tick(60.0, 0.5), 0.0, PLATE).lines) == (Line(0.5, 60.0, 0.0),)


def test_an_addition_forgets_it() -> None:
    """Every window starts anew, in another era; since when heat is off stays, and when something was added."""
    past = told_on(History(), [60.0] * 30, 0.0)
    assert past.off_since == 10.0
    for now in (310.0, 320.0):
        past = past.follow(tick(60.0, now, target=BLOCKED), 0.0, PLATE)
        assert past == History(era=1, off_since=10.0, added_at=now)


def test_a_gap_without_readings_is_bridged() -> None:
    """40 s without one, then 2 K and so much heat more: the lines between lie straight; windows stay whole."""
    past = told_on(History(), [60.0, 60.0], 0.0)
    for now in (30.0, 40.0, 50.0, 60.0):
        silent = past.follow(tick(None, now), 0.0, PLATE)
        assert (silent.lines, silent.era, silent.fresh) == (past.lines, 0, False)
    back = silent._replace(energy_j=8_000.0).follow(tick(62.0, 60.0), 0.0, PLATE)
    assert back.lines[2:] == (
        Line(30.0, 60.5, 2_000.0), Line(40.0, 61.0, 4_000.0), Line(50.0, 61.5, 6_000.0), Line(60.0, 62.0, 8_000.0),
    )  # fmt: skip
    far = silent.follow(tick(62.0, 20.0 + 10.0 * (history.KEEP + 50)), 0.0, PLATE)
    assert (len(far.lines), far.lines[-1].temperature_c) == (history.KEEP, 62.0)


def test_begun_anew() -> None:
    """Nothing stays but the count of beginnings, since when heat is off, and when something was added."""
    full = told([60.0] * 5, [1.0] * 5, era=3, energy_j=9.0, next_at=7.0, off_since=4.0, heat_since=1.0, full_since=2.0)
    moved = full._replace(full_c=60.0, added_at=5.0, moves=((1.0, 2.0),))
    assert moved.begun_anew() == History(era=4, off_since=4.0, added_at=5.0)


# ---------------------------------------------------------------- another level


@pytest.mark.parametrize(("which", "step_k", "moves"), [
    (JACKET, 3.0, False), (JACKET, 3.125, True), (JACKET, -3.125, True), (BEHIND, 8.0, False), (BEHIND, 8.125, True),
])  # fmt: skip
def test_another_level_moves_it(which: Tun, step_k: float, moves: bool) -> None:
    """More than 2 K and a tenth of a kelvin a second from the line before is another level; behind the heater 5 K more
    may come from the heat; lines and the reading at full heat move with it; heat and times stay."""
    before = told_on(History(moved_all_k=1.0), [55.5 + n / 2 for n in range(10)], 1.0, which)
    after = before.follow(tick(60.0 + step_k, 110.0, which=which), 1.0, plate.of(which))
    by_k = step_k if moves else 0.0
    was = [line._replace(temperature_c=line.temperature_c + by_k) for line in before.lines]
    assert after.lines == (*was, Line(110.0, 60.0 + step_k, before.energy_j + 20_000.0))
    assert (after.full_c, after.full_since) == (55.5 + by_k, before.full_since)
    assert (after.moved_k(110.0), after.moved_all_k) == (by_k, 1.0 + by_k)
    assert after.moves == (((110.0, step_k),) if moves else ())


def test_moves_of_the_last_three_minutes() -> None:
    """They add up for three minutes; one as long ago counts no more, and is forgotten with the next."""
    past = History(moves=((100.0, 4.0), (150.0, -1.0)))
    assert [past.moved_k(now) for now in (279.9, 280.0, 330.0)] == [3.0, -1.0, 0.0]
    jumped = past._replace(lines=(Line(280.0, 60.0, 0.0),)).follow(tick(80.0, 300.0), 0.0, PLATE)
    assert jumped.moves == ((150.0, -1.0), (300.0, 20.0))


# ---------------------------------------------------------------- heat


def test_energy_is_what_was_let_out() -> None:
    """Duty, power and time, a lease at most; heat and OFF each remember since when."""
    on = History().follow(tick(60.0, 50.0), 0.5, PLATE)
    assert (on.energy_j, on.heat_since, on.off_since) == (0.5 * POWER * 10.0, 50.0, None)
    late = on.follow(tick(60.0, 90.0, dt=40.0), 0.5, PLATE)
    assert (late.energy_j, late.heat_since) == (POWER * 10.0, 50.0)
    off = late.follow(tick(60.0, 91.0), 0.0, PLATE)
    assert (off.off_since, off.energy_j, off.heat_since) == (91.0, late.energy_j, 50.0)
    assert off.follow(tick(60.0, 95.0), 0.0, PLATE).off_since == 91.0
    assert off.follow(tick(60.0, 96.0), 0.1, PLATE).off_since is None


def test_the_first_heat_begins_it_anew() -> None:
    """What was before the first heat says nothing of it: the tun may just have been filled; later heat changes
    nothing."""
    cold = told_on(History(), [20.0] * 5, 0.0)
    on = cold.follow(tick(20.0, 55.0, dt=1.0), 0.5, PLATE)
    assert (on.era, on.energy_j, on.heat_since, on.lines) == (1, 1000.0, 55.0, (Line(55.0, 20.0, 1000.0),))
    assert on.follow(tick(20.0, 65.0), 0.5, PLATE).era == 1
    assert History().follow(tick(20.0, 55.0), 0.5, PLATE).era == 0


@pytest.mark.parametrize(
    ("cap", "duty", "full"), [(1.0, 0.95, True), (1.0, 0.94, False), (0.6, 0.571, True), (0.6, 0.56, False)]
)
def test_full_heat(cap: float, duty: float, full: bool) -> None:
    """0.95 of what the file allows is full heat; since when, and what was read then, is remembered until it ends."""
    which = heated(duty_cap=cap)
    past = told_on(History(), [40.0, 41.0, 42.0], duty, which)
    assert (past.full_since, past.full_c, past.full_s) == ((10.0, 40.0, 20.0) if full else (None, 0.0, 0.0))
    assert past.follow(tick(43.0, 40.0, which=which), 0.5, PLATE).full_since is None
    off = past.follow(tick(43.0, 40.0, which=which), 0.0, PLATE)
    assert (off.full_since, off.full_s) == (past.full_since, past.full_s)


@pytest.mark.parametrize(("short_k", "far"), [(0.0, False), (0.125, True)])
def test_full_heat_far_from_the_target(short_k: float, far: bool) -> None:
    """Near it, nothing is asked; the time begins at nothing each time."""
    value_c = 90.0 - JACKET.guard.cannot_keep_up_k - short_k
    past = History(full_s=50.0).follow(tick(value_c, 10.0), 1.0, PLATE)
    assert (past.full_since, past.full_s) == ((10.0, 0.0) if far else (None, 50.0))


def test_full_heat_needs_a_reading() -> None:
    """Without one the time does not begin, and what had begun is forgotten."""
    past = told_on(History(), [40.0] * 5, 1.0)
    assert past.full_since == 10.0
    for before, duty in ((past, 1.0), (History(), 1.0), (History(), 0.5)):
        assert before.follow(tick(None, 60.0), duty, PLATE).full_since is None


# ---------------------------------------------------------------- from process to process


def test_a_line_a_minute_is_kept_and_the_others_are_straight_between() -> None:
    """The newest is always kept; what was not recorded counts as given; an even rise comes back as it was."""
    past = told([50.0 + at / 8.0 for at in range(32)], [100.0 * at for at in range(32)], energy_j=3100.0, era=4)
    kept = past.kept()
    assert [line.at for line in kept.lines] == [10.0, 70.0, 130.0, 190.0, 250.0, 310.0]
    back = kept.recalled(250.0)
    assert (back.lines, back.energy_j, back.era) == (past.lines[1:], 3350.0, 4)
    assert History().kept().recalled(0.0) == History()
    assert told([60.12345], [1.5]).kept().lines == (Line(0.0, 60.123, 2),)


# ---------------------------------------------------------------- questions


def test_the_line_of_so_long_ago() -> None:
    """The last one, one of 20 s ago, and none where it does not reach."""
    past = told([1.0, 2.0, 3.0], [0.0] * 3)
    ago = [past.ago(seconds) for seconds in (0.0, 4.0, 20.0, 24.0, 30.0)]
    assert [None if line is None else line.temperature_c for line in ago] == [3.0, 3.0, 1.0, 1.0, None]


def test_least_and_most_energy_of_any_window() -> None:
    """Two lines long, ending now or up to two lines ago."""
    past = told([0.0] * 6, [0.0, 1.0, 5.0, 6.0, 6.0, 8.0])
    assert past.windows(20.0, 20.0) == (1.0, 5.0)
    assert past.windows(20.0, 0.0) == (2.0, 2.0)
    assert past.windows(40.0, 90.0) == (0.0, 7.0)


@pytest.mark.parametrize(("lines", "warmed_k"), [(30, inf), (31, 3.0), (40, 3.0)])
def test_warming_of_five_minutes(lines: int, warmed_k: float) -> None:
    """Infinite until five minutes are known; the levels begin at nothing."""
    assert told([at / 8.0 for at in range(31)], [0.0] * 31).levels_k(0.5)[:3] == (0.0, 0.125, 0.25)
    assert told([at / 10.0 for at in range(lines)], [0.0] * lines).warmed_k(0.5) == pytest.approx(warmed_k)


@pytest.mark.parametrize("step_k", [0.5, 1.8])
def test_a_step_is_no_rise(step_k: float) -> None:
    """Wherever a step of 0.5 K, or of a probe that goes to another level, lies there, the line through five minutes
    rises by less than 0.75 K."""
    rises = [told([step_k * (at >= step) for at in range(31)], [0.0] * 31).warmed_k(0.5) for step in range(1, 31)]
    assert 0.7 < max(rises) < 0.75


@pytest.mark.parametrize(
    ("values", "even"),
    [
        ((0.0, 1.0, 2.0, 3.0, 4.0), True),
        ((0.0, 0.25, 3.0, 4.0, 5.0), True),
        ((60.0, 60.24, 63.0, 64.0, 65.0), False),
        ((0.0, 0.0, 2.5, 5.0, 5.0), False),
    ],
)
def test_an_even_rise(values: tuple[float, ...], even: bool) -> None:
    """Each fifth of the five minutes is warmer than the one before by a twentieth of the rise; a step is not even."""
    assert told([value for value in values for _ in range(6)], [0.0] * 30).warms_evenly(5.0) is even


@pytest.mark.parametrize(("added_at", "now", "limit_k"), [(None, 0.0, 3.0), (100.0, 700.0, 6.0), (100.0, 700.1, 3.0)])
def test_how_far_temperatures_may_lie_apart(added_at: float | None, now: float, limit_k: float) -> None:
    """Twice as far for 600 s after an addition."""
    assert apart_k(3.0, added_at, now) == limit_k


# ---------------------------------------------------------------- even heat


def heat(duties: list[float]) -> History:
    """At these duties, in the tun of 2,000 W."""
    past = History(heat_since=0.0)
    for n, duty in enumerate(duties):
        past = past.follow(tick(60.0, 10.0 * (n + 1), state=RunState.HELD), duty, PLATE)
    return past


@pytest.mark.parametrize(("moved", "even"), [(0.09, True), (0.11, False), (-0.09, True), (-0.11, False)])
def test_even_heat(moved: float, even: bool) -> None:
    """The last minute's mean duty within a tenth of that of the minute before the window; no history, not even."""
    minute = heat([0.5 + (moved if at >= 54 else 0.0) for at in range(60)])
    early = heat([0.5 + (moved if 24 <= at < 30 else 0.0) for at in range(60)])
    assert [past.even(POWER, 300.0) for past in (minute, early)] == [even] * 2
    short = minute._replace(lines=minute.lines[-36:])
    assert not short.even(POWER, 300.0)
    assert minute._replace(lines=minute.lines[-37:]).even(POWER, 300.0) is even


@pytest.mark.parametrize(("more", "even"), [(6.0, True), (6.001, False), (-6.0, True), (-6.001, False)])
def test_even_heat_at_its_limit(more: float, even: bool) -> None:
    """A tenth of full power more than before, over a minute, is even; the least bit more is not."""
    assert told([0.0] * 40, [100.0] * 39 + [100.0 + more]).even(1.0, 300.0) is even


def test_by_how_much_it_fell() -> None:
    """The deepest fall from any line before it, of those in the last so many seconds; without lines none."""
    past = told([60.0, 63.0, 61.0, 62.0, 61.5, 70.0], [0.0] * 6)
    assert [past.fell_k(seconds) for seconds in (50.0, 40.0, 30.0, 10.0)] == [2.0, 2.0, 0.5, 0.0]
    assert History().fell_k(60.0) == 0.0


def test_how_far_it_is_under_its_highest() -> None:
    """Of the last three minutes; a line older by the least counts no more."""
    read = [70.0, 62.0, *([60.0] * 16), 59.0]
    fallen_k = [told(values, [0.0] * len(values)).fallen_k() for values in (read, [*read, 59.0], [60.0, 61.0])]
    assert (fallen_k, History().fallen_k()) == ([11.0, 3.0, 0.0], 0.0)


def test_an_empty_tun_of_one_watt() -> None:
    """The figures that the tables above count in: one watt, no dead time, no lag."""
    assert (watt().power_w, watt().dead_s, watt().lag_s, CAPACITY) == (1.0, 0.0, 0.0, 100_000.0)
    assert vessel().room_c == 0.0


def test_the_highest_duty_of_late() -> None:
    """The highest mean of ten seconds, in the last so many alone; without lines nothing is known."""
    lines = tuple(Line(10.0 * n, 60.0, energy_j) for n, energy_j in enumerate((0.0, 40.0, 50.0, 80.0, 80.0)))
    shares = [History(lines=lines).highest_share(seconds, 4.0) for seconds in (40.0, 30.0, 20.0, 10.0, 0.0)]
    assert shares == [1.0, 1.0, 0.75, 0.75, 0.0]
    assert History().highest_share(60.0, 4.0) == 0.0
    apart = [History(lines=(lines[0], Line(at, 60.0, 40.0))).highest_share(60.0, 4.0) for at in (5.0, 20.0)]
    assert apart == [1.0, 0.5]
