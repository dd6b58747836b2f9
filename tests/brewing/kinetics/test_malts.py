"""Does the estimate take its malt from the malt sheet and from the brewery's own worts, and say so?"""

from __future__ import annotations

import json

import pytest

from controller.brewing.kinetics import malts
from controller.brewing.kinetics.calibration import Calibration, Certificate, anchor
from controller.brewing.kinetics.malts import Basis, GristPart, of_grist, recalled
from controller.brewing.kinetics.model import CALIBRATED_SET, DEFAULT_MALT, apparent_limit_pct
from controller.brewing.kinetics.what_if import Rest, predict_rests

OWN = CALIBRATED_SET.limit_dextrin_share
BREWERY = Calibration(OWN + 0.05, 1.2, 6, 5.0, 1.0, ())


def limit(basis: Basis, celsius: float = 66.0) -> float:
    """The limit of an hour at one temperature, %."""
    return apparent_limit_pct(predict_rests([Rest("r", celsius, 3600.0)], basis.malt, basis.params).end)


def test_no_sheet_no_change() -> None:
    """A grist without figures, or no grist, is the default malt, with nothing to remark."""
    assert of_grist([GristPart("malt", 5.0)]) == Basis()
    assert of_grist([]) == Basis()


@pytest.mark.parametrize("congress_pct", [76.0, 80.1, 84.0])
def test_the_sheet_moves_the_level(congress_pct: float) -> None:
    """The limit attenuation on the sheet moves the whole level: 4 points there are 3 to 6 points at 62 to 70 °C."""
    basis = of_grist([GristPart("malt", 5.0, None, congress_pct / 100.0)])
    assert basis.malt.limit_dextrin_share == pytest.approx(anchor(Certificate(congress_pct)).limit_dextrin_share)
    for celsius in (62.0, 66.0, 70.0):
        moved = limit(basis, celsius) - limit(Basis(), celsius)
        assert moved == pytest.approx(congress_pct - 80.1, rel=0.5, abs=0.1)


def test_the_extract_sets_the_starch() -> None:
    """An extract of 83 % on dry malt is 63.9 % of starch, by the sum of what the wort holds."""
    assert of_grist([GristPart("malt", 5.0, 0.83)]).malt.starch == pytest.approx((0.83 - 0.165) / 1.04)


def test_sheets_are_mixed_by_mass() -> None:
    """Three parts of one malt and one of another are anchored on the mean of both sheets; silent lines do not count."""
    mixed = of_grist([GristPart("malt", 3.0, None, 0.80), GristPart("malt", 1.0, None, 0.84), GristPart("husk", 9.0)])
    assert mixed.malt == anchor(Certificate(81.0))


def test_a_sheet_that_cannot_be_right_is_passed_over_and_said() -> None:
    """An attenuation limit of 25 % leaves the default malt, with a remark that names it."""
    basis = of_grist([GristPart("malt", 5.0, None, 0.25)])
    assert basis.malt == DEFAULT_MALT
    assert len(basis.remarks) == 1
    assert basis.remarks[0].startswith("malt sheet passed over: apparent attenuation limit 25.0 %")


def test_own_worts_shift_every_malt_alike() -> None:
    """What measured worts found is added to a malt's own share, sheet or no sheet, and the pace of loss goes along."""
    plain = of_grist([GristPart("malt", 5.0)], BREWERY)
    sheet = of_grist([GristPart("malt", 5.0, None, 0.84)], BREWERY)
    assert plain.malt.limit_dextrin_share == pytest.approx(OWN + 0.05)
    assert sheet.malt.limit_dextrin_share == pytest.approx(malts.share_of(anchor(Certificate(84.0))) + 0.05)
    assert plain.beta_loss_factor == sheet.beta_loss_factor == 1.2
    assert limit(plain) < limit(Basis()) < limit(sheet) + 10.0
    assert plain.remarks == ("brought to 6 measured worts of this brewery",)


def test_the_shift_is_bounded() -> None:
    """However far the worts lie, the share stays within its bounds."""
    far = of_grist([GristPart("malt", 5.0, None, 0.62)], BREWERY._replace(limit_dextrin_share=0.6))
    assert far.malt.limit_dextrin_share == 0.6


def test_it_travels_as_plain_numbers() -> None:
    """Through JSON and back it is the same malt and the same pace; nothing at all is the default."""
    basis = of_grist([GristPart("malt", 5.0, 0.81, 0.83)], BREWERY)
    back = recalled(json.loads(json.dumps(basis.plain())))
    assert (back.malt, back.beta_loss_factor) == (basis.malt, basis.beta_loss_factor)
    assert recalled(None) == Basis()
    assert recalled(Basis().plain()) == Basis()
    assert recalled(basis.plain()).params is basis.params
    assert Basis().params is CALIBRATED_SET


@pytest.mark.parametrize(
    "plain",
    [
        {"starch": 1.1},
        {"maltose": -0.1},
        {"limit_dextrin_share": 0.7},
        {"beta_loss_factor": 0.4},
        {"beta_loss_factor": None},
        {"colour": 0.5},
        {"starch": float("nan")},
    ],
)
def test_what_cannot_be_is_refused(plain: dict[str, float | None]) -> None:
    """Shares beyond 0 to 1, a pace beyond its bounds, and names that no malt has are refused."""
    with pytest.raises((ValueError, TypeError)):
        recalled(plain)
