"""Are the random tuns of the kind they claim to be, and does the name plate lie only as far as it says?"""

from __future__ import annotations

import random

import pytest

from sim.plant.random_tun import KINDS, Drawn, Kind, draw
from sim.plant.tun import Tun


def filled(drawn: Drawn) -> Tun:
    """The tun with its finished mash in it at 50 °C."""
    tun = Tun(drawn.spec, drawn.liquor_kg, 50.0, drawn.room_c)
    tun.add_grist(drawn.grist_kg, 50.0, drawn.grist_moisture, 60.0)
    tun.step(300.0, 0.0)
    return tun


@pytest.mark.parametrize("kind", KINDS)
def test_every_drawn_tun_warms_within_the_range(kind: Kind) -> None:
    """50 tuns of each class: the mash gains 0.3 to 3 K/min at full power once heat has arrived, and the books close."""
    rng = random.Random(kind)
    for _ in range(50):
        drawn = draw(rng, kind)
        tun = filled(drawn)
        tun.step(900.0 if kind == "coil" else 300.0, 1.0)
        before = tun.mash_mean_c
        tun.step(60.0, 1.0)
        climb = tun.mash_mean_c - before
        assert 0.2 < climb < 3.3 or tun.hottest_c == 100.0, drawn
        energy = tun.energy()
        assert abs(energy.gap_j) < 1e-6 * energy.stored
        assert 10.0 <= drawn.spec.volume_l <= 2000.0
        assert tun.level_l <= drawn.spec.volume_l


def test_the_plate_is_off_by_no_more_than_it_says() -> None:
    """Over 400 tuns the plate's power is within 15 % and its flow within 25 % of the truth, both ways."""
    rng = random.Random(1)
    drawn = [draw(rng) for _ in range(400)]
    power = [d.spec.power_w / d.plate.power_w for d in drawn]
    assert 0.85 <= min(power) < 0.88 and 1.12 < max(power) <= 1.15
    flow = [60.0 * d.spec.flow_kg_per_s / d.plate.flow_l_per_min for d in drawn if d.plate.flow_l_per_min is not None]
    assert 0.75 <= min(flow) < 0.8 and 1.2 < max(flow) <= 1.25
    assert {d.kind for d in drawn} == set(KINDS)
    dead = [d.spec.dead_before_s + d.spec.dead_after_s for d in drawn]
    assert max(dead) <= 60.5 and max(dead) > 30.0


def test_the_same_seed_draws_the_same_tun() -> None:
    """A seed names a tun for good."""
    assert draw(random.Random(7)) == draw(random.Random(7))
    assert draw(random.Random(7)) != draw(random.Random(8))
