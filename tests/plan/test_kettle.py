"""What comes into the kettle, and the grist for what is wanted there."""

from __future__ import annotations

from typing import Any

import pytest

from controller.plan import kettle, plan
from controller.plan.recipe import Program
from controller.plan.recipe_checks import agree
from controller.report import plan_page
from controller.settings.faults_in_words import read
from tests.core.bench import tun as vessel

SHEET = {"name": "pale", "mass": "20 kg", "moisture": "4.8 %", "extract": "81.9328 %"}  # 78 % as it is


def program(wanted: dict[str, str] | None, sheet: dict[str, str] = SHEET) -> Program:
    data: dict[str, Any] = {"title": "t", "grist": [sheet], "liquor": {"mass": "60 kg"}}
    data |= {"step": [{"temperature": "65 °C", "time": "60 min"}]} | ({"wanted": wanted} if wanted else {})
    value, problems = read(Program, data, agree)
    assert value is not None, problems
    return value


def page(of: Program) -> str:
    return plan_page.page(plan.make(of, vessel(dead_space_l=2.0)))


def test_one_batch_of_sparge() -> None:
    """Worked example W46: 20 kg in 60 kg, 91.1 L in the kettle by 42 kg of sparge liquor: 89.9 % out, 13.87 °P."""
    found = kettle.expected(program({"volume": "91.104 L", "gravity": "13.87 °P"}), vessel(dead_space_l=2.0))
    assert found is not None
    assert found.sparge_kg == pytest.approx(42.0, abs=0.01)
    assert found.lauter_share == pytest.approx(0.899, abs=0.001)
    assert found.got.wort_p == pytest.approx(13.87, abs=0.02)
    assert found.needed.grist_kg == pytest.approx(20.0, abs=0.02)  # backwards it is the same grist


@pytest.mark.parametrize(
    ("wanted", "grist_kg", "liquor_kg"),
    [
        ({"volume": "85 L", "gravity": "1.048 SG"}, 15.57, 46.70),  # W48
        ({"volume": "85 L", "gravity": "1.048 SG", "sparge": "none"}, 17.45, 94.77),  # W48b
        (
            {"volume": "75 L", "gravity": "14 °P", "boil_off": "10 L"},
            16.37,
            49.10,
        ),  # W50: 16.37 x 0.741 x 0.913 are its 11.08 kg
    ],
)
def test_grist_for_a_wanted_kettle(wanted: dict[str, str], grist_kg: float, liquor_kg: float) -> None:
    """As much grist and liquor as the mass balance wants, with a sparge, without, and with a boil-off on top."""
    found = kettle.expected(program(wanted), vessel(dead_space_l=2.0))
    assert found is not None
    assert (found.needed.grist_kg, found.needed.liquor_kg) == pytest.approx((grist_kg, liquor_kg), abs=0.05)


def test_the_page_says_what_it_rests_on() -> None:
    """Wort, sparge liquor at its temperature, the grist for the wanted wort; an extract nobody gave is assumed aloud,
    the brewery's own lauter yield counts, and without [wanted] nothing is said."""
    out = page(program({"volume": "91.1 L", "gravity": "1.056 SG"}))
    assert "before the boil 91 L at 13.9 °P" in out and "sparge liquor 42.0 kg, 43.2 L at 78 °C" in out
    assert "95 % dissolved, and 90 % of that run off" in out and "assumed" not in out.split("Kettle")[1]
    silent = {key: value for key, value in SHEET.items() if key != "extract"}
    assert "78 % extract assumed" in page(program({"volume": "91 L", "gravity": "12 °P"}, silent))
    own = {"volume": "91 L", "gravity": "12 °P", "sparge": "continuous", "lauter": "96 %"}
    assert "96 % of that run off" in page(program(own))
    assert "Kettle" not in page(program(None))


def test_a_kettle_that_no_grist_fills_is_said() -> None:
    """Two litres of dead space and grain that holds back more than the liquor: a sentence, and no figure."""
    thick = program({"volume": "10 L", "gravity": "12 °P"}).model_copy(update={"liquor": _little()})
    assert "Kettle   no figure:" in page(thick)


def _little() -> Any:
    return program(None).liquor.model_copy(update={"mass_kg": 12.0})
