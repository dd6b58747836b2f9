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
    assert told_of.interlock.told == (() if limit is None else (round(CAPACITY),))
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
                "Does all of the heater heat? Is all liquor, all grain in, was any added? Is the probe's unit right?"
            )
        )


def test_asked_on_every_climb_and_told_once_for_each_content() -> None:
    """A climb that fitted is followed by one that does not; once told a person's word counts, for that content alone;
    hardly any rise is left to G09."""
    _, climb = fits(1.0)
    assert climb.go(rising(57.8, 2.4), 1.0, 300.0) == 190.0
    assert climb.go(rising(65.4, 2.4), 1.0, 300.0) is None
    assert climb.line(77.8, 1.0, capacity_j_per_k=2.0 * CAPACITY) is not None
    assert climb.interlock.told == (100_000, 200_000)
    at, hardly = fits(0.24)
    assert (at, hardly.interlock.told) == (None, ())


@pytest.mark.parametrize(("duty", "changes", "found"), [
    (1.9 / 6.0, {}, False), (2.1 / 6.0, {}, True), (1.0, {"state": S.HELD}, False), (1.0, {"state": S.PAUSING}, True),
])  # fmt: skip
def test_it_needs_enough_heat_and_a_run(duty: float, changes: dict[str, Any], found: bool) -> None:
    """Below 2 K of rise due in the window nothing is judged; nor when held."""
    told_of = story(**changes)
    assert (told_of.go(rising(40.0, 3.0), duty, 890.0) is not None) is found
    assert (len(told_of.interlock.told), DoesNotFit.STATES) == (found, HEATED)


LOSSY = JACKET.model_copy(update={"loss_w_per_k": 20.0, "room_c": 0.0})


@pytest.mark.parametrize(("share", "which", "found"), [
    (0.4, JACKET, 400.0), (0.4, LOSSY, None), (0.29, LOSSY, 400.0), (1.59, LOSSY, None), (1.61, LOSSY, 400.0),
])  # fmt: skip
def test_what_is_lost_nobody_knows(share: float, which: Tun, found: float | None) -> None:
    """Too slow is slower than with the worst loss (some 2 of 6 K), too fast faster than with none."""
    assert fits(share, which)[0] == found


@pytest.mark.parametrize(("share", "found"), [(0.59, 400.0), (0.61, None), (1.59, None)])
def test_a_tun_measured_with_water_is_known_better(share: float, found: float | None) -> None:
    """Its low limit is 0.6."""
    at, told_of = fits(share, measured=True)
    assert at == found
    assert found is None or told_of.found == (pytest.approx(share, abs=0.001), 0.6)


@pytest.mark.parametrize(("dip_k", "found"), [(0.8, 400.0), (0.85, 500.0)])
def test_where_the_reading_fell_it_is_no_climb(dip_k: float, found: float) -> None:
    """A fall of over 0.75 K puts the verdict off until it is older than window and lag."""
    climb: Course = lambda at: 40.0 + 0.48 * at / 60.0 - (dip_k if at > 100.0 else 0.0)  # noqa: E731
    assert story().go(climb, 1.0, 890.0) == found


def test_the_foot_of_a_ramp_is_no_misfit() -> None:
    """A little heat for long, then full heat: the rise of the last minutes is held against the last minutes' heat."""
    ramp = story()
    heat: Course = lambda at: 0.01 if at <= 600.0 else 1.0  # noqa: E731
    assert ramp.go(lambda at: 60.0 + max(0.0, at - 630.0) * 0.02, heat, 1500.0) is None


def rise_with(at: float) -> float:
    """In the warm stream: 5 K up as heat goes up at 600 s, then as the mash does."""
    return 60.0 + min(max(at - 600.0, 0.0) * 0.05, 5.0) + max(at - 600.0, 0.0) * 0.02


@pytest.mark.parametrize(("which", "value", "heat", "most_s", "found"), [
    (BEHIND, rise_with, lambda at: 0.01 if at <= 600.0 else 1.0, 890.0, None),
    (JACKET, rise_with, lambda at: 0.01 if at <= 600.0 else 1.0, 890.0, 700.0),
    (BEHIND, rising(40.0, 1.2 * 1.61), lambda at: 1.0, 890.0, 400.0),
])  # fmt: skip
def test_behind_the_heater_only_even_heat_is_judged(
    which: Tun, value: Course, heat: Course, most_s: float, found: float | None
) -> None:
    """A probe in the warm stream reads higher at once as heat goes up: not judged before the heat is even."""
    assert story(which, target=hold(68.0)).go(value, heat, most_s) == found


@pytest.mark.parametrize(
    ("rise", "energy", "found"),
    [
        (4.0, 2.0, (2.0, 1.6)), (4.0, 1.875, None),  # 2 K due is judged
        (8.0, 5.0, None), (8.25, 5.0, (1.65, 1.6)),  # 1.6 times fits
        (1.0, 4.0, (0.25, 0.5)), (0.9375, 4.0, None), (0.5, 4.0, None),  # a quarter
        (2.0, 4.0, None), (1.9375, 4.0, (0.484375, 0.5)),  # a half
        (0.75, 2.0, (0.375, 0.5)), (0.75, 1.9375, None),  # 2 K due is judged on this side, too
    ],
)  # fmt: skip
def test_at_its_limits(rise: float, energy: float, found: Judged) -> None:
    """What is due and what is seen, exactly at each limit and just beside it."""
    assert judge(rise, energy, 31) == (found is not None, found)


WARM = vessel(room_c=99.0)  # nothing is lost to so warm a room


def judge(rise: float, energy: float, lines: int, since: float = 0.0, which: Tun | None = None) -> tuple[bool, Judged]:
    """Judged or not, and what was found: this rise and energy over the 300 s of the window."""
    after, finding = judged(G25, straight(lines, rise, energy, 30, heat_since=since), which or WARM)
    return bool(after.told), None if finding is None else (finding.value, finding.limit)


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


def test_the_worst_loss_is_that_of_the_mean() -> None:
    """From 0 to 2 °C in a room of -7: 8 K over it for 300 s at 60 % an hour are 0.4 K, and 4 of the 4.4 are due."""
    lossy = vessel(loss_w_per_k=1.0, room_c=-7.0)
    assert judge(2.0, 4.4, 31, which=lossy) == (False, None)
    assert judge(1.9, 4.4, 31, which=lossy) == (True, (pytest.approx(1.9 / 4.0025), 0.5))


def test_between_two_lines_nothing_is_judged() -> None:
    """A tick without a new line, or before any heat, says nothing."""
    past = straight(31, 30.0, 5.0, 30, heat_since=0.0)
    for changes in ({"fresh": False}, {"heat_since": None}):
        assert judged(G25, past._replace(**changes)) == (G25, None)


def test_many_contents_are_remembered() -> None:
    """The last eight contents that were judged, no more, to the joule; the next run judges anew."""
    past = straight(31, 9.0, 5.0, 30, heat_since=0.0)
    many = judged(DoesNotFit(told=tuple(range(2, 10))), past)[0]
    assert many.told == (3, 4, 5, 6, 7, 8, 9, 1)
    assert judged(many, past, capacity_j_per_k=1.4)[0] is many
    assert (many.next_run(), G25.next_run() is G25) == (G25, True)
    assert told([0.0], [0.0]).heat_since is None


def test_it_doubts_probe_and_figures() -> None:
    """Its clear wants a hand reading, and while it stands masses and power are not gone by."""
    assert DoesNotFit.ASKS_HAND and DoesNotFit.DOUBTS_FIGURES
