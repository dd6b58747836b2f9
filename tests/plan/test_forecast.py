"""Is what a plan is expected to give the model's word on what the plan says?"""

from __future__ import annotations

from typing import Any

import pytest

from controller.brewing.kinetics.calibration import Calibration
from controller.brewing.kinetics.model import CALIBRATED_SET, predict
from controller.brewing.kinetics.what_if import Rest
from controller.core.control.climb import power_w
from controller.core.nouns import SETTLE_S
from controller.edge.files import config_files as files
from controller.plan.forecast import Forecast, forecast, rests
from controller.plan.plan import Plan, make
from controller.plan.recipe import Program
from tests.places import CONFIG

PLOVER = files.load_tun(CONFIG, "plover")
LINNET = files.load_program(CONFIG, "linnet")


def changed(**fields: Any) -> Program:
    return LINNET.model_copy(update=fields)


def expected(plan: Plan) -> Forecast:
    found = forecast(plan)
    assert found is not None
    return found


def test_the_plan_as_temperatures_and_times() -> None:
    """Pale ale: mixing some 0.9 K low, for what the open lid takes (6 W/K, 3 min) and the settling (2 W/K, 3 min);
    an hour at 66 °C, the plan's own rise, ten minutes at 77 °C; keep is left out."""
    plan = make(LINNET, PLOVER)
    planned = rests(plan)
    assert planned is not None
    landed, mashed, out = planned
    assert landed._replace(temperature_c=0.0) == Rest("dough-in", 0.0, SETTLE_S, lands=True)
    mash_j_per_k = plan.stages[1].capacity_j_per_k
    lost_j = (66.0 - 18.0) * (6.0 * 180.0 + 2.0 * SETTLE_S)
    assert landed.temperature_c == pytest.approx(66.0 - lost_j / mash_j_per_k, abs=1e-6)
    heated_s = (66.0 - landed.temperature_c) * mash_j_per_k / power_w(PLOVER)
    assert mashed == Rest("conversion", 66.0, 3600.0, mashed.ramp_s)
    assert mashed.ramp_s == pytest.approx(heated_s)
    assert out == Rest("mash-out", 77.0, 600.0, plan.stages[2].ramp_s)


def test_grain_that_lands_elsewhere_begins_there() -> None:
    """With a strike temperature as written the mixing is at where the mash lands, and the rise from there counts."""
    plan = make(changed(dough_in=LINNET.dough_in.model_copy(update={"strike_c": 66.0})), PLOVER)
    planned = rests(plan)
    assert planned is not None
    assert (planned[0].name, planned[0].lands) == ("dough-in", False)
    assert planned[0].temperature_c < plan.landing_c < 62.0
    assert planned[1].ramp_s > plan.stages[1].ramp_s > 200.0
    assert [one.name for one in expected(plan).variations] == ["conversion", "conversion", "mash-out"]


def test_it_is_the_models_word() -> None:
    """The prediction is the model's on that profile, with a step for each rest and a second opinion beside it."""
    found = expected(make(LINNET, PLOVER))
    again = predict(found.profile, found.basis.malt, found.marks)
    assert found.prediction == again
    assert [step.name for step in found.prediction.steps] == ["dough-in", "conversion", "mash-out"]
    assert found.second.set == "published"


def test_two_kelvin_and_ten_minutes() -> None:
    """66 to 68 °C makes it 2 to 3 points fuller; ten minutes more at 66 °C after an hour change next to nothing."""
    warmer, longer = expected(make(LINNET, PLOVER)).variations[:2]
    assert warmer.change == "2 K warmer" and warmer.apparent_points is not None
    assert -3.5 < warmer.apparent_points < -1.5
    assert longer.change == "10 min longer" and longer.apparent_points is not None
    assert abs(longer.apparent_points) < 0.5


def test_the_malt_sheet_moves_it() -> None:
    """The same program on malt with 84 % instead of 76 % in its sheet is expected 6 to 12 points drier."""
    low, high = (
        expected(make(changed(grist=(LINNET.grist[0].model_copy(update={"limit_attenuation": share}),)), PLOVER))
        for share in (0.76, 0.84)
    )
    assert low.prediction.apparent_limit_pct is not None and high.prediction.apparent_limit_pct is not None
    assert 6.0 < high.prediction.apparent_limit_pct.mid - low.prediction.apparent_limit_pct.mid < 12.0
    assert "certificate" in high.prediction.basis


def test_own_worts_move_it_and_the_course_carries_it() -> None:
    """A brewery's calibration is in the forecast, in the remarks and in the course that a run would take along."""
    brewery = Calibration(CALIBRATED_SET.limit_dextrin_share + 0.1, 1.1, 4, 6.0, 1.0, ())
    plan = make(LINNET, PLOVER, brewery)
    assert plan.course.malt is not None
    assert plan.course.malt["beta_loss_factor"] == 1.1
    assert "brought to 4 measured worts of this brewery" in expected(plan).remarks
    assert plan.course._replace(malt=None) == make(LINNET, PLOVER).course._replace(malt=None)


@pytest.mark.parametrize("name", ["water-trial"])
def test_water_alone_has_no_forecast(name: str) -> None:
    """No grain, no wort."""
    assert forecast(make(files.load_program(CONFIG, name), PLOVER)) is None


def test_a_souring_of_days_is_told() -> None:
    """Two days at 42 °C before the mash: bacteria change the wort, so a wider limit, no extract, no list of changes."""
    steps = [
        LINNET.step[0].model_copy(
            update={"name": "souring", "kind": "souring", "temperature_c": 42.0, "time_s": 172800.0}
        ),
        *LINNET.step,
    ]
    found = expected(make(changed(step=tuple(steps)), PLOVER))
    assert found.variations == ()
    assert "bacteria change the wort in hours below 55 °C" in found.prediction.widened
    assert {one["what"] for one in found.prediction.withheld} == {"extract", "iodine"}
    plain = expected(make(LINNET, PLOVER)).prediction.apparent_limit_pct
    wide = found.prediction.apparent_limit_pct
    assert plain is not None and wide is not None
    assert wide.high - wide.low >= plain.high - plain.low + 7.0
