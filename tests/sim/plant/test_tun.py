"""Does the simulated tun keep its books, and does it agree with what can be worked out by hand?"""

from __future__ import annotations

import json
import math
import random
from functools import partial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.plant.spec import Place, saturation_pa, wetting_j_per_kg
from sim.plant.tun import STEP_S, Tun, TunSpec

WATER = 4186.0  # J/(kg K), IAPWS-95 near 62 °C


def one_node(capacity_j_per_k: float, power_w: float, loss_w_per_k: float, start_c: float) -> Tun:
    """A tun that is one lump of this heat capacity: 20 kg of water and the rest as metal that follows at once."""
    metal = capacity_j_per_k - 20.0 * WATER
    spec = TunSpec(100.0, "jacket", power_w, 0.0, 0.0, loss_w_per_k, metal, None, layers=1)
    return Tun(spec, 20.0, start_c, room_c=18.0)


def minutes_until(tun: Tun, there_c: float, duty: float) -> float:
    steps = 0
    while (tun.mash_mean_c < there_c) == (duty > 0):
        tun.step(STEP_S, duty)
        steps += 1
    return steps * STEP_S / 60.0


@pytest.mark.parametrize(("kw", "minutes"), [(2, 24.8), (3, 15.9), (5, 9.29), (7, 6.56)])
def test_a_lump_warms_as_the_closed_form_says(kw: int, minutes: float) -> None:
    """63 to 72 °C in a 297.42 kJ/K mash at 4 W/K takes the time of t = (C/UA) ln((T_inf - T1)/(T_inf - T2)), 1 %."""
    tun = one_node(297.42e3, kw * 1e3, 4.0, 63.0)
    assert minutes_until(tun, 72.0, 1.0) == pytest.approx(minutes, rel=0.01)
    end = 18.0 + kw * 1e3 / 4.0
    exact = 297.42e3 / 4.0 * math.log((end - 63.0) / (end - 72.0)) / 60.0
    assert minutes_until(one_node(297.42e3, kw * 1e3, 4.0, 63.0), 72.0, 1.0) == pytest.approx(exact, rel=0.002)


def test_a_lump_cools_by_newtons_law() -> None:
    """An insulated 297.42 kJ/K mash at 65 °C in an 18 °C room: 63.51 °C after 40 min, 62.78 °C after 60 min."""
    tun = one_node(297.42e3, 0.0, 4.0, 65.0)
    tun.step(2400.0, 0.0)
    assert tun.mash_mean_c == pytest.approx(63.51, abs=0.02)
    tun.step(1200.0, 0.0)
    assert tun.mash_mean_c == pytest.approx(62.78, abs=0.02)
    assert minutes_until(one_node(297.42e3, 0.0, 4.0, 65.0), 62.0, 0.0) == pytest.approx(81.7, abs=0.5)


def test_a_small_bare_tun_cools_faster() -> None:
    """74.23 kJ/K at 3 W/K falls from 65 to 58.64 °C in an hour, 6.84 K/h at first."""
    tun = one_node(84.0e3, 0.0, 3.0 * 84.0 / 74.23, 65.0)  # the same C/UA with 20 kg of water in it
    tun.step(60.0, 0.0)
    assert (65.0 - tun.mash_mean_c) * 60.0 == pytest.approx(6.84, abs=0.05)
    tun.step(3540.0, 0.0)
    assert tun.mash_mean_c == pytest.approx(58.64, abs=0.02)


def test_dough_in_without_wetting_heat_lands_where_the_heat_balance_says() -> None:
    """60 kg of liquor and 12.5 kJ/K of vessel at 69.84 °C and 20 kg of grist at 18 °C mix at 64 °C plus wetting."""
    spec = TunSpec(100.0, "jacket", 0.0, 0.0, 0.0, 0.0, 12.5e3, None, layers=1)
    tun = Tun(spec, 60.0, 69.84, 18.0)
    moisture = 0.04
    tun.add_grist(20.0, 18.0, moisture, 300.0)
    tun.step(300.0, 0.0)
    malt = 0.96 * 1590.0 + 0.04 * WATER
    total = 60.0 * WATER + 12.5e3 + 20.0 * malt
    expected = ((60.0 * WATER + 12.5e3) * 69.84 + 20.0 * malt * 18.0 + 20.0 * wetting_j_per_kg(moisture)) / total
    assert tun.mash_mean_c == pytest.approx(expected, abs=1e-6)
    assert tun.mash_mean_c == pytest.approx(64.0 + 20.0 * 19e3 / total, abs=0.1)
    assert tun.liquor_kg == 60.0
    assert tun.grist_kg == pytest.approx(20.0)


def test_two_liquors_mix_by_mass() -> None:
    """40 kg at 90 °C and 20 kg at 12 °C give 64.00 °C at constant heat capacity."""
    tun = Tun(TunSpec(100.0, "jacket", 0.0, 0.0, 0.0, 0.0, layers=3), 40.0, 90.0, 18.0)
    tun.add_liquor(20.0, 12.0, 60.0)
    tun.step(60.0, 0.0)
    assert tun.mash_mean_c == pytest.approx(64.0, abs=1e-9)
    assert tun.layers[0] > tun.layers[-1]  # poured on top, mixed by the stirrer later
    tun.step(600.0, 0.0)
    assert max(tun.layers) - min(tun.layers) < 1e-3


def test_what_is_pulled_comes_back() -> None:
    """A pull of 29 % leaves the temperature alone; returned at 95 °C it lifts 52 °C to the mixing temperature."""
    tun = Tun(TunSpec(100.0, "jacket", 0.0, 0.0, 0.0, 0.0, layers=1), 60.0, 52.0, 18.0)
    tun.add_grist(20.0, 52.0, 0.08, 10.0)
    tun.step(10.0, 0.0)
    before = tun.mash_mean_c
    assert tun.pull(23.28) == pytest.approx(before)
    assert tun.mash_mean_c == pytest.approx(before)
    assert tun.liquor_kg + tun.grist_kg == pytest.approx(80.0 - 23.28)
    tun.put_back(23.28, 95.0, 60.0)
    tun.step(60.0, 0.0)
    assert tun.mash_mean_c == pytest.approx(before + 0.291 * (95.0 - before), abs=1e-6)
    assert tun.liquor_kg == pytest.approx(60.0)
    assert tun.grist_kg == pytest.approx(20.0)


@st.composite
def specs(draw: st.DrawFn) -> TunSpec:
    places: tuple[Place, ...] = ("jacket", "element", "line", "coil", "burner")
    place = draw(st.sampled_from(places))
    loop = place in ("line", "coil") or draw(st.booleans())
    flow = draw(st.floats(0.02, 0.2)) if loop else 0.0
    return TunSpec(
        volume_l=100.0,
        place=place,
        power_w=draw(st.floats(0.0, 8000.0)),
        heater_j_per_k=draw(st.sampled_from((0.0, 800.0, 20e3))),
        film_w_per_k=draw(st.floats(20.0, 400.0)),
        loss_w_per_k=draw(st.floats(0.0, 20.0)),
        metal_j_per_k=draw(st.sampled_from((0.0, 3e3, 15e3))),
        metal_film_w_per_k=draw(st.sampled_from((None, 80.0))),
        layers=draw(st.integers(1, 5)),
        stirrer=draw(st.booleans()),
        flow_kg_per_s=flow,
        flow_in_grist=draw(st.sampled_from((1.0, 0.6))),
        dead_before_s=draw(st.sampled_from((0.0, 7.0, 30.0))),
        dead_after_s=draw(st.sampled_from((0.0, 12.5))),
        surface_m2=draw(st.sampled_from((0.0, 0.2))),
    )


@settings(max_examples=60)
@given(spec=specs(), seed=st.integers(0, 2**32))
def test_every_joule_is_booked(spec: TunSpec, seed: int) -> None:
    """Whatever is done to whatever tun, heat in less heat out is heat stored, to 0.1 % (here: to rounding)."""
    rng = random.Random(seed)
    tun = Tun(spec, 60.0, rng.uniform(10.0, 75.0), 18.0)
    for _ in range(40):
        match rng.randrange(8):
            case 0:
                tun.add_grist(rng.uniform(0.5, 10.0), rng.uniform(5.0, 30.0), rng.uniform(0.0, 0.12), 45.0)
            case 1:
                tun.add_liquor(rng.uniform(0.5, 10.0), rng.uniform(5.0, 99.0), 45.0)
            case 2:
                tun.put_back(tun.pull(rng.uniform(0.0, 15.0)), 95.0, 20.0)
            case 3:
                tun.pump(rng.random())
            case 4:
                tun.stir(rng.random() < 0.5)
            case 5:
                tun.lid(rng.random() < 0.5)
            case 6:
                tun.mains = rng.uniform(0.0, 1.2)
            case _:
                pass
        tun.step(30.0, rng.choice((0.0, 0.4, 1.0)))
    energy = tun.energy()
    turned_over = energy.heater + energy.added + energy.removed + energy.lost + energy.boiled + energy.stored_at_start
    assert abs(energy.gap_j) < 1e-9 * turned_over
    assert all(math.isfinite(c) for c in (tun.mash_mean_c, tun.hottest_c, tun.heater_c))


def test_heat_arrives_after_the_dead_time() -> None:
    """With a heater in the line, 15 s of pipe behind it keep the bed cold for 15 s; the outlet warms at once."""
    spec = TunSpec(30.0, "line", 2400.0, 600.0, 100.0, 0.0, flow_kg_per_s=0.1, dead_before_s=20.0, dead_after_s=15.0)
    tun = Tun(spec, 20.0, 50.0, 18.0)
    tun.step(14.5, 1.0)
    assert tun.mash_mean_c == 50.0
    assert tun.spot_c("outlet") > 50.5
    assert tun.spot_c("before_heater") == 50.0
    tun.step(10.0, 1.0)
    assert tun.mash_mean_c > 50.0


def test_a_stalled_heater_in_the_line_boils_and_loses_the_rest_as_steam() -> None:
    """With the pump stopped a 3 kW heater on 1 kg of wort climbs 0.72 K/s and reaches the boil within a minute."""
    spec = TunSpec(30.0, "line", 3000.0, 0.0, 0.0, 0.0, flow_kg_per_s=0.1, chamber_kg=1.0)
    tun = Tun(spec, 20.0, 66.0, 18.0)
    tun.pump(0.0)
    tun.step(20.0, 1.0)
    assert tun.spot_c("outlet") == pytest.approx(66.0 + 20 * 3000.0 / WATER, abs=0.01)
    tun.step(30.0, 1.0)
    assert tun.hottest_c == 100.0
    assert tun.energy().boiled > 0
    assert tun.mash_mean_c == 66.0


def test_a_standing_mash_stratifies_and_stirring_evens_it_out() -> None:
    """A bottom element without stirring leaves the top behind; the stirrer brings it within 0.1 K in five minutes."""
    spec = TunSpec(50.0, "element", 3000.0, 900.0, 150.0, 0.0, layers=4)
    tun = Tun(spec, 30.0, 50.0, 18.0)
    tun.add_grist(8.0, 50.0, 0.05, 30.0)
    tun.stir(False)
    tun.step(330.0, 1.0)
    assert tun.spot_c("bottom") - tun.spot_c("top") > 3.0
    tun.stir(True)
    tun.step(300.0, 0.0)
    assert tun.spot_c("bottom") - tun.spot_c("top") < 0.1


def test_an_open_lid_costs_heat_as_published() -> None:
    """0.1 m2 of open water at 65 °C in still 18 °C air loses 0.089 x (24.9 - 1.0) kPa, about 2.1 kW/m2 (ASHRAE)."""
    tun = Tun(TunSpec(50.0, "jacket", 0.0, 0.0, 0.0, 0.0, surface_m2=0.1, layers=1), 40.0, 65.0, 18.0)
    tun.step(60.0, 0.0)
    assert tun.energy().lost == 0.0
    tun.lid(True)
    tun.step(60.0, 0.0)
    assert tun.energy().lost / 60.0 == pytest.approx(0.1 * 2130.0, rel=0.02)
    assert saturation_pa(65.0) == pytest.approx(25_040.0, rel=0.005)  # IAPWS-IF97: 25.04 kPa


def test_wrong_tuns_are_refused() -> None:
    """A spec that would swing, or an empty tun, is a ValueError and not a silly curve."""
    for why, wrong in (
        ("swing", partial(TunSpec, 50.0, "element", 3000.0, 100.0, 400.0, 4.0)),
        ("swing", partial(TunSpec, 50.0, "line", 3000.0, 900.0, 100.0, 4.0, flow_kg_per_s=1.0, chamber_kg=0.5)),
        ("flow", partial(TunSpec, 50.0, "coil", 3000.0, 900.0, 100.0, 4.0)),
        ("not a tun", partial(TunSpec, 50.0, "jacket", -1.0, 900.0, 100.0, 4.0)),
    ):
        with pytest.raises(ValueError, match=why):
            wrong()
    spec = TunSpec(50.0, "line", 3000.0, 900.0, 100.0, 4.0, flow_kg_per_s=0.1, dead_before_s=60.0)
    with pytest.raises(ValueError, match="loop"):
        Tun(spec, 6.5, 20.0)
    with pytest.raises(ValueError, match="liquor"):
        Tun(spec, 0.0, 20.0)


def test_a_tun_stands_as_it_stood() -> None:
    """Refilled from what JSON keeps of it, in the middle of a pour, a tun goes on as the first one does; another make
    is turned away."""
    spec = TunSpec(30.0, "line", 2400.0, 0.0, 0.0, 4.0, 5e3, None, layers=5, flow_kg_per_s=0.1, chamber_kg=1.0)
    first, second = Tun(spec, 20.0, 40.0), Tun(spec, 20.0, 12.0)
    first.pump(1.0)
    first.add_grist(4.0, 18.0, 0.05, 60.0)
    first.step(30.0, 0.7)
    second.refill(json.loads(json.dumps(first.contents())))
    second.pump(1.0)
    assert second.contents() == first.contents()
    for tun in (first, second):
        tun.step(600.0, 0.5)
    assert second.layers == pytest.approx(first.layers) and second.grist_kg == pytest.approx(4.0)
    assert second.energy().gap_j == pytest.approx(0.0, abs=1.0)
    with pytest.raises(ValueError, match="another make"):
        one_node(297.42e3, 0.0, 4.0, 65.0).refill(first.contents())
