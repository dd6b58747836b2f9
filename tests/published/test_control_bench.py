"""Does the bench tell good from bad, and is its bound a bound?

Goals and yardsticks: an independent bench of 200 random tuns gave a step setpoint on simple-pid with gains picked by
hand an overshoot of 2.0 K (median) and 84 % of ramps that never settle. The whole bench is
`python -m tests.regimes.bench.control`; here it is looked at on a few tuns.
"""

from __future__ import annotations

from functools import cache

import pytest

from tests.regimes.bench.bound import Bound
from tests.regimes.bench.control import PROGRAMS, at, score
from tests.regimes.bench.laws import Rooms, by_hand
from tests.regimes.bench.loop import Run, run
from tests.regimes.bench.plants import KINDS, draw

TUNS = tuple(number for number in range(12) if draw(7, number).kind == "electric")[:4]


@cache
def bound(number: int) -> Bound:
    return Bound(draw(7, number))


@cache
def runs(law: str) -> tuple[Run, ...]:
    """The same tuns and program under one law."""
    plants = (draw(7, number) for number in TUNS)
    make = Rooms if law == "rooms" else by_hand
    return tuple(run(plant, PROGRAMS[0], make(plant), bound(plant.number), 7) for plant in plants)


def test_gains_picked_by_hand_look_as_bad_as_they_are() -> None:
    """Law a overshoots by more than 1 K in the median and has no good ramp: the plants are not too kind."""
    found = score("a by hand", "electric", list(runs("hand")))
    assert found.over_p50 > 1.0
    assert found.good == 0.0


def test_the_rooms_do_better_on_every_one_of_them() -> None:
    """With plate figures alone each ramp overshoots less than under law a, none by more than 0.45 K; all settle."""
    for own, hand in zip(runs("rooms"), runs("hand"), strict=True):
        assert max(r.overshoot_k for r in own.ramps[1:]) < max(r.overshoot_k for r in hand.ramps[1:])
    found = score("plate", "electric", list(runs("rooms")))
    assert found.over_worst <= 0.45
    assert found.never == 0.0
    assert found.energy_p95 <= 1.06


def test_no_law_beats_the_bound_by_more_than_the_mains_wander() -> None:
    """Nothing settles sooner than 0.9 of the time-optimal bound (the mains, +-10 %, are known to it as a mean)."""
    for law in ("rooms", "hand"):
        for one in runs(law):
            assert all(ramp.settled_s >= 0.9 * ramp.bound_s for ramp in one.ramps[1:])


def test_a_higher_lift_takes_longer() -> None:
    """The bound grows with the lift and with a slower limit, and is 0 where nothing has to rise."""
    seconds = bound(TUNS[0]).seconds
    assert 0.0 < seconds(52.0, 57.0, 0.1) < seconds(52.0, 60.0, 0.1) < seconds(52.0, 60.0, 0.2 / 60.0)
    assert seconds(63.0, 63.0, 0.1) == 0.0


def test_every_class_is_drawn_and_the_plate_is_not_the_truth() -> None:
    """41 tuns hold every class; no plate has the plant's true power, and the same seed draws the same tun."""
    plants = [draw(7, number) for number in range(41)]
    assert {plant.kind for plant in plants} == set(KINDS)
    assert all(plant.plate.heater.power_w != plant.spec.power_w for plant in plants)
    assert draw(7, 3) == draw(7, 3)
    assert draw(7, 3) != draw(8, 3)


@pytest.mark.parametrize(("percent", "value"), [(0, 1.0), (50, 3.0), (95, 4.0), (100, 4.0)])
def test_percentiles_exist_in_the_data(percent: float, value: float) -> None:
    """A percentile is one of the values, never one between."""
    assert at([4.0, 1.0, 3.0, 2.0], percent) == value
