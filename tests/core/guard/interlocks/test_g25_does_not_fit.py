"""G25: does it warm as what is said to be in the tun must?"""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.interlocks.g25_does_not_fit import DoesNotFit
from controller.core.guard.senses import HEATED
from controller.settings.tun import Tun
from tests.core.guard.looks import S
from tests.core.guard.story import (
    BEHIND,
    CAPACITY,
    JACKET,
    Course,
    Story,
    hold,
    judged,
    limited,
    pumped,
    rising,
    straight,
    told,
    vessel,
)

G25 = DoesNotFit()
LAG_S = 60.0 + 3.0 * JACKET.probes.mash.lag_s
Judged = tuple[Any, Any] | None


def story(which: Tun = JACKET, **changes: Any) -> Story[DoesNotFit]:
    return Story(G25, which, **changes)


def fits(rate_share: float, which: Tun = JACKET, **changes: Any) -> tuple[float | None, Story[DoesNotFit]]:
    told_of = story(which, **changes)
    return told_of.go(rising(40.0, 1.2 * rate_share), 1.0, 890.0), told_of


@pytest.mark.parametrize(("share", "limit"), [(0.49, 0.5), (0.51, None), (1.0, None), (1.59, None), (1.61, 1.6)])
def test_warming_that_does_not_fit(share: float, limit: float | None) -> None:
    """Under half and over 1.6 of what is due, judged after lag and window; between it fits."""
    at, told_of = fits(share)
    assert told_of.interlock.fitted == (round(CAPACITY),)
    if limit is None:
        assert at is None
    else:
        assert at == 10.0 + LAG_S + 300.0
        assert told_of.found == (pytest.approx(share, abs=0.001), limit)
        assert (
            told_of.finding is not None
            and told_of.finding.latches
            and told_of.finding.words
            == (
                f"It warms {share:.2f} times as fast as this tun should (allowed {limit:g} times). Heat is off. "
                "Is all liquor, is all grain in, was liquor added? Is the probe's unit right?"
            )
        )


def test_judged_once_for_each_content() -> None:
    """What was judged stays judged, another content is judged anew, and hardly any rise is left to G09."""
    _, fitted = fits(1.0)
    assert fitted.go(rising(57.8, 2.4), 1.0, 300.0) is None
    assert fitted.line(69.8 + 0.4, 1.0, capacity_j_per_k=0.5 * CAPACITY) is None
    assert fitted.interlock.fitted == (100_000, 50_000)
    _, fitted = fits(1.0)
    assert fitted.line(57.8 + 0.2, 1.0, capacity_j_per_k=2.0 * CAPACITY) is not None
    assert fitted.found[0] == pytest.approx(2.0)
    at, hardly = fits(0.24)
    assert (at, hardly.interlock.fitted) == (None, ())


@pytest.mark.parametrize(("duty", "changes", "found", "fitted"), [
    (1.9 / 6.0, {}, False, 0), (2.1 / 6.0, {}, True, 1), (1.0, {"state": S.HELD}, False, 0),
    (1.0, {"state": S.PAUSING}, True, 1),
])  # fmt: skip
def test_it_needs_enough_heat_and_a_run(duty: float, changes: dict[str, Any], found: bool, fitted: int) -> None:
    """Below 2 K of rise due in the window nothing is judged; nor when held."""
    told_of = story(**changes)
    assert (told_of.go(rising(40.0, 3.0), duty, 890.0) is not None) is found
    assert (len(told_of.interlock.fitted), DoesNotFit.STATES) == (fitted, HEATED)


@pytest.mark.parametrize(("share", "found"), [(0.6, None), (1.0, 400.0)])
def test_it_takes_the_loss_off(share: float, found: float | None) -> None:
    """The plate's loss over the window is taken from what is due: some 45 °C lose 900 W of 2,000."""
    assert fits(share, JACKET.model_copy(update={"loss_w_per_k": 20.0, "room_c": 0.0}))[0] == found


def test_the_foot_of_a_ramp_is_no_misfit() -> None:
    """A little heat for long, then full heat: the rise of the last minutes is held against the last minutes' heat."""
    ramp = story()
    heat: Course = lambda at: 0.01 if at <= 600.0 else 1.0  # noqa: E731
    assert ramp.go(lambda at: 60.0 + max(0.0, at - 630.0) * 0.02, heat, 1500.0) is None
    assert ramp.interlock.fitted == (round(CAPACITY),)


def rise_with(at: float) -> float:
    """In the warm stream: 5 K up as heat goes up at 600 s, then as the mash does."""
    return 60.0 + min(max(at - 600.0, 0.0) * 0.05, 5.0) + max(at - 600.0, 0.0) * 0.02


def fall_with(at: float) -> float:
    """As the mash does, then 3.4 K down as heat goes down at 360 s."""
    return 60.0 + at * 0.02 - min(max(at - 360.0, 0.0) * 0.17, 3.4)


@pytest.mark.parametrize(("which", "value", "heat", "most_s", "found"), [
    (BEHIND, rise_with, lambda at: 0.01 if at <= 600.0 else 1.0, 890.0, None),
    (JACKET, rise_with, lambda at: 0.01 if at <= 600.0 else 1.0, 890.0, 700.0),
    (BEHIND, rising(40.0, 1.2 * 1.61), lambda at: 1.0, 890.0, 400.0),
    (BEHIND, fall_with, lambda at: 1.0 if at <= 360.0 else 0.3, 500.0, None),
    (JACKET, fall_with, lambda at: 1.0 if at <= 360.0 else 0.3, 500.0, 400.0),
])  # fmt: skip
def test_behind_the_heater_only_even_heat_is_judged(
    which: Tun, value: Course, heat: Course, most_s: float, found: float | None
) -> None:
    """A probe in the warm stream reads higher at once as heat goes up: not judged before the heat is even."""
    assert story(which, target=hold(68.0)).go(value, heat, most_s) == found


@pytest.mark.parametrize(
    ("rise", "energy", "fitted", "found"),
    [
        (4.0, 2.0, True, (2.0, 1.6)), (4.0, 1.875, False, None),  # 2 K due is judged
        (8.0, 5.0, True, None), (8.25, 5.0, True, (1.65, 1.6)),  # 1.6 times fits
        (2.0, 2.0, True, None), (1.0, 4.0, True, (0.25, 0.5)), (0.9375, 4.0, False, None),  # a quarter
        (0.5, 4.0, False, None), (2.0, 4.0, True, None), (1.9375, 4.0, True, (0.484375, 0.5)),  # a half
    ],
)  # fmt: skip
def test_at_its_limits(rise: float, energy: float, fitted: bool, found: Judged) -> None:
    """What is due and what is seen, exactly at each limit and just beside it."""
    assert judge(rise, energy, 31) == (fitted, found)


def judge(rise: float, energy: float, lines: int, since: float = 0.0, which: Tun | None = None) -> tuple[bool, Judged]:
    """Judged or not, and what was found: this rise and energy over the 300 s of the window."""
    after, finding = judged(G25, straight(lines, rise, energy, 30, heat_since=since), which)
    return bool(after.fitted), None if finding is None else (finding.value, finding.limit)


SLOW = limited(vessel(), dead_time_s=60.0)


@pytest.mark.parametrize(("which", "late_s"), [
    (SLOW, 60.0), (vessel(), 0.0), (pumped(40.0, 10.0), 120.0), (pumped(100.0, 10.0), 300.0),
    (pumped(101.0, 1.0), 300.0), (pumped(40.0, 10.0, stirred=True), 0.0), (pumped(40.0, None), 0.0),
])  # fmt: skip
def test_it_waits_for_lag_and_window(which: Tun, late_s: float) -> None:
    """Heat for just dead time, lags, half a turnover of a pumped bed (300 s at most) and window is enough, a second
    less is not; nor is a history one line short."""
    lines = 31 + round(late_s / 10.0)
    assert judge(30.0, 5.0, lines, 0.0, which) == (True, (pytest.approx(6.0), 1.6))
    assert judge(30.0, 5.0, lines, 1.0, which) == (False, None)
    assert judge(30.0, 5.0, lines - 1, -1000.0, which) == (False, None)


def test_it_takes_the_loss_of_the_mean_off() -> None:
    """From 0 to 20 °C in a room of 2: 8 K over it for 300 s at 1/480 W/K are 5 J of the 15."""
    assert judge(20.0, 15.0, 31, which=vessel(loss_w_per_k=1.0 / 480.0, room_c=2.0)) == (True, (2.0, 1.6))


def test_between_two_lines_nothing_is_judged() -> None:
    """A tick without a new line, or before any heat, says nothing."""
    past = straight(31, 30.0, 5.0, 30, heat_since=0.0)
    for changes in ({"fresh": False}, {"heat_since": None}):
        assert judged(G25, past._replace(**changes)) == (G25, None)


def test_many_contents_are_remembered() -> None:
    """The last eight contents that were judged, no more, to the joule; the next run judges anew."""
    past = straight(31, 5.0, 5.0, 30, heat_since=0.0)
    many = judged(DoesNotFit(fitted=tuple(range(2, 10))), past)[0]
    assert many.fitted == (3, 4, 5, 6, 7, 8, 9, 1)
    assert judged(many, past, capacity_j_per_k=1.4)[0] is many
    assert (many.next_run(), G25.next_run() is G25) == (G25, True)
    assert told([0.0], [0.0]).heat_since is None
