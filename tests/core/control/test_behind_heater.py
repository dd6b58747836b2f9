"""A probe behind the heater reads more than the mash: does heat stay within the room under the hard limit?"""

from __future__ import annotations

import math
from typing import Literal

import pytest

from controller.brewing import water
from controller.core.control import climb
from controller.core.control.belief import NOTHING
from controller.core.control.heat_path import heat_path
from controller.core.control.observer import in_mash
from controller.core.control.plant_model import believed
from controller.core.nouns import Measurement, Target
from controller.plan.plan import Plan, make
from controller.plan.recipe import DoughIn, Grist, Liquor, Program, Step
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput, Tun
from tests.core.control.tuns import tun as stirred

WATER = water.J_PER_L_K


def tun(rise_k: float = 3.0, behind: bool = True, kind: Literal["proportional", "contactor"] = "proportional",
        window_s: float = 0.0, loss_w_per_k: float = 2.0, hard_c: float = 80.0) -> Tun:  # fmt: skip
    """3 kW in the line, with so much flow that it adds `rise_k` with grist in."""
    made = Tun(
        name="heron",
        volume_l=60.0,
        min_liquor_l=10.0,
        metal_j_per_k=5_000.0,
        loss_w_per_k=loss_w_per_k,
        mixing="pump",
        flow_l_per_min=1.1 * 3000.0 * 60.0 / (WATER * rise_k),
        heater=Heater(kind=kind, power_w=3000.0, place="line", window_s=window_s),
        probes=Probes(mash=Probe(topic="m", lag_s=5.0, behind_heater=behind), outlet=Probe(topic="o", lag_s=5.0)),
        pump=Output(topic="p"),
        flow=SwitchInput(topic="f"),
    )
    return made.model_copy(update={"guard": made.guard.model_copy(update={"hard_limit_c": hard_c})})


def cap(made: Tun, target_c: float, now_c: float | None = None, rise_k: float = 0.0, strike: bool = False) -> float:
    target = Target("hold", target_c, 1.0 / 60.0, 1, 150_000.0, strike=strike)
    return believed(made, target, None, NOTHING._replace(reading_c=now_c, rise_k=rise_k)).duty_cap


def plan(made: Tun, top_c: float, strike_c: float | None = None) -> Plan:
    program = Program(
        name="trial",
        title="trial",
        grist=(Grist(name="malt", mass_kg=9.0),),
        liquor=Liquor(mass_kg=28.0, temperature_c=40.0),
        dough_in=DoughIn(grist_temperature_c=18.0, strike_c=strike_c),
        step=(
            Step(name="low", kind="rest", temperature_c=66.0, time_s=600.0),
            Step(name="high", kind="mash_out", temperature_c=top_c, time_s=300.0),
        ),
    )
    return make(program, made)


@pytest.mark.parametrize(
    ("now_c", "allowed"), [(60.0, 1.0), (76.0, 1.0), (76.5, 2.6 / 3.0), (77.8, 0.5), (78.0, 0.5), (79.0, 0.5 / 3.0),
                           (79.6, 0.0)]
)  # fmt: skip
def test_heat_falls_with_the_room_under_the_limit(now_c: float, allowed: float) -> None:
    """3 K at full power, limit 80, 0.5 K kept free: up to 76.5 all of it, at 78 half, above the limit none; the mash
    counts as far on as it will be once the probe feels this duty (0.02 K/s for 20 s), but no further than its target.
    """
    assert cap(tun(), 78.0, now_c) == pytest.approx(allowed)


@pytest.mark.parametrize("strike", [False, True])
def test_plain_liquor_adds_less_than_wort_through_grist(strike: bool) -> None:
    """The same heater adds a tenth less in plain liquor, so it may give a tenth more there."""
    assert cap(tun(), 78.0, 78.0, strike=strike) == pytest.approx(0.5 * (1.1 if strike else 1.0))


def test_what_the_run_found_of_the_rise_counts() -> None:
    """A rise found 1 K larger leaves less duty; one found away altogether leaves all."""
    assert cap(tun(), 78.0, 78.0, rise_k=1.0) == pytest.approx(1.5 / 4.0)
    assert cap(tun(), 78.0, 78.0, rise_k=-3.1) == 1.0


def test_a_probe_in_the_mash_knows_no_such_cap() -> None:
    """The same tun with its probe in the bed may give full heat up to the target."""
    assert cap(tun(behind=False), 78.0, 78.0) == 1.0


def test_before_anything_is_known_the_target_counts() -> None:
    """Without a reading the mash is taken to be where it is to go."""
    assert cap(tun(), 78.0, None) == pytest.approx(0.5)
    assert believed(tun(), Target("hold", 78.0, 1.0 / 60.0, 1, 1e5)).duty_cap == pytest.approx(0.5)
    assert believed(tun(), Target("off", None, 0.0, 1, 1e5)).duty_cap == 1.0


def test_an_on_off_heater_keeps_half_its_swing_free_as_well() -> None:
    """Window 8 s, lag 20 s: the probe swings by tanh(0.1) of 3 K; half of that is kept free on top."""
    made = tun(kind="contactor", window_s=8.0)
    swing_k = 3.0 * math.tanh(0.1)
    assert heat_path(made).swing_k(strike=False) == pytest.approx(swing_k)
    assert cap(made, 78.0, 78.0) == pytest.approx((1.5 - swing_k / 2.0) / 3.0)


@pytest.mark.parametrize(("window_s", "refused"), [(13.3, False), (13.6, True)])
def test_a_probe_that_swings_too_far_is_refused(window_s: float, refused: bool) -> None:
    """Half a kelvin of swing is the most: 3 K at full power allow a window of 13.46 s, just under passes, over not."""
    problems = plan(tun(kind="contactor", window_s=window_s), 72.0).problems
    assert [p.where for p in problems] == (["tun heron: heater: window"] if refused else [])
    if refused:
        assert "swings by 0.5 K" in problems[0].found
        assert "at most 0.5 K" in problems[0].wanted


def test_the_plan_knows_that_the_last_kelvins_take_longer() -> None:
    """From 66 to 78 with 4 K at full power: all heat up to 75.5, from there what the probe leaves, step by step."""
    made, mash = tun(4.0), plan(tun(4.0), 78.0).stages[-1]
    now_c, seconds = 66.0, 0.0
    while now_c < 78.0:
        duty = min(1.0, (79.5 - now_c) / 4.0)
        climb = (3000.0 * duty - 2.0 * (now_c - 18.0)) / mash.capacity_j_per_k
        now_c, seconds = now_c + min(climb, made.climb_k_per_s) * 0.25, seconds + 0.25
    assert mash.ramp_s == pytest.approx(seconds, abs=1.0)
    assert plan(tun(behind=False), 78.0).stages[-1].ramp_s < mash.ramp_s - 20.0


@pytest.mark.parametrize(("loss_w_per_k", "refused"), [(12.4, False), (12.6, True)])
def test_a_target_that_the_heater_cannot_hold_under_the_limit_is_refused(loss_w_per_k: float, refused: bool) -> None:
    """At 78 half of 3 kW may be given; twice a loss of 12.5 W/K over 60 K takes just that; just under passes."""
    found = [p for p in plan(tun(loss_w_per_k=loss_w_per_k), 78.0).problems if "hard limit" in p.wanted]
    assert len(found) == (1 if refused else 0)
    if refused:
        assert found[0].found == "78 °C"
        assert "less than 78.0 °C" in found[0].wanted


@pytest.mark.parametrize(("loss_w_per_k", "refused"), [(30.0, False), (31.0, True)])
def test_strike_liquor_must_be_held_under_the_limit_as_well(loss_w_per_k: float, refused: bool) -> None:
    """At 76 °C 3.5 K are left, 1 kW for each: twice a loss of 30.2 W/K over 58 K is just that; just under passes."""
    made = plan(tun(loss_w_per_k=loss_w_per_k), 66.5, strike_c=76.0)
    found = [p for p in made.problems if p.where == "dough_in: strike" and "hard limit" in p.wanted]
    assert [p.found for p in found] == (["76.0 °C"] if refused else [])


def test_beyond_the_end_a_rise_never_ends() -> None:
    """A target above where throttled heat and loss meet is an endless rise, and one without a rise takes no time."""
    made = tun()
    end_c = climb.throttled_end_c(made, made.loss_w_per_k)
    assert climb.climb(made, 1e5, 70.0, end_c + 0.01, None).seconds == math.inf
    assert math.isfinite(climb.climb(made, 1e5, 70.0, end_c - 0.01, None).seconds)
    assert climb.climb(made, 1e5, 78.0, 78.0, None).seconds == 0.0


@pytest.mark.parametrize(
    ("loop_c", "mash_c"),
    [(None, 64.0), (64.5, 64.5), (62.5, 62.5), (65.5, 65.5), (65.51, 64.0), (62.49, 64.0)],
)
def test_the_rest_clock_goes_by_the_mash(loop_c: float | None, mash_c: float) -> None:
    """At half heat a probe 4 K over the mash reads 66.0: the mash is at 64, or where the loop has it within 1.5 K."""
    seen = Measurement(66.0, 66.0, 1.0, 0.1, 1, True, False)
    belief = NOTHING._replace(over=0.5, rise_k=1.0, reading_c=loop_c)
    found = in_mash(heat_path(tun(rise_k=3.0)), False, belief, seen)
    assert (round(found.value_c or 0.0, 9), found.raw_c) == (mash_c, 66.0)
    before = in_mash(heat_path(stirred("element")), False, belief, seen)
    assert before.value_c == (loop_c if loop_c is not None and loop_c >= 64.5 else 66.0)
    nothing = seen._replace(value_c=None)
    assert in_mash(heat_path(tun()), False, belief, nothing) is nothing
