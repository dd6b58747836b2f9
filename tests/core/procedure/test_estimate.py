"""Does the live estimate follow the mash it is told of, say what went wrong with it, and move no heat?"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence

import pytest

from controller.brewing.kinetics import malts
from controller.brewing.kinetics import model as kinetics
from controller.brewing.kinetics.amounts import REAL_PER_APPARENT
from controller.core import checkpoint, plain_values
from controller.core.nouns import Course, Event, Measurement, Phase
from controller.core.procedure import estimate
from controller.core.procedure.estimate import Estimate
from controller.messages.status_document import status
from tests.core.bench import Bench, course, leg, settings

HOUR = 3600
MASH = course(leg("conversion", 66.0, HOUR), leg("mash-out", 76.0, 600.0))
FALLING = course(leg("hot", 72.0, 600.0), leg("cool", 64.0, HOUR))
Curve = Callable[[int], tuple[int, float]]  # second -> step and temperature


def seen(value_c: float | None) -> Measurement:
    """A good reading, or none."""
    return Measurement(value_c, value_c, 0.0, 0.0, None, True, False)


def follow(plan: Course, curve: Curve, seconds: int, malt: malts.Plain | None = None) -> tuple[Estimate, list[Event]]:
    """A mash doughed in at the curve's first temperature, a call every second as in the tick."""
    plan = plan._replace(malt=malt)
    now, events = Estimate(), []
    now, _ = estimate.follow(now, plan, 0, Phase.SETTLING, seen(curve(0)[1]), 0.0)
    for second in range(1, seconds + 1):
        index, celsius = curve(second)
        now, told = estimate.follow(now, plan, index, Phase.RESTING, seen(celsius), float(second))
        events += [told] if told is not None else []
    return now, events


def steady(second: int) -> tuple[int, float]:
    return 1, 66.0


def humps(*of: tuple[int, int, float]) -> Curve:
    """66 °C, with so many seconds at another temperature from a second on."""

    def curve(second: int) -> tuple[int, float]:
        return 1, next((celsius for begin, long, celsius in of if begin <= second < begin + long), 66.0)

    return curve


def test_it_is_the_model_on_what_was_measured() -> None:
    """An hour at 66 °C gives what the model gives for an hour at 66 °C, in the step it happened in."""
    found, events = follow(MASH, steady, HOUR)
    assert found.amounts is not None
    whole = kinetics.predict([(float(HOUR), 66.0)]).end
    assert kinetics.apparent_limit_pct(found.amounts) == pytest.approx(kinetics.apparent_limit_pct(whole), abs=0.05)
    assert events == []
    document = estimate.document(found)
    assert document is not None
    assert [step["name"] for step in document["steps"]] == ["dough-in", "conversion"]
    assert document["apparent_limit_pct"]["high"] - document["apparent_limit_pct"]["low"] >= 12.0


def test_steps_and_the_malts_own_sugar_add_up() -> None:
    """What the steps gained and the sugar of the malt itself are the whole limit: no minute is left out."""
    found, _ = follow(MASH, lambda s: (1, 66.0) if s < 2400 else (2, 76.0), HOUR)
    document = estimate.document(found)
    assert document is not None and found.amounts is not None
    fresh = kinetics.fresh()
    own = 100.0 * kinetics.fermentable(fresh) / kinetics.extract(found.amounts) / REAL_PER_APPARENT
    gained = sum(step["apparent_points_gained"] for step in document["steps"])
    assert own + gained == pytest.approx(document["apparent_limit_pct"]["mid"], abs=0.02)


def test_water_alone_has_no_estimate() -> None:
    """A course without dough-in never begins one, and its document is null."""
    plan = course(leg("hot", 66.0, HOUR), grist_kg=0)
    found, _ = estimate.follow(Estimate(), plan, 0, Phase.RESTING, seen(66.0), 100.0)
    assert found == Estimate()
    assert estimate.document(found) is None


def test_the_course_brings_the_malt() -> None:
    """A malt with half the limit dextrin ends drier; one whose beta-amylase goes twice as fast ends with less of it."""
    usual, _ = follow(MASH, steady, 900)
    rich, _ = follow(MASH, steady, 900, malts.Basis(kinetics.DEFAULT_MALT._replace(limit_dextrin_share=0.16)).plain())
    fast, _ = follow(MASH, steady, 900, malts.Basis(beta_loss_factor=2.0).plain())
    assert usual.amounts is not None and rich.amounts is not None and fast.amounts is not None
    assert kinetics.apparent_limit_pct(rich.amounts) > kinetics.apparent_limit_pct(usual.amounts) + 3.0
    assert fast.amounts.beta == pytest.approx(usual.amounts.beta**2, rel=1e-6)


# ---------------------------------------------------------------- too hot


def test_an_overshoot_is_told_once_when_it_is_over() -> None:
    """Five minutes at 71 °C in a 66 °C rest: one note after it, with how far, how long and what it cost."""
    _, events = follow(MASH, humps((600, 300, 71.0)), 1800)
    assert len(events) == 1
    note = events[0]
    assert (note.kind, note.id, note.value, note.limit, note.unit) == ("note", "estimate", 5.0, 2.0, "K")
    assert "conversion was too hot for 5 min, at worst 5.0 K over its 66.0 °C" in note.text
    usual, _ = follow(MASH, steady, 900)
    hot, _ = follow(MASH, humps((600, 300, 71.0)), 900)
    assert usual.amounts is not None and hot.amounts is not None
    cost = 100.0 * (usual.amounts.beta - hot.amounts.beta)
    assert cost > 5.0
    assert f"cost {cost:.0f} % of the first beta-amylase" in note.text
    assert note.text.startswith("estimate: ")


def test_nothing_is_said_before_it_is_over() -> None:
    """While the mash is still too hot there is no note, however long."""
    found, events = follow(MASH, humps((600, 3000, 71.0)), 3000)
    assert events == []
    assert found.over is not None


@pytest.mark.parametrize(("celsius", "notes"), [(67.9, 0), (68.0, 0), (68.1, 1), (64.0, 0)])
def test_two_kelvin_are_the_limit(celsius: float, notes: int) -> None:
    """Up to 2 K over the target, and any cooler, is no overshoot; more is one."""
    assert len(follow(MASH, humps((600, 300, celsius)), 1500)[1]) == notes


def test_it_is_over_within_a_kelvin() -> None:
    """Hanging between 1 and 2 K over is still the same overshoot; two that part are two."""
    hanging = humps((600, 120, 70.0), (720, 120, 67.5), (840, 120, 70.0))
    parted = humps((600, 120, 70.0), (840, 120, 70.0))
    assert len(follow(MASH, hanging, 1500)[1]) == 1
    assert len(follow(MASH, parted, 1500)[1]) == 2


def test_a_mash_that_lands_too_hot_is_told() -> None:
    """Grain that lands 4 K over the first rest and cools down to it is an overshoot of that rest."""
    _, events = follow(MASH, lambda s: (1, max(66.0, 70.0 - s / 300.0)), 2400)
    assert len(events) == 1
    assert "at worst 4.0 K over" in events[0].text


def test_a_fall_that_the_program_wants_is_none() -> None:
    """Cooling from a 72 °C rest to one at 64 °C is as written: no note; being 6 K over later on is one."""

    def falls(second: int) -> tuple[int, float]:
        if second < 600:
            return 1, 72.0
        return 2, 70.0 if 3000 <= second < 3300 else max(64.0, 72.0 - (second - 600) / 60.0)

    _, events = follow(FALLING, falls, 2900)
    assert events == []
    _, events = follow(FALLING, falls, 3600)
    assert len(events) == 1
    assert events[0].text.startswith("estimate: cool was too hot")


def test_the_end_of_the_program_ends_it() -> None:
    """A mash that is too hot when the program ends is told then."""
    found, events = follow(MASH, humps((600, 600, 71.0)), 1000)
    assert events == []
    found, told = estimate.follow(found, MASH, len(MASH.legs), Phase.RESTING, seen(71.0), 1020.0)
    assert told is not None and found.over is None


# ---------------------------------------------------------------- restart


def test_it_survives_a_restart() -> None:
    """Kept as JSON and recalled, the estimate goes on to the same end, malt and all."""
    plain = malts.Basis(kinetics.DEFAULT_MALT._replace(limit_dextrin_share=0.4), 1.3).plain()
    straight, _ = follow(MASH, steady, 1200, plain)
    half, _ = follow(MASH, steady, 600, plain)
    kept = json.loads(json.dumps(plain_values.plain(half, half.at)))
    back = plain_values.record(Estimate, kept, half.at)
    assert back == half
    plan = MASH._replace(malt=plain)
    for second in range(601, 1201):
        back, _ = estimate.follow(back, plan, 1, Phase.RESTING, seen(66.0), float(second))
    assert back == straight


@pytest.mark.parametrize("malt", [{"starch": 7.0}, {"hops": 1.0}, {"beta_loss_factor": 9.0}, {"starch": "much"}])
def test_a_course_with_a_spoiled_malt_is_not_recalled(malt: dict[str, object]) -> None:
    """A kept run whose malt does not hold together is a person's to decide, not an exception in the tick later."""
    bench = Bench(settings(), mash_c=62.8)
    bench.until("idle")
    bench.start(course(leg("beta", 63.0, 2400.0), grist_kg=0))
    bench.until("resting")
    kept = json.loads(json.dumps(checkpoint.keep(bench.state)))
    assert checkpoint.recall(kept, 0.0) is not None
    kept["run"]["course"]["malt"] = malt
    assert checkpoint.recall(kept, 0.0) is None


def test_the_outage_is_told_in_enzymes() -> None:
    """Twenty minutes without power from 66 to 62 °C: the note names what it cost, and the estimate has it."""
    half, _ = follow(MASH, steady, 600)
    after, told = estimate.over_outage(half, MASH, 1200.0, 62.0, 1800.0)
    assert told is not None and after.amounts is not None and half.amounts is not None
    assert after.amounts.time_s == pytest.approx(half.amounts.time_s + 1200.0)
    cost = 100.0 * (half.amounts.beta - after.amounts.beta)
    assert f"cost {cost:.0f} % of the first beta-amylase" in told.text


@pytest.mark.parametrize(("seconds", "now_c"), [(None, 62.0), (600.0, None)])
def test_an_outage_that_nobody_knows_ends_the_estimate(seconds: float | None, now_c: float | None) -> None:
    """Without length or temperature of the outage there is no honest figure any more."""
    half, _ = follow(MASH, steady, 600)
    assert estimate.over_outage(half, MASH, seconds, now_c, 1200.0) == (Estimate(), None)


# ---------------------------------------------------------------- in the whole core


def brewed(malt: malts.Plain | None, forget: bool = False) -> Bench:
    """A short mash through the whole core, grain and all; with `forget` the estimate is wiped every minute."""
    bench = Bench(settings(), mash_c=52.0)
    bench.until("idle")
    bench.start(course(leg("conversion", 58.0, 300.0))._replace(malt=malt))
    bench.until("dough_in")
    bench.answer(answer="begin")
    bench.until("grain_in")
    bench.answer(answer="yes")
    for second in range(1500):
        bench.step()
        if forget and second % 60 == 0:
            bench.state = bench.state._replace(run=bench.state.run._replace(mash=Estimate()))
    return bench


def commands(bench: Bench) -> Sequence[object]:
    return [outcome.command for outcome in bench.log]


def test_the_estimate_moves_no_heat() -> None:
    """Another malt, or no estimate at all, leaves every heater command of a mash exactly as it is."""
    usual = brewed(None)
    assert any(outcome.command is not None and outcome.command.duty > 0.0 for outcome in usual.log)
    assert usual.state.run.mash.amounts is not None
    other = brewed(malts.Basis(kinetics.DEFAULT_MALT._replace(limit_dextrin_share=0.55), 2.0).plain())
    assert other.state.run.mash != usual.state.run.mash
    assert commands(other) == commands(usual)
    assert commands(brewed(None, forget=True)) == commands(usual)


def test_status_shows_it_with_its_doubt() -> None:
    """The status carries the estimate: enzymes left, and the limit as a range or not at all."""
    bench = brewed(None)
    shown = status(
        bench.settings, bench.outcome, wall_s=0.0, wall_confirmed=True, speed=1.0, journal_seq=0, counters={}
    )
    prediction = shown["prediction"]
    assert prediction is not None and prediction["set"] == "calibrated"
    assert 0.0 < prediction["beta_left_pct"] < 100.0
    band = prediction["apparent_limit_pct"]
    assert band is not None
    assert band["low"] < band["mid"] < band["high"] and band["high"] - band["low"] >= 12.0
