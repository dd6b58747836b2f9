"""How much heat: does the mash go where it should, and is heat off when it must be?"""

from __future__ import annotations

from math import inf, isfinite, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.control.belief import NOTHING
from controller.core.control.feedback import feedback
from controller.core.control.loop import START, LoopState, regulate
from controller.core.control.observer import observe
from controller.core.control.plant_model import Doubts, PlantModel
from controller.core.nouns import Demand, Measurement, Setpoint
from tests.core.control.loops import MODEL, OFF, PATH, Loop, hold, seen

ANY = st.floats(allow_nan=True, allow_infinity=True)


def warm(target_c: float = 63.0, reading_c: float = 62.0) -> tuple[LoopState, Demand]:
    """A loop that has looked at a level reading for a while, and its last demand."""
    state, demand = START, Demand(0.0, "")
    for _ in range(300):
        state, demand = regulate(MODEL, Setpoint(target_c, 0.0), hold(target_c), seen(reading_c), 0.0, state, 1.0)
    return state, demand


@pytest.mark.parametrize("rate_share", [0.87, 1.0, 1.15])
@pytest.mark.parametrize("lag_share", [0.7, 1.0, 1.4])
def test_a_ramp_of_an_unlike_plant_ends_without_overshoot(rate_share: float, lag_share: float) -> None:
    """With rate and lag wrong by as much as plates are, the mash stays within 0.3 K of target once it is there."""
    loop = Loop(rate_share=rate_share, lag_share=lag_share)
    loop.run(hold(52.0), 600)
    loop.run(hold(63.0, 2), 2400)
    assert max(loop.trace) < 63.0 + 0.3
    assert all(abs(c - 63.0) < 0.3 for c in loop.trace[-1200:])


def test_a_right_model_is_nearly_time_optimal() -> None:
    """With the plant's own figures the mash is in band within 45 s and 5 % of the time that full power needs."""
    loop = Loop()
    loop.run(hold(52.0), 600)
    loop.run(hold(63.0, 2), 2400)
    full_s = 11.0 * MODEL.capacity_j_per_k / (MODEL.power_w - MODEL.loss_w_per_k * 39.5)
    arrived = next(i for i, c in enumerate(loop.trace[600:]) if c > 62.7)
    assert arrived < 1.05 * full_s + 45.0


def test_the_loss_is_found_out() -> None:
    """500 W that nobody knows of leave no lasting error, and most of them are found as a loss."""
    loop = Loop(extra_w=500.0)
    loop.run(hold(52.0), 3600)
    assert abs(loop.trace[-1] - 52.0) < 0.1
    assert loop.state.belief.extra_k_per_s > 0.6 * 500.0 / MODEL.capacity_j_per_k


def test_a_long_rise_uses_the_heater_though_the_plate_loses_too_much() -> None:
    """A plate that loses two thirds of the heat at 63 °C, and liquor that loses 1.2 kW less: the rise goes on at full
    heat and does not settle for the slope that the plate leaves (0.91 of the duty)."""
    loop = Loop(MODEL._replace(loss_w_per_k=70.0), mash_c=30.0, extra_w=-1200.0)
    loop.run(hold(63.0)._replace(strike=True), 6000)
    climbing = [duty for duty, mash_c in zip(loop.given, loop.trace, strict=True) if 32.0 < mash_c < 62.0]
    assert sum(climbing) / len(climbing) > 0.98
    assert max(loop.trace) < 63.3


def test_the_loss_goes_with_what_is_between_mash_and_room() -> None:
    """A loss of twice the plate's, found at 45 °C, is twice the plate's at 65 °C as well."""
    loop = Loop(extra_w=MODEL.loss_w_per_k * (45.0 - MODEL.room_c), mash_c=45.0)
    loop.run(hold(45.0), 5400)
    found = loop.state.belief.extra_k_per_s / MODEL.loss_k_per_s(45.0)
    assert found == pytest.approx(1.0, abs=0.15)
    loop.extra_w = MODEL.loss_w_per_k * (55.0 - MODEL.room_c)
    loop.run(hold(65.0, 2), 1000)
    assert loop.state.belief.extra_k_per_s / MODEL.loss_k_per_s(65.0) == pytest.approx(found, abs=0.15)


def test_what_strike_liquor_has_shown_is_kept_when_grain_comes_in() -> None:
    """A heater 15 % over its plate is still believed so after dough-in, by 5 % of doubt; of a probe behind the heater
    nothing is kept, for its rise and the rate cannot be told apart in plain liquor."""
    loop = Loop(rate_share=1.15)
    loop.run(hold(65.0)._replace(strike=True), 1500)
    loop.run(OFF._replace(heat="blocked"), 60)
    belief = loop.state.belief
    assert belief.gain == pytest.approx(1.15, abs=0.05)
    assert belief.doubt is not None and belief.doubt.gg == pytest.approx(0.05**2, rel=0.01)
    behind = MODEL._replace(path=PATH._replace(sits="stream"), rise_k=5.0)
    assert observe(behind, OFF._replace(heat="blocked"), seen(60.0), 0.0, belief, 1.0).doubt is None


@pytest.mark.parametrize(("steady", "share"), [(1.0, 1.0), (0.0, 0.1)])
def test_a_bed_that_has_not_settled_says_little(steady: float, share: float) -> None:
    """A reading 0.3 K under what full heat should show says that the heater is weak where heat has been full for a
    turnover; just after it came on the same reading says less than a tenth of that."""
    bed = (0.4, 0.2, 0.0, -0.2, -0.4)
    model = MODEL._replace(path=PATH._replace(sits="end", rise_k=4.0), rise_k=4.0, round_s=240.0)
    full = NOTHING._replace(reading_c=60.0, arriving=(1.0,) * 4, bed=bed, steady=steady)
    before = observe(model, hold(70.0), seen(60.0 - 1.6, fresh=False), 1.0, full, 1.0)
    after = observe(model, hold(70.0), seen(60.0 - 1.9), 1.0, full, 1.0)
    moved_k = (before.reading_c or 0.0) - (after.reading_c or 0.0)
    assert moved_k > 0.2 if share == 1.0 else 0.0 < moved_k < 0.1 * 0.3


def test_noise_is_read_off_the_readings() -> None:
    """Readings that swing by 0.3 K about a mash at rest move the belief by a third of what the first would, and once
    they are quiet one counts again as much as any."""
    belief = NOTHING
    for _ in range(300):
        belief = observe(MODEL, hold(65.0), seen(65.0), 0.0, belief, 1.0)
    quiet = observe(MODEL, hold(65.0), seen(65.3), 0.0, belief, 1.0)
    noisy = belief
    for at in range(200):
        noisy = observe(MODEL, hold(65.0), seen(65.0 + (0.3 if at % 2 else -0.3)), 0.0, noisy, 1.0)
    assert noisy.step_k == pytest.approx(0.6, abs=0.01)
    after = observe(MODEL, hold(65.0), seen(65.3), 0.0, noisy, 1.0)
    first_k, later_k = (
        (one.reading_c or 0.0) - (was.reading_c or 0.0) for one, was in ((quiet, belief), (after, noisy))
    )
    assert 0.0 < later_k < first_k / 3.0
    for _ in range(200):
        noisy = observe(MODEL, hold(65.0), seen(65.0), 0.0, noisy, 1.0)
    assert noisy.step_k < 0.001


def test_the_rate_is_learned_on_a_ramp_within_bounds() -> None:
    """A heater 15 % stronger than its plate is found out on one ramp, to within 5 %."""
    loop = Loop(rate_share=1.15)
    loop.run(hold(45.0), 300)
    loop.run(hold(65.0, 2), 1000)
    assert loop.state.belief.gain == pytest.approx(1.15, abs=0.05)


def test_nothing_winds_up_while_the_heater_is_held_back() -> None:
    """Ten minutes of heat refused by the guard in mid-ramp, then given again: no overshoot from it."""
    loop = Loop()
    loop.run(hold(52.0), 600)
    loop.run(hold(63.0, 2), 3600, gate=lambda i, duty: 0.0 if 200 <= i < 800 else duty)
    assert max(loop.trace) < 63.3
    assert abs(loop.trace[-1] - 63.0) < 0.1


def test_a_pause_makes_no_bump() -> None:
    """Heat off for five minutes at rest, then on again: the mash comes back without passing the target."""
    loop = Loop()
    loop.run(hold(63.0), 1800)
    loop.run(OFF, 300)
    loop.run(hold(63.0, 2), 900)
    assert max(loop.trace[1800:]) < 63.15
    assert abs(loop.trace[-1] - 63.0) < 0.1


def test_a_change_of_gain_makes_no_bump() -> None:
    """At rest another belief of the power changes the duty by no more than the loss's share of it."""
    state, _ = warm(63.0, 63.0)
    setpoint, target = Setpoint(63.0, 0.0), hold(63.0)
    _, before = regulate(MODEL, setpoint, target, seen(63.0), 0.03, state, 1.0)
    other = MODEL._replace(power_w=1.2 * MODEL.power_w)
    _, after = regulate(other, setpoint, target, seen(63.0), 0.03, state, 1.0)
    assert abs(after.duty - before.duty) < 0.02


def test_far_below_it_gives_all_it_may() -> None:
    """10 K under the setpoint the demand is the duty cap, and the setpoint is told to wait."""
    state, demand = regulate(MODEL._replace(duty_cap=0.8), Setpoint(63.0, 0.0), hold(63.0), seen(53.0), 0.0, START, 1.0)
    assert demand.duty == 0.8
    assert state.saturated


def test_above_target_heat_is_off_whatever_the_model_says() -> None:
    """More than 1 K over target there is no heat, though the model may expect a fall."""
    state, demand = START, Demand(1.0, "")
    for _ in range(5):
        state = state._replace(belief=state.belief._replace(reading_c=50.0, coming_c=50.0, doubt=None))
        state, demand = regulate(MODEL, Setpoint(63.0, 0.0), hold(63.0), seen(64.01), 0.0, state, 1.0)
    assert demand == Demand(0.0, "no heat: more than 1 K above target")


def test_what_the_heater_adds_at_the_probe_is_allowed_for() -> None:
    """Behind the heater a reading 3 K over target is no reason to stop while the heater adds 5 K there."""
    behind = MODEL._replace(path=PATH._replace(sits="stream"), rise_k=5.0, doubts=Doubts(rise_sd_k=1.5))
    state = START._replace(belief=NOTHING._replace(over=1.0, arriving=(1.0,) * 4))
    _, demand = regulate(behind, Setpoint(63.0, 0.01), hold(63.0), seen(66.0), 1.0, state, 1.0)
    assert demand.reason == "climbing"
    _, stopped = regulate(behind, Setpoint(63.0, 0.01), hold(63.0), seen(69.1), 1.0, state, 1.0)
    assert stopped == Demand(0.0, "no heat: more than 1 K above target")


@pytest.mark.parametrize("heat", ["off", "blocked"])
def test_no_heat_when_the_program_wants_none(heat: str) -> None:
    """Heat that is off or blocked is duty 0 even far below target."""
    target = hold(63.0)._replace(heat=heat)  # type: ignore[arg-type]
    _, demand = regulate(MODEL, Setpoint(63.0, 0.0), target, seen(40.0), 0.0, START, 1.0)
    assert demand == Demand(0.0, f"heat is {heat}")


@pytest.mark.parametrize("reading", [seen(None), seen(nan), seen(40.0, age_s=10.1), seen(40.0, age_s=inf)])
def test_no_heat_without_a_fresh_reading(reading: Measurement) -> None:
    """No value, no number, or one older than 10 s: duty 0, also for a model that has seen better days."""
    state, _ = warm()
    _, demand = regulate(MODEL, Setpoint(63.0, 0.0), hold(63.0), reading, 0.0, state, 1.0)
    assert demand.duty == 0.0


def test_the_outlet_stays_under_its_limit() -> None:
    """A heater whose outlet is 20 K over the mash at full power is held 1 K under the limit, with heat still on."""
    state, outlet, given = START, 70.0, 0.0
    for _ in range(1200):
        state, demand = regulate(MODEL, Setpoint(78.0, 0.0), hold(78.0), seen(70.0), given, state, 1.0, outlet, 85.0)
        given = demand.duty
        outlet += (70.0 + 20.0 * given - outlet) / 15.0
        assert outlet < 85.0
    assert outlet == pytest.approx(84.0, abs=0.3)
    assert given == pytest.approx(0.7, abs=0.03)


@given(ANY, ANY, ANY, ANY, ANY, ANY, st.sampled_from(["hold", "off", "blocked"]))
@settings(max_examples=100)
def test_nothing_raises_and_no_duty_leaves_its_range(
    value: float, setpoint: float, slope: float, applied: float, dt: float, outlet: float, heat: str
) -> None:
    """Any floats anywhere, twice in a row and then sound ones: the duty is always a number from 0 to 1."""
    target = hold(63.0)._replace(heat=heat)  # type: ignore[arg-type]
    state, _ = warm()
    for _ in range(2):
        state, demand = regulate(
            MODEL, Setpoint(setpoint, slope), target, seen(value), applied, state, dt, outlet, 85.0
        )
        assert isfinite(demand.duty)
        assert 0.0 <= demand.duty <= 1.0
    state, demand = regulate(MODEL, Setpoint(63.0, 0.0), hold(63.0), seen(62.0), 0.0, state, 1.0)
    assert isfinite(demand.duty)


OWN = [name for name in PlantModel._fields if name not in ("path", "doubts")]
SIZES = len(OWN) + len(Doubts._fields)


@given(st.lists(ANY, min_size=SIZES, max_size=SIZES))
def test_figures_that_are_not_numbers_give_no_heat(values: list[float]) -> None:
    """Whatever figures come in, the duty is 0 or a number from 0 to 1."""
    model = PlantModel._make((PATH, *values[: len(OWN)], Doubts._make(values[len(OWN) :])))
    _, demand = regulate(model, Setpoint(63.0, 0.0), hold(63.0), seen(50.0), 0.0, START, 1.0)
    assert 0.0 <= demand.duty <= 1.0
    if not all(map(isfinite, values)):
        assert demand.duty == 0.0


def test_a_long_gap_voids_what_was_on_its_way() -> None:
    """After two minutes without a tick the model starts at the reading, but keeps what it learned of the tun."""
    state = START._replace(belief=NOTHING._replace(reading_c=50.0, arriving=(1.0,) * 4, gain=1.1, lag=0.9))
    state, _ = regulate(MODEL, Setpoint(63.0, 0.0), hold(63.0), seen(60.0), 0.0, state, 120.0)
    assert state.belief.reading_c == pytest.approx(60.0, abs=0.2)
    assert state.belief.arriving == (0.0,) * 4
    assert state.belief.gain == pytest.approx(1.1, abs=0.01)


def test_the_same_inputs_give_the_same_outputs() -> None:
    """simple-pid is a calculator here: no state hides in it between two calls."""
    state, _ = warm()
    args = (MODEL, Setpoint(63.0, 0.0), hold(63.0), seen(62.0), 0.3, state, 1.0)
    assert regulate(*args) == regulate(*args)
    assert feedback(2.0, 0.1, 63.0, 62.9) == feedback(2.0, 0.1, 63.0, 62.9)
