"""The end of the mash, foretold while it runs: as planned when all goes as planned, other when it does not."""

from __future__ import annotations

import pytest

from controller.brewing.kinetics import malts
from controller.brewing.kinetics import model as kinetics
from controller.brewing.kinetics.what_if import Rest
from controller.core.nouns import SETTLE_S, Phase, RunState
from controller.core.procedure.estimate import Estimate
from controller.core.procedure.run import Progress, Run
from controller.edge.files import config_files as files
from controller.plan import plan, wort_ahead
from controller.plan.forecast import forecast
from controller.plan.plan import Plan
from tests.places import CONFIG


@pytest.fixture(scope="module")
def planned() -> Plan:
    return plan.make(files.load_program(CONFIG, "sandpiper"), files.settings(CONFIG, "gannet").tun)


def at(planned: Plan, leg: int, phase: Phase, now_c: float, credited_s: float = 0.0, warm_s: float = 0.0) -> Run:
    """The run in this step, its mash held at its present temperature for so long before."""
    basis = malts.recalled(planned.course.malt)
    amounts = kinetics.step(basis.params, kinetics.fresh(basis.malt), now_c, warm_s)
    mash = Estimate(amounts, 0.0, now_c, leg)
    return Run(
        state=RunState.RUNNING, course=planned.course, leg=leg, phase=phase, progress=Progress(credited_s), mash=mash
    )


def test_at_dough_in_it_is_the_plans_own_forecast(planned: Plan) -> None:
    """From the moment of mixing on, the foretold limit is that of `check` for the same plan, within 0.1 points."""
    expected = forecast(planned)
    assert expected is not None
    assert expected.prediction.apparent_limit_pct is not None
    first = planned.course.legs[1]
    found = wort_ahead.at_end(at(planned, 0, Phase.SETTLING, first.target_c))
    assert found is not None
    assert found["apparent_limit_pct"]["mid"] == pytest.approx(expected.prediction.apparent_limit_pct.mid, abs=0.1)
    assert found["starch_left_pct"] == pytest.approx(expected.prediction.starch_left_pct, abs=0.1)


def test_it_takes_the_steps_as_they_stand(planned: Plan) -> None:
    """A fermentable rest made hotter for this run foretells a drier or fuller wort at once, before it has been run."""
    run = at(planned, 1, Phase.RESTING, planned.course.legs[1].target_c)
    index = next(i for i, leg in enumerate(planned.course.legs) if 60.0 <= leg.target_c <= 66.0 and leg.kind == "rest")
    hotter = planned.course.legs[index]._replace(target_c=70.0)
    legs = (*planned.course.legs[:index], hotter, *planned.course.legs[index + 1 :])
    before, after = wort_ahead.at_end(run), wort_ahead.at_end(run._replace(course=planned.course._replace(legs=legs)))
    assert before is not None
    assert after is not None
    assert after["apparent_limit_pct"]["mid"] < before["apparent_limit_pct"]["mid"] - 1.0


def test_a_mash_that_was_too_hot_shows_in_the_end(planned: Plan) -> None:
    """Ten minutes at 75 °C have cost beta-amylase: the same steps to come end fuller than from a fresh mash."""
    first = planned.course.legs[1].target_c
    cool = wort_ahead.at_end(at(planned, 1, Phase.RESTING, first))
    scalded = at(planned, 1, Phase.RESTING, 75.0, warm_s=600.0)
    hot = wort_ahead.at_end(scalded._replace(mash=scalded.mash._replace(last_c=first)))
    assert cool is not None
    assert hot is not None
    assert hot["apparent_limit_pct"]["mid"] < cool["apparent_limit_pct"]["mid"] - 1.0


def test_only_what_is_left_is_followed(planned: Plan) -> None:
    """Credited time and the part of the rise that is done are behind; mixing and later steps are ahead; no keep."""
    legs = planned.course.legs
    here = legs[2]
    resting = wort_ahead.rests(at(planned, 2, Phase.RESTING, here.target_c, credited_s=100.0))
    assert resting[0] == Rest("now", here.target_c, 0.0)
    assert resting[1] == Rest(here.name, here.target_c, here.hold_s - 100.0, 0.0)
    assert [rest.name for rest in resting[2:]] == [leg.name for leg in legs[3:] if leg.kind != "keep"]
    assert resting[2] == Rest(legs[3].name, legs[3].target_c, legs[3].hold_s, legs[3].ramp_s)
    halfway = (legs[1].target_c + here.target_c) / 2.0
    rising = wort_ahead.rests(at(planned, 2, Phase.RAMPING, halfway))
    assert rising[1].ramp_s == pytest.approx(here.ramp_s / 2.0)
    assert wort_ahead.rests(at(planned, 0, Phase.SETTLING, 50.0))[0].hold_s == SETTLE_S


def test_without_mash_or_program_nothing_is_foretold(planned: Plan) -> None:
    """Before dough-in, without a program and after its end there is nothing to say."""
    run = at(planned, 1, Phase.RESTING, 50.0)
    assert wort_ahead.at_end(run._replace(mash=Estimate())) is None
    assert wort_ahead.at_end(run._replace(course=None)) is None
    assert wort_ahead.at_end(run._replace(leg=len(planned.course.legs))) is None
