"""Does the mash model keep to what the trade knows, and to mass and sense, at every temperature?"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import isfinite, nan
from random import Random

import pytest

from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    PUBLISHED_SET,
    Amounts,
    Malt,
    Parameters,
    apparent_limit_pct,
    extract,
    follow,
    fresh,
    half_band,
    rates,
    starch_left,
    step,
)
from controller.brewing.kinetics.what_if import Rest, predict_rests

SETS = pytest.mark.parametrize("params", [CALIBRATED_SET, PUBLISHED_SET], ids=lambda params: params.name)


def mash(*rests: tuple[float, float], climb_k_per_min: float = 1.0) -> Amounts:
    """The mash after rests of (degC, minutes), with ramps between them."""
    plan = [
        Rest(str(n), celsius, 60.0 * minutes, 60.0 * abs(celsius - rests[max(0, n - 1)][0]) / climb_k_per_min)
        for n, (celsius, minutes) in enumerate(rests)
    ]
    return predict_rests(plan).end


def limit(*rests: tuple[float, float]) -> float:
    """Apparent attenuation limit, %, after rests of (degC, minutes)."""
    return apparent_limit_pct(mash(*rests))


def minutes_to_lose(enzyme: str, celsius: float, share: float) -> float:
    """How long until so much of an enzyme is lost, in minutes?"""
    state = fresh()
    while getattr(state, enzyme) > 1.0 - share:
        state = step(CALIBRATED_SET, state, celsius, 1.0)
    return state.time_s / 60.0


# ---------------------------------------------------------------- what the trade knows


@pytest.mark.parametrize("minutes", [20, 45, 90])
def test_cooler_is_drier(minutes: int) -> None:
    """From 63 °C on the wort gets less fermentable with every quarter of a degree, at every usual length of rest."""
    limits = [limit((63.0 + 0.25 * n, minutes)) for n in range(8 if minutes < 30 else 0, 49)]
    assert all(a > b for a, b in pairwise(limits))


@pytest.mark.parametrize("minutes", range(15, 125, 15))
def test_63_and_65_above_68(minutes: int) -> None:
    """63 °C and 65 °C give a more fermentable wort than 68 °C, after 15 minutes as after two hours."""
    at_68 = limit((68.0, minutes))
    assert limit((63.0, minutes)) > at_68
    assert limit((65.0, minutes)) > at_68


@pytest.mark.parametrize(("celsius", "within_min"), [(68.0, 13.0), (69.0, 8.5), (70.0, 6.0), (72.0, 3.0), (75.0, 1.0)])
def test_beta_amylase_is_gone_within_minutes(celsius: float, within_min: float) -> None:
    """Above 68..70 °C nineteen twentieths of the beta-amylase are gone within minutes."""
    assert minutes_to_lose("beta", celsius, 0.95) < within_min


def test_beta_amylase_outlasts_a_rest_at_63() -> None:
    """At 62 and 63 °C beta-amylase is still half there after ten minutes, and some is left after forty."""
    for celsius in (62.0, 63.0):
        assert mash((celsius, 10)).beta > 0.5
        assert mash((celsius, 40)).beta > 0.1


@pytest.mark.parametrize(("celsius", "within_min"), [(78.0, 18.0), (79.0, 14.0), (80.0, 11.0), (82.0, 7.0)])
def test_alpha_amylase_is_gone_above_78(celsius: float, within_min: float) -> None:
    """Above 78..80 °C alpha-amylase goes the same way, though not at once."""
    assert 1.0 < minutes_to_lose("alpha", celsius, 0.95) < within_min


def test_alpha_amylase_works_through_a_rest_at_72() -> None:
    """At 72 °C a third of the alpha-amylase is left after 20 minutes: enough to finish the starch."""
    assert mash((72.0, 20)).alpha > 0.3


@pytest.mark.parametrize("celsius", [58.0, 60.0, 61.0, 62.0, 63.0, 64.0, 65.0, 66.0])
@pytest.mark.parametrize("minutes", [5, 10, 20, 30, 40, 60])
def test_a_rest_at_72_after_a_low_one_adds_extract(celsius: float, minutes: int) -> None:
    """A rest at 72 °C after a lower one forms more extract, brings more of it into the liquid and adds some sugar."""
    low, both = mash((celsius, minutes)), mash((celsius, minutes), (72.0, 20))
    assert extract(both) > extract(low)
    assert both.released > low.released
    assert apparent_limit_pct(both) > apparent_limit_pct(low)


@pytest.mark.parametrize("minutes", [10, 20, 30, 40, 60])
def test_78_stops_it(minutes: int) -> None:
    """After ten minutes at 78 °C a further hour there moves the limit by less than a twentieth of a point."""
    short, long = limit((63.0, minutes), (78.0, 10)), limit((63.0, minutes), (78.0, 70))
    assert 0.0 <= long - short < 0.05


@pytest.mark.parametrize("hot", [70.0, 70.5, 71.0, 71.5, 72.0])
@pytest.mark.parametrize("minutes", [10, 15, 20, 30])
@pytest.mark.parametrize("cool", [60.0, 62.0, 63.0, 64.0])
def test_falling_order_adds_nothing(hot: float, minutes: int, cool: float) -> None:
    """After a hot rest a low one has no beta-amylase to work with: it gives what waiting in the heat would give;
    with the last of the beta-amylase taken away it gives the same whole percent (half a point), and it stays
    within two points (a fifth of the display band) of the same time spent hot; the rising order gives far more.
    """
    falling = limit((hot, minutes), (cool, 30))
    bare = mash((hot, minutes))._replace(beta=0.0)
    way_down = [(60.0, hot - n - 0.5) for n in range(int(hot - cool))] + [(60.0 * ((hot - cool) % 1.0), cool)]
    without = follow(CALIBRATED_SET, bare, [*way_down, (1800.0, cool)])
    assert abs(falling - apparent_limit_pct(without)) < 0.5
    assert abs(falling - limit((hot, minutes + 30 + (hot - cool)))) < 2.0
    assert limit((cool, 30), (hot, minutes)) > falling + 9.0


@pytest.mark.parametrize("celsius", [60.0, 62.0, 64.0, 66.0, 68.0, 70.0, 72.0])
def test_more_time_never_takes_away(celsius: float) -> None:
    """Sugar and extract only ever grow with time at a temperature."""
    states = [mash((celsius, minutes)) for minutes in range(5, 95, 5)]
    for earlier, later in pairwise(states):
        assert extract(later) >= extract(earlier)
        assert later.released > earlier.released
        assert starch_left(later) <= starch_left(earlier)


def test_low_rests_work_on_gum_and_protein_only() -> None:
    """A rest at 45 °C does glucanase and protease work and leaves amylases and starch nearly as they were."""
    end = mash((45.0, 20))
    assert end.glucanase_min > 15.0
    assert end.protease_min > 15.0
    assert end.alpha > 0.99
    assert end.beta > 0.99
    assert starch_left(end) > 0.95


def test_glucanase_does_most_near_48() -> None:
    """Half an hour's glucanase work is greatest at 48..56 °C and small at 65 °C, where the enzyme dies."""
    work = {celsius: mash((float(celsius), 30)).glucanase_min for celsius in range(35, 70)}
    assert 48 <= max(work, key=work.__getitem__) <= 56
    assert work[65] < 0.4 * work[50]


# ---------------------------------------------------------------- mass and sense


def random_course(draw: Random) -> Iterator[tuple[float, float]]:
    """A few pieces of 1..60 s anywhere from 0 to 100 °C, some leaping, some drifting."""
    celsius = draw.uniform(0.0, 100.0)
    for _ in range(draw.randint(3, 9)):
        celsius = draw.uniform(0.0, 100.0) if draw.random() < 0.4 else celsius + draw.gauss(0.0, 5.0)
        yield draw.choice((1.0, 60.0, draw.uniform(1.0, 60.0))), celsius


def random_malt(draw: Random) -> Malt:
    """Any malt a certificate could ask for."""
    return Malt(starch=draw.uniform(0.45, 0.70), limit_dextrin_share=draw.choice((None, draw.uniform(0.05, 0.60))))


def assert_sane(before: Amounts, after: Amounts) -> None:
    """Mass is kept, nothing is negative, enzymes only die, extract only grows."""
    assert abs(sum(after[2:11]) - 1.0) < 1e-9
    assert min(value for value in after[1:26] if isinstance(value, float)) >= 0.0
    assert all(isfinite(value) for value in after[1:26] if isinstance(value, float))
    assert all(now <= then for now, then in zip(after[11:16], before[11:16], strict=True))
    assert extract(after) >= extract(before) - 1e-12
    assert 0.0 <= after.released <= extract(after) + 1e-12


def test_random_mashes() -> None:
    """Mass closes to 1e-9 and no amount is ever negative on two thousand random profiles of 0..100 °C."""
    draw = Random(7)
    for number in range(2_000):
        params = PUBLISHED_SET if number % 4 == 0 else CALIBRATED_SET
        state = fresh(random_malt(draw))
        for dt_s, celsius in random_course(draw):
            before, state = state, step(params, state, celsius, dt_s)
            assert_sane(before, state)


@SETS
@pytest.mark.parametrize("dt_s", [1.0, 5.0, 10.0, 30.0, 60.0])
def test_stable_at_every_temperature_and_step(params: Parameters, dt_s: float) -> None:
    """Half an hour at every degree from 0 to 100 °C stays sane at steps from 1 to 60 s."""
    for celsius in range(0, 101, 4):
        state = fresh()
        for _ in range(round(1800.0 / dt_s)):
            before, state = state, step(params, state, float(celsius), dt_s)
        assert_sane(before, state)
        assert state.time_s == pytest.approx(1800.0)


@pytest.mark.parametrize("celsius", [nan, -40.0, 1e9, float("inf"), float("-inf")])
def test_readings_that_make_no_sense(celsius: float) -> None:
    """A reading that is no temperature of a mash is bounded to 0..100 °C and breaks nothing."""
    before = step(CALIBRATED_SET, fresh(), 65.0, 600.0)
    assert_sane(before, step(CALIBRATED_SET, before, celsius, 60.0))
    assert not step(CALIBRATED_SET, before, nan, 60.0).beta < before.beta * 0.999


def test_no_time_no_change() -> None:
    """A step of no length changes nothing."""
    state = step(CALIBRATED_SET, fresh(), 65.0, 600.0)
    assert step(CALIBRATED_SET, state, 80.0, 0.0) is state


@SETS
def test_rates_never_fall_below_nothing(params: Parameters) -> None:
    """Every rate of both sets is finite and not negative from 0 to 100 °C, in steps of a twentieth of a degree."""
    for n in range(2001):
        for value in rates(params, 0.05 * n):
            assert isfinite(value)
            assert value >= 0.0


def test_the_band_widens_with_doubt() -> None:
    """The display band is 6 points at 60..68 °C, 10 at 70..75, and never narrower where less is known."""
    assert [half_band(c) for c in (60.0, 64.0, 68.0)] == [6.0, 6.0, 6.0]
    assert [half_band(c) for c in (70.0, 72.0, 74.0, 75.0)] == [10.0, 10.0, 10.0, 10.0]
    assert [half_band(c) for c in (50.0, 55.0, 80.0, 90.0)] == [8.0, 8.0, 12.0, 12.0]
    widths = [half_band(60.0 + 0.1 * n) for n in range(250)]
    assert widths == sorted(widths)
