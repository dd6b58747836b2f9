"""The heat balance closes, and what can be turned round gives back what went in."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from math import inf, isinf
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing import heat, rules_of_thumb

WATER = heat.WATER
grist = st.floats(1.0, 100.0)
ratio = st.floats(1.5, 6.0)
cold = st.floats(-5.0, 30.0)
mash = st.floats(35.0, 78.0)
metal = st.floats(0.0, 60_000.0)
vessel = st.none() | st.floats(0.0, 95.0)
moisture = st.floats(0.0, 0.15)
slaking = st.floats(0.0, 40_000.0)
capacity = st.floats(5_000.0, 1e6)
loss = st.just(0.0) | st.floats(0.1, 20.0)
power = st.floats(500.0, 20_000.0)


class DoughIn(NamedTuple):
    """What meets at dough-in, and what the mash should be."""

    kg: float
    ratio: float
    grist_c: float
    mash_c: float
    metal_j_per_k: float
    metal_c: float | None
    moisture_share: float
    slaking_j_per_kg: float

    def of(self, question: Callable[..., Any], to_c: float | None = None) -> Any:
        """What does this function of the heat balance say of it, for another temperature where one is given?"""
        wanted_c = self.mash_c if to_c is None else to_c
        vessel = {key: getattr(self, key) for key in self._fields[4:]}
        return question(self.kg, self.grist_c, self.ratio * self.kg, wanted_c, **vessel)


@given(st.builds(DoughIn, grist, ratio, cold, mash, metal, vessel, moisture, slaking))
def test_strike_balance_closes(one: DoughIn) -> None:
    """Heat given off by liquor, vessel and wetting equals the heat that grist takes up, in every case; liquor at strike
    temperature lands the mash where it was wanted; the parts shown to the brewer add up, and slaking only lowers."""
    parts = one.of(heat.strike_parts)
    strike = one.mash_c + sum(parts)
    vessel_j = one.metal_j_per_k * ((strike if one.metal_c is None else one.metal_c) - one.mash_c)
    specific = heat.grist_specific_heat_j_per_kg_k(one.moisture_share)
    grist_j = one.kg * (specific * (one.grist_c - one.mash_c) + one.slaking_j_per_kg)
    liquor_j = one.ratio * one.kg * WATER * (strike - one.mash_c)
    assert liquor_j + vessel_j + grist_j == pytest.approx(0.0, abs=1.0)
    assert one.of(heat.landing_c, strike) == pytest.approx(one.mash_c, abs=1e-9)
    assert parts.slaking_k <= 0.0


@given(grist, ratio, cold, mash)
def test_without_a_vessel_the_short_form_is_the_balance(kg: float, thick: float, grist_c: float, mash_c: float) -> None:
    """The short form with k = 0.40 is the balance with no vessel and no slaking heat."""
    balance = mash_c + sum(heat.strike_parts(kg, grist_c, thick * kg, mash_c, metal_j_per_k=0.0))
    assert rules_of_thumb.strike(thick, grist_c, mash_c, 0.40) == pytest.approx(balance, abs=1e-9)


@given(cold, mash, ratio, st.floats(0.38, 0.42), st.floats(1.0, 3.0))
def test_traditional_form_inverts(grist_c: float, wanted_c: float, thick: float, relative: float, sc: float) -> None:
    """Striking heat put into the traditional form gives back the initial heat wanted."""
    liquor_c = rules_of_thumb.striking_heat(relative, sc, grist_c, wanted_c, thick)
    assert rules_of_thumb.initial_heat(relative, sc, grist_c, liquor_c, thick) == pytest.approx(wanted_c, abs=1e-9)


@given(capacity, mash, st.floats(-8.0, 12.0), st.floats(1.0, 30.0))
def test_additions_invert(size: float, from_c: float, rise_k: float, further_k: float) -> None:
    """The amount worked out, hot or cold, lands the mash where it was wanted, and heat is conserved."""
    to_c = from_c + rise_k
    liquor_c = to_c + further_k if rise_k >= 0.0 else to_c - further_k
    kg = heat.addition_kg(size, from_c, to_c, liquor_c)
    assert kg >= 0.0
    assert heat.mixed_with_liquor_c(size, from_c, kg, liquor_c) == pytest.approx(to_c, abs=1e-9)
    assert heat.mix_c([(size, from_c), (kg * WATER, liquor_c)]) == pytest.approx(to_c, abs=1e-9)


@given(grist, ratio, st.floats(45.0, 55.0), st.floats(1.0, 14.0), st.floats(85.0, 99.0), metal)
def test_decoction_balance_closes(
    kg: float, thick: float, from_c: float, rise_k: float, back_c: float, metal_j: float
) -> None:
    """Returned at its temperature, the pulled share warms the rest and the vessel to the target; a thick pull at the
    mash's own thickness is that share by mass."""
    mash_j, to_c = heat.mash_j_per_k(kg, thick * kg), from_c + rise_k
    share = heat.decoction_share(from_c, to_c, back_c, mash_j_per_k=mash_j, metal_j_per_k=metal_j)
    rest_j = mash_j * (1.0 - share) + metal_j
    assert heat.mix_c([(rest_j, from_c), (mash_j * share, back_c)]) == pytest.approx(to_c, abs=1e-9)
    pulled = heat.thick_pull_kg(mash_j + metal_j, from_c, to_c, back_c, pull_l_per_kg=thick)
    assert pulled == pytest.approx(share * kg * (1.0 + thick), rel=1e-9)


@given(st.floats(1.0, 200.0), st.floats(5.0, 30.0), st.floats(60.0, 98.0), st.floats(0.0, 1.0))
def test_blend_inverts(total: float, cold_c: float, hot_c: float, part: float) -> None:
    """Hot and cold liquor add up to the wanted mass and the wanted temperature."""
    wanted = cold_c + part * (hot_c - cold_c)
    hot_kg, cold_kg = heat.blend_kg(total, wanted, hot_c, cold_c)
    assert hot_kg + cold_kg == pytest.approx(total)
    assert heat.mix_c([(hot_kg, hot_c), (cold_kg, cold_c)]) == pytest.approx(wanted, abs=1e-9)


@given(st.floats(5.0, 40.0), st.floats(40.0, 99.0), st.floats(1.0, 100.0), st.floats(1.0, 100.0))
def test_mixing_by_heat_content_stays_close_to_constant_heat(a_c: float, b_c: float, a_kg: float, b_kg: float) -> None:
    """True heat content and a constant specific heat differ by less than 0.3 K whatever is mixed."""
    parts = [(a_kg, a_c), (b_kg, b_c)]
    assert abs(heat.mix_liquor_c(parts) - heat.mix_c(parts)) < 0.3


@given(capacity, power, loss, st.floats(5.0, 30.0), st.floats(35.0, 70.0), st.floats(0.1, 20.0))
def test_ramp_time_against_small_steps(
    size: float, watts: float, ua: float, room_c: float, from_c: float, rise_k: float
) -> None:
    """The exact ramp time is that of the same climb summed in 400 small steps."""
    to_c = from_c + rise_k
    found = heat.ramp_time_s(size, watts, ua, room_c, from_c, to_c)
    slowest = heat.climb_k_per_s(size, watts, ua, room_c, to_c)
    assert isinf(found) == (slowest <= 0.0)
    if slowest > 0.2 * watts / size:
        step = rise_k / 400
        middles = [from_c + (i + 0.5) * step for i in range(400)]
        summed = sum(step / heat.climb_k_per_s(size, watts, ua, room_c, middle) for middle in middles)
        assert found == pytest.approx(summed, rel=1e-4)


@given(capacity, power, loss, st.floats(35.0, 70.0), st.floats(0.1, 20.0), st.floats(0.2, 2.0))
def test_limited_ramp_is_never_faster_than_either_bound(
    size: float, watts: float, ua: float, from_c: float, rise_k: float, k_per_min: float
) -> None:
    """A limited ramp takes at least what limit and heater each take alone, and no more than both together."""
    to_c, limit = from_c + rise_k, k_per_min / 60.0
    found = heat.limited_ramp_s(size, watts, ua, 18.0, from_c, to_c, limit)
    heater, limited = heat.ramp_time_s(size, watts, ua, 18.0, from_c, to_c), rise_k / limit
    assert found >= max(heater, limited) - 1e-6
    assert found <= heater + limited + 1e-6


def test_a_ramp_that_is_done_or_cannot_be() -> None:
    """There already: 0 s; power below the loss: never."""
    assert heat.ramp_time_s(300_000.0, 5000.0, 4.0, 18.0, 63.0, 63.0) == 0.0
    assert heat.limited_ramp_s(300_000.0, 5000.0, 4.0, 18.0, 63.0, 62.0, 0.01) == 0.0
    assert heat.ramp_time_s(300_000.0, 100.0, 4.0, 18.0, 30.0, 63.0) == inf
    assert heat.limited_ramp_s(300_000.0, 0.0, 0.0, 18.0, 30.0, 63.0, 0.01) == inf


@given(capacity, st.floats(0.1, 20.0), st.floats(5.0, 30.0), st.floats(1.0, 60.0), st.floats(60.0, 20_000.0))
def test_cooling_inverts(size: float, ua: float, room_c: float, above_k: float, time_s: float) -> None:
    """The time worked out for a fall is the time after which it has fallen so far."""
    end = heat.cooled_c(size, ua, room_c, room_c + above_k, time_s)
    if end < room_c + above_k and end > room_c + 1e-3:
        assert heat.cooling_time_s(size, ua, room_c, room_c + above_k, end) == pytest.approx(time_s, rel=1e-3)


def test_cooling_that_never_comes() -> None:
    """Nothing cools below its room, nor without losses; what is cold enough already takes no time."""
    assert heat.cooling_time_s(300_000.0, 4.0, 18.0, 65.0, 18.0) == inf
    assert heat.cooling_time_s(300_000.0, 0.0, 18.0, 65.0, 60.0) == inf
    assert heat.cooling_time_s(300_000.0, 4.0, 18.0, 65.0, 65.0) == 0.0


@given(capacity, power, loss, st.floats(20.0, 75.0))
def test_power_and_climb_invert(size: float, watts: float, ua: float, at_c: float) -> None:
    """The power for the climb that a power gives is that power."""
    climb = heat.climb_k_per_s(size, watts, ua, 18.0, at_c)
    assert heat.power_for_climb_w(size, climb, ua, 18.0, at_c) == pytest.approx(watts, rel=1e-9)


@given(st.floats(1.0, 100.0), st.floats(50.0, 95.0), st.floats(5.0, 30.0), metal.filter(lambda m: m > 500.0))
def test_vessel_test_inverts(kg: float, hot_c: float, vessel_c: float, metal_j: float) -> None:
    """Water poured into a vessel of known capacity gives that capacity back."""
    end = heat.mix_c([(kg * WATER, hot_c), (metal_j, vessel_c)])
    assert heat.vessel_j_per_k(kg, hot_c, end, vessel_c) == pytest.approx(metal_j, rel=1e-6)


REFUSED: dict[str, list[Callable[[], object]]] = {  # why, and what cannot be
    "cannot bring a mash": [
        *(partial(heat.addition_kg, 3e5, *c) for c in ((62, 64, 63), (62, 64, 64), (66, 64, 65), (62, 64, 12))),
        partial(heat.decoction_share, 52.0, 64.0, 64.0),  # back no hotter than the target
    ],
    "does not lie between": [
        *(partial(heat.blend_kg, 60.0, wanted_c, 90.0, 12.0) for wanted_c in (11.9, 90.1)),
        *(partial(heat.vessel_j_per_k, 20.0, 75.0, end_c, 18.0) for end_c in (18.0, 75.0, 80.0, 10.0)),
    ],
    "nothing to mix": [partial(heat.mix_c, [])],
    "moisture": [partial(heat.grist_specific_heat_j_per_kg_k, share) for share in (-0.01, 1.01, float("nan"))],
    "there must be some": [partial(heat.strike_parts, 20.0, 18.0, 0.0, 64.0, metal_j_per_k=0.0)],
}


@pytest.mark.parametrize("why", REFUSED)
def test_what_cannot_be_is_refused(why: str) -> None:
    """Liquor on the wrong side, a blend outside both, nothing at all, a share over one: an error that says why."""
    for impossible in REFUSED[why]:
        with pytest.raises(ValueError, match=why):
            impossible()


def test_slaking_heat_falls_with_moisture() -> None:
    """Drier malt sets free more heat; outside the table the nearest printed figure holds."""
    found = [heat.slaking_j_per_kg(percent / 100.0) for percent in range(13)]
    assert found == sorted(found, reverse=True)
    assert (found[0], found[12]) == (38_000.0, 13_000.0)


@pytest.mark.parametrize(("power_w", "efficiency"), [(0.0, 1.0), (3000.0, 0.0)])
def test_without_power_it_takes_for_ever(power_w: float, efficiency: float) -> None:
    """No power, no end."""
    assert heat.time_for_energy_s(4.2, power_w, efficiency) == inf
