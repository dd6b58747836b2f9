"""Where the setpoint is, and how fast it climbs."""

from __future__ import annotations

from itertools import pairwise
from math import inf, isfinite, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.control.plant_model import PlantModel
from controller.core.control.trajectory import SPARED_SHARE, START, TrajectoryState, shape
from controller.core.nouns import Target
from tests.core.control.loops import MODEL, OFF, Loop, hold, seen

ANY = st.floats(allow_nan=True, allow_infinity=True)


def climb(
    target: Target, seconds: int, from_c: float = 52.0, held_back: bool = False, model: PlantModel = MODEL
) -> list[float]:
    """The setpoint second by second over a mash that follows it at once."""
    state, value, out = START, from_c, []
    for _ in range(seconds):
        state, setpoint = shape(model, target, state, seen(value), held_back, 1.0)
        assert setpoint is not None
        value = setpoint.value_c
        out.append(value)
    return out


def test_it_never_climbs_faster_than_allowed() -> None:
    """At 0.5 K/min allowed no second is faster, and the steady part is just that fast."""
    values = climb(hold(63.0, climb_k_per_min=0.5), 1800)
    steps = [b - a for a, b in pairwise(values)]
    assert max(steps) == pytest.approx(0.5 / 60.0)
    assert steps[600] == pytest.approx(0.5 / 60.0)


def test_it_never_climbs_faster_than_the_heater_can() -> None:
    """A limit of 5 K/min is cut to what 5 kW do to 300 kJ/K at this temperature, loss taken off."""
    values = climb(hold(63.0), 2)
    possible = (5000.0 - 4.0 * (52.0 - 18.0)) / 300_000.0
    assert values[1] - values[0] == pytest.approx(possible, rel=1e-3)


def test_a_loss_found_smaller_leaves_more_for_the_climb() -> None:
    """Half of the plate's loss found missing comes on top in strike liquor, two thirds of that in a mash; a loss found
    greater takes nothing off."""
    half = 0.5 * 4.0 * (52.0 - 18.0) / 300_000.0
    possible = (5000.0 - 4.0 * (52.0 - 18.0)) / 300_000.0
    for found, strike, more in (
        (-half, False, SPARED_SHARE * half),
        (-half, True, half),
        (half, False, 0.0),
        (half, True, 0.0),
    ):
        model = MODEL._replace(found_loss_k_per_s=found)
        values = climb(hold(63.0)._replace(strike=strike), 2, model=model)
        assert values[1] - values[0] == pytest.approx(possible + more, rel=1e-4)


def test_it_bends_before_the_plateau_and_never_passes_it() -> None:
    """The last kelvin is slower than the first, the end is the target exactly, and nothing lies above."""
    values = climb(hold(63.0), 3000)
    steps = [b - a for a, b in pairwise(values)]
    near = next(i for i, v in enumerate(values) if v > 62.9)
    assert steps[near] < 0.5 * steps[0]
    assert values[-1] == 63.0
    assert max(values) == 63.0


def test_strike_liquor_may_be_heated_as_fast_as_it_goes() -> None:
    """Before dough-in the program's limit does not hold, the heater's does."""
    slow = hold(63.0, climb_k_per_min=0.2)
    assert climb(slow._replace(strike=True), 60)[-1] > climb(slow, 60)[-1] + 0.5


def test_it_waits_for_a_mash_that_cannot_follow() -> None:
    """Held back over a mash that stands still, the setpoint stays within the lead of a steady climb."""
    state = START
    for _ in range(3600):
        state, setpoint = shape(MODEL, hold(63.0), state, seen(52.0), True, 1.0)
        assert setpoint is not None
        assert setpoint.value_c < 52.0 + 60.0 * (5000.0 / 300_000.0) + 0.4
        assert setpoint.slope_k_per_s > 0.0


def test_it_starts_at_the_mash_and_not_at_the_old_target() -> None:
    """A new plateau after an addition begins where the mash is."""
    state = TrajectoryState(1, 63.0)
    _, setpoint = shape(MODEL, hold(72.0, 2), state, seen(58.0), False, 1.0)
    assert setpoint is not None
    assert setpoint.value_c == pytest.approx(58.0, abs=0.05)


def test_a_new_plateau_on_the_way_makes_no_jump() -> None:
    """A target raised in mid-climb goes on from the setpoint, which runs ahead of the reading by the lag."""
    loop = Loop()
    loop.run(hold(52.0), 300)
    loop.run(hold(63.0, 2), 300)
    before = loop.setpoints[-1]
    loop.run(hold(66.0, 3), 5)
    after = loop.setpoints[-1]
    assert before is not None
    assert after is not None
    assert 0.0 <= after - before < 0.15


def test_no_setpoint_without_a_target_or_a_reading() -> None:
    """Heat off, or nothing known of the mash: no setpoint, and nothing kept."""
    assert shape(MODEL, OFF, TrajectoryState(1, 60.0), seen(60.0), False, 1.0) == (START, None)
    assert shape(MODEL, hold(63.0), START, seen(None), False, 1.0)[1] is None
    assert shape(MODEL, hold(63.0), START, seen(nan), False, 1.0)[1] is None
    assert shape(MODEL, hold(inf), START, seen(60.0), False, 1.0)[1] is None


@given(ANY, ANY, st.floats(0.0, 1e6), st.booleans())
def test_a_setpoint_is_a_number_at_or_under_the_target(
    value: float, climb_k_per_min: float, dt: float, held: bool
) -> None:
    """Any reading and any step of time: the setpoint is finite and does not lie above target, but at a warmer mash."""
    target = hold(63.0)
    _, setpoint = shape(MODEL, target, START, seen(value), held, dt)
    if setpoint is not None:
        assert isfinite(setpoint.value_c)
        assert setpoint.value_c <= 63.0
