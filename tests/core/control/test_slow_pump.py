"""What if the pump moves less than its plate says: is the mash still not overshot, and is a healthy tun left alone?"""

from __future__ import annotations

from math import isfinite

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.control import slow_pump
from controller.core.control.belief import Belief, Doubt
from controller.core.control.heat_path import COIL_PATIENCE, PATIENCE, PUMPED_LAG_S, Patience, heat_path
from controller.core.control.loop import START, LoopState, regulate
from controller.core.control.plant_model import believed
from controller.core.control.slow_pump import CEILING_OVER_K, FLOW, HEALTHY_LAG, LATE_LAG, SlowState
from controller.core.nouns import Setpoint, Target
from tests.core.control.loops import MODEL, OFF, Loop, hold, seen
from tests.core.control.tuns import MASH, STRIKE, Place, tun

PUMPED = MODEL._replace(dead_s=60.0, flow_s=50.0)
ANY = st.floats(allow_nan=True, allow_infinity=True)


def climbed(slow: bool, lag_share: float) -> Loop:
    """Ten minutes at 52 °C, then up to 63 °C, with or without the second belief."""
    loop = Loop(model=PUMPED if slow else PUMPED._replace(flow_s=0.0), lag_share=lag_share)
    loop.run(hold(52.0), 600)
    loop.run(hold(63.0, 2), 2400)
    return loop


def looked(key: int = 1) -> LoopState:
    """A loop that has looked at a level reading for five minutes."""
    state = START
    for _ in range(300):
        state, _ = regulate(PUMPED, Setpoint(63.0, 0.0), hold(63.0, key), seen(63.0), 0.0, state, 1.0)
    return state


def lag_doubt(state: LoopState) -> float:
    """How doubtful is the lag to the second belief?"""
    assert state.slow.second is not None
    assert state.slow.second.doubt is not None
    return state.slow.second.doubt.dd


@pytest.mark.parametrize("lag_share", [2.0, 2.5, 3.0])
def test_a_late_tun_is_not_overshot(lag_share: float) -> None:
    """With everything two to three times as late as believed the mash passes its target by less than 0.6 K."""
    assert max(climbed(True, lag_share).trace) < 63.6


def test_the_second_belief_is_what_holds_back() -> None:
    """The same late tun passes its target by at least 0.3 K more where nothing is thought of the flow."""
    assert max(climbed(False, 3.0).trace) > max(climbed(True, 3.0).trace) + 0.3


def test_a_healthy_tun_is_as_quick() -> None:
    """With the plant's own figures the mash is in band within 45 s of when it is without the second belief."""
    with_it, without = (
        next(i for i, c in enumerate(climbed(slow, 1.0).trace[600:]) if c > 62.7) for slow in (True, False)
    )
    assert with_it <= without + 45


def test_where_no_bed_is_passed_nothing_is_believed() -> None:
    """Without a part of the lag that goes with the flow there is no second belief."""
    state, _ = regulate(MODEL, Setpoint(63.0, 0.0), hold(63.0), seen(62.0), 0.0, START, 1.0)
    assert state.slow.second is None


def test_it_ends_with_the_heat_and_with_a_gap() -> None:
    """Heat off drops the second belief; after two minutes without a tick it begins anew with what the first kept."""
    state = looked()
    assert state.slow.second is not None
    gone, _ = regulate(PUMPED, None, OFF, seen(63.0), 0.0, state, 1.0)
    assert gone.slow.second is None
    second = state.slow.second._replace(gain=0.7)
    old = state._replace(belief=state.belief._replace(gain=1.1), slow=state.slow._replace(second=second))
    anew, _ = regulate(PUMPED, Setpoint(63.0, 0.0), hold(63.0), seen(63.0), 0.0, old, 120.0)
    assert anew.slow.second is not None
    assert anew.slow.second.gain == pytest.approx(1.1, abs=0.01)


def test_a_climb_opens_the_lag_and_a_small_step_does_not() -> None:
    """A new plateau 11 K above makes the lag as doubtful as at first; one 0.5 K above leaves what was found."""
    state = looked()
    second = state.slow.second
    assert second is not None
    assert second.doubt is not None
    known = second._replace(doubt=second.doubt._replace(dd=0.01))
    settled = state._replace(slow=state.slow._replace(second=known))
    up, _ = regulate(PUMPED, Setpoint(63.0, 0.0), hold(74.0, 2), seen(63.0), 0.0, settled, 1.0)
    near, _ = regulate(PUMPED, Setpoint(63.0, 0.0), hold(63.5, 2), seen(63.0), 0.0, settled, 1.0)
    assert lag_doubt(up) == pytest.approx(slow_pump.LAG_SD**2, rel=0.01)
    assert lag_doubt(near) == pytest.approx(0.01, rel=0.01)


def test_it_goes_by_its_own_rate_and_by_slower_flow() -> None:
    """Its figures are those of the first, less what that found out, with its own, and bed and pipes at slower flow."""
    first = PUMPED._replace(power_w=5500.0, lag_s=60.0, dead_s=90.0, below_mean_k=0.4)  # gain 1.1, lag 1.5
    own = slow_pump.slowed(first, Belief(gain=1.1, lag=1.5), Belief(gain=0.9, lag=HEALTHY_LAG))
    assert own.power_w == pytest.approx(0.9 * 5000.0)
    assert own.lag_s == pytest.approx(HEALTHY_LAG * 40.0)
    assert own.dead_s == pytest.approx(HEALTHY_LAG * (60.0 + 50.0 / FLOW - 50.0))
    assert own.below_mean_k == 0.4


def test_the_later_the_tun_the_stricter() -> None:
    """A healthy tun may be brought a little over its target by heat on its way; a late one may not, and more calmly."""
    assert slow_pump.ceiling_c(63.0, HEALTHY_LAG, PATIENCE) == 63.0 + CEILING_OVER_K
    assert slow_pump.ceiling_c(63.0, LATE_LAG, PATIENCE) == 63.0
    assert slow_pump.calm(HEALTHY_LAG) == 1.0
    assert slow_pump.calm(2.0 * LATE_LAG) == slow_pump.calm(LATE_LAG) > 1.0


@pytest.mark.parametrize("patience", [PATIENCE, COIL_PATIENCE])
def test_the_ceiling_gives_way_where_the_mash_stays_short(patience: Patience) -> None:
    """It stands while heat may still be on its way, then rises by so much in each such time; on a coil sooner."""
    for short, times in ((0.0, 0.0), (patience.times, 0.0), (patience.times + 1.0, 1.0), (patience.times + 4.0, 4.0)):
        found = slow_pump.ceiling_c(63.0, LATE_LAG, patience, short)
        assert found == pytest.approx(63.0 + times * patience.gives_k)


@pytest.mark.parametrize(
    ("value", "setpoint", "key", "short_s"),
    [
        (62.6, Setpoint(63.0, 0.0), 1, 11.0),  # 0.4 K short
        (62.71, Setpoint(63.0, 0.0), 1, 10.0),  # near enough
        (None, Setpoint(63.0, 0.0), 1, 10.0),
        (62.0, Setpoint(62.5, 0.001), 1, 0.0),  # still climbing
        (62.0, Setpoint(63.0, 0.0), 2, 0.0),  # another plateau
        (62.0, None, 1, 0.0),
    ],
)
def test_how_long_the_mash_has_been_short(
    value: float | None, setpoint: Setpoint | None, key: int, short_s: float
) -> None:
    """Counted with the setpoint at its target and the reading more than 0.3 K under it; a new climb starts anew."""
    state = looked()
    state = state._replace(slow=state.slow._replace(key=1, short_s=10.0))
    after, _ = regulate(PUMPED, setpoint, hold(63.0, key), seen(value), 0.0, state, 1.0)
    assert after.slow.short_s == short_s


def test_a_mash_short_for_long_is_given_more() -> None:
    """The second belief counts heat on its way and gives none; after 20 min of being short the first has its way."""
    state = looked()
    assert state.slow.second is not None
    second = state.slow.second._replace(arriving=(0.4,) * 4)
    alone = PUMPED._replace(flow_s=0.0)
    for model, short_s, gives in ((PUMPED, 0.0, False), (PUMPED, 1200.0, True), (alone, 0.0, True)):
        before = state._replace(slow=SlowState(key=1, short_s=short_s, second=second))
        _, demand = regulate(model, Setpoint(63.0, 0.0), hold(63.0), seen(62.6), 0.1, before, 1.0)
        assert (demand.duty > 0.1) is gives


def test_only_the_lag_is_forgotten() -> None:
    """A climb leaves what is known of temperature, loss and rate, and ties none of it to the lag or a warm stream."""
    doubt = Doubt(*(float(n) for n in range(1, 16)))
    after = slow_pump.opened(doubt)
    assert (after.xx, after.xl, after.xg, after.ll, after.lg, after.gg) == (1.0, 2.0, 3.0, 6.0, 7.0, 10.0)
    assert after.dd == slow_pump.LAG_SD**2
    assert (after.xd, after.ld, after.gd, after.dr, after.xr, after.lr, after.gr, after.rr) == (0.0,) * 8


@pytest.mark.parametrize(("place", "target", "behind", "bed"), [
    ("line", MASH, False, True), ("line", STRIKE, False, False), ("line", MASH, True, False),
    ("coil", MASH, False, True), ("jacket", MASH, False, False),
])  # fmt: skip
def test_which_tuns_can_be_late(place: Place, target: Target, behind: bool, bed: bool) -> None:
    """Pumped tuns with grist in and the probe before the heater; not plain liquor, a stirrer, a probe behind it; a coil
    is late by itself as well."""
    made = believed(tun(place, behind=behind, pumped=place != "jacket"), target)
    plate = heat_path(tun(place, pumped=place != "jacket"))
    assert made.flow_s == (plate.bed_s + PUMPED_LAG_S if bed else 0.0)
    assert made.path.patience == (COIL_PATIENCE if place == "coil" else PATIENCE)


@given(ANY, ANY, ANY, ANY, ANY, ANY)
@settings(max_examples=80)
def test_whatever_comes_the_duty_is_a_number(
    value: float, target_c: float, setpoint: float, applied: float, dt: float, plateau_c: float
) -> None:
    """Any floats anywhere, then sound ones at a new plateau: the duty is always a number from 0 to 1."""
    state = looked()
    for key, goal_c in ((1, target_c), (2, plateau_c)):
        target = hold(goal_c, key)
        state, demand = regulate(PUMPED, Setpoint(setpoint, 0.0), target, seen(value), applied, state, dt)
        assert isfinite(demand.duty)
        assert 0.0 <= demand.duty <= 1.0
    _, demand = regulate(PUMPED, Setpoint(63.0, 0.0), hold(63.0, 3), seen(62.0), 0.0, state, 1.0)
    assert isfinite(demand.duty)
    assert 0.0 <= demand.duty <= 1.0
