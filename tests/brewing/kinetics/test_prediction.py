"""Is what a brewer is shown of the wort honest, complete and the same however it is asked for?"""

from __future__ import annotations

import json

import pytest

from controller.brewing.kinetics.amounts import REAL_PER_APPARENT
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    PUBLISHED_SET,
    Malt,
    Mark,
    Prediction,
    apparent_limit_pct,
    contribution,
    extract,
    follow,
    fresh,
    gather,
    predict,
    read,
    spans,
    step,
)
from controller.brewing.kinetics.what_if import Rest, Variation, changed, predict_rests, profile_of, warmed, what_if

SANDPIPER = (
    Rest("protein rest", 50.0, 600.0),
    Rest("maltose rest", 63.0, 2400.0, 798.0),
    Rest("saccharification", 72.0, 1200.0, 558.0),
    Rest("mash-out", 78.0, 300.0, 372.0),
)


def flat(celsius: float, minutes: float = 60.0) -> Prediction:
    """The prediction for one temperature."""
    return predict_rests([Rest("rest", celsius, 60.0 * minutes)])


@pytest.mark.parametrize("celsius", [40.0, 50.0, 53.0, 54.9, 80.1, 82.0, 90.0])
def test_nothing_is_shown_outside_55_to_80(celsius: float) -> None:
    """A mash held where the model has no data gets no figure of its wort, only the enzymes that are left."""
    shown = flat(celsius)
    assert shown.apparent_limit_pct is None
    assert shown.real_limit_pct is None
    assert (shown.extract_share, shown.iodine_fine_min, shown.iodine_negative_min) == (None, None, None)
    assert {one["what"] for one in shown.withheld} == {"limit", "extract", "iodine"}
    assert all(one.apparent_points_gained is None for one in shown.steps)
    assert 0.0 <= shown.starch_left_pct <= 100.0
    assert 0.0 <= shown.beta_left_pct <= 100.0


@pytest.mark.parametrize("celsius", [55.0, 60.0, 65.0, 70.0, 75.0, 79.0, 80.0])
def test_the_limits_are_shown_with_their_band(celsius: float) -> None:
    """From 55 to 80 °C the limit is shown, in whole percents outwards, at least as wide as the band for it."""
    shown = flat(celsius)
    assert shown.apparent_limit_pct is not None
    low, mid, high = shown.apparent_limit_pct
    half = {55.0: 8.0, 60.0: 6.0, 65.0: 6.0, 70.0: 10.0, 75.0: 10.0, 79.0: 11.6, 80.0: 12.0}[celsius]
    assert mid - low >= half - 1e-9
    assert high - mid >= half - 1e-9
    assert low == round(low) and high == round(high)
    assert mid == apparent_limit_pct(shown.end)


def test_real_follows_apparent() -> None:
    """The real limit is the apparent one times Balling's factor, its band no narrower."""
    shown = flat(66.0)
    assert shown.apparent_limit_pct is not None
    assert shown.real_limit_pct is not None
    assert shown.real_limit_pct.mid == pytest.approx(shown.apparent_limit_pct.mid * REAL_PER_APPARENT)
    assert shown.real_limit_pct.low <= shown.apparent_limit_pct.low * REAL_PER_APPARENT
    assert shown.real_limit_pct.high >= shown.apparent_limit_pct.high * REAL_PER_APPARENT


def test_a_low_rest_before_does_not_hide_the_wort() -> None:
    """Time at 45 or 50 °C before the starch rests leaves the limit shown: little starch was cut there."""
    shown = predict_rests(SANDPIPER)
    assert shown.apparent_limit_pct is not None
    assert shown.apparent_limit_pct.mid == pytest.approx(82.0, abs=0.1)
    assert shown.iodine_fine_min == pytest.approx(33.0, abs=3.0)
    assert shown.iodine_negative_min == pytest.approx(58.0, abs=3.0)


def test_a_fresh_mash_says_nothing() -> None:
    """At dough-in there is no wort to speak of: enzymes whole, no limit, no iodine."""
    shown = read(fresh())
    assert shown.apparent_limit_pct is None
    assert (shown.beta_left_pct, shown.alpha_left_pct, shown.steps) == (100.0, 100.0, ())


def test_json_names() -> None:
    """The plain form holds the fields that dry run, status and record promise, and is JSON."""
    plain = json.loads(json.dumps(predict_rests(SANDPIPER).as_json()))
    assert {
        *("set", "basis", "apparent_limit_pct", "real_limit_pct", "extract_share", "starch_left_pct", "beta_left_pct"),
        *("alpha_left_pct", "glucanase_left_pct", "protease_left_pct", "iodine_negative_min", "steps"),
    } <= set(plain)
    assert plain["set"] == "calibrated"
    assert "alibrated on" in plain["basis"]
    assert set(plain["apparent_limit_pct"]) == {"low", "mid", "high"}
    assert [one["name"] for one in plain["steps"]] == [rest.name for rest in SANDPIPER]
    assert set(plain["steps"][0]) == {
        *("name", "apparent_points_gained", "starch_converted_pct", "beta_lost_pct", "alpha_lost_pct")
    }


def test_contributions_add_up() -> None:
    """What the rests gained and the malt's own sugar add up to the limit; starch and enzymes to what is gone."""
    shown = predict_rests(SANDPIPER)
    own = 100.0 * 0.08 / extract(shown.end) / REAL_PER_APPARENT
    points = [one.apparent_points_gained or 0.0 for one in shown.steps]
    gained = sum(points)
    assert own + gained == pytest.approx(apparent_limit_pct(shown.end), abs=1e-9)
    assert sum(one.starch_converted_pct for one in shown.steps) == pytest.approx(100.0, abs=0.01)
    assert sum(one.beta_lost_pct for one in shown.steps) == pytest.approx(100.0 - shown.beta_left_pct)
    assert sum(one.alpha_lost_pct for one in shown.steps) == pytest.approx(100.0 - shown.alpha_left_pct)
    assert shown.steps[points.index(max(points))].name == "maltose rest"


def test_a_mash_under_way_can_be_followed_on() -> None:
    """Prediction from the middle of a mash on gives exactly what prediction from its beginning gives."""
    profile, _ = profile_of(SANDPIPER)
    begun = follow(CALIBRATED_SET, fresh(), gather(profile[:300]))
    on = predict(profile[300:], start=begun)
    assert on.apparent_limit_pct == predict(profile).apparent_limit_pct
    assert on.end == predict(profile).end


def test_live_by_the_tick() -> None:
    """Stepping second by second as a tick does, and opening a step by hand, gives the figures of a prediction."""
    profile, marks = profile_of(SANDPIPER)
    state, opened, waiting = fresh(), [], list(marks)
    for dt_s, celsius in spans(profile):
        while waiting and waiting[0].start_s <= state.time_s + 1e-6:
            opened.append((waiting.pop(0).name, state))
        for _ in range(5):
            state = step(CALIBRATED_SET, state, celsius, dt_s / 5)
    live, planned = read(state, opened=opened), predict(profile, marks=marks)
    assert len(live.steps) == len(planned.steps) == 4
    for one, other in zip(live.steps, planned.steps, strict=True):
        assert one.apparent_points_gained is not None
        assert one.apparent_points_gained == pytest.approx(other.apparent_points_gained, abs=0.15)
        assert one.beta_lost_pct == pytest.approx(other.beta_lost_pct, abs=0.15)


def test_an_overshoot_says_what_it_did() -> None:
    """Ten minutes at 74 °C in the middle of a 64 °C rest are seen as beta-amylase lost and points not gained."""
    kept = predict([(600.0, 64.0), (600.0, 64.0), (1800.0, 64.0)])
    hot = predict([(600.0, 64.0), (600.0, 74.0), (1800.0, 64.0)], marks=[Mark("before", 0), Mark("overshoot", 600)])
    assert apparent_limit_pct(hot.end) < apparent_limit_pct(kept.end) - 3.0
    assert hot.steps[1].beta_lost_pct > 60.0


def test_a_step_of_its_own() -> None:
    """Without a finished mash a step's points are of the extract at its own end."""
    begin = follow(CALIBRATED_SET, fresh(), [(600.0, 63.0)])
    end = follow(CALIBRATED_SET, begin, [(600.0, 63.0)])
    one = contribution("rest", begin, end)
    assert one.apparent_points_gained is not None and one.apparent_points_gained > 0.0
    assert one == contribution("rest", begin, end, end)


def test_the_malt_is_named_in_the_basis() -> None:
    """The words say whether the level was anchored on a malt."""
    anchored = predict_rests(SANDPIPER, Malt(limit_dextrin_share=0.3)).basis
    assert anchored.startswith(predict_rests(SANDPIPER).basis)
    assert "anchored" in anchored


def test_the_second_opinion() -> None:
    """The published set speaks up to 71 °C only, in words of its own, and is within 10 points of the first up to 70."""
    for celsius in (60.0, 63.0, 66.0, 68.0, 70.0):
        first = flat(celsius).apparent_limit_pct
        second = predict([(5.0, celsius)] * 720, params=PUBLISHED_SET)
        assert first is not None and second.apparent_limit_pct is not None
        assert abs(first.mid - second.apparent_limit_pct.mid) < 10.0
        assert second.basis.startswith("Second opinion") and second.set == "published"
    assert predict([(5.0, 72.0)] * 720, params=PUBLISHED_SET).apparent_limit_pct is None


def test_what_a_rest_changes() -> None:
    """Each rest is asked both questions, and the answers are those of predicting the changed program."""
    found = {(one.name, one.change): one for one in what_if(SANDPIPER)}
    assert len(found) == 8
    warmer = found["maltose rest", "2 K warmer"]
    assert warmer.apparent_points is not None and warmer.apparent_points < -0.3
    longer = found["maltose rest", "10 min longer"]
    assert longer.duration_min == pytest.approx(10.0)
    program = [*SANDPIPER[:1], SANDPIPER[1]._replace(hold_s=3000.0), *SANDPIPER[2:]]
    changed = apparent_limit_pct(predict_rests(program).end) - apparent_limit_pct(predict_rests(SANDPIPER).end)
    assert longer.apparent_points == pytest.approx(changed)


def test_warmer_keeps_the_climb() -> None:
    """A warmer rest takes longer to reach and leaves less to climb to the next, at the same rate."""
    program = warmed(SANDPIPER, 1, 2.0)
    assert program[1].temperature_c == 65.0
    assert program[1].ramp_s == pytest.approx(798.0 * 15.0 / 13.0)
    assert program[2].ramp_s == pytest.approx(558.0 * 7.0 / 9.0)
    assert program[0] == SANDPIPER[0] and program[3] == SANDPIPER[3]


def test_nothing_is_asked_beyond_80() -> None:
    """A rest at 79 °C is not varied by 2 K: the model has no data there."""
    asked = what_if([Rest("low", 65.0, 3600.0), Rest("hot", 79.0, 300.0, 840.0)])
    assert [(one.name, one.change) for one in asked] == [
        ("low", "2 K warmer"),
        ("low", "10 min longer"),
        ("hot", "10 min longer"),
    ]


def test_what_is_not_shown_has_no_difference() -> None:
    """A program whose wort may not be shown gets no differences of it either."""
    assert all(one.apparent_points is None for one in what_if([Rest("cold", 48.0, 1800.0)]))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (Variation("rest", "2 K warmer", -1.84, 0.0, -2.2, 0.4), "2 points fuller, iodine-negative 2 min sooner"),
        (
            Variation("rest", "10 min longer", 0.7, 0.1, 9.6, 10.0),
            "1 point drier, iodine-negative 10 min later, 10",
        ),
        (Variation("rest", "10 min longer", 0.2, 0.1, None, 10.0), "changes the limit little, 10 min longer in all"),
        (Variation("rest", "10 min longer", None, None, None, 10.0), "no figure"),
    ],
)
def test_a_change_in_words(change: Variation, said: str) -> None:
    """Each change is a sentence with its name; less than half a point is said to be little."""
    assert changed(change).startswith(f"{change.change}: {said}")
