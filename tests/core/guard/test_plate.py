"""What can this tun do at the most and at the least, by its plate, pessimistically?"""

from __future__ import annotations

import pytest

from controller.core.guard import plate
from controller.settings.tun import Tun
from tests.core.guard.story import BEHIND, COIL, JACKET, bathed, heated, limited, probed, pumped

WATER = 4190.0


def test_the_figures_of_a_plain_tun() -> None:
    """2,000 W into 100 L at the most and 20 at the least, 12,500 J/K of metal, 60 s of dead time."""
    figures = plate.of(JACKET)
    assert (figures.power_w, figures.loss_w_per_k, figures.room_c) == (2000.0, 0.0, 60.0)
    assert (figures.dead_s, figures.quiet_s) == (60.0, 390.0)
    assert (figures.slowest_k_per_s, figures.fastest_k_per_s) == (
        2000.0 / (100.0 * WATER + 12_500.0),
        2000.0 / (20.0 * WATER + 12_500.0),
    )
    assert (figures.behind_heater, figures.measured, figures.outlet_over_mash_k) == (False, False, 12.0)
    assert plate.of(BEHIND).behind_heater and plate.of(JACKET, measured=True).measured
    lossy = plate.of(JACKET.model_copy(update={"loss_w_per_k": 7.0, "room_c": 11.0}))
    assert (lossy.loss_w_per_k, lossy.room_c) == (7.0, 11.0)


def test_what_a_gas_flame_loses_is_no_power() -> None:
    """Power is what reaches the mash: the plate's, times the efficiency; for rates and for the bath as well."""
    half, whole = plate.of(heated(bathed(10.0), efficiency=0.5)), plate.of(heated(bathed(10.0), power_w=1000.0))
    assert half == whole
    assert half.power_w == 1000.0


@pytest.mark.parametrize(("which", "bath_s"), [
    (JACKET, 0.0), (COIL, 300.0), (bathed(2.0), 300.0), (bathed(10.0), 419.0), (bathed(10.0, "jacket"), 419.0),
    (bathed(28.0), 1173.2), (bathed(29.0), 1200.0), (bathed(90.0), 1200.0),
])  # fmt: skip
def test_what_liquor_holds_back(which: Tun, bath_s: float) -> None:
    """As much as 20 K over the wort at full power store; a coil never less than 300 s, nothing more than 1,200 s; the
    mash may go on warming for twice as long, and the bath is warmed along."""
    figures = plate.of(which)
    assert figures.dead_s == pytest.approx(60.0 + bath_s)
    assert figures.quiet_s == pytest.approx(330.0 + 60.0 + 2.0 * bath_s)
    content = 100.0 * WATER + 12_500.0 + which.heater.bath_l * WATER
    assert figures.slowest_k_per_s == 2000.0 / content
    assert figures.fastest_k_per_s == plate.of(JACKET).fastest_k_per_s


@pytest.mark.parametrize(("which", "lag_s"), [
    (probed(lag_s=7.0), 21.0), (pumped(40.0, 10.0), 120.0), (pumped(100.0, 10.0), 300.0), (pumped(101.0, 1.0), 300.0),
    (pumped(40.0, 10.0, stirred=True), 0.0), (pumped(40.0, None), 0.0),
    (pumped(40.0, 10.0).model_copy(update={"mixing": "stirrer"}), 0.0), (probed(pumped(40.0, 10.0), lag_s=7.0), 141.0),
])  # fmt: skip
def test_how_late_a_reading_follows(which: Tun, lag_s: float) -> None:
    """Three lags of the probe, and in a bed that only the pump moves half a turnover, 300 s at most."""
    assert plate.of(which).lag_s == pytest.approx(lag_s)


@pytest.mark.parametrize(("dead_s", "over_k"), [(0.0, 12.0), (180.0, 9.0)])
def test_limits_of_the_file_count(dead_s: float, over_k: float) -> None:
    """Another dead time, and another limit of the outlet, are the plate's."""
    figures = plate.of(limited(dead_time_s=dead_s, outlet_over_mash_k=over_k))
    assert (figures.dead_s, figures.outlet_over_mash_k) == (dead_s, over_k)


@pytest.mark.parametrize(("flow", "limit_k"), [(None, 12.0), (12.0, 12.0), (4.0, 2 * 2000.0 / (4.0 / 60.0 * WATER))])
def test_a_small_flow_may_be_hotter(flow: float | None, limit_k: float) -> None:
    """Twice what the plate's flow is warmed by at full power, where that is more than the limit."""
    which = JACKET.model_copy(update={"flow_l_per_min": flow})
    assert plate.of(which).outlet_over_mash_k == pytest.approx(limit_k)


@pytest.mark.parametrize(("loss_w_per_k", "an_hour"), [(0.0, 0.15), (1.0, 0.15), (2.0, 0.288), (50.0, 0.6)])
def test_the_share_that_is_lost(loss_w_per_k: float, an_hour: float) -> None:
    """Four times the plate's, within 15 and 60 % an hour of the difference to the room."""
    figures = plate.of(JACKET)._replace(loss_w_per_k=loss_w_per_k)
    assert figures.worst_loss_per_s(100_000.0) == pytest.approx(an_hour / 3600.0)


@pytest.mark.parametrize(
    ("litres", "malt_kg", "power_w", "bound_k"), [(15.0, 4.0, 3500.0, 7.8), (60.0, 20.0, 5000.0, 4.1)]
)
def test_what_may_be_on_its_way(litres: float, malt_kg: float, power_w: float, bound_k: float) -> None:
    """2 K, and what the plate gives in dead time, three lags and 30 s; a small tun has more, for it warms faster."""
    figures = plate.of(heated(power_w=power_w))
    assert figures.follows_s == 120.0
    assert figures.bound_k(litres * WATER + malt_kg * 1700.0 + 4000.0) == pytest.approx(bound_k, abs=0.1)
    assert plate.of(BEHIND).own_rise_k == 0.0
    stream = BEHIND.model_copy(update={"flow_l_per_min": 6.0})
    assert plate.of(stream).own_rise_k == pytest.approx(2000.0 / (0.1 * WATER))
    assert plate.of(JACKET.model_copy(update={"flow_l_per_min": 6.0})).own_rise_k == 0.0


@pytest.mark.parametrize(("kind", "min_off_s", "rest_s"), [
    ("proportional", 0.0, 0.0), ("proportional", 4.0, 4.0), ("contactor", 4.0, 10.0), ("contactor", 14.0, 14.0),
])  # fmt: skip
def test_how_long_an_output_rests(kind: str, min_off_s: float, rest_s: float) -> None:
    """The file's time, and for what wears with each start no less than its own."""
    assert plate.of(heated(kind=kind, min_off_s=min_off_s)).rest_s == rest_s
