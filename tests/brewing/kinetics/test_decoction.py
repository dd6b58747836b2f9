"""Is a decoction followed in two parcels, and is its figure one figure wherever it is asked for?"""

from __future__ import annotations

import pytest

from controller.brewing.kinetics.decoction import Pulled, Returned, pulled, returned
from controller.brewing.kinetics.model import CALIBRATED_SET, Amounts, Malt, apparent_limit_pct, follow, fresh, predict
from controller.brewing.kinetics.what_if import Rest, profile_of

THIN = Malt(liquor_kg_per_kg=3.0)
BEFORE = follow(CALIBRATED_SET, fresh(THIN), [(900.0, 52.0)])
POOLS = Amounts._fields[2:11]


def program(pull: Pulled, away_s: float = 2700.0) -> list[Rest]:
    """52 °C, a decoction to 64, a rest there, 72 and 77 °C, rises of 1 K/min."""
    return [
        Rest("first", 52.0, 900.0),
        Rest("decoction", 64.0, 0.0, away_s=away_s, pulled=pull),
        Rest("maltose", 64.0, 2400.0),
        Rest("saccharification", 72.0, 1200.0, 480.0),
        Rest("mash-out", 77.0, 300.0, 300.0),
    ]


def test_a_thick_pull_takes_more_of_the_grist_than_of_the_liquor() -> None:
    """29 % of a mash of 3 kg/kg, drawn at 1.8 kg/kg: 41.4 % of the grist and 24.9 % of the liquor."""
    away = pulled(BEFORE, 0.29, 52.0, 1.8).away
    assert away is not None
    assert (away.grist_share, away.liquor_share) == pytest.approx((0.414, 0.249), abs=0.0005)


def test_nothing_is_lost_on_the_way() -> None:
    """The pools still sum to 1 once it is back, the mash is as thick as before, and the pull has no enzymes left."""
    state = returned(CALIBRATED_SET, follow(CALIBRATED_SET, pulled(BEFORE, 0.29, 52.0, 1.8), [(2700.0, 52.0)]))
    assert sum(getattr(state, pool) for pool in POOLS) == pytest.approx(1.0, abs=1e-12)
    assert state.malt.liquor_kg_per_kg == pytest.approx(3.0)
    assert state.beta == pytest.approx(0.749, abs=0.01)
    assert state.away is None and state.boiled


def test_the_worked_decoction() -> None:
    """The program of the kinetics, 29 % thick and 45 min away: 55 % of the starch, 74 % of beta-amylase, 73 % of
    alpha-amylase left at the return, 81.4 % at the end."""
    profile, marks = profile_of(program(Pulled(0.29, 52.0, 1.8)))
    back = next(n for n, piece in enumerate(profile) if isinstance(piece, Returned))
    state = follow(CALIBRATED_SET, fresh(THIN), profile[: back + 1])
    left = (state.dry + state.starch + state.small + state.gel, state.beta, state.alpha)
    assert left == pytest.approx((0.55, 0.74, 0.73), abs=0.015)
    end = predict(profile, THIN, marks)
    assert apparent_limit_pct(end.end) == pytest.approx(81.4, abs=0.1)
    assert end.iodine_negative_min is None and end.extract_share is None
    assert "part of the mash is boiled; its path is assumed" in {one["why"] for one in end.withheld}


@pytest.mark.parametrize(("pull", "away_s"), [(1.5, 2700.0), (3.0, 2700.0), (1.8, 1800.0)])
def test_the_limit_is_safe_against_what_is_assumed(pull: float, away_s: float) -> None:
    """Another thickness of the pull or another time away move the limit by 0.3 points at most."""
    profile, _ = profile_of(program(Pulled(0.29, 52.0, pull), away_s))
    assert apparent_limit_pct(follow(CALIBRATED_SET, fresh(THIN), profile)) == pytest.approx(81.4, abs=0.3)


def test_the_time_away_is_mash_time() -> None:
    """The step after the decoction begins the 45 min later that the brewer waits for it."""
    _, marks = profile_of(program(Pulled(0.29, 52.0, 1.8)))
    assert [mark.start_s for mark in marks][:3] == [0.0, 900.0, 3600.0]
