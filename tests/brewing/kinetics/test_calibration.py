"""Is the model's level brought to a malt and to a brewery's own worts, within bounds and on record?"""

from __future__ import annotations

import json

import pytest

from controller.brewing.kinetics.calibration import (
    BETA_LOSS,
    CONGRESS,
    FINE_GRIST_WETTING_S,
    LIMIT_DEXTRIN,
    Batch,
    Certificate,
    Implausible,
    anchor,
    calibrate,
    from_record,
)
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    DEFAULT_MALT,
    Malt,
    Parameters,
    apparent_limit_pct,
    extract,
)
from controller.brewing.kinetics.rates import changed
from controller.brewing.kinetics.what_if import Rest, predict_rests, profile_of

FINE = changed(CALIBRATED_SET, wetting_lag_s=FINE_GRIST_WETTING_S)
CELSIUS = (62.0, 64.0, 66.0, 67.0, 68.0, 69.0, 70.0)


def worts(malt: Malt, params: Parameters, off_points: float = 0.0) -> list[Batch]:
    """Past mashes at several temperatures, measured on a brewery that the model describes exactly, or nearly."""
    found = []
    for number, celsius in enumerate(CELSIUS):
        rests = [Rest("rest", celsius, 3600.0)]
        limit = apparent_limit_pct(predict_rests(rests, malt, params).end)
        found.append(Batch(profile_of(rests)[0], limit + (off_points if number % 2 else -off_points)))
    return found


@pytest.mark.parametrize("limit_pct", [70.0, 75.0, 78.0, 80.1, 82.0, 85.0, 88.0])
@pytest.mark.parametrize("extract_pct", [77.0, 80.0, 83.0])
def test_the_certificate_is_met(limit_pct: float, extract_pct: float) -> None:
    """Anchored on a certificate, the Congress mash gives its attenuation limit exactly and its extract to 1 %."""
    malt = anchor(Certificate(limit_pct, extract_pct))
    end = predict_rests(CONGRESS, malt, FINE).end
    assert apparent_limit_pct(end) == pytest.approx(limit_pct, abs=1e-6)
    assert 100.0 * extract(end) == pytest.approx(extract_pct, abs=1.0)


def test_the_default_malt_is_in_the_middle() -> None:
    """The default malt's Congress limit is 80.0 %; anchoring on it changes next to nothing."""
    assert apparent_limit_pct(predict_rests(CONGRESS, DEFAULT_MALT, FINE).end) == pytest.approx(80.0, abs=0.05)
    anchored = anchor(Certificate(80.0))
    assert anchored.limit_dextrin_share == pytest.approx(CALIBRATED_SET.limit_dextrin_share, abs=1e-3)
    assert anchored.starch == DEFAULT_MALT.starch


def test_anchoring_moves_the_level_and_keeps_the_order() -> None:
    """A malt with a lower certificate is less fermentable at every temperature; the order of temperatures stays."""
    poor, rich = anchor(Certificate(76.0, 80.0)), anchor(Certificate(84.0, 80.0))
    for malt in (poor, rich):
        limits = [apparent_limit_pct(predict_rests([Rest("r", c, 3600.0)], malt).end) for c in CELSIUS]
        assert limits == sorted(limits, reverse=True)
    for celsius in CELSIUS:
        low = apparent_limit_pct(predict_rests([Rest("r", celsius, 3600.0)], poor).end)
        high = apparent_limit_pct(predict_rests([Rest("r", celsius, 3600.0)], rich).end)
        assert 4.0 < high - low < 12.0


def test_only_what_the_certificate_says() -> None:
    """Extract alone sets the starch and leaves the level; nothing leaves the malt as it was."""
    assert anchor(Certificate(extract_pct=83.0)) == DEFAULT_MALT._replace(starch=(0.83 - 0.165) / 1.04)
    assert anchor(Certificate()) == DEFAULT_MALT


def test_every_figure_that_cannot_be_right_is_named() -> None:
    """A certificate with two slips of the pen is refused with both, what was found and what was wanted."""
    with pytest.raises(Implausible) as refused:
        anchor(Certificate(limit_attenuation_pct=8.2, extract_pct=8.1))
    assert len(refused.value.problems) == 2
    assert "found 8.1 %, wanted 60 to 90 %" in refused.value.problems[0]


def test_out_of_the_models_reach() -> None:
    """A limit that no malt of the model can have is refused with the range that can be met."""
    with pytest.raises(Implausible, match=r"anchored from \d+\.\d to \d+\.\d %"):
        anchor(Certificate(limit_attenuation_pct=25.0))


def test_no_worts_no_calibration() -> None:
    """Nothing measured, or figures that cannot be right, are refused, each one named."""
    with pytest.raises(Implausible, match="at least one"):
        calibrate([])
    with pytest.raises(Implausible) as refused:
        calibrate([Batch([(3600.0, 65.0)], 8.0), Batch([(3600.0, 65.0)], 80.0), Batch([(3600.0, 65.0)], 101.0)])
    assert [problem[:6] for problem in refused.value.problems] == ["wort 1", "wort 3"]


def test_own_worts_bring_the_model_to_the_brewery() -> None:
    """Seven worts of a brewery with another malt and faster loss bring a miss of some 5 points down to about 1."""
    malt = DEFAULT_MALT._replace(limit_dextrin_share=0.38)
    batches = worts(malt, changed(CALIBRATED_SET, beta_loss_scale=CALIBRATED_SET.beta_loss_scale * 1.3), 0.8)
    found = calibrate(batches)
    assert found.rms_before_points > 4.5
    assert found.rms_after_points < 1.1
    assert found.limit_dextrin_share == pytest.approx(0.38, abs=0.02)
    assert 1.05 < found.beta_loss_factor < 1.3
    assert (found.batches, found.at_bound) == (7, ())


def test_right_already() -> None:
    """Worts that the model describes already leave it where it is."""
    found = calibrate(worts(DEFAULT_MALT, CALIBRATED_SET))
    assert found.limit_dextrin_share == pytest.approx(CALIBRATED_SET.limit_dextrin_share, abs=1e-3)
    assert found.beta_loss_factor == pytest.approx(1.0, abs=0.01)


def test_one_wort_moves_little() -> None:
    """A single odd wort is not believed entirely: the model goes part of the way."""
    rests = [Rest("rest", 66.0, 3600.0)]
    before = apparent_limit_pct(predict_rests(rests).end)
    found = calibrate([Batch(profile_of(rests)[0], before - 8.0)])
    malt = DEFAULT_MALT._replace(limit_dextrin_share=found.limit_dextrin_share)
    params = changed(CALIBRATED_SET, beta_loss_scale=CALIBRATED_SET.beta_loss_scale * found.beta_loss_factor)
    moved = before - apparent_limit_pct(predict_rests(rests, malt, params).end)
    assert 4.0 < moved < 7.9


def test_the_fit_is_bounded() -> None:
    """Worts that nothing could explain stop at the bounds, and the record says so."""
    odd = [Batch(profile_of([Rest("r", c, 3600.0)])[0], 25.0) for c in (62.0, 63.0, 64.0, 65.0) for _ in range(2)]
    found = calibrate(odd)
    assert LIMIT_DEXTRIN[0] <= found.limit_dextrin_share <= LIMIT_DEXTRIN[1]
    assert BETA_LOSS[0] <= found.beta_loss_factor <= BETA_LOSS[1]
    assert "limit_dextrin_share" in found.at_bound


def test_the_record_reads_back() -> None:
    """A calibration is a small dict of plain values that reads back as it was; a spoiled one is refused."""
    found = calibrate(worts(DEFAULT_MALT._replace(limit_dextrin_share=0.3), CALIBRATED_SET))
    record = json.loads(json.dumps(found.as_record()))
    again = from_record(record)
    assert again.limit_dextrin_share == pytest.approx(found.limit_dextrin_share, abs=1e-6)
    assert again.batches == 7
    with pytest.raises(Implausible) as refused:
        from_record({"limit_dextrin_share": 3.0, "beta_loss_factor": "fast"})
    assert len(refused.value.problems) == 2
